"""The user's three YAML files: pack sheet, bench file, procedure.

in: text and its name · out: frozen, checked objects, or all that is wrong with line and column · never: opens a file
"""
