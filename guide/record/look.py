"""The snapshot of a visit that the talk reads, inside the transaction that applies the decision."""

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from guide.record.log import Entry, links
from guide.record.store import Store
from guide.talk.snapshot import KitView, SampleView, SeatFacts, SeatView, TagView, VisitView

_SAMPLE = (
    "SELECT uid, status, tag, iif(length_mm = CAST(length_mm AS INTEGER), CAST(length_mm AS INTEGER), length_mm), "
    "family, sure, seat, gloves, sealed_at, kind, "
    "(SELECT group_concat(flag) FROM sample_flag WHERE sample = uid) FROM sample WHERE "
)
_SAMPLES = f"{_SAMPLE} visit = ? ORDER BY rowid"
_ONE_SAMPLE = f"{_SAMPLE} uid = ? AND visit = ?"
MOST_CLEAN = 100
"""Clean samples of earlier visits are counted so far: a phone that has come for years needs no more."""

_OF_STREAM = "log.origin IN (SELECT id FROM origin) AND stream = ?"
"""A visit's entries, found by the index of chains; ``ORDER BY +id`` keeps SQLite from looking through all by id."""

_SURE = {None: None, 0: False, 1: True}


class RecordSnapshot:
    """Reads one visit from the record, each thing only when it is asked for."""

    def __init__(self, store: Store, visit_uid: str, seat_id: int, phone_id: int | None) -> None:
        self.store, self.db, self.visit_uid = store, store.db, visit_uid
        self.seat_id, self.phone_id = seat_id, phone_id
        self._visit: VisitView | None = None
        self._programme = ""

    def visit(self) -> VisitView:
        if self._visit is None:
            row = self.db.execute(
                "SELECT uid, code8, practice, target, status, site, answers, opened_at, word, programme "
                "FROM visit WHERE uid = ?",
                (self.visit_uid,),
            ).fetchone()
            self._programme = row[9]
            uid, code8, practice, target, status, site, answers, opened_at, word, _ = row
            known = json.loads(answers)
            self._visit = VisitView(uid, code8, bool(practice), target, status, site, known, opened_at, word)
        return self._visit

    def samples(self) -> list[SampleView]:
        return [_sample_view(row) for row in self.db.execute(_SAMPLES, (self.visit_uid,))]

    def sample(self, uid: str) -> SampleView | None:
        row = self.db.execute(_ONE_SAMPLE, (uid, self.visit_uid)).fetchone()
        return _sample_view(row) if row else None

    def tag(self, code: str) -> TagView | None:
        visit = self.visit()
        row = self.db.execute(
            "SELECT code, tag.status, sample, sample.visit, tag.site FROM tag "
            "LEFT JOIN sample ON sample.uid = tag.sample "
            "WHERE programme = ? AND practice = ? AND code = ?",
            (self._programme, visit.practice, code),
        ).fetchone()
        return TagView._make(row) if row else None

    def free_tag(self, besides: Sequence[str] = ()) -> str | None:
        """The first free tag that is given to this site or to none, and isn't one of ``besides``."""
        visit = self.visit()
        marks = ", ".join("?" * len(besides))
        sql = (  # SQLite left to itself walks over all tags that were ever used
            "SELECT code FROM tag INDEXED BY tag_free WHERE programme = ? AND practice = ? AND status = 'free' "
            f"AND site IS ? AND code NOT IN ({marks}) ORDER BY code LIMIT 1"
        )
        given = [(self._programme, visit.practice, site, *besides) for site in {None, visit.site}]
        found = [row[0] for values in given if (row := self.db.execute(sql, values).fetchone())]
        return min(found, default=None)

    def new_sample_uid(self, already: int) -> str:
        (count,) = self.db.execute("SELECT count(*) FROM sample WHERE visit = ?", (self.visit_uid,)).fetchone()
        return f"{self.visit_uid}-{count + already + 1}"

    def answer_ref(self, name: str, sample_uid: str | None) -> str | None:
        row = self.db.execute(
            "SELECT uid || '/' || stream || '/' || seq FROM log JOIN origin ON origin.id = log.origin "
            f"WHERE {_OF_STREAM} AND sample_uid IS ? AND kind IN ('answer', 'fix') "
            "AND json_extract(data, ?) IS NOT NULL ORDER BY +log.id DESC LIMIT 1",
            (self.visit_uid, sample_uid, f"$.{name}"),
        ).fetchone()
        return row[0] if row else None

    def other_seats(self) -> list[SeatView]:
        rows = self.db.execute(
            "SELECT seat.id, letter, role, visit, number, "
            "json_extract(state, '$.frames[0].flow') || '.' || json_extract(state, '$.frames[0].step') "
            "FROM seat JOIN phone ON phone.id = seat.phone "
            "WHERE visit = ? AND seat.id != ? AND phone.current_seat = seat.id ORDER BY letter",
            (self.visit_uid, self.seat_id),
        )
        return [SeatView(*row) for row in rows]

    def kit(self, uid: str) -> KitView | None:
        visit = self.visit()
        row = self.db.execute(
            "SELECT last_site, disinfected_entry, last_visit FROM kit WHERE programme = ? AND practice = ? AND uid = ?",
            (self._programme, visit.practice, uid),
        ).fetchone()
        return KitView(row[0], row[1] is not None, row[2]) if row else None

    def kept_times(self) -> list[tuple[str, datetime]]:
        rows = self.db.execute(
            "SELECT log.seat, at FROM log JOIN sample ON sample.uid = log.sample_uid "
            f"WHERE {_OF_STREAM} AND log.kind = 'kept' AND sample.kind = 'larva' ORDER BY +log.id",
            (self.visit_uid,),
        )
        return [(seat, datetime.fromisoformat(at)) for seat, at in rows]

    def last_bottle_day(self, site: str) -> str | None:
        visit = self.visit()
        row = self.db.execute(
            "SELECT local_date FROM visit WHERE site = ? AND programme = ? AND practice = ? AND EXISTS "
            "(SELECT 1 FROM sample WHERE sample.visit = visit.uid AND sample.status = 'kept' "
            " AND kind IN ('water', 'sediment')) ORDER BY local_date DESC LIMIT 1",
            (site, self._programme, visit.practice),
        ).fetchone()
        return row[0] if row else None

    def clean_before(self) -> int:
        """Clean samples this phone's earlier seats have kept, at most 100, in visits of the same sort."""
        if self.phone_id is None:
            return 0
        (count,) = self.db.execute(
            "SELECT count(*) FROM (SELECT 1 FROM seat "
            "JOIN visit ON visit.uid = seat.visit AND visit.practice = ? "
            "JOIN sample ON sample.visit = seat.visit AND sample.seat = seat.letter AND sample.status = 'kept' "
            "WHERE seat.phone = ? AND seat.visit != ? "
            "AND NOT EXISTS (SELECT 1 FROM sample_flag WHERE sample_flag.sample = sample.uid) LIMIT ?)",
            (self.visit().practice, self.phone_id, self.visit_uid, MOST_CLEAN),
        ).fetchone()
        return int(count)

    def mark(self, entries: Sequence[Entry], seat: SeatFacts, now: datetime) -> str:
        if any(entry.kind == "visit_closed" for entry in entries):
            rows = links(self.store.link(self.visit_uid, seat.letter, seat.turn, now), entries)
            return next(row.hash for entry, _, row in rows if entry.kind == "visit_closed")
        row = self.db.execute(
            f"SELECT hash, seat FROM log WHERE {_OF_STREAM} AND kind = 'visit_closed' "
            "ORDER BY seat = 'desk', +id DESC LIMIT 1",
            (self.visit_uid,),
        ).fetchone()
        if row is None:
            return self.store.head(self.visit_uid)[1]
        return row[0] if row[1] != "desk" else "none"  # a close at the desk has no mark


def _sample_view(row: tuple[Any, ...]) -> SampleView:
    uid, status, tag, length_mm, family, sure, seat, gloves, sealed_at, kind, flags = row
    told = tuple(flags.split(",")) if flags else ()
    known = _SURE[sure]
    return SampleView(uid, status, tag, length_mm, family, known, seat, gloves, told, sealed_at is not None, kind)
