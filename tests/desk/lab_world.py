"""A record made for tests of what goes to the lab: a real programme, and visits written entry by entry."""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from guide.cli import main
from guide.flow.load import shipped_flows
from guide.flow.read_settings import settings_from
from guide.flow.settings import Settings
from guide.record.log import Entry
from guide.record.open import open_record
from guide.record.set_up import keep_programme
from guide.record.store import Store
from guide.record.verify import verify

FRIDAY = datetime(2026, 10, 23, 9, 0, tzinfo=UTC)
"""Monday 26 October 2026 is a public holiday in Ireland."""


def real_settings(**changes: Any) -> Settings:
    """The demo programme as a real one, with holidays."""
    table = tomllib.loads((shipped_flows() / "programme.toml").read_text("utf-8"))
    real = {"practice": False, "lab": "Bittern Lab", "lab_zone": "Europe/Dublin"}
    holidays = {"carrier_holidays": ["IE"], "lab_holidays": ["IE"]}
    return settings_from({**table, **real, **holidays, **changes})


@dataclass
class World:
    """A record and the visits in it; ``tag`` counts up."""

    path: Path
    store: Store
    settings: Settings
    visits: dict[str, str] = field(default_factory=dict)

    def visit(
        self,
        code8: str,
        site: str,
        larvae: Sequence[dict[str, Any]] = (),
        at: datetime = FRIDAY,
        practice: int = 0,
        closed: bool = True,
        accepted: bool = True,
        uid: str | None = None,
    ) -> str:
        """A visit with larvae (or other samples) as given: tag, length_mm, family, and what differs."""
        uid = uid or f"{self.store.origin}-{code8.lower()}"
        opened = {
            "code8": code8, "programme": self.settings.code, "book_hash": "", "local_date": at.date().isoformat(),
            "practice": practice, "target": 12, "word": f"heron{len(self.visits)}",
        }  # fmt: skip
        with self.store.transaction():
            self.append(uid, [Entry("visit_opened", "", opened), Entry("answer", "arrive.site", {"site": site})], at)
            for number, larva in enumerate(larvae, 1):
                at += timedelta(minutes=4)
                self.append(uid, list(_sample(f"{uid}-{number}", **larva)), at)
            if closed:
                self.append(uid, [Entry("visit_closed", "close.done", {})], at + timedelta(minutes=9))
            if closed and accepted:
                self.append(uid, [Entry("accepted", "desk.accept", {})], at + timedelta(minutes=30))
        self.visits[code8] = uid
        return uid

    def append(self, stream: str, entries: Sequence[Entry], at: datetime = FRIDAY) -> None:
        """Entries of a stream, inside the caller's transaction."""
        self.store.append(stream, "A", 0, at, entries)

    def say(self, stream: str, *entries: Entry) -> None:
        """Entries of a stream in a transaction of their own."""
        with self.store.transaction():
            self.append(stream, entries, FRIDAY + timedelta(hours=8))

    def desk(self, *words: str) -> int:
        """Runs a command of the desk on this record."""
        return main(["desk", *words, "--db", str(self.path)])

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        return self.store.db.execute(sql, values).fetchall()

    def whole(self) -> None:
        """The record verifies, tables of the lab included."""
        assert verify(self.store.db).problems == []


def _sample(
    uid: str,
    tag: str | None,
    length_mm: float | None = 20,
    family: str | None = "Gomphidae",
    sure: bool = True,
    flag: str | None = None,
    void: str | None = None,
    kind: str = "larva",
    status: str = "kept",
) -> Any:
    yield Entry("sample_opened", "larva.look", {"kind": kind, "gloves": "asked", "pace": "coach"}, uid)
    yield Entry("sealed", "larva.bag", {"gloves": "confirmed"}, uid)
    if length_mm is not None and kind == "larva":
        yield Entry("answer", "larva.measure", {"length_mm": length_mm}, uid)
    if family is not None and kind == "larva":
        yield Entry("answer", "larva.name", {"family": family, "sure": sure}, uid)
    if tag is not None:
        yield Entry("answer", "larva.tag", {"tag": tag}, uid)
    yield Entry("outer_bagged", "larva.outer", {}, uid)
    if flag:
        yield Entry("flag", "", {"flag": flag}, uid)
    if void:
        yield Entry("void", "", {"reason": void}, uid)
    elif status == "kept":
        yield Entry("kept", "", {}, uid)


def make_world(folder: Path, **changes: Any) -> World:
    """A new record with a real programme in it, and a practice pool of tags 09001 on."""
    path = folder / "record.db"
    store, settings = Store(open_record(path)), real_settings(**changes)
    with store.transaction():
        keep_programme(store, settings, FRIDAY - timedelta(days=3))
        practice = {"programme": settings.code, "practice": 1, "codes": ["09002", "09015"]}
        store.append("desk", "desk", 0, FRIDAY, [Entry("tags_loaded", "", practice)])
    return World(path, store, settings)
