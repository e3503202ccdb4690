"""Tripwitness: runs protection trip-test procedures on battery packs. Imports nothing, so that the program starts fast."""

__version__ = "0.1.0"
