"""A broken flow file is refused with file, line, step, reason and the nearest right name; an edit serves new visits."""

import subprocess
import sys

import pytest

from guide.errors import FlowError, SettingsError
from guide.flow.check import check_book
from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.machine import Conversation, TalkMachine
from guide.flow.model import FlowBook
from guide.flow.replies.kinds import KINDS
from guide.talk.blanks import REGISTRY

TEXT = book_text(shipped_flows())


def edited(old: str, new: str) -> str:
    """The shipped flow book with one thing changed."""
    assert TEXT.count(old) >= 1, old
    return TEXT.replace(old, new, 1)


def load(text: str) -> FlowBook:
    return load_book(text, REGISTRY, KINDS)


@pytest.mark.parametrize(
    ("old", "new", "step", "reason", "nearest"),
    [
        ('do = ["seal"], go = "measure"', 'do = ["seal"], go = "mesure"', "larva.bag", "is no step", "measure"),
        ('do = ["seal"]', 'do = ["seel"]', "larva.bag", "no effect 'seel'", "seal"),
        ('if = ["queue_waiting"]', 'if = ["queue_wating"]', "larva.next", "no condition", "queue_waiting"),
        (
            'kind = "length"\nleast = 8\nmost = 60\nabout',
            'kind = "lenght"\nleast = 8\nmost = 60\nabout',
            "larva.measure",
            "no reply kind 'lenght'",
            "length",
        ),
        ("Got {length} mm.", "Got {lenght} mm.", "larva.name", "no blank {lenght}", "length"),
        ('call = "family"', 'call = "famly"', "larva.name", "no called flow", "family"),
        ('on = "MOVE"', 'on = "MOOVE"', "larva.look", "waits for 'MOOVE'", "MOVE"),
        ('then = [{ do = ["seal"], go = "measure" }]', "", "larva.bag", "a dead end", ""),
        ('save = "length_mm"', 'saves = "length_mm"', "larva.measure", "unknown key 'saves'", "save"),
        ("Got {length} mm.", "Got {length mm.", "larva.name", "stray brace", ""),
        ('about = "sample"', 'about = "sampel"', "larva.measure", "must be one of", "sample"),
    ],
)
def test_a_broken_step_is_refused_with_where_why_and_what_was_meant(old, new, step, reason, nearest):
    with pytest.raises(FlowError) as refused:
        load(edited(old, new))
    error = refused.value
    assert (error.step, error.nearest) == (step, nearest)
    assert reason in str(error)
    assert error.file == "larva.toml"
    lines = (shipped_flows() / "larva.toml").read_text().splitlines()
    assert lines[error.line - 1] == f"[{step.split('.')[1]}]"


def test_a_file_that_is_not_toml_is_refused_by_name():
    with pytest.raises(FlowError, match=r"net\.toml: is not TOML"):
        load(edited('title = "Netting"', 'title = "Netting'))


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("target = 12 ", "target = 0 ", "at least 1"),
        ("target = 12 ", 'target = "12" ', "whole number"),
        ("target = 12 ", "goal = 12 ", "no setting 'goal'"),
        ('code = "tarrow"', "", "code"),
        ("practice = true ", 'practice = "yes" ', "true or false"),
        ('bottle = "acid"', 'bottle = "glass"', "acid, preserved, empty"),
        ('zone = "Europe/Dublin"', 'zone = "Europe/Nowhere"', "is no time zone"),
        ("receiving_days = [1, 2, 3, 4, 5]", "receiving_days = [1, 8]", "1 .Monday. to 7"),
    ],
)
def test_a_wrong_setting_is_refused_by_name(old, new, reason):
    with pytest.raises(SettingsError, match=reason):
        load(edited(old, new))


def test_the_shipped_book_has_no_problem(book):
    assert check_book(book).problems == []


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ("seals. Then text OK.", "seals. Then text OK, but only when you are really sure.", "too many for 1 SMS"),
        ("back alive.", "back alive \u2764.", "not in the SMS alphabet"),
        ("Tray empty? MOVE", "[Tray empty] {site}{site}{site} MOVE", "too many for 1 SMS"),
        ("BOTH: read all, phone away.", "Read all, phone away.", "doesn't say who acts"),
        ('name = "Sallow Fen"', 'name = "Sallow Fen and the meadows behind it"', "20 at most"),
        ('{ on = "NO", go = "unclean" }', '{ on = "NO", go = "seen" }', "no branch leads to this step"),
    ],
)
def test_flow_check_finds_what_would_not_fit_or_not_be_reached(old, new, problem):
    problems = check_book(load(edited(old, new))).problems
    assert any(problem in one for one in problems)


def test_the_command_fails_on_an_edited_copy_that_is_too_long(tmp_path):
    for path in shipped_flows().glob("*.toml"):
        (tmp_path / path.name).write_text(path.read_text())
    larva = tmp_path / "larva.toml"
    larva.write_text(larva.read_text().replace("Then text OK.", "Then text OK. " * 5))
    command = [sys.executable, "-m", "guide.cli", "flow", "check", "--flows", str(tmp_path)]
    checked = subprocess.run(command, capture_output=True, text=True, check=False)
    assert checked.returncode == 1
    assert "larva.toml, step larva.bag" in checked.stdout


def test_a_visit_keeps_the_book_it_began_with(open_field):
    pond = open_field()
    pond.until("larva.look")
    new = load(edited("CLEAN: rinse gloves", "CLEAN: wash gloves"))
    later = open_field(flow_book=new)
    later.now = pond.now
    assert "rinse gloves" in later.text("go")[0]
    other = later.until("larva.look", "+200")
    assert "wash gloves" in other[0]


def test_an_unknown_stored_state_is_refused(book):
    machine = TalkMachine(book, REGISTRY)
    with pytest.raises(ValueError, match=r"larva\.nowhere"):
        machine.move(Conversation(None), "larva.nowhere", "done")


def test_every_reply_kind_is_used_or_ready(book):
    used = {step.kind for step in book.steps.values()}
    assert {"done", "yes_no", "choice", "count", "length", "distance", "family", "tag", "sample", "text"} <= used
