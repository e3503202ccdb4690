"""Every sentence of the engine that people read, by topic, ready to be translated: prompts, titles, plans, reasons, refusals.

Rule 1: values come in SI and °C and are worded here, in the scale that a person has chosen.
Rule 2: nothing is decided here, and nothing is read back from a text.
Rule 3: what is wrong comes as a pair: what, and what to do about it.

The watcher's sentences stand beside its rules (engine/watch): they are part of the method of measurement.
"""
