"""``desk tags sheet`` and ``desk card`` from the record: what is printed, and what can't be."""

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.desk.set_up_world import Desk

GROUPS = "code,name,word,site,people\nG1,The Early Herons,,quill,6\nG2,Basin School,owlnest,,14\n"


def page(path: Path) -> str:
    return str(PdfReader(path).pages[0].extract_text())


def printed(desk: Desk, *words: str) -> str:
    to = desk.folder / "out.pdf"
    desk.said(*words[:2] if words[0] == "tags" else words[:1], str(to), *words[2 if words[0] == "tags" else 1 :])
    return page(to)


def test_the_sheet_holds_free_tags_alone_of_a_site_if_asked(circle):
    circle.said("tags", "assign", "01402", "01444", "--site", "quill")
    circle.said("tags", "void", "01415", "--reason", "torn")
    sheet = printed(circle, "tags", "sheet", "--site", "quill")
    assert re.findall(r"\b0\d{4}\b", sheet.split("page 1 of 1")[1]) == ["01402", "01428", "01431", "01444"]
    assert sheet.count("Quill Brook") == 4


def test_the_sheet_goes_from_one_tag_to_another(circle):
    sheet = printed(circle, "tags", "sheet", "--first", "01428", "--last", "01444")
    assert re.findall(r"\b0\d{4}\b", sheet.split("page 1 of 1")[1]) == ["01428", "01431", "01444"]


def test_cards_are_one_a_group_or_four_of_one(circle):
    circle.said("groups", circle.file("groups.csv", GROUPS))
    both = printed(circle, "card", "--number", "+353 20 912 0007")
    assert "The Early Herons" in both
    assert "JOIN OWLNEST" in both
    assert re.search(r"JOIN [A-Z]+ \d\d\d", both)
    circle.said("card", str(circle.folder / "four.pdf"), "--number", "+353209120007", "--group", "g2")
    four = page(circle.folder / "four.pdf")
    assert (four.count("Basin School"), four.count("+353 20 912 0007")) == (4, 4)


@pytest.mark.parametrize(
    ("words", "error"),
    [
        (("tags", "sheet", "{to}", "--site", "nowhere"), "there is no site 'nowhere'; the programme has amberwell"),
        (("tags", "sheet", "{to}", "--site", "quill"), "there is no free tag to print"),
        (("tags", "sheet", "{to}", "--columns", "9"), "a slip needs 38 x 19"),
        (("tags", "sheet", "{to}", "--practice"), "there is no free tag to print"),
        (("card", "{to}", "--number", "+353 20 912 0007"), "there are no groups: desk groups FILE"),
        (("card", "{to}", "--number", "12", "--group", "G9"), "there are no groups"),
        (("tags", "sheet", "{folder}"), "is there already"),
    ],
)
def test_what_cant_be_printed_is_said_and_no_file_is_made(circle, words, error):
    to = circle.folder / "out.pdf"
    named = [word.format(to=to, folder=circle.folder) for word in words]
    assert error in circle.refused(*named)
    assert not to.exists()


def test_a_wrong_number_is_on_no_card(circle):
    circle.said("groups", circle.file("groups.csv", GROUPS))
    assert "is no phone number" in circle.refused("card", str(circle.folder / "c.pdf"), "--number", "020 912 0007")
    assert "there is no group 'G9': G1, G2" in circle.refused(
        "card", str(circle.folder / "c.pdf"), "--number", "+353 20 912 0007", "--group", "G9"
    )
