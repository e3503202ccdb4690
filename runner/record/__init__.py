"""The evidence of a run on disk.

in: events and samples · out: files, and events and samples again · never: interprets
"""
