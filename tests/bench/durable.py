"""Texts worked durably a second, beside a bare ``sqlite3`` loop that replays the run's statements on the same disk.

One phone after the other, a commit a text; then 16 and 64 phones, a commit for one text of each. The floor is the whole
trace of the one-at-a-time run, reads and writes, with its parameters; a second floor leaves its reads out.
"""

import shutil
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from guide.record.open import _settings, open_record
from guide.record.store import Store, TextOut
from tests.bench.scene import Measured, Phones, big_book, folder, new_exchange

TEXTS = 960
ROUNDS = 7
WARM_UP = 640

Trace = list[tuple[str, Any]]


class Recording(sqlite3.Connection):
    """A connection that keeps every statement with its values."""

    trace: Trace

    def execute(self, sql: str, values: Any = (), /) -> sqlite3.Cursor:
        self.trace.append((sql, tuple(values)))
        return super().execute(sql, values)

    def executemany(self, sql: str, rows: Any, /) -> sqlite3.Cursor:
        rows = list(rows)
        self.trace += [(sql, tuple(values)) for values in rows]
        return super().executemany(sql, rows)


def one_at_a_time(exchange: Any, phones: Phones, texts: int) -> float:
    """Seconds for so many texts, a commit each, as the pipe does it: the next commit notes what was handed over."""
    handed: list[TextOut] = []
    begun = time.perf_counter()
    for _ in range(texts):
        (text,) = phones.next_texts(1)
        with exchange.store.transaction():
            outs = exchange.work(text, phones.now)
            exchange.store.handed_over([out.id for out in handed])
        handed = outs
        phones.heard(outs)
    return time.perf_counter() - begun


def together(exchange: Any, phones: Phones, texts: int) -> float:
    """Seconds for so many texts, a commit for one of each phone."""
    begun = time.perf_counter()
    for _ in range(texts // phones.many):
        for outs in exchange.work_all(phones.next_texts(phones.many), phones.now):
            if isinstance(outs, Exception):
                raise outs
            phones.heard(outs)
    return time.perf_counter() - begun


def replay(path: Path, trace: Trace, synced: bool = True) -> float:
    """Seconds a bare connection takes for the same statements; without ``synced`` no commit waits for the disk."""
    db = open_record(path)
    set_synced(db, synced)
    execute = db.execute
    begun = time.perf_counter()
    for sql, values in trace:
        execute(sql, values).fetchall()
    took = time.perf_counter() - begun
    db.close()
    return took


def measure() -> list[Measured]:
    """Alternates all ways, each on a copy of the same record."""
    book = big_book()
    with folder() as place:
        base = place / "base.db"
        exchange = new_exchange(base, book)
        phones = Phones(1)
        one_at_a_time(exchange, phones, WARM_UP)
        exchange.store.db.close()
        trace = record_trace(base, book, phones)
        ways: dict[str, Callable[[], float]] = {
            "floor": lambda: replay(copy(base), trace),
            "writes": lambda: replay(copy(base), [one for one in trace if not one[0].startswith("SELECT")]),
            "1": lambda: run(copy(base), book, phones, 1),
            "16": lambda: run(copy(base), book, Phones(16, 100), 16),
            "64": lambda: run(copy(base), book, Phones(64, 200), 64),
        }
        rates: dict[str, list[float]] = {name: [] for name in ways}
        for _ in range(ROUNDS):
            for name, way in ways.items():
                rates[name].append(TEXTS / way())
    return table(rates, len(trace) / TEXTS)


def copy(base: Path) -> Path:
    """A fresh copy of the record the run begins with."""
    path = base.with_name("copy.db")
    for rest in base.parent.glob("copy.db*"):
        rest.unlink()
    shutil.copy(base, path)
    return path


def set_synced(db: sqlite3.Connection, synced: bool) -> None:
    """Whether commits of a connection wait for the disk, as the record's do."""
    db.execute(f"PRAGMA synchronous = {'FULL' if synced else 'OFF'}")


def run(path: Path, book: Any, phones: Phones, many: int, synced: bool = True) -> float:
    """One measured run on a record."""
    exchange = new_exchange(path, book)
    set_synced(exchange.store.db, synced)
    if many == 1:
        phones = Phones(1, phones.first, phones.now, list(phones.said))
        took = one_at_a_time(exchange, phones, TEXTS)
    else:
        together(exchange, phones, 2 * many)
        took = together(exchange, phones, TEXTS)
    exchange.store.db.close()
    return took


def record_trace(base: Path, book: Any, phones: Phones) -> Trace:
    """Every statement of a one-at-a-time run, its values with it."""
    path = copy(base)
    exchange = new_exchange(path, book)
    exchange.store.db.close()
    db = sqlite3.connect(path, isolation_level=None, factory=Recording)
    db.trace = []
    _settings(db)
    exchange.store = Store(db)
    said = Phones(1, phones.first, phones.now, list(phones.said))
    db.trace.clear()
    one_at_a_time(exchange, said, TEXTS)
    db.close()
    return db.trace


def table(rates: dict[str, list[float]], statements: float) -> list[Measured]:
    """The lines of the table."""
    lines = [
        Measured(f"bare sqlite3, the run's own trace ({statements:.0f} statements a text)", "texts/s", rates["floor"])
    ]
    lines.append(Measured("bare sqlite3, its writes alone", "texts/s", rates["writes"]))
    floor = lines[0].median
    for many, reach in (("1", "at least 0.75"), ("16", "at least 2.0"), ("64", "")):
        line = Measured(f"texts worked, {many} a commit", "texts/s", rates[many], "the trace, 1 a commit", reach=reach)
        line.ratio = line.median / floor
        lines.append(line)
    return lines
