"""The guard: a small process that makes the bench safe when the runner cannot.

in: addresses, ready-made messages, a pulse · out: everything off, guard.jsonl, what a person must still do · never: engine,
dialects, sheets, numbers
"""
