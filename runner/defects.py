"""A defect of ours, said in a sentence: nobody at a bench reads a page of code, and whoever mends it needs all of it."""

from __future__ import annotations

import sys
import tempfile
import traceback

from runner import __version__


def told(error: BaseException) -> str:
    """The sentence, with the name of the file in which the details now are."""
    with tempfile.NamedTemporaryFile("w", prefix="tripwitness-defect-", suffix=".txt", delete=False) as file:
        file.write(f"tripwitness {__version__}, Python {sys.version}\n{' '.join(sys.argv)}\n\n")
        traceback.print_exception(error, file=file)
    return f"program error in Tripwitness: {type(error).__name__}: {error}; please report it with the details in {file.name}"
