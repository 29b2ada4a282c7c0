"""What works beside the texts of ``serve``, timers and newly loaded programmes, when something breaks under it."""

import asyncio
import signal
import sqlite3
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import TextIn
from guide.gateway.serve import Parts, build, run_timers
from guide.gateway.serve_settings import ServeSettings
from guide.talk.blanks import REGISTRY
from tests.conftest import Field
from tests.faults.serving import WORDS, Line
from tests.gateway.kannel import wait_for
from tests.gateway.test_sender import InMemory, JumpingLoop

PAIRS = ("+447700900101", "+447700900102")
BREAKING = (
    sys.executable,
    "-c",
    "import itertools, sys; from guide.gateway.outbox import Outbox; looks, look = itertools.count(), Outbox.waiting\n"
    "Outbox.waiting = lambda *given: 1 / (next(looks) < 1) and look(*given)\n"
    "from guide.cli import main; sys.exit(main())",
)
"""A server whose sender breaks the second time it looks for texts."""


@pytest.fixture
def parts(pond: Field) -> Parts:
    """What serves a record in which two pairs, each at a visit of its own, net at their first spot."""
    for number in PAIRS:
        pond.until("net.spot", number)
    return build(ServeSettings(pond.db), pond.exchange, InMemory(), lambda: pond.now)


def run(
    parts: Parts,
    pond: Field,
    minutes: float,
    jump: timedelta = timedelta(),
    then: Callable[[], None] = lambda: None,
) -> None:
    """The timers run for so long; time goes from one to the next. A minute on, somebody sets the clock, and ``then``
    comes before the timers are looked at again."""
    loop, begins = JumpingLoop(), pond.now

    def clock() -> datetime:
        pond.now = begins + timedelta(seconds=loop.time()) + (jump if loop.time() > 60 else timedelta())
        return pond.now

    async def work() -> None:
        task = asyncio.create_task(run_timers(parts, clock))
        await asyncio.sleep(60.01)
        clock()
        then()
        await asyncio.sleep(minutes * 60 - 60.01)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    loop.run_until_complete(work())
    loop.close()


def fired(pond: Field, number: str) -> list[str]:
    """The timers of a pair that fired."""
    sql = "SELECT kind FROM timer JOIN phone ON phone.current_seat = timer.seat WHERE number = ? AND fired_turn > 0"
    return [kind for (kind,) in pond.rows(sql, number)]


def test_a_timer_that_breaks_holds_up_no_other_and_is_tried_again(
    parts: Parts, pond: Field, monkeypatch: pytest.MonkeyPatch
) -> None:
    (first, _) = pond.rows("SELECT current_seat FROM phone WHERE number LIKE '+%' ORDER BY id")
    at = pond.exchange.at
    broken = [True]

    def breaks(seat: Any, *given: Any) -> Any:
        if broken[0] and seat.id == first[0]:
            raise ZeroDivisionError
        return at(seat, *given)

    monkeypatch.setattr(pond.exchange, "at", breaks)
    run(parts, pond, 60)
    assert "check_in" not in fired(pond, PAIRS[0])
    assert "check_in" in fired(pond, PAIRS[1])
    broken[0] = False
    run(parts, pond, 3)
    assert "check_in" in fired(pond, PAIRS[0])
    pond.whole()


def fill(pond: Field) -> None:
    """Texts come until there is no space."""
    for number in range(400):
        pond.text("note " + "windy " * 300, PAIRS[1], minutes=0, ext_id=f"n{number}")


def test_timers_wait_for_a_record_that_cannot_be_written_and_say_so_once(
    parts: Parts, pond: Field, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    (pages,) = pond.rows("PRAGMA page_count")[0]
    pond.rows(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(sqlite3.OperationalError, match="full"):
        fill(pond)
    run(parts, pond, 40)
    assert "full" in parts.writer.trouble.why
    pond.rows(f"PRAGMA max_page_count = {pages + 1000}")
    run(parts, pond, 1)
    assert "check_in" in fired(pond, PAIRS[0])
    assert caplog.text.count("the record can't be written now") == 1
    assert caplog.text.count("the record can be written again") == 1
    assert "Traceback" not in caplog.text
    pond.whole()


def due(pond: Field, kind: str) -> list[str]:
    """When the timers of a kind that run are due."""
    return [at for (at,) in pond.rows("SELECT due_at FROM timer WHERE kind = ? AND fired_turn IS NULL", kind)]


def set_timer(pond: Field, kind: str, minutes: float) -> None:
    with pond.exchange.store.transaction():
        pond.exchange.store.set_timer(1, kind, pond.now + timedelta(minutes=minutes))


@pytest.mark.parametrize("back", [timedelta(seconds=20), timedelta(hours=1), timedelta(days=400)])
def test_a_clock_that_was_set_back_lets_a_pair_be_silent_for_half_an_hour_more_at_most(
    parts: Parts, pond: Field, back: timedelta, caplog: pytest.LogCaptureFixture
) -> None:
    (last,) = pond.rows("SELECT max(received_at) FROM turn WHERE gateway = 'line'")[0]
    left = 30 - (pond.now - datetime.fromisoformat(last)).total_seconds() / 60
    run(parts, pond, left - 1, -back)
    assert "check_in" not in fired(pond, PAIRS[1])
    run(parts, pond, 33 - left)
    assert "check_in" in fired(pond, PAIRS[1])
    assert caplog.text.count("the clock was set back") == (back > timedelta(minutes=1))
    pond.whole()


def test_a_clock_that_was_set_back_while_nothing_ran_delays_no_timer_either(parts: Parts, pond: Field) -> None:
    pond.now -= timedelta(days=2)
    run(parts, pond, 31)
    assert "check_in" in fired(pond, PAIRS[1])


def test_what_stands_at_a_time_of_day_stays_there_when_the_clock_is_set_back(parts: Parts, pond: Field) -> None:
    kinds = ("dark", "ship_day", "holding")
    for kind in kinds:
        set_timer(pond, kind, 300)
    before = [due(pond, kind) for kind in kinds]
    run(parts, pond, 2, -timedelta(hours=1))
    assert [due(pond, kind) for kind in kinds] == before


def test_a_clock_that_ran_ahead_and_is_set_right_brings_no_timer_early(parts: Parts, pond: Field) -> None:
    set_timer(pond, "home", 120)
    before = due(pond, "home")
    run(parts, pond, 2, timedelta(hours=1))
    run(parts, pond, 2, -timedelta(hours=1))
    assert due(pond, "home") == before


def test_a_timer_that_is_set_just_after_the_clock_was_set_back_has_all_its_minutes(parts: Parts, pond: Field) -> None:
    new: list[str] = []

    def text() -> None:
        set_timer(pond, "check_in", 30)
        new.append((pond.now + timedelta(minutes=30)).isoformat()[:16])

    run(parts, pond, 2, -timedelta(hours=1), text)
    assert new[0] in [at[:16] for at in due(pond, "check_in")]
    assert "check_in" not in fired(pond, PAIRS[0])


def test_a_programme_that_could_not_be_kept_at_once_is_kept_later_and_visits_begin_with_the_old_one(
    pond: Field,
) -> None:
    text = book_text(shipped_flows()).replace("Tarrow Basin Lakes", "Tarrow Upper Lakes")
    upper = load_book(text, REGISTRY, KINDS)
    loaded = iter([upper])
    (pages,) = pond.rows("PRAGMA page_count")[0]
    pond.rows(f"PRAGMA max_page_count = {pages + 3}")
    with pytest.raises(sqlite3.OperationalError, match="full"):
        pond.exchange.renew(lambda: next(loaded, None), pond.now)
    pond.rows(f"PRAGMA max_page_count = {pages + 1000}")
    pond.text("hello", PAIRS[0])
    pond.exchange.renew(lambda: next(loaded, None), pond.now)
    pond.text("hello", PAIRS[1])
    books = pond.rows("SELECT toml FROM flow_book JOIN visit ON book_hash = hash ORDER BY visit.id")
    assert ["Tarrow Upper Lakes" in toml for (toml,) in books] == [False, True]
    pond.whole()


def test_a_text_that_meets_a_lost_page_is_refused_alone_and_the_others_of_its_commit_are_worked(
    parts: Parts, pond: Field, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    work = pond.exchange.work

    def meets_it(text: TextIn, now: datetime) -> Any:
        worked = work(text, now)
        if text.text == "note b":
            raise sqlite3.DatabaseError("database disk image is malformed")
        return worked

    monkeypatch.setattr(pond.exchange, "work", meets_it)

    async def bring() -> list[Any]:
        texts = [
            TextIn(number, f"note {words}", words) for number, words in zip((*PAIRS, PAIRS[0]), "abc", strict=True)
        ]
        return await asyncio.gather(*[parts.writer.take(text) for text in texts], return_exceptions=True)

    first, refused, last = asyncio.run(bring())
    assert isinstance(refused, sqlite3.DatabaseError)
    assert len(first) == len(last) == 1
    assert pond.rows("SELECT raw FROM turn WHERE raw LIKE 'note%' ORDER BY id") == [("note a",), ("note c",)]
    assert "the record is damaged" in parts.writer.trouble.why
    assert "Traceback" not in caplog.text
    pond.whole()


def test_a_part_that_breaks_ends_the_server_and_its_next_start_sends_what_waits(tmp_path: Path) -> None:
    """It must not go on taking texts that nobody answers."""
    line = Line(tmp_path / "day")
    try:
        line.start(*BREAKING)
        line.bring_once("+447700900101", f"JOIN {WORDS[0]}", "1")
        assert line.server.wait(20) == 1
        assert "a part of serve broke" in line.log
        line.start()
        line.bring("+447700900101", f"JOIN {WORDS[0]}", "1")
        wait_for(line.is_settled, 10, "the answers")
        assert line.end(signal.SIGTERM) == 0
    finally:
        line.close()
