"""Drills played by simulated pairs over records in temporary files."""

from collections.abc import Callable
from pathlib import Path

import pytest

from guide.drill.auto import BEGIN, play
from guide.drill.load import load_drills
from guide.drill.model import Drill
from guide.drill.session import Session, Wanted
from guide.flow.model import FlowBook
from guide.record.open import open_record
from guide.record.store import Store


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
