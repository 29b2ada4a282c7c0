"""kill -9 of ``wadeline serve`` at any moment, with texts and answers under way: nothing is lost, and what is doubled
is named.

What is promised. A text that was acknowledged is in the record, once. An answer is handed to the gateway at least once,
and once more only if the kill fell between the gateway's taking it and the note of that: an answer that is noted as
sent never goes out again, and at most as many as may be under way at once are doubled by one kill.

More kills, by hand: WADELINE_KILLS=300 python -m pytest tests/faults/test_kill_serve.py -k random -s
"""

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest

from guide.cli import open_exchange
from guide.gateway.door import Door
from guide.gateway.exchange import TextIn
from guide.gateway.sender import SendRules
from guide.record.verify import verify, verify_log
from tests.faults.crashing_serve import PLACES
from tests.faults.serving import NOTER_WORD, TARGET, WORDS, Line, Phone
from tests.gateway.kannel import wait_for

KILLS = int(os.environ.get("WADELINE_KILLS", "20"))
PAIRS = tuple(f"+4477009001{number:02}" for number in range(4))
NOTER = "+447700900150"
LANES = 2
"""A gateway may bring several texts of one phone at once."""

AT_ONCE = SendRules().at_once
CRASHING = str(Path(__file__).with_name("crashing_serve.py"))


@pytest.fixture
def lines() -> Iterator[list[Line]]:
    """Lines that are closed at the end."""
    opened: list[Line] = []
    yield opened
    for line in opened:
        line.close()


def whole_log(db: sqlite3.Connection) -> list[str]:
    """What is wrong with the file and the chains of a record."""
    damage = [word for (word,) in db.execute("PRAGMA quick_check") if word != "ok"]
    return damage + verify_log(db).problems


class Crowd:
    """Pairs of two groups that play whole visits side by side, and a phone that notes without waiting for answers."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.failed: list[BaseException] = []
        self.phones = [Phone(line, number) for number in PAIRS]
        line.bring(NOTER, f"JOIN {NOTER_WORD}", "0-0")
        works = [partial(phone.play, WORDS[place % len(WORDS)]) for place, phone in enumerate(self.phones)]
        works += [partial(self._note, lane) for lane in range(LANES)]
        self._threads = [threading.Thread(target=self._watched, args=(work,)) for work in works]
        for thread in self._threads:
            thread.start()

    def _watched(self, work: Callable[[], None]) -> None:
        try:
            work()
        except BaseException as error:
            self.failed.append(error)

    @property
    def plays(self) -> bool:
        """Whether a pair's visit goes on still."""
        return any(phone.asks for phone in self.phones) and not self.failed

    def _note(self, lane: int) -> None:
        """Notes one after the other; every fifth is brought a second time, as if its acknowledgement had been lost."""
        number = 0
        while self.plays:
            number += 1
            for _ in range(1 + (number % 5 == 0)):
                self.line.bring(NOTER, f"NOTE {lane} count {number}", f"{lane}-{number}")
            time.sleep(0.02)

    def end(self) -> None:
        """Waits until all visits have ended and all answers are with the gateway."""
        for thread in self._threads:
            thread.join(100)
        assert not self.failed, self.failed
        assert not any(thread.is_alive() for thread in self._threads)
        wait_for(self.line.is_settled, 30, "the last answer")


def end_now(line: Line, how: signal.Signals) -> None:
    """Ends the server, holds what it left against what was acknowledged, and starts it again."""
    acknowledged = set(line.acknowledged)
    with line.looking:
        code = line.end(how)
        left = line.look(whole_log)
        line.start()
    assert code == (0 if how == signal.SIGTERM else -signal.SIGKILL)
    assert left.problems == []
    assert len(left.texts_in) == len(set(left.texts_in))
    assert acknowledged <= set(left.texts_in)


def doubled_as_promised(line: Line) -> int:
    """Holds how often each text was handed over against what the record said at each kill; returns the doubles."""
    counts = line.gateway.counts
    may_double = dict.fromkeys(counts, 0)
    for left in line.left:
        for text_id in left.those("sent", "dropped", "failed"):
            assert counts[text_id] == left.handed[text_id], f"t{text_id} was noted as sent, and sent again"
        again = [one for one in left.those("waiting") if left.handed[one] and counts[one] > left.handed[one]]
        assert len(again) <= AT_ONCE
        for text_id in left.those("waiting"):
            may_double[text_id] = may_double.get(text_id, 0) + 1
    assert all(count <= 1 + may_double[text_id] for text_id, count in counts.items())
    return sum(counts.values()) - len(counts)


def all_is_well(line: Line) -> None:
    """Every text is in once, every answer went out as it was written, visits are closed, samples and tags agree."""
    with closing(sqlite3.connect(line.record, isolation_level=None)) as db:
        texts = "SELECT number, ext_id, raw FROM turn JOIN phone ON phone.id = phone WHERE ext_id IS NOT NULL"
        assert sorted(db.execute(texts)) == sorted((*which, words) for which, words in line.brought.items())
        for number in PAIRS:
            ids = "SELECT ext_id FROM turn JOIN phone ON phone.id = phone WHERE number = ? ORDER BY turn.id"
            told = [ext_id for (ext_id,) in db.execute(ids, (number,))]
            assert told == [f"{number[-3:]}-{place}" for place in range(1, len(told) + 1)]
        out = "SELECT outgoing.id, number, text FROM outgoing JOIN phone ON phone.id = outgoing.phone"
        assert set(line.gateway.handed) == set(db.execute(out))
        assert list(db.execute("SELECT DISTINCT status FROM outgoing")) == [("sent",)]
        visits = "SELECT status, count(*) FROM visit GROUP BY 1"
        assert list(db.execute(visits)) == [("closed", len(WORDS)), ("open", 1)], "the noter never begins"
        used = "SELECT code FROM tag WHERE status = 'used' ORDER BY code"
        kept = "SELECT tag FROM sample WHERE status = 'kept' AND kind = 'larva' ORDER BY tag"
        assert list(db.execute(used)) == list(db.execute(kept))
        assert list(db.execute("SELECT 1 FROM sample GROUP BY tag HAVING count(*) > 1 AND tag IS NOT NULL")) == []
        each = "SELECT count(*) FROM sample WHERE status = 'kept' AND kind = 'larva' GROUP BY visit"
        assert all(TARGET <= count <= TARGET + 1 for (count,) in db.execute(each)), (
            "the other pair may have one in hand"
        )
        noted = "SELECT count(*), count(DISTINCT text) FROM words WHERE text LIKE '% count %'"
        notes = len({words for words in line.brought.values() if words.startswith("NOTE")})
        assert list(db.execute(noted)) == [(notes, notes)]
        assert verify(db).problems == []
    assert "Traceback" not in line.log


def test_kills_at_random_moments_lose_nothing_and_double_what_was_in_the_gateways_hands(
    tmp_path: Path, lines: list[Line]
) -> None:
    moments = random.Random(23)
    kills = doubles = texts = answers = 0
    while kills < KILLS:
        line = Line(tmp_path / f"day{len(lines)}")
        lines.append(line)
        line.gateway.refuses_every = 7
        line.start()
        crowd = Crowd(line)
        while crowd.plays and kills < KILLS:
            time.sleep(moments.uniform(0, 0.15))
            end_now(line, signal.SIGKILL)
            kills += 1
        crowd.end()
        assert line.end(signal.SIGTERM) == 0
        doubles += doubled_as_promised(line)
        all_is_well(line)
        texts, answers = texts + len(line.brought), answers + len(line.gateway.counts)
    print(f"{kills} kills, {texts} texts in, {answers} answers, {doubles} of them handed over twice")


def test_an_end_under_load_loses_and_doubles_nothing(tmp_path: Path, lines: list[Line]) -> None:
    line = Line(tmp_path / "day")
    lines.append(line)
    line.start()
    crowd = Crowd(line)
    for _ in range(2):
        line.gateway.slow_s = 0.5
        time.sleep(0.1)
        end_now(line, signal.SIGTERM)
        line.gateway.slow_s = 0.0
    crowd.end()
    assert line.end(signal.SIGTERM) == 0
    assert doubled_as_promised(line) == 0
    all_is_well(line)


def test_the_desk_writes_beside_a_server_under_load_and_its_words_go_out_once(
    tmp_path: Path, lines: list[Line]
) -> None:
    line = Line(tmp_path / "day")
    lines.append(line)
    line.start()
    crowd = Crowd(line)
    for number in range(3):
        for words in (["say", NOTER_WORD, f"tell us about spot {number}"], ["backup", str(tmp_path / f"{number}.db")]):
            command = [sys.executable, "-m", "guide.cli", "desk", *words, "--db", str(line.record)]
            done = subprocess.run(command, capture_output=True, timeout=60)
            assert done.returncode == 0, done.stderr
    crowd.end()
    assert line.end(signal.SIGTERM) == 0
    for number in range(3):
        (told,) = [text for _, _, text in line.gateway.handed if f"spot {number}" in text]
        assert told == f"From the coordinator: tell us about spot {number}"
        with closing(sqlite3.connect(tmp_path / f"{number}.db", isolation_level=None)) as db:
            assert verify(db).problems == []
    assert doubled_as_promised(line) == 0
    all_is_well(line)


@pytest.mark.parametrize("place", PLACES)
def test_a_kill_at_a_placed_moment_doubles_an_answer_only_between_handing_over_and_note(
    tmp_path: Path, lines: list[Line], place: str
) -> None:
    line = Line(tmp_path / "day")
    lines.append(line)
    join_before_the_day(line)
    line.start(sys.executable, CRASHING, place, "2")
    last = text_until_it_dies(line)
    left = line.look(whole_log)
    assert left.problems == []
    assert (last in left.texts_in) == (place != "before_commit")
    assert len(left.those("waiting")) == (place in ("before_answer", "before_handing", "before_note"))
    in_hand = {one for one in left.those("waiting") if left.handed[one]}
    assert len(in_hand) == (place == "before_note")
    line.start()
    line.bring(PAIRS[0], line.brought[last], last[1])
    wait_for(line.is_settled, 10, "the last answer")
    assert line.end(signal.SIGTERM) == 0
    counts = line.gateway.counts
    assert {one for one, count in counts.items() if count > 1} == in_hand
    assert max(counts.values()) == (2 if in_hand else 1)
    with closing(sqlite3.connect(line.record, isolation_level=None)) as db:
        texts = "SELECT ext_id, raw FROM turn WHERE ext_id LIKE 'm%' ORDER BY id"
        assert list(db.execute(texts)) == [(ext_id, words) for (_, ext_id), words in line.brought.items()]
        assert verify(db).problems == []


def join_before_the_day(line: Line) -> None:
    """The pair has its seat, and the two texts that answer JOIN, before anything falls over."""
    exchange = open_exchange(line.how, door=Door())
    texts = exchange.receive(TextIn(PAIRS[0], f"JOIN {WORDS[0]}", "join", None, "number"), datetime.now(UTC))
    with exchange.store.transaction():
        exchange.store.handed_over([text.id for text in texts])
    exchange.store.db.close()


def text_until_it_dies(line: Line) -> tuple[str, str]:
    """The pair answers what it is asked, text by text, until the server is dead; returns the last text.

    Its next text waits until the answer to the last is noted, so that each moment has one text alone.
    """
    while True:
        wait_for(lambda: line.server.poll() is not None or line.is_settled(), 10, "the answer, or the end")
        if line.server.poll() is None:
            ((options,),) = line.rows("SELECT options FROM outgoing WHERE step IS NOT NULL ORDER BY id DESC LIMIT 1")
            line.bring_once(PAIRS[0], json.loads(options)[0], f"m{len(line.brought)}")
        if line.refused or line.server.poll() is not None:
            assert line.server.wait(10) == -signal.SIGKILL
            return list(line.brought)[-1]
