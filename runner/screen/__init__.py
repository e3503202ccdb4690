"""The terminal screen: a view of a run that lives elsewhere.

in: views and prompts · out: what the person did · never: test logic, instruments, files
"""
