"""kill -9 of the pipe at any moment, then start again and send the last line again: nothing is lost or doubled."""

import itertools
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from guide.record.open import open_record
from guide.record.verify import verify
from tests.gateway.scripted import START, PipeProcess, ScriptedPair

RANDOM_KILLS = 200
STREAM_KILLS = 12
PLACES = ("before_commit", "before_output", "before_handled")
SEED = ("--seed", "3")
CRASHING = Path(__file__).with_name("crashing_pipe.py")


def record_of(db: Path) -> dict[str, list[Any]]:
    """All that must be the same with and without crashes; hashes and the machine's uid differ by record."""
    with sqlite3.connect(db) as connection:
        (uid,) = connection.execute("SELECT uid FROM origin").fetchone()
        rows = {
            name: [json.loads(json.dumps(row).replace(uid, "HERE")) for row in connection.execute(sql)]
            for name, sql in {
                "samples": "SELECT uid, tag, length_mm, family, gloves, pace, status, opened_at, iced_at FROM sample",
                "tags": "SELECT code, status, sample FROM tag WHERE status != 'free'",
                "log": "SELECT stream, seq, at, kind, step, sample_uid FROM log WHERE stream != 'desk' ORDER BY seq",
                "turns": "SELECT raw, seat FROM turn WHERE gateway = 'line' ORDER BY id",
                "texts": "SELECT text FROM outgoing WHERE text NOT LIKE '%mark%' ORDER BY id",
            }.items()
        }
    connection.close()
    return rows


def line_of(number: int, words: str) -> dict[str, Any]:
    """The number-th text of the pair, at its time."""
    at = START + timedelta(seconds=40 * number)
    return {"id": f"m{number}", "from": "+100", "text": words, "at": at.isoformat()}


@pytest.fixture(scope="module")
def smooth(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[str], dict[str, list[Any]]]:
    """The words of a whole visit and the record it leaves when nothing goes wrong."""
    db = tmp_path_factory.mktemp("smooth") / "record.db"
    with PipeProcess(db, SEED) as pipe:
        pair = ScriptedPair(pipe)
        pair.play()
    words = [line["text"] for way, line in pair.talk if way == "in"]
    return words, record_of(db)


def check(db: Path, smooth_record: dict[str, list[Any]]) -> None:
    """The record is the one of a visit without crashes, and whole."""
    got = record_of(db)
    for name, rows in smooth_record.items():
        assert got[name] == rows, name
    connection = open_record(db)
    assert verify(connection).problems == []
    connection.close()


def test_two_hundred_kills_at_random_moments(tmp_path, smooth):
    words, smooth_record = smooth
    moments = random.Random(11)
    kills = visits = 0
    while kills < RANDOM_KILLS:
        visits += 1
        db = tmp_path / f"record{visits}.db"
        lines = [line_of(number, text) for number, text in enumerate(words, 1)]
        kill_while_working(db, [], lines[0], moments.uniform(0, 0.2))
        for line, following in itertools.pairwise(lines):
            if kills < RANDOM_KILLS:
                kill_while_working(db, [line], following, moments.expovariate(1 / 0.001))
                kills += 1
        with PipeProcess(db, SEED) as pipe:
            for line in lines:
                pipe.send(line)
        check(db, smooth_record)


def kill_while_working(db: Path, again: list[dict[str, Any]], line: dict[str, Any], after_s: float) -> None:
    """Sends the last line again as one does after a crash, then a new one, and kills a moment later."""
    with PipeProcess(db, SEED) as pipe:
        for last in again:
            assert pipe.send(last)[-1] == {"handled": last["id"]}
        assert pipe.process.stdin is not None
        pipe.process.stdin.write(json.dumps(line).encode() + b"\n")
        pipe.process.stdin.flush()
        time.sleep(after_s)
        os.kill(pipe.process.pid, signal.SIGKILL)
        pipe.process.wait()


def test_kills_while_lines_stream_in_faster_than_they_are_handled(tmp_path, smooth):
    """All that isn't known to be handled is sent again after each kill, and a few lines more."""
    words, smooth_record = smooth
    moments = random.Random(17)
    lines = [json.dumps(line_of(number, text)).encode() + b"\n" for number, text in enumerate(words, 1)]
    kills = days = 0
    while kills < STREAM_KILLS:
        days += 1
        db, handled, patience = tmp_path / f"record{days}.db", 0, 1
        while handled < len(lines):
            first = max(handled - 3, 0)
            out = stream(db, b"".join(lines[first:]), moments.uniform(0.05, 0.25) * patience)
            whole = out[: out.rfind(b"\n") + 1].splitlines()
            ids = [json.loads(line)["handled"] for line in whole if b'"handled"' in line]
            assert ids == [f"m{first + place}" for place in range(1, len(ids) + 1)]
            handled = max(handled, first + len(ids))
            kills += handled < len(lines)
            patience = 1 if ids else patience + 1  # a machine too busy to start within a moment gets longer
        check(db, smooth_record)


def stream(db: Path, given: bytes, after_s: float) -> bytes:
    """Gives a pipe many lines at once and kills it a moment later; returns what it put out."""
    command = [sys.executable, "-m", "guide.cli", "pipe", "--db", str(db), *SEED]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    killer = threading.Timer(after_s, process.kill)
    killer.start()
    out, _ = process.communicate(given)
    killer.cancel()
    assert process.returncode in (0, -signal.SIGKILL)
    return out


@pytest.mark.parametrize("place", PLACES)
def test_twenty_kills_at_each_placed_moment(tmp_path, smooth, place):
    words, smooth_record = smooth
    db = tmp_path / "record.db"
    command = (sys.executable, str(CRASHING), place, "pipe")
    crashed = 0
    for number, text in enumerate(words, 1):
        line = line_of(number, text)
        if number % 4 == 0 and crashed < 20:
            pipe = PipeProcess(db, SEED, command)
            with pipe, pytest.raises(EOFError):
                pipe.send(line)
            assert pipe.process.returncode == -signal.SIGKILL
            crashed += 1
        with PipeProcess(db, SEED) as pipe:
            got = pipe.send(line)
            assert got[-1] == {"handled": line["id"]}
            assert any(one.get("in_reply_to") == line["id"] for one in got)
    assert crashed == 20
    check(db, smooth_record)


def test_a_committed_text_that_was_not_handed_over_is_handed_over_at_the_next_start(tmp_path):
    db = tmp_path / "record.db"
    command = (sys.executable, str(CRASHING), "before_output", "pipe")
    with PipeProcess(db, SEED, command) as pipe, pytest.raises(EOFError):
        pipe.send(line_of(1, "hello"))
    again = subprocess.run(
        [sys.executable, "-m", "guide.cli", "pipe", "--db", str(db)], input=b"", capture_output=True, check=True
    )
    (out,) = [json.loads(line) for line in again.stdout.splitlines()]
    assert out["in_reply_to"] == "m1"
    assert out["step"] == "arrive.site"
