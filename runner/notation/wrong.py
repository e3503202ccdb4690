"""Something in a file that cannot be: what it is, and what to do about it, each by itself."""

from __future__ import annotations


class Wrong(ValueError):
    """Raised by a check of a value, which does not know where the value stands; whoever reads the file adds the place."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}; {remedy}")
        self.what, self.remedy = what, remedy
