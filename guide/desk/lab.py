"""What the commands about the lab share: the record, its programme, where things stand, and writing an entry."""

import difflib
import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from guide.errors import WadelineError
from guide.flow.read_settings import settings_from
from guide.flow.settings import Settings
from guide.record.log import Entry
from guide.record.open import open_record
from guide.record.store import DESK, Store


class DeskError(WadelineError):
    """The desk can't do what was asked; its text says what to do instead."""


@dataclass(frozen=True)
class SiteRow:
    """A site as the record keeps it."""

    code: str
    name: str
    zone: str
    lat: float | None
    lon: float | None
    permit: str


@dataclass(frozen=True)
class Lab:
    """An open record with the settings of its programme, and the time at which a command was given."""

    store: Store
    settings: Settings
    now: datetime

    @property
    def db(self) -> sqlite3.Connection:
        return self.store.db

    def rows(self, sql: str, *values: Any) -> list[dict[str, Any]]:
        """The rows of a query by the names of their columns."""
        cursor = self.db.execute(sql, values)
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor]

    def write(self, entries: Sequence[Entry]) -> None:
        """Adds entries to the desk's chain in one transaction."""
        with self.store.transaction():
            self.append(entries)

    def append(self, entries: Sequence[Entry]) -> None:
        """Adds entries to the desk's chain inside the caller's transaction."""
        self.store.append(DESK, DESK, 0, self.now, entries)

    def sites(self) -> dict[str, SiteRow]:
        """The programme's sites by their codes."""
        sql = "SELECT code, name, zone, lat, lon, coalesce(permit, '') FROM site WHERE programme = ? ORDER BY id"
        return {row[0]: SiteRow(*row) for row in self.db.execute(sql, (self.settings.code,))}

    def site(self, word: str) -> SiteRow:
        """The site with this code or name; raises DeskError with the nearest right one."""
        sites = self.sites()
        for site in sites.values():
            if word.casefold() in (site.code.casefold(), site.name.casefold()):
                return site
        raise DeskError(f"there is no site {word!r} in this record{nearest(word, sites)}")


def open_lab(path: Path, now: datetime) -> Lab:
    """Opens a record that exists; raises RecordError if it can't be, DeskError if it holds no programme."""
    store = Store(open_record(path, create=False))
    sql = "SELECT settings FROM programme ORDER BY loaded_at IS NOT NULL DESC, loaded_at DESC, id DESC LIMIT 1"
    row = store.db.execute(sql).fetchone()
    if row is None:
        raise DeskError(f"{path} holds no programme yet: load one with desk programme FILE")
    return Lab(store, settings_from(json.loads(row[0]), "the programme in the record"), now)


def nearest(word: str, known: Iterable[str], most: int = 12) -> str:
    """``; did you mean X?``, or the names there are, at most so many, when none is near."""
    names = list(known)
    close = difflib.get_close_matches(word.casefold(), names, 1)
    if close:
        return f"; did you mean {close[0]}?"
    return f"; there is {', '.join(names[:most])}" if names else ""
