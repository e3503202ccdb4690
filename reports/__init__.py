"""What a person holds in the hand: the certificate.

in: an evaluation of a run folder · out: HTML and PDF beside the evidence
"""
