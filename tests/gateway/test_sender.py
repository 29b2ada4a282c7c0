"""Texts out through an outage, at a clock that jumps: in order per phone, with back-off, and nothing stale."""

import asyncio
import itertools
import json
import selectors
import sqlite3
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guide.gateway.outbox import Outbox, Waiting
from guide.gateway.sender import Handed, Sender, SendRules, stale_of
from guide.record.store import TextOut
from tests.conftest import START, Field

PAIR, OTHER, DESK = "+447700900301", "+447700900302", "+447700900303"
NUMBERS = itertools.count()


class JumpingLoop(asyncio.SelectorEventLoop):
    """An event loop whose time jumps to the next thing due: an hour passes in no time."""

    def __init__(self) -> None:
        super().__init__(_NoWait(self))
        self.passed_s = 0.0

    def time(self) -> float:
        return self.passed_s


class _NoWait(selectors.DefaultSelector):
    def __init__(self, loop: JumpingLoop) -> None:
        super().__init__()
        self.loop = loop

    def select(self, timeout=None):
        self.loop.passed_s += max(timeout or 0.0, 0.0)
        return super().select(0)


@dataclass
class InMemory:
    """A carrier that keeps what it took; while ``down`` it takes nothing, ``never`` are numbers it refuses."""

    clock: object = None
    down: bool = False
    never: tuple[str, ...] = ()
    taken: list[Waiting] = field(default_factory=list)
    asked: list[tuple[datetime, int]] = field(default_factory=list)

    async def hand(self, text: Waiting) -> Handed:
        self.asked.append((self.clock(), text.id))
        await asyncio.sleep(0.05)
        if text.number in self.never:
            return Handed("never", "the number is wrong")
        if self.down:
            return Handed("later", "no route")
        self.taken.append(text)
        return Handed("taken")

    async def close(self) -> None:
        """Nothing is held."""

    def texts(self, number: str) -> list[str]:
        return [text.text for text in self.taken if text.number == number]


class Line:
    """A record, a carrier and a sender over both, at the loop's time."""

    def __init__(self, pond: Field, rules: SendRules | None = None) -> None:
        self.pond, self.loop = pond, JumpingLoop()
        self.start = pond.now
        self.carrier = InMemory(self.clock)
        self.outbox = Outbox(pond.exchange.store)
        self.rules = rules or SendRules(poll_s=5)
        self.open()

    def open(self) -> None:
        """A sender as a new process has it: it knows nothing but the record."""
        self.sender = Sender(self.outbox, self.carrier, self.clock, Random(3), self.rules)

    def clock(self) -> datetime:
        return self.start + timedelta(seconds=self.loop.time())

    def text(self, words: str, number: str = PAIR) -> None:
        """A phone texts now."""
        self.pond.now = self.clock()
        self.pond.text(words, number, minutes=0)
        self.sender.wake()

    def run(self, minutes: float) -> None:
        """The sender works for so long, then ends as it does at a clean stop."""

        async def work() -> None:
            task = asyncio.create_task(self.sender.run())
            await asyncio.sleep(minutes * 60)
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

        self.loop.run_until_complete(work())

    def close(self) -> None:
        self.loop.run_until_complete(self.sender.close())
        self.loop.close()

    def statuses(self) -> Counter:
        return Counter(row[0] for row in self.pond.rows("SELECT status FROM outgoing"))


@pytest.fixture
def line(pond):
    one = Line(pond)
    yield one
    one.close()
    pond.whole()


def test_texts_go_out_in_order_and_are_sent_in_the_record(line):
    for words in ("hello", "1", "y"):
        line.text(words)
    line.run(1)
    ids = [text.id for text in line.carrier.taken]
    assert ids == sorted(ids)
    assert len(ids) == 3
    assert line.statuses() == {"sent": 3}


def test_after_an_hours_outage_only_the_newest_prompt_and_the_news_go_out(line):
    pond = line.pond
    pond.until("larva.look", PAIR)
    pond.text(f"JOIN {pond.rows('SELECT word FROM visit')[0][0]}", OTHER)
    with pond.exchange.store.transaction():
        pond.exchange.store.handed_over([text_id for (text_id,) in pond.rows("SELECT id FROM outgoing")])
    line.start = pond.now
    line.carrier.down = True
    for words in ("?", "oops", "DANGER", "2"):
        line.text(words)
        line.run(10)
    line.text("2")
    line.run(20)
    line.carrier.down = False
    line.run(6)
    newest = pond.rows("SELECT text FROM outgoing WHERE turn = (SELECT max(id) FROM turn WHERE raw = '2')")
    assert line.carrier.texts(PAIR) == [text for (text,) in newest]
    (news,) = line.carrier.texts(OTHER)
    assert news.startswith("ALL: danger called by pair A")
    dropped = [text_id for (text_id,) in pond.rows("SELECT id FROM outgoing WHERE status = 'dropped' ORDER BY id")]
    told = [json.loads(data) for (data,) in pond.rows("SELECT data FROM log WHERE kind = 'not_sent'")]
    assert sorted(text_id for entry in told for text_id in entry["texts"]) == dropped
    assert len(dropped) == 4
    assert line.statuses()["waiting"] == 0


def test_a_text_that_grew_stale_while_it_waited_to_be_tried_again_is_not_sent(line):
    line.carrier.down = True
    line.text("hello")
    line.run(20)
    line.text("1")
    line.run(0.1)
    line.carrier.down = False
    line.run(6)
    newest = line.pond.rows("SELECT text FROM outgoing WHERE turn = (SELECT max(id) FROM turn WHERE raw = '1')")
    assert line.carrier.texts(PAIR) == [text for (text,) in newest]
    assert line.statuses()["dropped"] == 1


def test_after_a_restart_the_newest_prompt_does_not_wait_for_a_stale_one(line):
    line.carrier.down = True
    line.text("hello")
    line.run(20)
    line.loop.run_until_complete(line.sender.close(0))
    (retry_at,) = line.pond.rows("SELECT retry_at FROM outgoing")[0]
    assert datetime.fromisoformat(retry_at) > line.clock() + timedelta(seconds=10)
    line.carrier.down = False
    line.text("1")
    line.open()
    line.run(0.1)
    assert line.statuses() == {"dropped": 1, "sent": 1}


def test_news_of_others_and_confirmations_are_never_stale(line):
    pond = line.pond
    with pond.exchange.store.transaction():
        phone = pond.exchange.store.phone(DESK)
        turn = pond.exchange.store.add_turn(gateway="number", received_at="2026-07-04T09:00:00.000Z", raw="x")
        for words in ("alarm one", "alarm two"):
            out = TextOut(0, turn, DESK, words, 1, None, None, ())
            pond.exchange.store.add_text(phone.id, None, out, line.clock())
    line.carrier.down = True
    line.run(60)
    line.carrier.down = False
    line.run(6)
    assert line.carrier.texts(DESK) == ["alarm one", "alarm two"]


def test_the_wait_between_tries_grows_with_jitter_up_to_its_longest(line):
    line.carrier.down = True
    line.text("hello")
    line.run(60)
    times = [at for at, _ in line.carrier.asked]
    waits = [(after - before).total_seconds() for before, after in itertools.pairwise(times)]
    wanted = [min(2.0 * 2**tries, 300.0) for tries in range(len(waits))]
    for wait_s, most_s in zip(waits, wanted, strict=True):
        assert most_s * 0.5 <= wait_s <= most_s + 0.2
    assert len({round(wait_s / most_s, 3) for wait_s, most_s in zip(waits, wanted, strict=True)}) > len(waits) // 2
    assert len(times) < 30


def test_a_restart_goes_on_with_the_same_back_off(line):
    line.carrier.down = True
    line.text("hello")
    line.run(30)
    tries = line.pond.rows("SELECT tries FROM outgoing")[0][0]
    line.loop.run_until_complete(line.sender.close(0))
    line.open()
    asked = len(line.carrier.asked)
    line.run(0.2)
    assert len(line.carrier.asked) - asked <= 1
    line.run(6)
    assert line.pond.rows("SELECT tries FROM outgoing")[0][0] > tries


def test_a_text_past_its_time_ends_as_a_named_failure_in_the_visits_log(pond):
    line = Line(pond, SendRules(poll_s=600, give_up_h=24))
    line.carrier.down = True
    line.text("hello")
    line.run(25 * 60)
    assert pond.rows("SELECT status, failure FROM outgoing") == [("failed", "given up after 24 h: no route")]
    log = "SELECT json_extract(data, '$.text'), json_extract(data, '$.why') FROM log WHERE kind = 'undelivered'"
    text_id = pond.rows("SELECT id FROM outgoing")[0][0]
    assert pond.rows(f"{log} AND stream IN (SELECT uid FROM visit)") == [(text_id, "given up after 24 h: no route")]
    assert line.sender.failing_since is None
    line.close()
    pond.whole()


def test_a_thousand_tries_are_as_good_as_one(pond):
    line = Line(pond, SendRules(poll_s=3600, longest_wait_s=60, give_up_h=48))
    line.carrier.down = True
    line.text("hello")
    line.run(49 * 60)
    assert pond.rows("SELECT status FROM outgoing") == [("failed",)]
    assert len(line.carrier.asked) > 1100
    line.close()


def test_a_number_that_is_wrong_fails_at_once_and_holds_up_nobody(line):
    line.carrier.never = (PAIR,)
    line.text("hello")
    line.text("hello", OTHER)
    line.run(1)
    assert line.statuses() == {"failed": 1, "sent": 1}
    assert line.pond.rows("SELECT failure FROM outgoing WHERE status = 'failed'") == [("the number is wrong",)]


def test_one_phones_trouble_holds_up_no_other(line):
    slow = line.carrier.hand

    async def hand(text: Waiting) -> Handed:
        if text.number == PAIR:
            await asyncio.sleep(600)
        return await slow(text)

    line.carrier.hand = hand
    line.text("hello")
    line.text("hello", OTHER)
    line.run(1)
    assert (line.carrier.texts(PAIR), len(line.carrier.texts(OTHER))) == ([], 1)
    line.run(15)
    assert len(line.carrier.texts(PAIR)) == 1


def test_a_record_that_is_busy_for_a_moment_loses_no_text_and_sends_none_twice(line, monkeypatch):
    calls = Counter()

    def now_and_then(name):
        method = getattr(Outbox, name)

        def called(self, *given):
            calls[name] += 1
            if calls[name] % 2:
                raise sqlite3.OperationalError("database is locked")
            return method(self, *given)

        monkeypatch.setattr(Outbox, name, called)

    for name in ("waiting", "sent", "try_later", "dropped", "failed"):
        now_and_then(name)
    line.text("hello")
    line.carrier.down = True
    line.run(2)
    line.text("1")
    line.run(4)
    line.carrier.down = False
    line.run(20)
    assert [text.id for text in line.carrier.taken] == sorted({text.id for text in line.carrier.taken})
    assert line.statuses()["waiting"] == 0
    assert line.statuses()["sent"] == len(line.carrier.taken)


def test_a_report_that_comes_before_the_answer_stays(line):
    line.text("hello")
    text_id = line.pond.rows("SELECT id FROM outgoing")[0][0]
    assert line.outbox.report(text_id, True, "", line.clock())
    line.outbox.sent([text_id], line.clock())
    assert line.pond.rows("SELECT status FROM outgoing") == [("delivered",)]


def waiting(number: int, answers: int | None, age_min: float) -> Waiting:
    at = START - timedelta(minutes=age_min)
    return Waiting(number, 1, PAIR, str(number), 0, at, at, None, answers)


@given(st.lists(st.tuples(st.one_of(st.none(), st.integers(1, 5)), st.floats(0, 90)), max_size=12))
def test_only_old_texts_that_a_later_one_takes_the_place_of_are_stale(told):
    answers = sorted((one for one, _ in told if one is not None), reverse=True)
    texts = [
        waiting(number, None if one is None else answers.pop(), age_min) for number, (one, age_min) in enumerate(told)
    ]
    stale = stale_of(texts, START - timedelta(minutes=1))
    newest = max((text.answers for text in texts if text.answers is not None), default=None)
    assert all(text.answers is not None and text.answers < newest for text in stale)
    old = [text for text in texts if text.made_at < START - timedelta(minutes=1)]
    assert all(text in stale for text in old if text.answers not in (None, newest))
    assert all(text in old for text in stale)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.tuples(st.sampled_from([PAIR, OTHER]), st.booleans(), st.floats(0, 5)), min_size=1, max_size=10))
def test_whatever_fails_in_between_each_phone_gets_its_texts_in_order(open_field, events):
    pond = open_field(f"{next(NUMBERS)}.db")
    line = Line(pond)
    for number, down, minutes in events:
        line.carrier.down = down
        line.text("where", number)
        line.run(minutes)
    line.carrier.down = False
    line.run(10)
    for number in (PAIR, OTHER):
        ids = [text.id for text in line.carrier.taken if text.number == number]
        assert ids == sorted(set(ids))
        last = pond.rows(
            "SELECT max(outgoing.id) FROM outgoing JOIN phone ON phone.id = phone WHERE number = ?", number
        )
        assert not ids or ids[-1] == last[0][0]
    assert set(line.statuses()) <= {"sent", "dropped"}
    line.close()
    pond.whole()
