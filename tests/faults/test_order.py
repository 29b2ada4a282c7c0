"""Texts that come late, twice, in another order, or that break the program: each is kept once, the record is whole."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guide.gateway.exchange import Exchange, TextIn
from guide.gateway.pipe import Pipe
from guide.record.open import open_record
from guide.record.store import Store
from tests.conftest import START, Field, load


def words_of_a_visit(pond: Field) -> list[str]:
    """What a pair texts from its first word to the end."""
    words = ["hi"]
    pond.text("hi")
    while pond.last["+100"][-1].options:
        words.append(pond.last["+100"][-1].options[0])
        pond.text(words[-1])
    return words


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory, book: Any) -> list[str]:
    """The words of a whole visit in order."""
    return words_of_a_visit(new_field(tmp_path_factory.mktemp("order") / "record.db", book))


def new_field(path: Path, book: Any) -> Field:
    """A record in a file, and phones to it."""
    exchange = Exchange(Store(open_record(path)), book, load, 7)
    exchange.set_up(START)
    return Field(exchange)


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_late_doubled_and_swapped_texts_are_each_kept_once(
    visit: list[str], book: Any, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Every text comes within eight places of its own, one in four of them twice, each with its time of sending."""
    late = data.draw(st.lists(st.integers(0, 8), min_size=len(visit), max_size=len(visit)))
    twice = data.draw(st.lists(st.integers(0, 3), min_size=len(visit), max_size=len(visit)))
    arriving = sorted(
        [(number + late[number], number) for number in range(len(visit))]
        + [(number + 9, number) for number in range(len(visit)) if twice[number] == 0]
    )
    pond = new_field(tmp_path_factory.mktemp("order") / "record.db", book)
    out: list[bytes] = []
    pipe = Pipe(pond.exchange, out.append, lambda: START)
    for _, number in arriving:
        at = (START + timedelta(seconds=40 * number)).isoformat()
        pipe.take(f'{{"id": "m{number}", "from": "+100", "text": "{visit[number]}", "at": "{at}"}}'.encode())
    assert not any(b'"error"' in line for line in out)
    assert sum(line.startswith(b'{"handled"') for line in out) == len(arriving)
    kept = pond.rows("SELECT ext_id, raw FROM turn WHERE gateway = 'line'")
    assert sorted(kept) == sorted((f"m{number}", text) for number, text in enumerate(visit))
    (tags, different) = pond.rows("SELECT count(tag), count(DISTINCT tag) FROM sample WHERE status = 'kept'")[0]
    assert tags == different
    times = [at for (at,) in pond.rows("SELECT received_at FROM turn ORDER BY id")]
    assert times == sorted(times)
    pond.whole()
    pond.db.close()


def test_a_text_that_comes_again_days_later_is_answered_as_it_was(pond: Field) -> None:
    first = pond.text("hi", ext_id="m1")
    pond.until("larva.look")
    before = pond.rows("SELECT count(*) FROM log")
    assert pond.text("hi", minutes=3 * 24 * 60, ext_id="m1") == first
    assert pond.rows("SELECT count(*) FROM turn WHERE ext_id = 'm1'") == [(1,)]
    assert pond.rows("SELECT count(*) FROM log WHERE kind = 'answer'") <= before
    pond.whole()


@pytest.fixture
def breaking(monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """Texts that break the program in the middle of their work, after something of it is written."""
    words: set[str] = set()
    say = Exchange.say

    def broken(self: Exchange, *given: Any) -> Any:
        if self.store.db.execute("SELECT raw FROM turn ORDER BY id DESC LIMIT 1").fetchone()[0] in words:
            raise ZeroDivisionError
        return say(self, *given)

    monkeypatch.setattr(Exchange, "say", broken)
    return words


def test_a_text_that_breaks_leaves_nothing_and_the_others_of_its_commit_are_worked(
    pond: Field, breaking: set[str]
) -> None:
    for number in ("+100", "+200", "+300"):
        pond.until("larva.look", number)
    before = pond.rows("SELECT (SELECT count(*) FROM turn), (SELECT count(*) FROM log)")[0]
    breaking.add("note b")
    texts = [TextIn(number, words, f"{number}-1") for number, words in zip(
        ("+100", "+200", "+300"), ("note a", "note b", "note c"), strict=True
    )]  # fmt: skip
    first, broken, last = pond.exchange.work_all(texts, pond.now)
    assert isinstance(broken, ZeroDivisionError)
    assert not isinstance(first, Exception)
    assert not isinstance(last, Exception)
    assert pond.rows("SELECT raw FROM turn WHERE ext_id LIKE '%-1' ORDER BY id") == [("note a",), ("note c",)]
    assert pond.rows("SELECT text FROM words ORDER BY entry DESC LIMIT 2") == [("c",), ("a",)]
    after = pond.rows("SELECT (SELECT count(*) FROM turn), (SELECT count(*) FROM log)")[0]
    assert after == (before[0] + 2, before[1] + 2)
    pond.whole()


def test_a_text_that_broke_can_be_worked_later(pond: Field, breaking: set[str]) -> None:
    pond.until("larva.look")
    breaking.add("note b")
    (broken,) = pond.exchange.work_all([TextIn("+100", "note b", "x1")], pond.now)
    assert isinstance(broken, ZeroDivisionError)
    breaking.clear()
    (worked,) = pond.exchange.work_all([TextIn("+100", "note b", "x1")], pond.now)
    assert not isinstance(worked, Exception)
    assert pond.rows("SELECT count(*) FROM turn WHERE ext_id = 'x1'") == [(1,)]
    pond.whole()


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(broken=st.sets(st.integers(0, 15), max_size=15), sizes=st.lists(st.integers(1, 16), min_size=1, max_size=4))
def test_whatever_texts_of_a_commit_break_the_others_are_those_of_single_commits(
    book: Any, tmp_path_factory: pytest.TempPathFactory, broken: set[int], sizes: list[int]
) -> None:
    """The same texts in commits of any size, some breaking, leave the tables that one commit a text leaves."""
    texts = [TextIn(f"+{100 + number % 4}", ("hi", "amberwell", "ok", "note x")[number // 4], f"t{number}")
             for number in range(16)]  # fmt: skip
    tables = []
    for batches in ([1] * 16, sizes):
        pond = new_field(tmp_path_factory.mktemp("batches") / "record.db", book)
        work, left = pond.exchange.work, list(texts)

        def breaks(text: TextIn, now: Any, work: Any = work) -> Any:
            worked = work(text, now)
            if int((text.ext_id or "")[1:]) in broken:
                raise ZeroDivisionError
            return worked

        pond.exchange.work = breaks  # type: ignore[method-assign]
        place = 0
        while left:
            size = batches[place % len(batches)]
            pond.exchange.work_all(left[:size], START)
            left, place = left[size:], place + 1
        pond.whole()
        tables.append([pond.rows(sql) for sql in (
            "SELECT ext_id, raw FROM turn ORDER BY id",
            "SELECT seq, kind, step, data FROM log WHERE kind = 'answer' ORDER BY id",
            "SELECT number, stopped_at FROM phone JOIN turn ON turn.phone = phone.id ORDER BY turn.id",
        )])  # fmt: skip
        pond.db.close()
    assert tables[0] == tables[1]
