"""The film: readable on any terminal, at its pace, and left without a fuss."""

import io
from datetime import UTC, datetime

import pytest

import guide.replay.run as run
from guide.cli import main
from guide.replay.film import Film
from guide.replay.transcript import Beat, GuideLine, Remark, Transcript

AT = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)
BEAT = Beat(
    "text", AT, "pair", "ok 👍", guide=(GuideLine("DIRTY: how long? " * 12), GuideLine("ALL: well?", "second phone"))
)

REMARKS = (Remark("# What to notice:"), Remark("# the length."), Remark("#"), Remark("# And the tag."))
TRANSCRIPT = Transcript("A film", 1, AT, ("pair", "second phone"), False, (*REMARKS, BEAT))


def test_it_waits_before_each_text_but_the_first() -> None:
    waits: list[float] = []
    Film(TRANSCRIPT, io.TextIOWrapper(io.BytesIO(), "utf-8"), waits.append, 1.5).beat(BEAT)
    assert waits == [1.5, 1.5]


def test_a_dumb_terminal_gets_plain_letters_only(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, "ascii")
    Film(TRANSCRIPT, out, lambda seconds: None).beat(BEAT)
    lines = raw.getvalue().decode("ascii").split("\n")
    assert lines[:4] == ["A film", "# What to notice: the length.", "# And the tag.", "09:00 pair: ok ?"]
    assert lines[4].startswith("      guide: DIRTY: how long?")
    assert lines[-2] == "      guide to second phone: ALL: well?"
    assert max(map(len, lines)) < 60
    assert b"\x1b" not in raw.getvalue()


def test_ctrl_c_leaves_quietly(
    tmp_path: object, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stop(seconds: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(run.time, "sleep", stop)
    file = f"{tmp_path}/film.txt"
    with open(file, "w") as out:
        out.write("A film\nstart 2026-07-04T09:00Z\n09:00 pair: hello\n09:01 pair: 1\n")
    assert main(["replay", "--pace", "1", file]) == 130
    said = capsys.readouterr()
    assert said.out.startswith("A film")
    assert said.err == ""
