"""``desk tags``: made with check digits, loaded from the lab's list, given to sites, void, counted; and in the talk."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guide.cli import main
from guide.field.tags import is_valid
from guide.flow.replies.lab_code import LONGEST_CODE, is_code
from tests.desk.set_up_world import REAL, texting
from tests.flow.reading import taken

LAB = REAL.replace("count = 60", "count = 0").replace("width = 5", "width = 5\ncheck = false")


@pytest.fixture
def lab(desk):
    """A record whose tags are the lab's own list."""
    desk.said("programme", desk.file("lab.toml", LAB))
    return desk


def test_tags_are_made_behind_the_highest_of_either_pool_with_check_digits(circle):
    made = circle.told("tags", "make", "20")["tags"]
    practice = circle.told("tags", "make", "5", "--practice")["tags"]
    more = circle.told("tags", "make", "1", "--site", "quill")["tags"]
    assert (made[0], len(made), len(practice)) == ("02008", 20, 5)
    assert all(is_valid(code) for code in (*made, *practice, *more))
    assert made[-1] < practice[0] < practice[-1] < more[0]
    assert circle.rows("SELECT site, practice FROM tag WHERE code = ?", more[0]) == [("quill", 0)]
    circle.whole()


def test_tags_that_were_there_before_are_told_when_more_are_made(circle):
    said = circle.said("tags", "make", "20")
    assert said.startswith("20 tags made: 02008 to ")
    assert "60 tags were there before, 60 of them free, 01402 to 01994 (the programme's file makes its own" in said
    assert "Only the new on paper: desk tags sheet TO --first 02008." in said
    assert "80 real (80 free), 0 for practice (0 free)" in circle.said("programme")


def test_the_first_tags_are_made_without_a_word_about_others(desk):
    desk.said("programme", desk.file("none.toml", REAL.replace("count = 60", "count = 0")))
    assert desk.said("tags", "make", "20", "--first", "300").count("\n") == 1


def test_practice_and_real_tags_are_counted_apart(circle):
    circle.said("tags", "make", "5", "--practice")
    assert circle.told("tags", "list", "--practice") == [
        {"site": "any", "first": "02008", "last": "02043", "tags": 5, "free": 5, "used": 0, "void": 0}
    ]
    assert circle.told("tags", "list")[0]["tags"] == 60


@pytest.mark.parametrize(
    ("words", "error"),
    [
        (("make", "5", "--first", "150"), "01509 and 4 more are in the pool already"),
        (("make", "5", "--first", "9998"), "don't fit 5 digits"),
        (("make", "0"), "0 tags can't be made at once"),
        (("make", "5", "--site", "nowhere"), "there is no site 'nowhere'"),
        (("assign", "01402", "09999"), "09999 is not in the pool of real tags"),
        (("assign", "01402", "01415", "--practice"), "not in the pool of practice tags"),
        (("assign", "01415", "01402", "--site", "quill"), "there is no free tag from 01415 to 01402"),
        (("void", "01402", "02008", "--reason", "wet"), "02008 is not in the pool"),
        (("void", "01402", "--reason", " "), "a reason is needed"),
    ],
)
def test_what_cant_be_done_with_tags_is_said_and_changes_nothing(circle, words, error):
    assert error in circle.refused("tags", *words)


def test_void_tags_are_void_with_a_reason_kept_apart_from_the_log(circle):
    assert circle.said("tags", "void", "01402", "01415", "--reason", "fell in") == "2 tags void: 01402 to 01415\n"
    assert circle.told("tags", "list")[0]["void"] == 2
    assert circle.rows("SELECT text FROM words") == [("Wren",), ("fell in",)]
    assert "fell in" not in str(circle.rows("SELECT data FROM log"))
    assert "is void already" in circle.refused("tags", "void", "01402", "--reason", "again")
    circle.whole()


def test_the_labs_list_is_refused_by_row_where_a_code_would_be_taken_for_something_else(lab):
    codes = ["27", "darner", "stop", "where", "K7-001", "k7-001", "K7-OO1", "ABCDEF", "K7-0000001", "27mm", ""]
    error = lab.refused("tags", "load", lab.file("list.txt", "\n".join(codes)))
    for found in (
        "row 1: '27' can't be loaded: it reads as a length, 27 mm",
        "row 2: 'DARNER' can't be loaded: it reads as a family, Aeshnidae",
        "row 3: 'STOP' can't be loaded: it is a carrier's word",
        "row 4: 'WHERE' can't be loaded: it is a word that works anywhere",
        "row 6: 'K7-001' can't be loaded: it reads like K7-001 in row 5",
        "row 7: 'K7-OO1' can't be loaded: it reads like K7-001 in row 5",
        "row 8: 'ABCDEF' can't be loaded: a tag has 2 to 8 letters, digits",
        "row 9: 'K7-0000001' can't be loaded",
        "row 10: '27MM' can't be loaded: it reads as a length",
    ):
        assert found in error, error
    assert "row 5" not in error.replace("in row 5", "")


def test_a_list_with_sites_is_loaded_whole_and_twice_is_refused(lab):
    file = lab.file("list.csv", "tag,site\nK7-001,quill\nk7-002,\n004455,quill\n")
    lab.said("tags", "load", file)
    assert lab.rows("SELECT code, site FROM tag ORDER BY code") == [
        ("004455", "quill"),
        ("K7-001", "quill"),
        ("K7-002", None),
    ]
    assert lab.refused("tags", "load", file).count("is in the pool already") == 3
    assert "site 'mars' is none of" in lab.refused("tags", "load", lab.file("b.csv", "tag,site\nK7-003,mars\n"))
    assert "the lab's own list" in lab.refused("tags", "make", "5")
    lab.whole()


def test_a_programme_with_check_digits_says_once_how_to_take_a_labs_list(circle):
    error = circle.refused("tags", "load", circle.file("list.txt", "K7-001\nK7-002\n"))
    assert "set check = false and count = 0 under [tags]" in error
    assert error.count("row") == 0
    assert "row 2: '02009' can't be loaded" in circle.refused("tags", "load", circle.file("b.txt", "02008\n02009\n"))
    assert circle.told("tags", "load", circle.file("c.txt", "02008\n02019\n"))["tags"] == ["02008", "02019"]


def test_a_visit_takes_the_labs_own_codes_from_first_larva_to_brisk(lab):
    lab.said("tags", "load", lab.file("list.txt", "\n".join(f"K7-{n:03}" for n in range(1, 30))))
    pond = texting(lab)
    asked = pond.until("larva.tag")[0]
    assert "Text its code, as it is printed." in asked
    assert pond.text("tag k7-099")[0].startswith("K7-099 is not one of our tags")
    assert "Got tag K7-003" in pond.text("it's K7-003 thanks")[0]
    pond.text("ok")
    assert "K7-003 is on another sample" in (pond.until("larva.tag") and pond.text("K7-003"))[0]
    pond.converse("K7-004", "ok")
    said = pond.text("27 darner k7-005; K7-006 31 skimmer")
    assert said[0].startswith("Kept 2, that makes 4.")
    assert pond.rows("SELECT tag, length_mm FROM sample WHERE status = 'kept' ORDER BY tag")[2:] == [
        ("K7-005", 27.0),
        ("K7-006", 31.0),
    ]
    pond.text("FIX K7-005 tag K7-010")
    assert ("K7-010",) in pond.rows("SELECT tag FROM sample")
    pond.whole()
    pond.db.close()


def test_a_slip_of_another_water_is_kept_flagged_and_said(circle):
    circle.said("tags", "assign", "01402", "01444", "--site", "quill")
    circle.said("tags", "assign", "01453", "01466", "--site", "amberwell")
    pond = texting(circle)
    pond.text("hi")
    pond.text("amberwell")
    pond.until("larva.tag")
    assert pond.last["+100"][-1].options[0] == "01453"
    assert "from the slips of another water. Kept, and flagged." in pond.text("01402")[0]
    pond.text("ok")
    assert pond.rows("SELECT flag FROM sample_flag") == [("tag_of_other_site",)]
    pond.text("FIX 01402 tag 01453")
    assert pond.rows("SELECT flag FROM sample_flag") == []
    pond.until("larva.tag")
    assert "another water" not in pond.text("01477")[0]
    pond.whole()
    pond.db.close()


def test_a_tag_on_a_sample_is_made_void_with_the_sample_only(circle):
    pond = texting(circle)
    pond.until("larva.tag")
    pond.converse("01428", "ok")
    pond.db.close()
    assert "01428 is on a sample" in circle.refused("tags", "void", "01428", "--reason", "wet")
    each = {row["tag"]: row for row in circle.told("tags", "list", "--each")}
    assert (each["01428"]["status"], each["01428"]["on"], each["01428"]["at"]) == ("used", "larva", "amberwell")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.from_regex(r"[A-Z0-9][A-Z0-9./-]{0,8}", fullmatch=True), st.integers(8, 60))
def test_whatever_code_the_desk_takes_the_talk_reads_back(code, length_mm):
    if is_code(code):
        assert len(code) <= LONGEST_CODE
        assert taken("tag", f"tag {code.lower()}", tag_check=False) == ("sure", code)
        for text in (f"{length_mm} darner {code}", f"{code} {length_mm} mm darner"):
            value = {"length_mm": length_mm, "family": "Aeshnidae", "tag": code}
            assert taken("sample", text, tag_check=False) == ("sure", value)


def test_the_help_of_tags_names_its_commands(capsys):
    with pytest.raises(SystemExit):
        main(["desk", "tags", "--help"])
    said = capsys.readouterr().out
    assert all(word in said for word in ("make", "load", "assign", "void", "list", "sheet"))
