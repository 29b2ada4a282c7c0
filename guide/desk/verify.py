"""``desk verify``: prints whether a record is whole."""

import json
from dataclasses import asdict
from pathlib import Path

import sqlite_utils

from guide.record.open import open_record
from guide.record.verify import verify


def verify_record(path: Path, as_json: bool = False) -> int:
    """Prints what was found; returns 0 if the record is whole, else 1."""
    db = open_record(path, create=False)
    found = verify(db)
    if as_json:
        print(json.dumps(asdict(found)))
        return 1 if found.problems else 0
    for problem in found.problems:
        print(problem)
    for visit, mark in found.marks.items():
        print(f"visit {visit} closed with mark {mark}: compare it with the field sheet")
    held = sqlite_utils.Database(db, execute_plugins=False)
    counts = ", ".join(f"{held.table(name).count} {name}s" for name in ("visit", "sample", "tag"))
    print(f"{counts}; {found.entries} entries in {found.chains} chains, {len(found.problems)} problem(s)")
    if found.problems:
        return 1
    print("ok: every hash fits, the tables are the log folded, the log is append-only")
    return 0
