"""A printable sheet of tag slips: large digits to read on the bank, a QR code to scan at the lab, a line for pencil."""

from collections.abc import Sequence
from dataclasses import dataclass

from guide.papers.sheet_base import MARGIN_MM, PAGES, PaperError, Sheet

HEAD_MM, NOTES_MM = 12.0, 17.0
LEAST_MM = (38.0, 19.0)
"""A slip smaller than this can't be read with wet eyes, nor its code by a scanner."""

_DIGIT_MM_A_POINT = 0.2540
"""Height of a digit of this type: 0.72 of its size."""

NOTES = (
    "Print on waterproof paper with a laser printer: ink runs. Don't scale the page. Cut on a clean bench with clean "
    "scissors, and carry the slips in a new bag. Pencil only, never pen: solvent and water take ink away.",
    "One slip a sample, between the inner and the outer bag, never inside the inner bag. A slip that is torn or lost: "
    "take the next, and tell the coordinator.",
)
CHECK_NOTE = " The last digit checks the others."


@dataclass(frozen=True)
class Slip:
    """One slip: its tag, and the site whose pairs it was given to."""

    code: str
    site: str = ""


@dataclass(frozen=True)
class Layout:
    """How slips lie on a page. ``copies`` of each are next to each other, for bag and field sheet."""

    page: str = "a4"
    columns: int = 3
    rows: int = 8
    copies: int = 1

    def size_mm(self) -> tuple[float, float]:
        """Width and height of a slip; raises PaperError if it would be too small."""
        if self.columns < 1 or self.rows < 1 or not 1 <= self.copies <= 4:
            raise PaperError("a sheet has at least one column and one row, and 1 to 4 copies of a slip")
        width, height = PAGES[self.page]
        size = ((width - 2 * MARGIN_MM) / self.columns, (height - 2 * MARGIN_MM - HEAD_MM - NOTES_MM) / self.rows)
        if size[0] < LEAST_MM[0] or size[1] < LEAST_MM[1]:
            raise PaperError(
                f"{self.columns} columns and {self.rows} rows on {self.page} leave {size[0]:.0f} x {size[1]:.0f} mm; "
                f"a slip needs {LEAST_MM[0]:.0f} x {LEAST_MM[1]:.0f}: take fewer, or larger paper"
            )
        return size


@dataclass(frozen=True)
class Heading:
    """What stands on every page and every slip."""

    programme: str
    label: str
    practice: bool
    checked: bool


def tag_sheet(slips: Sequence[Slip], heading: Heading, layout: Layout) -> bytes:
    """The sheet as PDF; raises PaperError for a grid that leaves no room."""
    width, height = layout.size_mm()
    sheet = Sheet(layout.page, f"Tag slips, {heading.programme}")
    printed = [slip for slip in slips for _ in range(layout.copies)]
    a_page = layout.columns * layout.rows
    pages = -(-len(printed) // a_page)
    for page in range(pages):
        sheet.add_page()
        here = printed[page * a_page : (page + 1) * a_page]
        _head(sheet, here, heading, f"page {page + 1} of {pages}")
        for place, slip in enumerate(here):
            row, column = divmod(place, layout.columns)
            _slip(
                sheet, slip, heading, (MARGIN_MM + column * width, MARGIN_MM + HEAD_MM + row * height), (width, height)
            )
        _cuts(sheet, layout, (width, height))
        _notes(sheet, heading)
    return bytes(sheet.output())


def _head(sheet: Sheet, here: Sequence[Slip], heading: Heading, page: str) -> None:
    right = sheet.w - 2 * MARGIN_MM
    sheet.text_style(12, bold=True)
    practice = "PRACTICE tag slips" if heading.practice else "Tag slips"
    sheet.put(MARGIN_MM, MARGIN_MM, f"{heading.programme}: {practice}", right * 0.66)
    sheet.text_style(9)
    sheet.put(
        MARGIN_MM + right * 0.68, MARGIN_MM + 0.5, f"{here[0].code} to {here[-1].code}, {page}", right * 0.32, "R"
    )


def _slip(sheet: Sheet, slip: Slip, heading: Heading, at: tuple[float, float], size: tuple[float, float]) -> None:
    (x, y), (width, height) = at, size
    side = min(height - 6.5, width * 0.38)
    sheet.qr(x + 0.5, y + 0.5, side, slip.code)
    left = x + side + 1.5
    room, foot = x + width - 2.0 - left, y + height - 2.2
    sheet.text_style(7)
    sheet.put(left, y + 2.0, heading.label, room)
    sheet.text_style(7, bold=True)
    sheet.put(left, y + 5.0, "PRACTICE, no sample" if heading.practice else slip.site, room)
    top = y + (8.0 if heading.practice or slip.site else 5.0)
    _digits(sheet, slip.code, (left, top), (room, foot - 3.5 - top))
    sheet.text_style(6.5)
    sheet.put(x + 3.0, foot - 2.4, "mm", 5)
    sheet.rule(x + 7.5, foot, x + width * 0.36, foot)
    sheet.put(x + width * 0.39, foot - 2.4, "family", 9)
    sheet.rule(x + width * 0.39 + 8.0, foot, x + width - 3.0, foot)


def _digits(sheet: Sheet, code: str, at: tuple[float, float], size: tuple[float, float]) -> None:
    """The tag as large as its place lets it be, in the middle of its height."""
    sheet.text_style(min(36.0, size[1] / _DIGIT_MM_A_POINT * 0.9), bold=True)
    while sheet.get_string_width(code) > size[0]:
        sheet.set_font_size(sheet.font_size_pt - 0.5)
    sheet.put(at[0], at[1] + (size[1] - sheet.font_size) / 2, code, size[0])


def _cuts(sheet: Sheet, layout: Layout, size: tuple[float, float]) -> None:
    top, bottom = MARGIN_MM + HEAD_MM, MARGIN_MM + HEAD_MM + layout.rows * size[1]
    left, right = MARGIN_MM, MARGIN_MM + layout.columns * size[0]
    for column in range(layout.columns + 1):
        sheet.rule(left + column * size[0], top, left + column * size[0], bottom, dashed=True)
    for row in range(layout.rows + 1):
        sheet.rule(left, top + row * size[1], right, top + row * size[1], dashed=True)


def _notes(sheet: Sheet, heading: Heading) -> None:
    y = sheet.h - MARGIN_MM - NOTES_MM + 2.0
    sheet.text_style(8 if sheet.w > PAGES["a5"][0] else 7)
    for note in (NOTES[0], NOTES[1] + (CHECK_NOTE if heading.checked else "")):
        y = sheet.put_lines(MARGIN_MM, y, note, sheet.w - 2 * MARGIN_MM)
