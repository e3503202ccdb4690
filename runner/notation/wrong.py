"""Something in a file that cannot be: what it is, and what to do about it, each by itself."""

from __future__ import annotations


class Wrong(ValueError):
    """Raised by a check of a value, which does not know where the value stands; whoever reads the file adds the place.

    ``key``: which of the values below it is the wrong one, where it is one of several that do not fit together.
    """

    def __init__(self, what: str, remedy: str, key: str = "") -> None:
        super().__init__(f"{what}; {remedy}")
        self.what, self.remedy, self.key = what, remedy, key
