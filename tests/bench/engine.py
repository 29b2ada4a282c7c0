"""What the talk itself costs, without the database; and what conversations hold in memory and in the record."""

import gc
import time
import tracemalloc
from datetime import datetime
from pathlib import Path
from typing import Any

from guide.gateway import exchange as exchange_module
from guide.talk.decide import decide
from guide.talk.decision import Decision
from guide.talk.memory import MemorySnapshot
from guide.talk.snapshot import SeatFacts, Snapshot
from guide.talk.state import SeatState
from guide.talk.turn import Talk
from tests.bench.scene import Measured, Phones, big_book, folder, new_exchange

ROUNDS = 7
TEXTS = 460
CONVERSATIONS = 1000

Given = tuple[Talk, str, MemorySnapshot, SeatFacts, str, datetime]


def measure() -> list[Measured]:
    """Both figures."""
    with folder() as place:
        return [_engine(place / "engine.db"), *_held(place / "held.db")]


def _engine(path: Path) -> Measured:
    """Microseconds from a stored state to the next stored state, over whole visits."""
    given = _seen(path)
    took = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        for talk, state, snapshot, seat, text, now in given:
            decide(talk, SeatState.from_json(state), snapshot, seat, text, now).state.to_json()
        took.append((time.perf_counter() - begun) / len(given) * 1e6)
    return Measured("engine time a text, without the database", "us", took)


def _seen(path: Path) -> list[Given]:
    """What ``decide`` was given in five visits, the record's part of it held in memory."""
    given: list[Given] = []

    def watched(
        talk: Talk, state: SeatState, snapshot: Snapshot, seat: SeatFacts, text: str, now: datetime
    ) -> Decision:
        given.append((talk, state.to_json(), _held_in_memory(snapshot, text), seat, text, now))
        return decide(talk, state, snapshot, seat, text, now)

    exchange, phones = new_exchange(path, big_book()), Phones(1)
    module: Any = exchange_module
    module.decide = watched
    for _ in range(TEXTS):
        phones.heard(exchange.receive(phones.next_texts(1)[0], phones.now))
    module.decide = decide
    exchange.store.db.close()
    return given


def _held_in_memory(snapshot: Snapshot, text: str) -> MemorySnapshot:
    codes = {text, snapshot.free_tag() or ""}
    tags = {code: tag for code in codes if (tag := snapshot.tag(code)) is not None}
    return MemorySnapshot(snapshot.visit(), snapshot.samples(), tags, snapshot.other_seats(), snapshot.clean_before())


def _held(path: Path) -> list[Measured]:
    """Memory and stored state of a thousand conversations in the middle of a visit."""
    exchange = new_exchange(path, big_book())
    _texts(exchange, Phones(1, 5000), 40)  # what the process holds for any conversation is there before
    gc.collect()
    tracemalloc.start()
    begin = tracemalloc.get_traced_memory()[0]
    _texts(exchange, Phones(CONVERSATIONS), 12 * CONVERSATIONS)
    gc.collect()
    held = (tracemalloc.get_traced_memory()[0] - begin) / 1000
    tracemalloc.stop()
    sizes = [float(size) for (size,) in exchange.store.db.execute("SELECT length(state) FROM seat")]
    exchange.store.db.close()
    return [
        Measured("memory held for 1,000 open conversations", "kB", [held]),
        Measured("state of a conversation in the record", "bytes", sizes),
    ]


def _texts(exchange: exchange_module.Exchange, phones: Phones, texts: int) -> None:
    for _ in range(texts // min(phones.many, 20)):
        for outs in exchange.work_all(phones.next_texts(min(phones.many, 20)), phones.now):
            if isinstance(outs, Exception):
                raise outs
            phones.heard(outs)
