"""Rival fixes: two machines put the same answer right without knowing of each other. Neither wins by being merged last.

An answer whose place was taken on two machines keeps the value it had before both, until a fix at the desk names both
in its ``over``. Whatever hangs on a rival fix waits with it. So a record comes to the same values in whatever order
the logs were merged.
"""

import json
import sqlite3
from typing import Any, NamedTuple

from guide.record.log import LogRow

_ENTRY = (
    "SELECT origin.uid || '/' || stream || '/' || seq AS ref, supersedes, data FROM log "
    "JOIN origin ON origin.id = log.origin WHERE sample_uid = ? AND log.id < ? AND "
)

FLAGS_OF = {
    "length_mm": ("odd_length_mm", "under_minimum"),
    "family": ("protected",),
    "tag": ("tag_of_other_site",),
}
"""Flags that an answer brings, and that go with it."""


class Taker(NamedTuple):
    """An entry about a sample: its reference, the entry whose place it took, its data."""

    ref: str
    supersedes: str | None
    data: dict[str, Any]


def settled(db: sqlite3.Connection, row: LogRow, data: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    """What an entry that takes another's place comes to: its own values, those before two rivals, or nothing."""
    for name in [name for name in names if name in data]:
        standing = _standing(db, row, Taker(row.ref, row.supersedes, data), name)
        if standing is None:
            continue
        data = _without(data, name)
        if standing == "before":
            data = {**data, **_told(_entry(db, row, row.supersedes or ""), name, data)}
    return data


def live_rivals(db: sqlite3.Connection, sample_uid: str, name: str) -> list[list[Taker]]:
    """Every set of fixes of one answer that stand against each other, with no fix over them."""
    every = [Taker(ref, old, json.loads(data)) for ref, old, data in db.execute(_ENTRY + "1", (sample_uid, 1 << 62))]
    found = []
    for old in dict.fromkeys(taker.supersedes for taker in every if taker.supersedes):
        takers = [taker for taker in every if taker.supersedes == old and name in taker.data]
        over = {ref for taker in takers for ref in taker.data.get("over", ())}
        live = [taker for taker in takers if taker.ref not in over]
        if len(live) > 1:
            found.append(live)
    return found


def _standing(db: sqlite3.Connection, row: LogRow, taker: Taker, name: str) -> str | None:
    """None where the entry counts, ``before`` where it has a rival, ``waits`` where what it rests on doesn't count."""
    standing = None
    at: Taker | None = taker
    while at is not None and at.supersedes:
        others = [other for other in _takers(db, row, at.supersedes, name) if other.ref != at.ref]
        over = {ref for other in others for ref in other.data.get("over", ())}
        rival = any(other.ref not in over and other.ref not in at.data.get("over", ()) for other in others)
        if at.ref in over or (rival and at is not taker):
            return "waits"
        if rival:
            standing = "before"
        at = _entry(db, row, at.supersedes)
    return standing


def _takers(db: sqlite3.Connection, row: LogRow, ref: str, name: str) -> list[Taker]:
    found = db.execute(_ENTRY + "supersedes = ?", (row.sample_uid, row.id, ref))
    takers = [Taker(own, old, json.loads(data)) for own, old, data in found]
    return [taker for taker in takers if name in taker.data]


def _entry(db: sqlite3.Connection, row: LogRow, ref: str) -> Taker | None:
    found = db.execute(_ENTRY + "ref = ?", (row.sample_uid, row.id, ref)).fetchone()
    return Taker(found[0], found[1], json.loads(found[2])) if found else None


def _without(data: dict[str, Any], name: str) -> dict[str, Any]:
    lost = (name, "sure") if name == "family" else (name,)
    flags = [flag for flag in data.get("flags", ()) if flag not in FLAGS_OF.get(name, ())]
    return {**{key: value for key, value in data.items() if key not in lost}, "flags": flags}


def _told(before: Taker | None, name: str, data: dict[str, Any]) -> dict[str, Any]:
    """An earlier entry's value, with the flags it brought; None where it told none, as of a sample just opened."""
    told = before.data if before else {}
    flags = [flag for flag in told.get("flags", ()) if flag in FLAGS_OF.get(name, ())]
    named = {"family": told.get("family"), "sure": told.get("sure")} if name == "family" else {name: told.get(name)}
    return {**named, "flags": [*data["flags"], *flags]}
