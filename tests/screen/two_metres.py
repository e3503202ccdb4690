"""A screen as the eye has it from two metres: drawn in pixels, then shrunk until a pixel is as large as the eye resolves.

A person with 6/6 vision resolves one minute of arc: a letter of five minutes with strokes of one (H. Snellen's optotypes; ISO 8596
has the same for its rings). At 2 m one minute is 2000 mm · tan(1/60°) = 0.582 mm. Text of 12 points stands on rows of
12/72 · 25.4 mm = 4.23 mm with columns half as wide, 2.12 mm (common practice, no source): 80 x 24 of them are 169 mm by 102 mm,
what a window on a small notebook has. A row is then 7.3 minutes high, a column 3.6 wide, a large letter 21.8 high: above the 20
to 22 minutes that ISO 9241-303 recommends for text that is read at work (from memory).
"""

import math
from functools import cache
from pathlib import Path

import matplotlib
import numpy as np
from PIL import Image, ImageDraw, ImageFont

DISTANCE = 2000.0  # mm
ROW = 12 / 72 * 25.4  # mm
MINUTE = DISTANCE * math.tan(math.radians(1 / 60))  # mm
CELL = (12, 24)  # pixels of the full drawing
FONT = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSansMono.ttf"


@cache
def _font():
    return ImageFont.truetype(str(FONT), 20)


def drawn(lines, columns):
    """Rows of text in pixels, 0 to 1, one CELL a character; block characters to the edge of their cell, as terminals do."""
    picture = Image.new("L", (columns * CELL[0], len(lines) * CELL[1]))
    pen = ImageDraw.Draw(picture)
    for row, line in enumerate(lines):
        for column, letter in enumerate(line):
            x, y = column * CELL[0], row * CELL[1]
            quarters = QUARTERS.get(letter)
            if quarters is None:
                pen.text((x, y), letter, fill=255, font=_font())
                continue
            for bit in range(4):
                if quarters & 1 << bit:
                    left, top = x + (bit % 2) * CELL[0] // 2, y + (bit // 2) * CELL[1] // 2
                    pen.rectangle((left, top, left + CELL[0] // 2 - 1, top + CELL[1] // 2 - 1), fill=255)
    return picture


QUARTERS = {letter: bits for bits, letter in enumerate(" ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█")}


def from_two_metres(picture, minutes=1.0, shift=0.0):
    """The same, each pixel ``minutes`` of arc: the mean of what lies within it. ``shift``: by what part of a pixel it is moved."""
    cell_mm = (ROW / 2, ROW)
    size = [
        round(length / cell * mm / MINUTE / minutes)
        for length, cell, mm in zip(picture.size, CELL, cell_mm, strict=True)
    ]
    scale = picture.size[0] / size[0], picture.size[1] / size[1]
    moved = picture.transform(
        picture.size,
        Image.Transform.AFFINE,
        (1, 0, shift * scale[0], 0, 1, shift * scale[1]),
        Image.Resampling.BILINEAR,
    )
    return np.asarray(moved.resize(size, Image.Resampling.BOX), dtype=float) / 255
