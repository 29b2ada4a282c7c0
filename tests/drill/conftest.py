"""Drills played by simulated pairs over records in temporary files."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from guide.drill.auto import BEGIN, play
from guide.drill.load import load_drills
from guide.drill.model import Coming, Drill
from guide.drill.session import Session, Wanted
from guide.flow.model import FlowBook
from guide.record.open import open_record
from guide.record.store import Store
from tests.drill.pair import START, Pair


@pytest.fixture(scope="session")
def drills(book: FlowBook) -> dict[str, Drill]:
    """The drills that ship."""
    return {drill.name: drill for drill in load_drills(book)}


@pytest.fixture(scope="session")
def played(
    book: FlowBook, drills: dict[str, Drill], tmp_path_factory: pytest.TempPathFactory
) -> Callable[..., Session]:
    """A drill played by a simulated pair, on a record of its own; the same one is played once."""
    done: dict[tuple[str, float, int, int], Session] = {}

    def make(name: str, skill: float, seed: int = 7, rounds: int = 2, again: bool = False) -> Session:
        key = (name, skill, seed, rounds)
        if key not in done or again:
            store = Store(open_record(Path(tmp_path_factory.mktemp("drill")) / "record.db"))
            store.db.execute("PRAGMA synchronous = OFF")
            session = Session.begin(store, book, Wanted(drills[name], 1, rounds, seed, simulated=True), BEGIN)
            play(session, skill)
            session.read()
            done[key] = session
        return done[key]

    return make


@pytest.fixture
def open_drill(tmp_path: Path, book: FlowBook, drills: dict[str, Drill]) -> Iterator[Callable[..., Pair]]:
    """Begins a session of a shipped drill, for a pair that texts, with the surprises named and no others."""
    stores: list[Store] = []

    def make(name: str, *surprises: str, flow_book: FlowBook = book, **wanted: object) -> Pair:
        coming = tuple(Coming(one.surprise) for one in drills[name].coming if one.surprise.name in surprises)
        drill = replace(drills[name], coming=coming or drills[name].coming, most=len(surprises), listed=True)
        stores.append(Store(open_record(tmp_path / f"drill{len(stores)}.db")))
        return Pair(Session.begin(stores[-1], flow_book, Wanted(drill, **wanted), START))  # type: ignore[arg-type]

    yield make
    for store in stores:
        store.db.close()
