"""A paper of several pages: a head and a foot on each, facts in columns, tables that run on, lines to sign on.

Made for grey printers and wet hands: black on white, thin rules, nothing told by colour or shade alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from fpdf.enums import MethodReturnValue

from guide.papers.sheet_base import MARGIN_MM, PAGES, Sheet, printable

FOOT_MM = 14.0
ROW_MM = 5.0


@dataclass(frozen=True)
class Head:
    """What stands on every page: the kind of paper, whose it is, its code, its day, and the line at the foot."""

    kind: str
    programme: str
    code: str
    day: str
    foot: str
    practice: bool


@dataclass(frozen=True)
class Cells:
    """One row of a table; ``struck`` for a sample that doesn't count, which its last cell says too; ``tick``: a box."""

    words: Sequence[str]
    struck: bool = False
    tick: bool = False


class Paper(Sheet):
    """Pages with a head and a foot; ``y`` is where the next thing goes."""

    def __init__(self, head: Head) -> None:
        super().__init__("a4", f"{head.kind} {head.code}")
        self.head = head
        self.wide = PAGES["a4"][0] - 2 * MARGIN_MM
        self.low = PAGES["a4"][1] - FOOT_MM
        self.alias_nb_pages()
        self.y_mm = 0.0
        self.new_page()

    def new_page(self) -> None:
        """Begins a page with its head."""
        self.add_page()
        head, x = self.head, MARGIN_MM
        self.text_style(17, bold=True)
        self.put(x, MARGIN_MM, head.kind, self.wide * 0.6)
        self.put(x + self.wide * 0.5, MARGIN_MM, head.code, self.wide * 0.5, "R")
        self.text_style(9)
        self.put(x, MARGIN_MM + 8, head.programme, self.wide * 0.6)
        self.put(x + self.wide * 0.5, MARGIN_MM + 8, head.day, self.wide * 0.5, "R")
        self.set_line_width(0.6)
        self.rule(x, MARGIN_MM + 13, x + self.wide, MARGIN_MM + 13)
        self.set_line_width(0.2)
        self.y_mm = MARGIN_MM + 15
        if head.practice:
            self._practice()
        self._foot()

    def _practice(self) -> None:
        self.set_line_width(0.6)
        self.rect(MARGIN_MM, self.y_mm, self.wide, 8)
        self.set_line_width(0.2)
        self.text_style(12, bold=True)
        self.put(MARGIN_MM, self.y_mm + 1.8, "PRACTICE: no sample here is real, nothing goes to a lab", self.wide, "C")
        self.y_mm += 10

    def _foot(self) -> None:
        self.rule(MARGIN_MM, self.low + 1, MARGIN_MM + self.wide, self.low + 1)
        self.text_style(7.5)
        self.put(MARGIN_MM, self.low + 2.5, self.head.foot, self.wide - 24)
        self.put(MARGIN_MM + self.wide - 22, self.low + 2.5, f"page {self.page_no()} of {{nb}}", 24, "R")

    def room(self, needed_mm: float) -> None:
        """Begins a new page if this one has less room."""
        if self.y_mm + needed_mm > self.low:
            self.new_page()

    def heading(self, words: str) -> None:
        """A heading, with room for something below it."""
        self.room(18)
        self.y_mm += 3
        self.text_style(11, bold=True)
        self.put(MARGIN_MM, self.y_mm, words, self.wide)
        self.y_mm += 6

    def lines(self, words: str, size: float = 9) -> None:
        """A paragraph."""
        self.text_style(size)
        self.room(self._lines_of(words, self.wide) * self.font_size * 1.25 + 1)
        self.y_mm = self.put_lines(MARGIN_MM, self.y_mm, words, self.wide) + 1

    def _lines_of(self, words: str, width: float) -> int:
        """How many lines words take."""
        lines = self.multi_cell(width, self.font_size, printable(words), dry_run=True, output=MethodReturnValue.LINES)
        return len(cast(list[str], lines))

    def facts(self, pairs: Sequence[tuple[str, str]], columns: int = 3) -> None:
        """Names in small type over their values, several beside each other; an empty value is a line to write on."""
        width = self.wide / columns
        for start in range(0, len(pairs), columns):
            self.room(10)
            for place, (name, value) in enumerate(pairs[start : start + columns]):
                x = MARGIN_MM + place * width
                self.text_style(7)
                self.put(x, self.y_mm, name, width - 3)
                self.text_style(10)
                self.put(x, self.y_mm + 3.2, value, width - 3)
                if not value:
                    self.rule(x, self.y_mm + 7.6, x + width - 4, self.y_mm + 7.6)
            self.y_mm += 9.4

    def listing(self, names: Sequence[str], widths: Sequence[float], rows: Sequence[Cells]) -> None:
        """A table that runs on over pages, its head again on each; widths are shares of the page."""
        edges = [MARGIN_MM]
        for share in widths:
            edges.append(edges[-1] + share * self.wide / sum(widths))
        self._table_head(names, edges)
        for row in rows:
            if self.y_mm + ROW_MM > self.low:
                self.new_page()
                self._table_head(names, edges)
            self._row(row, edges)
        self.y_mm += 1

    def _row(self, row: Cells, edges: Sequence[float]) -> None:
        self.text_style(8.5)
        for place, words in enumerate(row.words):
            if words:
                self.put(edges[place] + 0.6, self.y_mm + 1, words, edges[place + 1] - edges[place] - 1.2)
        if row.struck:
            self.rule(MARGIN_MM, self.y_mm + 2.5, edges[len(row.words) - 1] - 1, self.y_mm + 2.5)
        if row.tick:
            self.rect(edges[-1] - 6, self.y_mm + 0.9, 3.4, 3.4)
        self.y_mm += ROW_MM
        self.set_line_width(0.1)
        self.rule(MARGIN_MM, self.y_mm, MARGIN_MM + self.wide, self.y_mm)
        self.set_line_width(0.2)

    def _table_head(self, names: Sequence[str], edges: Sequence[float]) -> None:
        self.room(2 * ROW_MM)
        self.text_style(7.5, bold=True)
        for place, name in enumerate(names):
            self.put(edges[place] + 0.6, self.y_mm + 1, name, edges[place + 1] - edges[place] - 1.2)
        self.y_mm += ROW_MM
        self.set_line_width(0.5)
        self.rule(MARGIN_MM, self.y_mm, MARGIN_MM + self.wide, self.y_mm)
        self.set_line_width(0.2)

    def grid(self, names: Sequence[str], widths: Sequence[float], rows: Sequence[Sequence[str]], high: float) -> None:
        """A ruled form to write in: every cell in a box, words only where they are known."""
        edges = [MARGIN_MM]
        for share in widths:
            edges.append(edges[-1] + share * self.wide / sum(widths))
        self.room(high * min(len(rows), 3) + ROW_MM)
        for words, tall, bold in [(names, ROW_MM, True), *((row, high, False) for row in rows)]:
            self.room(tall)
            self.text_style(7.5, bold=bold)
            for place, text in enumerate(words):
                self.rect(edges[place], self.y_mm, edges[place + 1] - edges[place], tall)
                if text:
                    self.put_lines(edges[place] + 0.8, self.y_mm + 0.9, text, edges[place + 1] - edges[place] - 1.6)
            self.y_mm += tall
        self.y_mm += 2

    def signatures(self, roles: Sequence[str]) -> None:
        """Boxes to sign in, one a role, kept together."""
        width, gap = (self.wide - 4 * (len(roles) - 1)) / len(roles), 4
        self.room(27)
        for place, role in enumerate(roles):
            x = MARGIN_MM + place * (width + gap)
            self.rect(x, self.y_mm, width, 24)
            self.text_style(8, bold=True)
            self.put(x + 1.5, self.y_mm + 1.5, role, width - 3)
            self.text_style(7)
            for name, down in (("name", 12), ("signature", 18), ("date and time", 23)):
                self.put(x + 1.5, self.y_mm + down - 2.4, name, 18)
                self.rule(x + 19, self.y_mm + down, x + width - 2, self.y_mm + down)
        self.y_mm += 26

    def caution(self, sentences: Sequence[str]) -> None:
        """Cautions in a box, kept together."""
        words = printable("\n".join(sentences))
        self.text_style(8)
        high = self._lines_of(words, self.wide - 4) * self.font_size * 1.25 + 8
        self.room(high + 2)
        self.set_line_width(0.5)
        self.rect(MARGIN_MM, self.y_mm, self.wide, high)
        self.set_line_width(0.2)
        self.text_style(8, bold=True)
        self.put(MARGIN_MM + 2, self.y_mm + 1.5, "Caution", self.wide - 4)
        self.text_style(8)
        self.put_lines(MARGIN_MM + 2, self.y_mm + 5.5, words, self.wide - 4)
        self.y_mm += high + 2
