"""Where the time of a text goes: its statements, the wait for the disk, the talk itself, and what is between them.

Beside ``durable``: it shows how much time a target leaves for everything that is Python. The statements are those of
the one-at-a-time run, replayed bare; the talk is ``decide`` from a stored state to the next, without a database.
"""

from collections.abc import Callable

from tests.bench import engine
from tests.bench.durable import TEXTS, WARM_UP, Trace, copy, one_at_a_time, record_trace, replay, run
from tests.bench.scene import Measured, Phones, big_book, folder, new_exchange

ROUNDS = 5
TOGETHER = 16


def measure() -> list[Measured]:
    """Microseconds a text, all ways alternated on copies of the same record."""
    book = big_book()
    with folder() as place:
        base = place / "base.db"
        exchange, phones = new_exchange(base, book), Phones(1)
        one_at_a_time(exchange, phones, WARM_UP)
        exchange.store.db.close()
        trace = record_trace(base, book, phones)
        shared = share_commits(trace, TOGETHER)
        ways: dict[str, Callable[[], float]] = {
            "one": lambda: run(copy(base), book, phones, 1),
            "one, no wait": lambda: run(copy(base), book, phones, 1, synced=False),
            "16": lambda: run(copy(base), book, Phones(TOGETHER, 100), TOGETHER),
            "bare one": lambda: replay(copy(base), trace),
            "bare one, no wait": lambda: replay(copy(base), trace, synced=False),
            "bare 16": lambda: replay(copy(base), shared),
        }
        took: dict[str, list[float]] = {name: [] for name in ways}
        for _ in range(ROUNDS):
            for name, way in ways.items():
                took[name].append(way() / TEXTS * 1e6)
        (talk, *_) = engine.measure()
    return table(took, talk.values)


def share_commits(trace: Trace, texts: int) -> Trace:
    """The same statements with a commit for so many texts."""
    shared, begun, ended = [], 0, 0
    last = sum(sql == "COMMIT" for sql, _ in trace)
    for statement in trace:
        if statement[0].startswith("BEGIN"):
            begun += 1
            if begun % texts != 1:
                continue
        if statement[0] == "COMMIT":
            ended += 1
            if ended % texts and ended != last:
                continue
        shared.append(statement)
    return shared


def table(took: dict[str, list[float]], talk: list[float]) -> list[Measured]:
    """What was measured, and what follows from it."""
    us = {name: Measured(name, "us", values).median for name, values in took.items()}
    us["talk"] = Measured("", "us", talk).median
    told = [
        Measured("a text, 1 a commit", "us", took["one"]),
        Measured("  its statements and the wait for the disk, bare", "us", took["bare one"]),
        Measured("  its statements alone, bare, without the wait", "us", took["bare one, no wait"]),
        Measured("  the talk itself, without the database", "us", talk),
        derived("  between them: rows, JSON, hashes, texts", us["one, no wait"] - us["bare one, no wait"] - us["talk"]),
        derived(
            "  Python again, slower after each wait for the disk",
            (us["one"] - us["one, no wait"]) - (us["bare one"] - us["bare one, no wait"]),
        ),
        derived("  left for all Python, to reach 0.75", us["bare one"] / 0.75 - us["bare one"]),
        Measured("a text, 16 a commit", "us", took["16"]),
        Measured("  its statements and its share of the wait, bare", "us", took["bare 16"]),
        derived("  all Python", us["16"] - us["bare 16"]),
        derived("  left for all Python, to reach 2.0", us["bare one"] / 2 - us["bare 16"]),
    ]
    return told


def derived(what: str, value: float) -> Measured:
    """A figure that follows from the measured ones."""
    return Measured(what, "us", [value])
