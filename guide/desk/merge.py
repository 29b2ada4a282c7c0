"""``desk merge``: brings the log of another machine in, all of it or nothing, and says what doesn't agree."""

import json
import sqlite3
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path

from guide.counted import counted
from guide.desk.findings import check_visit
from guide.desk.other_log import MergeError, OtherLog, open_other, watched
from guide.desk.usual import Usual
from guide.desk.visits import append_at_desk, load_visit
from guide.record.jsonl import LogLine
from guide.record.log import Entry, LogRow
from guide.record.store import DESK, Store
from guide.record.verify import Watch, unwatched

Chain = tuple[str, str]
"""A machine's uid and a stream: whose chain it is, and of which visit."""

TOLD = ("tag_twice", "tag_unknown", "rival_fixes", "digest_differs")
"""Findings that a merge can bring about, told at once."""

MOST_SHOWN = 20

_CANT_BE_USED = (sqlite3.Error, KeyError, TypeError, ValueError, OverflowError, AttributeError)


@dataclass
class Merged:
    """What came in: new entries by visit's code, entries that were here before, and what doesn't agree."""

    taken: dict[str, int] = field(default_factory=dict)
    held: int = 0
    disagree: list[str] = field(default_factory=list)
    unknown_programmes: set[str] = field(default_factory=set)


def merge_file(store: Store, path: Path, now: datetime, watch: Watch = unwatched) -> Merged:
    """Takes a file's log in one transaction; raises MergeError or LogFileError, and then changes nothing."""
    (own,) = [row[2] for row in store.db.execute("PRAGMA database_list") if row[1] == "main"]
    if own and path.exists() and path.samefile(own):
        raise MergeError(f"{path} is this record itself; name the other one")
    with open_other(path, watch) as other, store.transaction():
        return _Merge(store, other, now, watch).run()


@dataclass
class _Merge:
    """One merge at work."""

    store: Store
    other: OtherLog
    now: datetime
    watch: Watch
    merged: Merged = field(default_factory=Merged)
    taken: Counter[str] = field(default_factory=Counter)
    origins: dict[str, int] = field(default_factory=dict)
    own: set[str] = field(default_factory=set)
    accepted: set[str] = field(default_factory=set)

    def run(self) -> Merged:
        held = self._held()
        theirs = self._heads(held)
        self._check_forks(held, theirs)
        fill = self.store.db.execute("SELECT 1 FROM words WHERE salt = '' LIMIT 1").fetchone() is not None
        seen: dict[Chain, tuple[int, str]] = {}
        for line in watched(self.other.lines(), self.watch, self.other.total):
            chain = (line.row.origin, line.row.stream)
            seen[chain] = (line.row.seq, line.row.hash)
            if line.row.seq > held.get(chain, (0, ""))[0]:
                self._take(line)
            else:
                self.merged.held += 1
                if fill and line.words is not None:
                    self._fill_words(line)
        if seen != {chain: ends[-1] for chain, ends in theirs.items()}:
            raise MergeError(f"{self.other.path} was changed while it was read; nothing was taken, try again")
        self._finish()
        return self.merged

    def _held(self) -> dict[Chain, tuple[int, str]]:
        """Where each chain of ours ends."""
        rows = self.store.db.execute(
            "SELECT origin.uid, stream, max(seq), hash FROM log JOIN origin ON origin.id = log.origin "
            "WHERE stream != ? GROUP BY log.origin, stream",
            (DESK,),
        )
        return {(origin, stream): (seq, here) for origin, stream, seq, here in rows}

    def _heads(self, held: dict[Chain, tuple[int, str]]) -> dict[Chain, list[tuple[int, str]]]:
        """For each chain of the other: where it ends, and its entry at the place where ours ends."""
        found: dict[Chain, list[tuple[int, str]]] = {}
        for line in watched(self.other.lines(), self.watch, self.other.total, "comparing"):
            chain = (line.row.origin, line.row.stream)
            ends = found.setdefault(chain, [])
            if ends and ends[-1][0] != held.get(chain, (0, ""))[0]:
                ends.pop()
            ends.append((line.row.seq, line.row.hash))
        return found

    def _check_forks(self, held: dict[Chain, tuple[int, str]], theirs: dict[Chain, list[tuple[int, str]]]) -> None:
        for (origin, stream), ends in theirs.items():
            if (origin, stream) not in held:
                continue
            ours, shared = held[origin, stream], min(held[origin, stream][0], ends[-1][0])
            if self._hash_at(origin, stream, shared) != dict(ends)[shared]:
                raise MergeError(
                    f"the log of visit {self._code(stream)} by machine {origin} forks: here it ends with entry "
                    f"{ours[0]}, {ours[1][:8]}, in {self.other.path} with entry {ends[-1][0]}, {ends[-1][1][:8]}, and "
                    "neither goes on from the other. Nothing was taken: find out which of the two was tampered with"
                )

    def _hash_at(self, origin: str, stream: str, seq: int) -> str:
        (found,) = self.store.db.execute(
            "SELECT hash FROM log WHERE origin = (SELECT id FROM origin WHERE uid = ?) AND stream = ? AND seq = ?",
            (origin, stream, seq),
        ).fetchone()
        return str(found)

    def _code(self, stream: str) -> str:
        row = self.store.db.execute("SELECT code8 FROM visit WHERE uid = ?", (stream,)).fetchone()
        return row[0] if row else stream

    def _take(self, line: LogLine) -> None:
        row = line.row
        if row.origin not in self.origins:
            self.origins[row.origin] = self._origin_id(row.origin)
        if row.origin == self.store.origin:
            self.own.add(row.stream)
        try:
            self._check_visit(row)
            salt = (line.salt or "") if "words" in json.loads(row.data) else None
            self.store.take(self.origins[row.origin], row, salt, line.words)
        except _CANT_BE_USED as error:
            reason = f"entry {row.ref} ({row.kind}) can't be used here: {error}"
            raise MergeError(f"{self.other.path}: {reason}; nothing was taken") from None
        if row.kind == "accepted":
            self.accepted.discard(row.stream)
        self.taken[row.stream] += 1

    def _origin_id(self, uid: str) -> int:
        name = self.other.names.get(uid, uid)
        self.store.db.execute("INSERT OR IGNORE INTO origin (uid, name) VALUES (?, ?)", (uid, name))
        (found,) = self.store.db.execute("SELECT id FROM origin WHERE uid = ?", (uid,)).fetchone()
        return int(found)

    def _check_visit(self, row: LogRow) -> None:
        """A visit's log begins with its opening, and no other visit has its code."""
        db = self.store.db
        if row.kind != "visit_opened":
            here = db.execute("SELECT accepted_at FROM visit WHERE uid = ?", (row.stream,)).fetchone()
            if here is not None and here[0] and row.stream not in self.taken:
                self.accepted.add(row.stream)
            if here is None:
                reason = f"entry {row.ref} belongs to visit {row.stream}, whose beginning is neither there nor here"
                raise MergeError(f"{self.other.path}: {reason}: merge the log of the machine that began it first")
            return
        code = json.loads(row.data).get("code8")
        other = db.execute("SELECT uid FROM visit WHERE code8 = ?", (code,)).fetchone()
        if other is not None and other[0] != row.stream:
            raise MergeError(
                f"{self.other.path}: its visit {row.stream} has the code {code}, which visit {other[0]} has here: "
                "two visits can't share a code, nothing was taken"
            )

    def _fill_words(self, line: LogLine) -> None:
        """Words that came without their text before are filled in; those that were forgotten stay forgotten."""
        self.store.db.execute(
            "UPDATE words SET salt = ?, text = ? WHERE salt = '' AND entry = "
            "(SELECT log.id FROM log JOIN origin ON origin.id = log.origin WHERE uid = ? AND stream = ? AND seq = ?)",
            (line.salt, line.words, line.row.origin, line.row.stream, line.row.seq),
        )

    def _finish(self) -> None:
        """Keeps the flow books, notes the merge in the desk's log, and looks for what doesn't agree."""
        if not self.taken:
            return
        db = self.store.db
        for stream, count in self.taken.items():
            code, book, programme, accepted = db.execute(
                "SELECT code8, book_hash, programme, accepted_at FROM visit WHERE uid = ?", (stream,)
            ).fetchone()
            if book in self.other.books:
                sql = "INSERT OR IGNORE INTO flow_book (hash, toml) VALUES (?, ?)"
                db.execute(sql, (book, self.other.books[book]))
            if accepted and stream in self.accepted:
                append_at_desk(self.store, stream, [Entry("unaccepted", "desk.merge", {"why": "merge"})], self.now)
            elif stream in self.own:
                append_at_desk(self.store, stream, [], self.now)
            self.merged.taken[code] = count
            if not db.execute("SELECT 1 FROM programme WHERE uid = ?", (programme,)).fetchone():
                self.merged.unknown_programmes.add(programme)
            findings = check_visit(load_visit(db, stream, Usual()))
            self.merged.disagree += [f"{code}: {one.what}" for one in findings if one.check in TOLD]
        data = {"visits": sorted(self.merged.taken), "entries": sum(self.taken.values())}
        self.store.append(DESK, DESK, 0, self.now, [Entry("merged", "", data)])


def show_merged(merged: Merged, path: Path, as_json: bool) -> Iterator[str]:
    """The lines that tell what a merge did."""
    if as_json:
        yield json.dumps(
            {"file": str(path), **asdict(merged), "unknown_programmes": sorted(merged.unknown_programmes)},
            ensure_ascii=False,
        )
        return
    for code, count in merged.taken.items():
        yield f"visit {code}: {counted(count, 'new entry', 'new entries')}"
    for line in merged.disagree[:MOST_SHOWN]:
        yield f"doesn't agree: {line}"
    if len(merged.disagree) > MOST_SHOWN:
        yield f"and {len(merged.disagree) - MOST_SHOWN} more; desk visit lists the findings of each visit"
    for programme in sorted(merged.unknown_programmes):
        yield f"programme {programme} is not set up in this record: load it with desk programme"
    new = sum(merged.taken.values())
    yield (
        f"{counted(new, 'entry', 'entries')} taken, {merged.held} {'was' if merged.held == 1 else 'were'} here before"
        if new
        else f"nothing new: {counted(merged.held, 'entry', 'entries')}, all here"
    )
