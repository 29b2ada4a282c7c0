"""Drill files: those shipped are sound; a broken one is refused with file, line, surprise, reason and nearest name."""

import re
from pathlib import Path

import pytest

from guide.drill.book import drill_book
from guide.drill.check import check_drills
from guide.drill.load import SHARED, load_drills, shipped_drills
from guide.drill.model import DrillError
from guide.errors import FlowError
from guide.flow.model import FlowBook

DRILL = """title = "Try"
about.en = "A try."
minutes = 5
begin = "larva.look"
larvae = 2
come = ["drop"]

[surprise.drop]
say.en = "The spoon drops."
because.en = "Ground is dirty."
at = ["larva.look"]
who = "clean"
good = ["oops.renew"]
harmful = ["larva.bag"]
right = ["OOPS", "SPOON", "N"]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A trainer's own folder with one drill."""
    (tmp_path / "try.toml").write_text(DRILL, "utf-8")
    return tmp_path


def test_at_least_eight_drills_ship_and_every_surprise_of_theirs_is_good_or_harmful_as_it_says(book):
    assert len(load_drills(book)) >= 8
    assert check_drills(book) == []


def test_every_shared_surprise_is_in_some_drill(book):
    shared = set(re.findall(r"^\[(\w+)\]", (shipped_drills() / SHARED).read_text("utf-8"), re.MULTILINE))
    assert shared == {one.surprise.name for drill in load_drills(book) for one in drill.coming}


def test_a_trainers_own_folder_is_loaded_and_played(book, folder):
    assert check_drills(book, folder) == []


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('begin = "larva.look"', 'begin = "larva.lok"', "try.toml:4: begin: there is no step 'larva.lok'. Did you"),
        ('begin = "larva.look"', 'begin = "larva.next"', "larva.next says nothing, nobody ever stands at it"),
        ("larvae = 2\n", "", "a round never ends: give larvae = 3, or end = a step"),
        ("larvae = 2", "larva = 2", "unknown key 'larva'. Did you mean larvae?"),
        ("larvae = 2", 'larvae = "2"', "larvae must be a whole number, not '2'"),
        ('come = ["drop"]', 'come = ["dorp"]', "there is no surprise 'dorp'. Did you mean drop?"),
        ('come = ["drop"]', 'come = [{ name = "drop", chance = 2 }]', "chance is above 0 and at most 1"),
        ('good = ["oops.renew"]', 'good = ["oops.renw"]', "try.toml:13, step drop: a good or harmful answer: there"),
        ('good = ["oops.renew"]', 'good = ["OPS"]', "is no word that works anywhere and no step. Did you mean OOPS?"),
        ('good = ["oops.renew"]', 'good = ["larva.look = 12"]', "'12' is no answer to larva.look"),
        ('who = "clean"', 'who = "clear"', "who must be one of clean, dirty, both. Did you mean clean?"),
        ('because.en = "Ground is dirty."\n', "", "step drop: needs because"),
        ("The spoon drops.", "The spoon {drops}.", "there is no blank {drops} for a surprise"),
        ("The spoon drops.", "Thunder, far off.", "speaks of danger to people: it must have danger = true"),
        ('who = "clean"', 'who = "clean"\ndanger = true', "a surprise about danger can have only danger steps as good"),
        ("[surprise.drop]", "[surprise.drop", "is not TOML"),
        ("larvae = 2", '[before]\n"arrive.people" = "many"\n', "before: 'many' is no answer to arrive.people"),
    ],
)  # fmt: skip
def test_a_broken_file_is_refused_with_its_place_and_the_nearest_right_name(book, folder, old, new, words):
    text = DRILL.replace(old, new)
    if "[before]" in new:
        text = DRILL.replace("come", "larvae = 2\ncome").replace("larvae = 2\n", "", 1) + new
    (folder / "try.toml").write_text(text, "utf-8")
    with pytest.raises(FlowError, match=re.escape(words)):
        load_drills(book, folder)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("The spoon drops.", "x" * 160, "too many for one SMS"),
        ("Ground is dirty.", "Ground \u2013 dirty.", "is not in the SMS alphabet"),
        ('"N"]', '"Y"]', "its right texts (OOPS, SPOON, Y) are harmful, not good"),
        ('at = ["larva.look"]', 'at = ["disinfect.tub"]', "never comes at disinfect.tub"),
    ],
)
def test_the_check_tells_what_would_go_wrong_on_the_day(book, folder, old, new, words):
    (folder / "try.toml").write_text(DRILL.replace(old, new), "utf-8")
    assert any(words in problem for problem in check_drills(book, folder)), check_drills(book, folder)


def test_a_beginning_that_is_never_come_to_is_told(book, folder):
    (folder / "try.toml").write_text(DRILL.replace("larva.look", "oops.torn", 1), "utf-8")
    assert "never to oops.torn" in check_drills(book, folder)[0]


def test_a_drills_book_is_practice_whatever_the_programme_says(book, drills):
    for settings in ("practice = false", ""):
        text = re.sub(r"^practice\s*=.*$", settings, book.text, flags=re.MULTILINE)
        real = FlowBook("", text, book.flows, book.phrases, book.settings, book.kinds)
        assert drill_book(real, drills["storm_on_the_lake"]).settings.practice
        assert drill_book(real, drills["storm_on_the_lake"]).settings.target == 3


def test_flow_files_that_have_a_flow_of_that_name_are_refused(book, drills):
    twice = drill_book(book, drills["tags_and_bags"])
    with pytest.raises(DrillError, match=r"surprise\.toml of their own"):
        drill_book(twice, drills["tags_and_bags"])


def test_a_folder_of_ones_own_may_name_the_shipped_surprises(tmp_path: Path, book: FlowBook) -> None:
    (tmp_path / "mine.toml").write_text((shipped_drills() / "first_larva.toml").read_text("utf-8"), "utf-8")
    (drill,) = load_drills(book, tmp_path)
    assert [one.surprise.name for one in drill.coming] == ["hair", "spoon"]
