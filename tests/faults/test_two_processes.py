"""Two processes on one record, both under load: nothing acknowledged is lost, nothing is done twice."""

import json
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from guide.errors import RecordError
from guide.gateway.alone import hold_alone, hold_beside_pipes
from guide.gateway.pipe import Pipe
from guide.record.open import open_record
from guide.record.verify import verify
from tests.conftest import Field
from tests.faults.serving import WORDS, Line
from tests.faults.test_disk import is_one_sentence
from tests.gateway.scripted import START, PipeProcess, ScriptedPair

PHONES = 2
PIPE = (sys.executable, "-m", "guide.cli", "pipe")
PATIENCELESS = (
    sys.executable,
    "-c",
    "import sys, guide.record.open; guide.record.open.BUSY_MS = 50; from guide.cli import main; sys.exit(main())",
    "pipe",
)
"""A pipe that waits 50 ms for another's lock and not ten seconds."""


def play(db: Path, phones: range, sent: dict[str, list[dict[str, Any]]]) -> None:
    """One process with several pairs that text in turn, each a whole visit."""
    with PipeProcess(db) as pipe:
        pairs = [ScriptedPair(pipe, f"+{number}") for number in phones]
        going = list(pairs)
        while going:
            for pair in list(going):
                pair.text(pair.choose(pair.texts[-1]) if pair.texts else "hello")
                if pair.texts[-1]["expects"] is None:
                    going.remove(pair)
        for pair in pairs:
            sent[pair.number] = [line for way, line in pair.talk if way == "in"]


def test_pairs_of_two_processes_all_end_their_visits_and_the_record_is_whole(tmp_path: Path) -> None:
    db = tmp_path / "record.db"
    open_record(db).close()
    sent: dict[str, list[dict[str, Any]]] = {}
    workers = [threading.Thread(target=play, args=(db, range(first, first + PHONES), sent)) for first in (100, 200)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    connection = open_record(db)
    assert len(sent) == 2 * PHONES
    for number, lines in sent.items():
        sql = "SELECT ext_id, raw FROM turn JOIN phone ON phone.id = turn.phone WHERE number = ? ORDER BY turn.id"
        assert list(connection.execute(sql, (number,))) == [(line["id"], line["text"]) for line in lines]
    (tags, different) = connection.execute("SELECT count(tag), count(DISTINCT tag) FROM sample").fetchone()
    assert tags == different == 2 * PHONES * 12
    assert list(connection.execute("SELECT DISTINCT status FROM visit")) == [("closed",)]
    assert verify(connection).problems == []
    connection.close()


def test_the_same_text_given_to_two_processes_at_once_is_worked_once(tmp_path: Path) -> None:
    db = tmp_path / "record.db"
    with PipeProcess(db) as one, PipeProcess(db) as other:
        for pipe in (one, other):  # one that starts hands over what waits, in the other's hands or not
            pipe.send({"id": "up", "tick": START.isoformat()})
        for number in range(1, 31):
            line = {"id": f"m{number}", "from": "+100", "text": "ok", "at": START.isoformat()}
            for pipe in (one, other):
                assert pipe.process.stdin is not None
                pipe.process.stdin.write(json.dumps(line).encode() + b"\n")
                pipe.process.stdin.flush()
            answers = [answers_to(pipe, line["id"]) for pipe in (one, other)]
            assert answers[0] == answers[1] != []
    connection = open_record(db)
    assert connection.execute("SELECT count(*) FROM turn WHERE gateway = 'line'").fetchone() == (30,)
    assert verify(connection).problems == []
    connection.close()


def answers_to(pipe: PipeProcess, ext_id: str) -> list[str]:
    """The texts that a process answers to a message id, up to its ``handled``."""
    assert pipe.process.stdout is not None
    got: list[str] = []
    while True:
        out = json.loads(pipe.process.stdout.readline())
        if out.get("handled") == ext_id:
            return got
        if out.get("in_reply_to") == ext_id:
            got.append(out["text"])


def test_a_timer_that_two_processes_find_due_fires_once(open_field: Any) -> None:
    pond: Field = open_field()
    pond.until("net.spot")
    (due,) = pond.rows("SELECT min(due_at) FROM timer WHERE fired_turn IS NULL")[0]
    other: Field = open_field()
    found = other.exchange.store.next_timer()
    assert found is not None
    other.exchange.store.next_timer = stale_once(other, found)  # type: ignore[method-assign]
    until = found[3]
    assert pond.exchange.fire_next(until) is not None
    assert other.exchange.fire_next(until) == []
    assert pond.rows("SELECT count(*) FROM turn WHERE gateway = 'timer' AND received_at = ?", due) == [(1,)]
    pond.whole()


def test_a_text_in_the_hands_of_another_pipe_is_not_handed_over_twice(open_field: Any) -> None:
    """It is only taken for left behind when it still waits a second later."""
    one, other = open_field(), open_field()
    outs: dict[str, list[bytes]] = {"one": [], "other": []}
    pipes = {
        name: Pipe(field.exchange, outs[name].append, lambda: START) for name, field in (("one", one), ("other", other))
    }
    pipes["one"].take(b'{"id": "m1", "from": "+100", "text": "hi", "at": "2026-07-04T09:00:00Z"}')
    pipes["other"]._look_for_others()
    assert outs["other"] == []
    pipes["one"]._mark()
    pipes["other"]._look_for_others()
    assert outs["other"] == []
    pipes["one"].take(b'{"id": "m2", "from": "+100", "text": "where", "at": "2026-07-04T09:01:00Z"}')
    pipes["other"]._look_for_others()
    pipes["other"]._look_for_others()
    assert len(outs["other"]) == 1


def stale_once(field: Field, found: Any) -> Any:
    """A look at the timers that is older, once, than what another process has done since."""
    look = field.exchange.store.next_timer
    looks = iter([lambda: found])
    return lambda: next(looks, look)()


def test_a_pipe_and_a_server_never_carry_the_same_texts(tmp_path: Path) -> None:
    """What the one has in hand waits in the record, where the other would find it; pipes know each other's."""
    line = Line(tmp_path / "day")
    with PipeProcess(line.record) as one, PipeProcess(line.record):
        one.send({"id": "m1", "from": "+100", "text": "hello", "at": START.isoformat()})
        done = subprocess.run(line.command(), capture_output=True, timeout=30)
        assert is_one_sentence(done), done.stderr
        assert b"or a pipe, carries its texts; end it first" in done.stderr
    line.start()
    try:
        done = subprocess.run([*PIPE, "--db", str(line.record)], input=b"", capture_output=True, timeout=30)
        assert is_one_sentence(done), done.stderr
        assert done.stdout == b""
        assert line.end(signal.SIGKILL) == -signal.SIGKILL
        with PipeProcess(line.record) as pipe:
            assert pipe.send({"id": "m2", "from": "+100", "text": "where"})[-1] == {"handled": "m2"}
    finally:
        line.close()


@pytest.mark.parametrize("broken", ["a folder", "no lock of ours"])
def test_a_lock_that_cannot_be_used_is_named_in_one_sentence(tmp_path: Path, broken: str) -> None:
    lock = tmp_path / "record.db-carried"
    if broken == "a folder":
        lock.mkdir()
    else:
        lock.write_text("no database, but long enough to be read as one " * 50)
    for hold in (hold_alone, hold_beside_pipes):
        with pytest.raises(RecordError, match=r"its lock .*record\.db-carried can't be used: "):
            hold(tmp_path / "record.db")


def test_a_lock_that_this_user_cannot_write_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite would open it for reading, and then two servers hold it at once."""
    monkeypatch.setattr("os.access", lambda path, _: not str(path).endswith("-carried"))
    for hold in (hold_alone, hold_beside_pipes):
        with pytest.raises(RecordError, match=r"can't write its lock .*record\.db-carried"):
            hold(tmp_path / "record.db")


@pytest.mark.parametrize("command", ["pipe", "serve"])
def test_who_is_refused_changes_nothing_in_the_record(tmp_path: Path, command: str) -> None:
    """Neither another programme, its tags and log, nor the version that a server works with is written."""
    line = Line(tmp_path / "day")
    programme = line.folder / "programme.toml"
    programme.write_text(programme.read_text().replace("Lakes Circle", "Upper Lakes"))
    before = sqlite3.connect(line.record)
    books = before.execute("SELECT count(*) FROM flow_book").fetchone()
    words = [*PIPE, "--db", str(line.record), "--programme", str(programme)] if command == "pipe" else line.command()
    with closing(hold_alone(line.record)):
        done = subprocess.run(words, input=b"", capture_output=True, timeout=30)
    assert is_one_sentence(done), done.stderr
    assert before.execute("SELECT count(*) FROM flow_book").fetchone() == books
    before.close()


def test_a_pipe_whose_record_cannot_be_made_leaves_no_lock(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "bad.toml").write_text("code = ")
    for more in (
        ["--db", str(tmp_path / "file" / "r.db")],
        ["--db", str(tmp_path / "r.db"), "--programme", "bad.toml"],
    ):
        assert subprocess.run([*PIPE, *more], cwd=tmp_path, input=b"", capture_output=True, timeout=30).returncode == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.toml", "file"]


def test_a_second_server_on_a_record_is_refused_and_a_killed_one_leaves_no_lock(tmp_path: Path) -> None:
    """Both would hand each text that waits to their gateway."""
    first = Line(tmp_path / "first")
    second = Line(tmp_path / "second", first.folder)
    first.start()
    try:
        done = subprocess.run(second.command(), capture_output=True, timeout=30)
        assert is_one_sentence(done), done.stderr
        assert b"another wadeline serve" in done.stderr
        first.bring("+447700900101", f"JOIN {WORDS[0]}", "1")
        first.end(signal.SIGKILL)
        second.start()
        second.bring("+447700900102", f"JOIN {WORDS[1]}", "2")
        assert second.end(signal.SIGTERM) == 0
    finally:
        first.close()
        second.close()


def test_a_record_that_is_locked_for_long_is_one_error_line_and_the_text_can_be_sent_again(tmp_path: Path) -> None:
    db = tmp_path / "record.db"
    line = {"id": "m1", "from": "+100", "text": "hello", "at": START.isoformat()}
    with PipeProcess(db, command=PATIENCELESS) as pipe:
        pipe.send(line)
        lock = sqlite3.connect(db, isolation_level=None)
        lock.execute("BEGIN IMMEDIATE")
        (error,) = pipe.send({**line, "id": "m2"})
        lock.execute("ROLLBACK")
        lock.close()
        assert error == {"error": "database is locked", "line": 2}
        assert pipe.send({**line, "id": "m2"})[-1] == {"handled": "m2"}
    connection = open_record(db)
    assert connection.execute("SELECT count(*) FROM turn WHERE gateway = 'line'").fetchone() == (2,)
    assert verify(connection).problems == []
    connection.close()
