"""What a text costs with 10, 1,000 and 100,000 past visits in the record: the files alternated, ten rounds."""

import os
import statistics
import time
from datetime import timedelta
from pathlib import Path

from guide.flow.model import FlowBook
from guide.gateway.exchange import Exchange
from tests.bench.past import record_with_past
from tests.bench.scene import START, Measured, Phones, big_book, folder, fsyncs_a_second, new_exchange

VISITS = (10, 1_000, 100_000)
ROUNDS = 10
TEXTS = 184
"""Two visits' worth of texts a round."""

REACH = "at most 1.3"
QUIET_FSYNCS, MOST_WAIT_S = 2_000, 300


def measure(visits: tuple[int, ...] = VISITS) -> list[Measured]:
    """Microseconds a text by past visits, beside the smallest file."""
    book = big_book()
    with folder() as place:
        made = {many: record_with_past(place / f"past{many}.db", book, many) for many in visits}
        _settle(place)
        pairs = {many: _open(place / f"past{many}.db", book) for many in visits}
        took: dict[int, list[float]] = {many: [] for many in visits}
        for round_ in range(ROUNDS + 1):
            for many, (exchange, phones) in pairs.items():
                cost = _texts(exchange, phones, TEXTS)
                if round_:  # the first warms up
                    took[many].append(cost)
        sizes = {many: (place / f"past{many}.db").stat().st_size for many in visits}
        for exchange, _ in pairs.values():
            exchange.store.db.close()
    lines: list[Measured] = []
    for many in visits:
        what = f"a text, {many:,} past visits ({made[many]:,} entries, {sizes[many] / 1e6:,.0f} MB)"
        line = Measured(what, "us", took[many], f"{visits[0]} past visits", reach=REACH if many > visits[0] else "")
        beside = [took[many][i] / took[visits[0]][i] for i in range(ROUNDS)]
        line.ratio = statistics.median(beside) if lines else None
        lines.append(line)
    return lines


def _settle(place: Path) -> None:
    """Waits until the disk has done with the gigabytes that were just made: else they are what is measured."""
    os.sync()
    for _ in range(MOST_WAIT_S):
        if fsyncs_a_second(place) > QUIET_FSYNCS:
            return
        time.sleep(1)


def _open(path: Path, book: FlowBook) -> tuple[Exchange, Phones]:
    return new_exchange(path, book), Phones(8, now=START + timedelta(days=1), said=["amberwell"] * 8)


def _texts(exchange: Exchange, phones: Phones, texts: int) -> float:
    """Microseconds a text, a commit each."""
    begun = time.perf_counter()
    for _ in range(texts):
        (text,) = phones.next_texts(1)
        phones.heard(exchange.receive(text, phones.now))
    return (time.perf_counter() - begun) / texts * 1e6
