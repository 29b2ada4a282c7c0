"""The sheet of tag slips and the pocket cards: all that must stand on them does, inside the paper, within its place."""

from collections.abc import Iterator
from io import BytesIO

import pytest
import segno
from pypdf import PdfReader

from guide.field.tags import block
from guide.papers.pocket_card import CARD_WORDS, Card, pocket_cards
from guide.papers.sheet_base import PAGES, PaperError, printable, write_new
from guide.papers.tag_sheet import Heading, Layout, Slip, tag_sheet
from guide.talk.words import WORDS

CODES = block(140, 30, 5)
HEADING = Heading("Tarrow Basin Lakes Circle", "Tarrow Basin Lakes", practice=False, checked=True)
PRACTICE = Heading("Tarrow Basin Lakes Circle", "Tarrow Basin Lakes", practice=True, checked=True)
CARD = Card(
    "Tarrow Basin Lakes Circle", "The Early Herons of Tarrow", "Long Harrow Lake", "+353 20 912 0007",
    "LANTERN THISTLE 42", "112", practice=False,
)  # fmt: skip
MM_A_POINT = 25.4 / 72


def words(pdf: bytes) -> list[str]:
    """The text of each page."""
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def places(pdf: bytes) -> Iterator[tuple[int, float, float, str]]:
    """Page, x and y in mm from the top left, of each piece of text."""
    for number, page in enumerate(PdfReader(BytesIO(pdf)).pages):
        found: list[tuple[int, float, float, str]] = []
        height = float(page.mediabox.height)

        def keep(text, cm, tm, font, size, number=number, height=height, found=found):
            if text.strip():
                found.append((number, tm[4] * MM_A_POINT, (height - tm[5]) * MM_A_POINT, text))

        page.extract_text(visitor_text=keep)
        yield from found


def test_every_tag_stands_on_the_sheet_once_in_order_with_its_site():
    slips = [Slip(code, "Quill Brook" if place < 6 else "") for place, code in enumerate(CODES)]
    pages = words(tag_sheet(slips, HEADING, Layout()))
    printed = [line for page in pages for line in page.split() if line in CODES]
    assert printed == [CODES[0], *CODES[:24], CODES[24], *CODES[24:]], "the first of each page is in its head too"
    assert "page 2 of 2" in pages[1]
    assert pages[0].count("Quill Brook") == 6
    assert "Pencil only" in pages[0]
    assert "The last digit checks the others" in " ".join(pages[0].split())


def test_copies_of_a_slip_lie_side_by_side_and_practice_is_marked_on_each():
    (page,) = words(tag_sheet([Slip(code) for code in CODES[:4]], PRACTICE, Layout("a5", 2, 4, copies=2)))
    assert page.count(CODES[1]) == 2
    assert page.count("PRACTICE, no sample") == 8
    assert "PRACTICE tag slips" in page


def test_a_labs_own_codes_have_no_word_of_a_check_digit():
    heading = Heading("Tarrow", "Tarrow", practice=False, checked=False)
    assert "checks the others" not in " ".join(words(tag_sheet([Slip("K7-0012")], heading, Layout()))[0].split())


@pytest.mark.parametrize("layout", [Layout(), Layout("letter", 4, 12), Layout("a5", 2, 6, 2), Layout("a4", 1, 1)])
def test_nothing_stands_outside_the_paper(layout):
    width, height = PAGES[layout.page]
    for _, x, y, text in places(tag_sheet([Slip(code, "Amberwell Pond") for code in CODES], HEADING, layout)):
        assert 9 < x < width - 10, text
        assert 10 < y < height - 10, text


@pytest.mark.parametrize("layout", [Layout(columns=6), Layout(rows=14), Layout(columns=0), Layout(copies=9)])
def test_a_grid_that_leaves_no_room_is_refused(layout):
    with pytest.raises(PaperError, match=r"a slip needs 38 x 19|at least one column"):
        tag_sheet([Slip("01402")], HEADING, layout)


def test_a_code_is_drawn_as_the_standard_has_it():
    """The dark modules of the drawing are those of the code, each in its place."""
    content = PdfReader(BytesIO(tag_sheet([Slip("01402")], HEADING, Layout()))).pages[0].get_contents().get_data()
    drawn = [line.split()[:4] for line in content.decode("latin-1").splitlines() if line.endswith(" re f")]
    rows = [bytes(row) for row in segno.make("01402", error="m", micro=False).matrix]
    module = min(abs(float(box[3])) for box in drawn)
    assert round(sum(float(box[2]) for box in drawn) / module) == sum(row.count(1) for row in rows)
    top = max(float(box[1]) for box in drawn)
    assert len({round((top - float(box[1])) / module) for box in drawn}) == len([row for row in rows if any(row)])


# Cards


def test_a_card_has_the_word_the_number_every_word_and_the_cautions():
    (page,) = words(pocket_cards([CARD]))
    for text in ("The Early Herons of Tarrow", "JOIN LANTERN THISTLE 42", "+353 20 912 0007", "call 112", "DANGER"):
        assert text in page
    for caution in (
        "Nobody watches this number",
        "under 18 on the bank",
        "never with acids, vinegar or ammonia",
        "Permit",
    ):
        assert caution in " ".join(page.split())
    on_card = {word for words in CARD_WORDS for word in words.replace(",", "").split()} | {"DANGER", "SLOWER"}
    assert {word.name for word in WORDS} <= on_card


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_four_cards_share_a_page_and_none_crosses_a_cut(page):
    pdf = pocket_cards([CARD] * 5, page)
    assert len(words(pdf)) == 2
    width, height = PAGES[page]
    for _, x, y, text in places(pdf):
        assert min(abs(y - height / 2), height - y, y) > 4, text
        assert min(abs(x - width / 2), width - x, x) > 4, text


def test_a_practice_groups_card_says_so():
    card = Card(*[*vars(CARD).values()][:-1], practice=True)
    assert "Tarrow Basin Lakes Circle, PRACTICE" in words(pocket_cards([card]))[0]


def test_letters_the_type_lacks_are_question_marks_and_stop_nothing():
    assert printable("\N{GREEK CAPITAL LETTER DELTA} Müle") == "? Müle"
    card = Card(CARD.programme, "Group \N{GREEK CAPITAL LETTER OMEGA}", *[*vars(CARD).values()][2:])
    assert "Group ?" in words(pocket_cards([card]))[0]


def test_a_file_that_is_there_is_never_written_over(tmp_path):
    (tmp_path / "a.pdf").write_bytes(b"mine")
    (tmp_path / "b.pdf").symlink_to(tmp_path / "nowhere.pdf")
    for name in ("a.pdf", "b.pdf"):
        with pytest.raises(PaperError, match="is there already"):
            write_new(tmp_path / name, b"%PDF")
    assert (tmp_path / "a.pdf").read_bytes() == b"mine"
    assert not (tmp_path / "nowhere.pdf").exists()
