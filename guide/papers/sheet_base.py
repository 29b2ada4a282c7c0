"""What printed sheets share: page sizes, plain type in black and grey, QR codes, and writing a file.

Everything is told by words, lines and weight, never by colour, so that a copy of a copy can be read.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import segno
from fpdf import FPDF
from fpdf.enums import XPos, YPos

from guide.errors import WadelineError

PAGES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a5": (148.0, 210.0)}
"""Sizes in mm, upright."""

MARGIN_MM = 10.0
_GREY = 130


class PaperError(WadelineError):
    """A sheet can't be made or written."""


class Sheet(FPDF):
    """A page of our plain look. Sizes are in mm, type in points."""

    def __init__(self, page: str, title: str) -> None:
        super().__init__(unit="mm", format=PAGES[page])
        self.set_title(title)
        self.set_margin(MARGIN_MM)
        self.c_margin = 0.0  # words begin where they are put
        self.set_auto_page_break(False)
        self.set_line_width(0.2)

    def text_style(self, size: float, bold: bool = False, grey: bool = False) -> None:
        """Sets the type for what follows."""
        self.set_font("Helvetica", "B" if bold else "", size)
        self.set_text_color(_GREY if grey else 0)

    def put(self, x: float, y: float, words: str, width: float, align: str = "L") -> None:
        """One line of words in a place, made smaller if it is too wide."""
        size, words = self.font_size_pt, printable(words)
        while self.get_string_width(words) > width and self.font_size_pt > 4:
            self.set_font_size(self.font_size_pt - 0.5)
        self.set_xy(x, y)
        self.cell(width, self.font_size, words, align=align)
        self.set_font_size(size)

    def put_lines(self, x: float, y: float, words: str, width: float, leading: float = 1.25) -> float:
        """Words broken into lines; returns where the next line goes."""
        self.set_xy(x, y)
        step = self.font_size * leading
        self.multi_cell(width, step, printable(words), align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
        return float(self.get_y())

    def rule(self, x1: float, y1: float, x2: float, y2: float, dashed: bool = False) -> None:
        """A line; a dashed one is for scissors."""
        self.set_draw_color(_GREY if dashed else 0)
        if dashed:
            self.set_dash_pattern(dash=1.2, gap=1.2)
        self.line(x1, y1, x2, y2)
        self.set_dash_pattern()
        self.set_draw_color(0)

    def qr(self, x: float, y: float, side: float, words: str) -> None:
        """A QR code (ISO/IEC 18004) with its quiet zone inside the square."""
        rows = [list(row) for row in segno.make(words, error="m", micro=False).matrix_iter(border=4)]
        module = side / len(rows)
        self.set_fill_color(0)
        for n, row in enumerate(rows):
            for first, count in _runs(row):
                self.rect(x + first * module, y + n * module, count * module, module, style="F")


def _runs(row: Sequence[Any]) -> list[tuple[int, int]]:
    """Where dark modules begin and how many there are, so that no hair line parts them."""
    runs: list[tuple[int, int]] = []
    for at, dark in enumerate(row):
        if not dark:
            continue
        if runs and sum(runs[-1]) == at:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((at, 1))
    return runs


def printable(words: str) -> str:
    """Words in the letters of the printed type; any other is a question mark."""
    return words.encode("cp1252", "replace").decode("cp1252")


def write_new(path: Path, data: bytes) -> None:
    """Writes a file that isn't there yet; raises PaperError if it is, OSError if it can't be written."""
    try:
        with path.open("xb") as file:
            file.write(data)
    except FileExistsError:
        raise PaperError(f"{path} is there already; name another file") from None
