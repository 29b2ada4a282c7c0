"""``wadeline drill`` as people call it: in the first drill with two keys, errors in one line, the debrief kept."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from guide.cli import main


def drill(db: Path, *words: str) -> int:
    return main(["drill", *words, "--db", str(db)])


def typed(db: Path, keys: str, *words: str) -> str:
    """Runs the command in a process of its own with keys on its standard input."""
    command = [sys.executable, "-m", "guide.cli", "drill", *words, "--db", str(db)]
    done = subprocess.run(command, input=keys, capture_output=True, text=True, timeout=60, env={**os.environ})
    assert done.stderr == ""
    assert done.returncode == 0
    return done.stdout


def test_two_keys_lead_into_the_first_drill(tmp_path):
    said = typed(tmp_path / "record.db", "1\n")
    listed, _, played = said.partition("Which one?")
    assert "1  First larva" in listed
    assert "This is practice, nothing here counts. Real danger? Stop playing, call 112." in played
    assert "1 of 2. CLEAN: rinse" in played
    assert "ON THE SPOON: head at" in played
    assert "|''''+''''|" in played


def test_a_wrong_key_says_which_there_are(tmp_path):
    said = typed(tmp_path / "record.db", "x\n")
    assert "Type a key from 1 to 0; Ctrl-D leaves." in said


def test_pairs_take_the_laptop_in_turn(tmp_path):
    said = typed(tmp_path / "record.db", "\ny\n", "first_larva", "--pairs", "2", "--seed", "3")
    assert "Pair A, take the laptop. Round 1 of 2. Enter begins." in said
    assert "BOTH: read all, phone away." in said
    assert "DEBRIEF  First larva" in said
    assert "LEFT EARLY: 0 of 4 rounds were played to the end. This is about what was done." in said


def test_a_simulated_pair_says_that_it_is_one_and_leaves_no_record(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("WADELINE_DB", str(tmp_path / "record.db"))
    assert main(["drill", "first_larva", "--auto", "5", "--skill", "0.2"]) == 0
    assert capsys.readouterr().out.startswith("SIMULATED: a program played this, no people did. Skill 0.2, seed 5.")
    assert not (tmp_path / "record.db").exists()


def test_the_debrief_is_printed_again_and_kept_as_a_page(tmp_path, capsys):
    db, page = tmp_path / "record.db", tmp_path / "page.html"
    drill(db, "first_larva", "--auto", "5", "--skill", "0.2")
    first = capsys.readouterr().out
    assert drill(db, "--debrief", "1", "--page", str(page)) == 0
    assert capsys.readouterr().out.split("\nkept as")[0].strip() in first
    assert page.read_text("utf-8").startswith("<!doctype html>")


def test_every_point_is_explained(tmp_path, capsys):
    db = tmp_path / "record.db"
    drill(db, "tags_and_bags", "--auto", "5", "--skill", "0.2")
    capsys.readouterr()
    assert drill(db, "--explain") == 0
    said = capsys.readouterr().out
    right, of = map(int, re.findall(r"(\d+) of (\d+) right", said)[0])
    assert len(re.findall(r"^ +\d+ [+!] Pair A", said, re.MULTILINE)) == of
    assert len(re.findall(r"^ +\d+ \+ Pair A", said, re.MULTILINE)) == right


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("frist_larva", "--auto", "1"), "there is no drill frist_larva, did you mean first_larva"),
        (("--auto", "1", "--skill", "2"), "--skill takes 0 to 1"),
        (("--auto", "1", "--rounds", "99"), "--rounds takes 1 to 20"),
        (("--auto", "1", "--pairs", "0"), "a drill takes 1 to 12 pairs, not 0"),
        (("--group", "Mary Smith, Tom"), "no names of people"),
        (("--board", "--auto", "1"), "--board shows people who text"),
        (("--debrief",), "there is no drill in this record yet"),
        (("--board",), "there is no drill in this record yet"),
    ],
)
def test_what_can_not_be_is_one_line_on_standard_error(tmp_path, capsys, words, said):
    assert drill(tmp_path / "record.db", *words) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


def test_a_number_that_no_drill_has_names_those_there_are(tmp_path, capsys):
    db = tmp_path / "record.db"
    drill(db, "first_larva", "--auto", "5")
    assert drill(db, "--debrief", "7") == 2
    assert "there is no drill 7 in this record; the last ones are 1" in capsys.readouterr().err


def test_a_trainers_own_folder_of_drills_is_used(tmp_path, capsys):
    own = tmp_path / "own"
    own.mkdir()
    (own / "mine.toml").write_text(
        'title = "Mine"\nabout.en = "My own."\nminutes = 5\nbegin = "larva.look"\nlarvae = 1\nrounds = 1\ncome = []\n'
    )
    assert drill(tmp_path / "record.db", "--auto", "2", "--drills", str(own)) == 0
    assert "DEBRIEF  Mine" in capsys.readouterr().out
