"""``desk export``: tables, log and papers of visits in one folder, for the lab and for whoever comes after.

Everything is read in one transaction, each table as a cursor, so that memory stays flat and the files agree with each
other. Free words, initials and phone numbers are in none of them.
"""

import json
import re
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from guide.counted import counted
from guide.desk.export_folder import DESCRIPTOR, Folder, export_folder
from guide.desk.lab import DeskError, Lab
from guide.desk.progress import progress
from guide.desk.show import table
from guide.desk.visits import visit_uid
from guide.papers.csv_tables import ROWS, TABLES, Scope, Table, csv_lines
from guide.papers.datapackage import Written, describe
from guide.record.jsonl import LogLine, held_lines, written
from guide.record.store import DESK, stamp

_UNSAFE = re.compile(r"[^A-Za-z0-9_-]+")


@dataclass(frozen=True)
class Wish:
    """What is asked for: one visit, one site, or (neither) all; practice or real; with papers or tables alone."""

    visit: str | None
    site: str | None
    practice: bool
    papers: bool


def run_export(lab: Lab, wish: Wish, to: Path, as_json: bool) -> int:
    """Writes an export into the folder ``to`` and prints what is in it."""
    scope = scope_of(lab, wish)
    counts: dict[str, int] = {}
    with export_folder(to, scope.practice) as folder:
        lab.db.execute("BEGIN")
        try:
            still_open = open_visits(lab.db, scope)
            described: list[tuple[Written, Table | None]] = [*_tables(lab.db, scope, folder, counts)]
            described.append((_log(lab.db, scope, folder, counts), None))
            if wish.papers:
                from guide.desk.export_papers import write_papers

                described += [(one, None) for one in write_papers(lab, scope, folder)]
        finally:
            lab.db.execute("ROLLBACK")
        package = describe(*_named(lab, scope), stamp(lab.now), described, still_open)
        text = json.dumps(package, ensure_ascii=False, indent=1)
        folder.write(DESCRIPTOR, [f"{text}\n".encode()])
    _say(to, folder.written, counts, still_open, as_json)
    return 0


def open_visits(db: sqlite3.Connection, scope: Scope) -> list[str]:
    """The codes of the scope's visits that are not closed: what they hold may still change."""
    sql = f"SELECT code8 FROM visit WHERE {scope.where} AND visit.status = 'open' ORDER BY visit.id"
    return [code for (code,) in db.execute(sql, scope.values)]


def scope_of(lab: Lab, wish: Wish) -> Scope:
    """The visits that are asked for; raises DeskError for a visit of the other sort, or if there is none."""
    uid = visit_uid(lab.db, wish.visit) if wish.visit else None
    programme = lab.settings.code
    if uid is not None:
        programme, practice = lab.db.execute("SELECT programme, practice FROM visit WHERE uid = ?", (uid,)).fetchone()
        if bool(practice) != wish.practice:
            words = "practice: add --practice" if practice else "real work: leave --practice out"
            raise DeskError(f"visit {wish.visit} is {words}")
    site = lab.site(wish.site).code if wish.site else None
    scope = Scope(programme, wish.practice, site, uid)
    (found,) = lab.db.execute(f"SELECT count(*) FROM visit WHERE {scope.where}", scope.values).fetchone()
    if not found:
        sort = "practice" if wish.practice else "real"
        where = f" at {wish.site}" if wish.site else ""
        hint = "" if wish.practice else "; practice visits are exported alone, with --practice"
        raise DeskError(f"there is no {sort} visit{where} to export{hint}")
    return scope


def _named(lab: Lab, scope: Scope) -> tuple[str, str]:
    """Name and title of the package."""
    code = _UNSAFE.sub("-", scope.programme).strip("-").lower() or "programme"
    name = f"{'practice-' if scope.practice else ''}{code}"
    return name, f"{'PRACTICE, nothing here is real: ' if scope.practice else ''}{lab.settings.name}"


# Tables and log

_COUNTS = {
    "samples": "SELECT count(*) FROM sample JOIN visit ON visit.uid = sample.visit WHERE ",
    "visits": "SELECT count(*) FROM visit WHERE ",
}


def _tables(
    db: sqlite3.Connection, scope: Scope, folder: Folder, counts: dict[str, int]
) -> Iterator[tuple[Written, Table]]:
    for one in TABLES:
        total = 0
        if one.name in _COUNTS:
            (total,) = db.execute(f"{_COUNTS[one.name]}{scope.where}", scope.values).fetchone()
        rows = _counted(progress(ROWS[one.name](db, scope), total, one.name), one.name, counts)
        yield folder.write(f"{one.name}.csv", (text.encode() for text in csv_lines(one, rows))), one


def _log(db: sqlite3.Connection, scope: Scope, folder: Folder, counts: dict[str, int]) -> Written:
    """The chains of the scope's visits; with all real ones also the desk's, which tells what was chosen and shipped."""
    where = f"stream IN (SELECT uid FROM visit WHERE {scope.where})"
    if scope.whole and not scope.practice:
        where = f"({where} OR stream = '{DESK}')"
    (total,) = db.execute(f"SELECT count(*) FROM log WHERE {where}", scope.values).fetchone()
    lines: Iterable[LogLine] = held_lines(db, where, scope.values)
    entries = _counted(progress(lines, total, "log"), "log", counts)
    return folder.write("log.jsonl", _together(written(entries, with_words=False)))


def _counted(rows: Iterable[Any], name: str, counts: dict[str, int]) -> Iterator[Any]:
    counts[name] = 0
    for row in rows:
        counts[name] += 1
        yield row


def _together(lines: Iterable[str], most: int = 400) -> Iterator[bytes]:
    """Lines as larger pieces of UTF-8."""
    held: list[str] = []
    for line in lines:
        held.append(line)
        if len(held) == most:
            yield "".join(held).encode()
            held.clear()
    yield "".join(held).encode()


def _say(to: Path, files: Sequence[Written], counts: dict[str, int], still_open: Sequence[str], as_json: bool) -> None:
    rows = [
        {"file": one.name, "rows": counts.get(_stem(one.name)), "bytes": one.bytes, "sha256": one.sha256}
        for one in files
    ]
    if as_json:
        print(json.dumps({"folder": str(to), "files": rows, "open": list(still_open)}, ensure_ascii=False))
        return
    print("\n".join(table([{name: row[name] for name in ("file", "rows", "bytes")} for row in rows])))
    if still_open:
        print(f"NOT CLOSED: {_some(still_open)}. What is told of {_it(still_open)} may still change; the files say so.")
        print(f"Where nobody texts any more: wadeline desk close {still_open[0]} --reason WHY")
    proof = f"wadeline desk verify {to / _log_name(files)}"
    print(f"{counted(len(files), 'file')} in {to}. Prove the log anywhere with: {proof}")


def _some(codes: Sequence[str], most: int = 8) -> str:
    more = f" and {len(codes) - most} more" if len(codes) > most else ""
    return f"{'visit' if len(codes) == 1 else 'visits'} {', '.join(codes[:most])}{more}"


def _it(codes: Sequence[str]) -> str:
    return "it" if len(codes) == 1 else "them"


def _stem(name: str) -> str:
    return name.removeprefix("PRACTICE_").rsplit(".", 1)[0] if name.endswith((".csv", ".jsonl")) else ""


def _log_name(files: Sequence[Written]) -> str:
    return next(one.name for one in files if one.name.endswith(".jsonl"))
