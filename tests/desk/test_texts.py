"""``desk texts``: what went out and what became of it, without showing whose phone it was."""

import json

import pytest

from guide.cli import main
from guide.desk.texts import last_digits
from guide.gateway.outbox import Outbox
from tests.conftest import START

NUMBER = "+447700900601"


@pytest.fixture
def desk(pond, tmp_path, capsys):
    """A record with five texts, one of each fate, and the command over it."""
    pond.converse("hello", "1", "y", "sunny", "3", number=NUMBER)
    outbox = Outbox(pond.exchange.store)
    texts = outbox.waiting()
    outbox.sent([texts[0].id, texts[1].id], START)
    outbox.report(texts[1].id, True, "", START)
    outbox.failed(texts[2], "given up after 24 h: no route", START)
    outbox.dropped([texts[3]], texts[-1], START)

    def said(*words):
        code = main(["desk", "texts", *words, "--db", str(tmp_path / "record.db")])
        out, err = capsys.readouterr()
        assert (code, err) == (0, "")
        return out

    return said


def test_each_text_is_listed_with_what_became_of_it(desk):
    lines = desk().splitlines()
    fates = [next(word for word in ("waiting", "sent", "delivered", "failed", "dropped") if f" {word} " in line)
             for line in lines[1:6]]  # fmt: skip
    assert fates == ["sent", "delivered", "failed", "dropped", "waiting"]
    assert "given up after 24 h: no route" in desk()
    assert lines[-1] == "in all: 1 waiting, 1 sent, 1 delivered, 1 failed, 1 dropped"


def test_only_what_failed_is_listed_if_asked(desk):
    (row,) = json.loads(desk("--failed", "--json"))
    assert (row["status"], row["why"]) == ("failed", "given up after 24 h: no route")
    assert row["at"] == "2026-07-04T09:03:00.000Z"
    assert row["seat"] == "A"


def test_numbers_are_shown_by_their_last_three_digits_unless_asked(desk):
    for shown in (desk(), desk("--json")):
        assert NUMBER not in shown
        assert "...601" in shown
    assert NUMBER in desk("--numbers")
    assert (last_digits("+353209120001"), last_digits("laptop")) == ("...001", "laptop")


def test_the_newest_are_shown_the_last_one_last(desk):
    assert [row["status"] for row in json.loads(desk("--most", "2", "--json"))] == ["dropped", "waiting"]


def test_a_record_without_texts_says_so(open_field, tmp_path, capsys):
    open_field("new.db")
    assert main(["desk", "texts", "--failed", "--db", str(tmp_path / "new.db")]) == 0
    assert capsys.readouterr().out == "No text was given up.\n"


def test_a_persons_words_reach_no_terminal_raw(pond, tmp_path, capsys):
    pond.text("hello", NUMBER)
    pond.db.execute("UPDATE outgoing SET text = ? || text", ("\x1b[2J\x07\n",))
    main(["desk", "texts", "--db", str(tmp_path / "record.db")])
    assert "\x1b" not in capsys.readouterr().out
