"""The pipe's promises: JSON lines in and out, doubles, time, lines that can't be used, what any text may do."""

import itertools
import json
import sqlite3
import unicodedata
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from guide.gateway.pipe import Pipe
from guide.record.verify import verify
from guide.talk.sms import segments
from tests.gateway.scripted import PipeProcess, ScriptedPair

RECORDS = itertools.count()
PACES = ("COACH", "STEADY", "BRISK")


def pace_chooser(pace):
    return lambda last: pace if pace in last["options"] else last["options"][0]


@pytest.fixture
def lines(open_field):
    """A pipe in this process: give it a line, get the lines it prints."""
    printed = []
    pond = open_field()
    pipe = Pipe(pond.exchange, lambda data: printed.extend(data.splitlines()), lambda: pond.now)

    def send(line):
        printed.clear()
        pipe.line += 1
        pipe.take(line if isinstance(line, bytes) else json.dumps(line).encode())
        return [json.loads(one) for one in printed]

    send.pond = pond
    return send


@pytest.mark.parametrize("pace", PACES)
def test_a_pair_that_knows_only_expects_and_options_finishes_a_visit(tmp_path, pace):
    db = tmp_path / "record.db"
    with PipeProcess(db) as pipe:
        pair = ScriptedPair(pipe, choose=pace_chooser(pace))
        pair.play()
    connection = sqlite3.connect(db)
    samples = connection.execute("SELECT tag FROM sample WHERE status = 'kept' ORDER BY tag").fetchall()
    used = connection.execute("SELECT code FROM tag WHERE status = 'used' ORDER BY code").fetchall()
    told = connection.execute("SELECT count(*) FROM log WHERE kind = 'kept'").fetchone()
    assert len(samples) == 12
    assert samples == used
    assert told == (12,)
    assert connection.execute("SELECT status FROM visit").fetchall() == [("closed",)]
    assert verify(connection).problems == []
    connection.close()
    assert all(out["segments"] == segments(out["text"]) == 1 for out in pair.texts)


def texts_a_sample(pair, pace):
    """Texts in plus out of each sample wholly told at a pace: from the prompt for it to the one for the next."""
    first = {"COACH": "larva.look", "STEADY": "larva.steady", "BRISK": "larva.brisk"}[pace]
    counts, count, told = [], 0, False
    for way, one in pair.talk:
        count += 1
        if way == "in":
            continue
        if one["step"] in (first, "close.out"):
            counts += [count] if told else []
            count, told = 0, one["step"] == first
        elif one["step"] == "larva.pace" or not one["step"].startswith("larva."):
            told = False
    return counts


@pytest.mark.parametrize(("pace", "most"), [("COACH", 14), ("STEADY", 4), ("BRISK", 2)])
def test_a_sample_takes_few_texts(tmp_path, pace, most):
    with PipeProcess(tmp_path / "record.db") as pipe:
        pair = ScriptedPair(pipe, choose=pace_chooser(pace))
        pair.play()
    counts = texts_a_sample(pair, pace)
    assert len(counts) >= 9
    assert max(counts) <= most


@pytest.mark.parametrize("site", ["amberwell", "quill"])
def test_the_first_larva_comes_after_at_most_sixteen_texts(tmp_path, site):
    with PipeProcess(tmp_path / "record.db") as pipe:
        pair = ScriptedPair(pipe, choose=pace_chooser(site))
        pair.text("hello")
        while pair.texts[-1]["step"] != "larva.look":
            pair.text(pair.choose(pair.texts[-1]))
    assert pair.sent <= 16


def test_a_text_is_answered_with_its_step_kind_and_options(lines):
    text, handled = lines({"id": "a", "from": "+1", "text": "hello", "at": "2026-07-04T09:00:00Z"})
    assert text["to"] == "+1"
    assert (text["in_reply_to"], text["step"], text["expects"]) == ("a", "arrive.site", "choice")
    assert text["options"][0] == "amberwell"
    assert handled == {"handled": "a"}


def test_the_same_id_again_repeats_the_answers_and_changes_nothing(lines):
    line = {"id": "a", "from": "+1", "text": "hello", "at": "2026-07-04T09:00:00Z"}
    first = lines(line)
    before = lines.pond.rows("SELECT count(*) FROM log")
    assert lines(line) == first
    assert lines.pond.rows("SELECT count(*) FROM log") == before


def test_the_same_id_with_other_words_is_an_error_line(lines):
    lines({"id": "a", "from": "+1", "text": "hello"})
    (error,) = lines({"id": "a", "from": "+1", "text": "other"})
    assert error["line"] == 2
    assert "other words" in error["error"]


def test_the_same_id_from_another_phone_is_another_text(lines):
    lines({"id": "a", "from": "+1", "text": "hello"})
    assert lines({"id": "a", "from": "+2", "text": "hello"})[0]["to"] == "+2"


@pytest.mark.parametrize(
    "raw",
    [
        b"{",
        b"[]",
        b'"hi"',
        b"\xff\xfe",
        b'{"text": "hi"}',
        b'{"from": "", "text": "hi"}',
        b'{"from": "+1", "text": 3}',
        b'{"from": "+1", "text": "hi", "at": "noon"}',
        b'{"tick": null}',
        b"[" * 5000,
        b'{"from": "+1", "text": "' + b"x" * 70_000 + b'"}',
    ],
)
def test_a_line_that_cannot_be_used_is_said_and_the_next_is_read(lines, raw):
    (error,) = lines(raw)
    assert set(error) == {"error", "line"}
    assert lines({"id": "a", "from": "+1", "text": "hello"})[-1] == {"handled": "a"}


def test_a_tick_fires_timers_in_order_each_at_its_own_time(lines):
    at = "2026-07-04T09:00:00Z"
    for number, word in enumerate(["hi", "1", "y", "sunny", "3", "0", "y"]):
        lines({"id": str(number), "from": "+1", "text": word, "at": at})
    lines({"id": "x", "from": "+1", "text": "ok", "at": at})
    text, handled = lines({"tick": "2026-07-04T11:00:00Z"})
    assert (text["step"], text["in_reply_to"], handled) == ("storm.clear", None, {"handled": None})
    assert lines.pond.rows("SELECT received_at FROM turn WHERE gateway = 'timer'") == [("2026-07-04T09:30:00.000Z",)]


def test_time_never_goes_back_and_at_is_kept(lines):
    lines({"id": "a", "from": "+1", "text": "hi", "at": "2026-07-04T10:00:00Z"})
    lines({"id": "b", "from": "+1", "text": "1", "at": "2026-07-04T09:00:00+01:00"})
    assert lines.pond.rows("SELECT sent_at, received_at FROM turn WHERE ext_id = 'b'") == [
        ("2026-07-04T09:00:00+01:00", "2026-07-04T10:00:00.000Z")
    ]


def test_lone_surrogates_become_replacement_characters(lines):
    lines(b'{"id": "a", "from": "+1", "text": "hi \\ud800"}')
    assert lines.pond.rows("SELECT raw FROM turn") == [("hi \ufffd",)]


def test_on_a_lossy_line_a_bare_ok_again_is_read_back_once(tmp_path):
    with PipeProcess(tmp_path / "record.db", ("--lossy",)) as pipe:
        pair = ScriptedPair(pipe)
        pair.text("hello")
        while pair.texts[-1]["step"] != "larva.outer":
            pair.text(pair.choose(pair.texts[-1]))
        steps = []
        for number in range(3):
            at = (pair.now + timedelta(seconds=5 * number)).isoformat()
            got = pipe.send({"id": f"ok{number}", "from": "+100", "text": "ok", "at": at})
            steps.append(got[0]["step"])
            if number == 1:
                assert got[0]["text"].startswith("Got OK already.")
    assert steps == ["larva.look", "larva.look", "larva.bag"]


NASTY = st.one_of(
    st.text(max_size=200),
    st.text(alphabet=st.characters(categories=["Cc", "Cf", "Cs", "So", "Lo"]), max_size=60),
    st.sampled_from(["\x1b[2J\x1b]0;x\x07", "\x00", "x" * 10_000, "\u202eabc", "👍🏽", "'; DROP TABLE log; --", "{n}"]),
    st.text(alphabet="0123456789 ;:.,-'\"#", max_size=30),
    st.from_regex(r"(FIX|NOTE|OOPS|DANGER|JOIN|DESK|BACK|GO|WHERE|\?)[ :]?.{0,20}", fullmatch=True),
)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(NASTY, min_size=1, max_size=6), st.sampled_from(["arrive.site", "larva.measure", "larva.tag"]))
@example(["\x1b[31m27\x1b[0m"], "larva.measure")
def test_any_text_leaves_a_whole_record_and_safe_answers(open_field, texts, step):
    pond = open_field(f"{next(RECORDS)}.db")
    pond.until(step)
    for text in texts:
        pond.text(text.encode("utf-16", "surrogatepass").decode("utf-16", "replace"))
    pond.whole()
    for out in pond.last["+100"]:
        assert not any(unicodedata.category(char) in ("Cc", "Cf", "Cs") for char in out.text.replace("\n", ""))
        assert out.segments <= 2
