"""Every sentence of the screens that people read, by screen, ready to be translated: titles, questions, hints, what is missing.

Rule 1: values come in SI and °C and are worded here, in the scale that a person has chosen.
Rule 2: nothing is decided here, and nothing is read back from a text.

What a key does stands in its Binding, in keys.py or at the head of its screen.
"""
