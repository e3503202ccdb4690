"""How the files of this program are written: places of keys and values, quantities and expressions, checked models."""
