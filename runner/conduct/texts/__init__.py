"""What people read of the way a run is carried out, ready to be translated; log_lines.py beside it words what happened.

Rule 1: values come in SI and °C and are worded here, in the scale that a person has chosen.
Rule 2: nothing is decided here, and nothing is read back from a text.
Rule 3: what is wrong with files comes as a pair: what, and what to do about it.
"""
