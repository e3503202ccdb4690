"""Text in letters three rows high, readable from two metres. The letters are our own.

Each is drawn in pixels of half a column by half a row: six or eight wide, five high, the sixth row left free for the tail of a
comma. Strokes are a full column wide, about as much as half a row is high. Four pixels make one block character.
"""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

ROWS = 3  # of characters
GAP = 2  # pixels between two letters
_BLOCKS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"  # by which quarters are filled: 1 upper left, 2 upper right, 4 lower left, 8 lower right
_BLANK = "." * 4
_DRAWN = {
    "A": ".####. ##..## ###### ##..## ##..##",
    "B": "#####. ##..## #####. ##..## #####.",
    "C": ".##### ##.... ##.... ##.... .#####",
    "D": "####.. ##.##. ##..## ##.##. ####..",
    "E": "###### ##.... ####.. ##.... ######",
    "F": "###### ##.... ####.. ##.... ##....",
    "G": ".##### ##.... ##.### ##..## .#####",
    "H": "##..## ##..## ###### ##..## ##..##",
    "I": "###### ..##.. ..##.. ..##.. ######",
    "J": "..#### ....## ....## ##..## .####.",
    "K": "##..## ##.##. ####.. ##.##. ##..##",
    "L": "##.... ##.... ##.... ##.... ######",
    "M": "##....## ###..### ##.##.## ##....## ##....##",
    "N": "##....## ####..## ##.##.## ##..#### ##....##",
    "O": ".####. ##..## ##..## ##..## .####.",
    "P": "#####. ##..## #####. ##.... ##....",
    "Q": ".####. ##..## ##..## ##.##. .##.##",
    "R": "#####. ##..## ####.. ##.##. ##..##",
    "S": ".##### ##.... .####. ....## #####.",
    "T": "###### ..##.. ..##.. ..##.. ..##..",
    "U": "##..## ##..## ##..## ##..## .####.",
    "V": "##..## ##..## ##..## .####. ..##..",
    "W": "##....## ##....## ##.##.## ###..### ##....##",
    "X": "##..## .####. ..##.. .####. ##..##",
    "Y": "##..## .####. ..##.. ..##.. ..##..",
    "Z": "###### ...##. ..##.. .##... ######",
    "0": ".####. ##.### ###### ###.## .####.",
    "1": "..##.. ####.. ..##.. ..##.. ..##..",
    "2": "####.. ....## ..##.. ##.... ######",
    "3": "#####. ....## ..###. ....## #####.",
    "4": "##.##. ##.##. ###### ...##. ...##.",
    "5": "###### ##.... ####.. ....## ####..",
    "6": "..###. ##.... #####. ##..## .####.",
    "7": "###### ....## ...##. ..##.. ..##..",
    "8": ".####. ##..## .####. ##..## .####.",
    "9": ".####. ##..## .##### ....## .###..",
    "Ω": ".####. ##..## ##..## .#..#. ##..##",
    "%": "##..## ...##. ..##.. .##... ##..##",
    "/": "....## ...##. ..##.. .##... ##....",
    "+": "...... ..##.. ###### ..##.. ......",
    "-": ".... .... #### .... ....",
    "°": ".##. #..# .##. .... ....",
    "?": "#####. ....## ..###. ...... ..##..",
    "!": "## ## ## .. ##",
    ":": ".. ## .. ## ..",
    ".": ".. .. .. .. ##",
    ",": ".. .. .. ## ##  #.",
    " ": f"{_BLANK} {_BLANK} {_BLANK} {_BLANK} {_BLANK}",
}
GLYPHS = {
    letter: [*rows.split()[:6], *["." * len(rows.split()[0])] * (6 - len(rows.split()))]
    for letter, rows in _DRAWN.items()
}
KNOWN = frozenset(GLYPHS)


def columns(text: str) -> int:
    """How many columns a text takes in large letters."""
    return sum((len(GLYPHS[letter][0]) + GAP) // 2 for letter in text.upper()) - 1 if text else 0


def large(text: str) -> tuple[str, str, str]:
    """A text in large letters as three rows of block characters. Raises KeyError for a letter that is not drawn."""
    drawn = [GLYPHS[letter] for letter in text.upper()]
    pixels = [("." * GAP).join(glyph[row] for glyph in drawn) for row in range(2 * ROWS)]
    first, second, third = (_blocks(pixels[row], pixels[row + 1]) for row in range(0, 2 * ROWS, 2))
    return first, second, third


def _blocks(upper: str, lower: str) -> str:
    pairs = range(0, len(upper), 2)
    return "".join(
        _BLOCKS[
            sum(
                bit
                for bit, on in zip((1, 2, 4, 8), (*upper[at : at + 2], *lower[at : at + 2]), strict=True)
                if on == "#"
            )
        ]
        for at in pairs
    ).rstrip()


class BigText(Static):
    """One line of large letters; where they do not fit, or one is not drawn, the same text in small ones."""

    DEFAULT_CSS = """
    BigText { height: 3; padding: 0 0; background: $surface; color: $foreground; text-wrap: nowrap; }
    BigText.-hold { background: $primary; color: $text; }
    """

    def __init__(self, id: str | None = None) -> None:
        super().__init__("", id=id)
        self._text, self._drawn = "", ("", 0)

    def show(self, text: str, *, hold: bool) -> None:
        """``hold``: nothing goes on before the person has answered."""
        self.set_class(hold, "-hold")
        self._text = text
        self._draw()

    def on_resize(self) -> None:
        self._draw()

    def _draw(self) -> None:
        width = self.size.width
        if (self._text, width) == self._drawn:
            return
        self._drawn = (self._text, width)
        fits = KNOWN.issuperset(self._text.upper()) and columns(self._text) <= width
        margin = " " if fits and columns(self._text) < width else ""  # as the lines below have it
        rows = "\n".join(f"{margin}{row}" for row in large(self._text)) if fits else f"\n {self._text}\n"
        self.update(Content(rows), layout=False)
