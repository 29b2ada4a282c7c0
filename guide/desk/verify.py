"""``desk verify``: prints whether a record, or a file of its log, is whole."""

import json
from collections import Counter
from dataclasses import asdict
from pathlib import Path

import sqlite_utils

from guide.counted import counted
from guide.desk.progress import progress
from guide.record.jsonl import LogFileError, check_is_file, read_log_file
from guide.record.open import open_record
from guide.record.store import DESK
from guide.record.verify import verify


def verify_record(path: Path, as_json: bool = False) -> int:
    """Prints what was found; returns 0 if the record is whole, else 1."""
    db = open_record(path, create=False)
    found = verify(db, progress)
    if as_json:
        print(json.dumps(asdict(found)))
        return 1 if found.problems else 0
    for problem in found.problems:
        print(problem)
    for doubt in found.doubts:
        print(f"to look at: {doubt}")
    for visit, mark in found.marks.items():
        print(f"visit {visit} closed with mark {mark}: compare it with the field sheet")
    if found.forgotten:
        lacking = counted(found.forgotten, "entry", "entries")
        print(f"the words of {lacking} are not held here (forgotten, or left out of a copy)")
    held = sqlite_utils.Database(db, execute_plugins=False)
    counts = ", ".join(counted(held.table(name).count, name) for name in ("visit", "sample", "tag"))
    print(f"{counts}; {_size(found.entries, found.chains, len(found.problems))}")
    if found.problems:
        return 1
    print("ok: every hash fits, the tables are the log folded, the log is append-only")
    return 0


def verify_log_file(path: Path, as_json: bool = False) -> int:
    """Prints whether a file of log entries is whole, without any record; returns 0 if it is, else 1."""
    chains: Counter[tuple[str, str]] = Counter()
    marks: dict[str, str] = {}
    problems: list[str] = []
    check_is_file(path)
    try:
        for line in progress(read_log_file(path), 0, "lines"):
            chains[line.row.origin, line.row.stream] += 1
            if line.row.kind == "visit_closed" and line.row.seat != DESK:
                marks[line.row.stream] = line.row.hash[:8]
    except LogFileError as error:
        problems.append(str(error))
    found = {"problems": problems, "entries": sum(chains.values()), "chains": len(chains), "marks": marks}
    if as_json:
        print(json.dumps(found))
        return 1 if problems else 0
    for problem in problems:
        print(problem)
    for visit, mark in marks.items():
        print(f"visit {visit} closed with mark {mark}: compare it with the field sheet")
    print(_size(sum(chains.values()), len(chains), len(problems)))
    if not problems:
        print("ok: every hash fits, every chain goes on from its beginning, the end line counts what is here")
    return 1 if problems else 0


def _size(entries: int, chains: int, problems: int) -> str:
    """How much was looked at, and what it came to."""
    found = counted(problems, "problem") if problems else "no problem"
    return f"{counted(entries, 'entry', 'entries')} in {counted(chains, 'chain')}, {found}"
