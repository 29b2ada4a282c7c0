"""``wadeline flow try``: a line for people, JSON lines for machines, and every sentence said fits an SMS."""

import json
import os
import subprocess
import sys
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guide.flow.attempt import attempt
from guide.flow.replies.kinds import KINDS
from guide.talk.sms import septets
from tests.flow.reading import NOW, asked


def run(*args: str, given: bytes = b"", **env: str) -> "subprocess.CompletedProcess[bytes]":
    command = [sys.executable, "-m", "guide.cli", "flow", "try", *args]
    return subprocess.run(command, input=given, capture_output=True, check=False, timeout=60, env={**os.environ, **env})


def lines(*args: str, given: bytes) -> list[dict[str, Any]]:
    done = run(*args, given=given)
    assert (done.returncode, done.stderr) == (0, b"")
    return [json.loads(line) for line in done.stdout.decode("utf-8").splitlines()]


def test_each_line_in_is_a_json_line_out_whatever_its_bytes():
    given = "27 mm\n\n2.7\r\nfish\n\x00\x1b[2J\n👍\n".encode() + b"\xff\xfe 27\n" + b"9" * 10_000 + b"\nno newline"
    found = lines("length", given=given)
    assert [list(one) for one in found] == [["text", "read", "sure", "say"]] * 9
    assert [one["read"] for one in found] == [27, None, 27, None, None, None, None, None, None]
    assert [one["sure"] for one in found] == [True] + [False] * 8
    assert all(one["say"] for one in found[1:])
    assert found[2]["text"] == "2.7"
    assert found[5]["text"] == "👍"
    assert found[6]["text"] == "\ufffd\ufffd 27"


def test_no_line_in_is_no_line_out():
    assert lines("tag", given=b"") == []


def test_values_are_stored_as_the_record_stores_them():
    table = {
        "length": ("2.7 cm", 27),
        "duration": ("1m30s", 90),
        "temperature": ("64 F", 17.8),
        "time": ("2.30 pm", "14:30"),
        "date": ("4 July 2026", "2026-07-04"),
        "done": ("k", True),
        "yes_no": ("nope", False),
        "tag": ("#01428", "01428"),
        "family": ("darner", "Aeshnidae"),
        "sample": ("01428 27 darner", {"tag": "01428", "length_mm": 27, "family": "Aeshnidae"}),
    }
    for kind, (text, value) in table.items():
        assert lines(kind, given=text.encode()) == [{"text": text, "read": value, "sure": True, "say": ""}]


def test_a_steps_bounds_options_and_fields_hold():
    found = lines("length", "--step", "larva.measure", given=b"27\n61\n7\n")
    assert [(one["read"], one["sure"]) for one in found] == [(27, True), (61, False), (7, False)]
    found = lines("choice", "--step", "arrive.site", given=b"2\nquill\nsalow\nQuill Brook or Sallow Fen\nmars\n")
    assert [(one["read"], one["sure"]) for one in found] == [
        ("quill", True), ("quill", True), ("sallow", False), ("quill", False), (None, False)
    ]  # fmt: skip
    found = lines("yes_no", "--step", "larva.look", given=b"y\nmove on\nmvoe\nfish\n")
    assert [(one["read"], one["sure"]) for one in found] == [
        (True, True), ("MOVE", True), ("MOVE", False), (None, False)
    ]  # fmt: skip
    found = lines("sample", "--step", "larva.steady", given=b"27 darner\n27\n")
    assert [one["read"] for one in found] == [{"length_mm": 27, "family": "Aeshnidae"}, None]


def test_people_get_a_few_plain_lines():
    assert run("length", "27mm").stdout == b"read: 27\nsure: true\n"
    asked_back = run("length", "2.7").stdout.decode().splitlines()
    assert asked_back[:2] == ["read: 27", "sure: false"]
    assert asked_back[2].startswith("say:  2.7: is that in cm")
    unclear = run("length", "fish").stdout.decode().splitlines()
    assert unclear[:2] == ["read: null", "sure: false"]
    assert "fish" in unclear[2]
    assert "27" in unclear[2]


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_exits_with_0(kind):
    assert run(kind, "fish").returncode == 0


def test_a_terminal_that_cant_show_a_letter_gets_a_question_mark():
    done = run("text", "é👍", PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stdout) == (0, b'read: "??"\nsure: true\n')
    done = run("text", given="é".encode(), PYTHONIOENCODING="ascii")
    assert json.loads(done.stdout)["read"] == "é"


def test_an_unknown_kind_names_the_kinds_and_the_nearest():
    done = run("lenght", "27")
    assert done.returncode == 2
    message = done.stderr.decode()
    assert "did you mean 'length'?" in message
    assert all(kind in message for kind in KINDS)


def test_an_unknown_step_names_the_nearest():
    done = run("length", "27", "--step", "larva.mesure")
    assert done.returncode == 2
    assert b"did you mean 'larva.measure'?" in done.stderr
    done = run("length", "27", "--step", "qqq")
    assert b"such as larva.measure" in done.stderr


SAYING = (asked(now=NOW), asked(now=NOW, least=1, most=5), asked(now=NOW, fields=("length_mm", "family"), tag_width=8))
PIECES = "27 2.7 270 cm mm milimeters darner skimer cord 01428 1428 or ; \n \x1b 4/7 mon 2 pm both no yse € [ 👍".split(
    " "
)


@pytest.mark.parametrize("kind", sorted(KINDS))
@given(text=st.text(max_size=200) | st.lists(st.sampled_from(PIECES), max_size=8).map(" ".join))
@settings(max_examples=60)
def test_what_is_said_is_one_plain_sms(book, kind, text):
    for step in (*SAYING, book.steps["arrive.site"].asked, book.steps["oops.what"].asked):
        shown = attempt(book, kind, text, step)
        assert bool(shown["say"]) is not shown["sure"]
        assert shown["say"].isprintable()
        count = septets(shown["say"])
        assert count is not None
        assert count <= 160
