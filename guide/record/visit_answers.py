"""An answer of a visit that the desk put right: which of all that was told of it stands.

What was told of an answer is a set of entries: the talk's answers, and fixes of the desk, perhaps of several machines.
An entry covers those before it in its own machine's chain, the one whose place it takes, and those named in its
``over``. The one that nothing covers stands. Where there are several that differ, none of them wins by being merged
last: the value that all of them knew stands, until a fix covers them all. So a record comes to the same values in
whatever order the logs were merged.
"""

import json
import sqlite3
from collections.abc import Collection, Sequence
from typing import Any, NamedTuple

ALONE = ("local_date", "group_code")
"""What stands in a column alone, and that no step asks for: the visit's opening tells it."""

COLUMNS = ("site", *ALONE)
"""What is told of a visit and stands in a column of its own."""

TOLD_BY = ("visit_opened", "arrived", "answer", "fix")
"""The kinds of entry that tell something of a visit itself."""

_NOT_ANSWERS = ("words", "over", "flags")
_ENTRIES = (
    "SELECT origin.uid, log.seq, log.data, log.supersedes, log.kind FROM log JOIN origin ON origin.id = log.origin "
    "WHERE log.origin IN (SELECT id FROM origin) AND log.stream = ? AND log.id <= ? AND log.sample_uid IS NULL "
    f"AND log.kind IN {TOLD_BY} ORDER BY origin.uid, log.seq"
)


class Told(NamedTuple):
    """An entry that tells an answer of a visit: whose chain it is in and where, its data, the entry it replaces."""

    ref: str
    origin: str
    seq: int
    data: dict[str, Any]
    supersedes: str | None


def name_put_right(data: dict[str, Any]) -> str:
    """The name of the answer that a fix of a visit is about; raises ValueError where it names none."""
    names = [name for name in data if name not in _NOT_ANSWERS]
    if not names:
        raise ValueError("a fix of a visit names no answer")
    return names[0]


def told_of(db: sqlite3.Connection, stream: str, name: str, up_to: int = 1 << 62) -> list[Told]:
    """All that was told of one answer of a visit, chain by chain."""
    rows = db.execute(_ENTRIES, (stream, up_to))
    every = [
        Told(f"{origin}/{stream}/{seq}", origin, seq, json.loads(data), old)
        for origin, seq, data, old, kind in rows
        if kind in ("answer", "fix") or name in ALONE
    ]
    return [told for told in every if name in told.data]


def standing(every: Sequence[Told], name: str) -> tuple[Told | None, list[Told]]:
    """The entry that stands, and those that stand against each other, none of which counts (mostly none).

    None where nothing stands: rivals that took the place of nothing.
    """
    last = heads(every)
    if len(last) < 2 or (len({json.dumps(told.data[name]) for told in last}) == 1 and last[0].data[name] != "words"):
        return (last[0] if last else None), []  # words are kept apart: nobody can say that they are the same
    past = _pasts(every)
    common = set.intersection(*(past[told.ref] for told in last))
    return standing([told for told in every if told.ref in common], name)[0], last


def heads(every: Sequence[Told]) -> list[Told]:
    """The entries that nothing covers, in one order for all machines."""
    covered: set[str] = set().union(*_pasts(every).values())
    return sorted((told for told in every if told.ref not in covered), key=lambda told: (told.origin, told.seq))


def _pasts(every: Sequence[Told]) -> dict[str, set[str]]:
    """For each entry, all that it covers, directly or through what it covers."""
    known = {told.ref: told for told in every}
    covers: dict[str, list[str]] = {}
    last: dict[str, str] = {}
    for told in every:
        named = [told.supersedes, *told.data.get("over", ()), last.get(told.origin)]
        covers[told.ref] = [ref for ref in named if ref in known and ref != told.ref]
        last[told.origin] = told.ref
    return {ref: _reached(ref, covers) for ref in covers}


def _reached(start: str, covers: dict[str, list[str]]) -> set[str]:
    found: set[str] = set()
    ahead: list[str] = list(covers[start])
    while ahead:
        ref = ahead.pop()
        if ref not in found:
            found.add(ref)
            ahead += covers[ref]
    return found - {start}


def settle(db: sqlite3.Connection, stream: str, names: Collection[str], up_to: int) -> dict[str, Any]:
    """What answers that were put right come to, by name; None for one that nothing tells any more."""
    found = {}
    for name in names:
        told, _ = standing(told_of(db, stream, name, up_to), name)
        found[name] = told.data[name] if told else None
    return found
