"""``desk backup``: a copy of a record while it is in use, read back and verified before it is called one."""

import json
import os
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

from guide.counted import counted
from guide.errors import RecordError
from guide.record.open import open_record
from guide.record.verify import Verified, verify

_PAGES_A_STEP = 2000


def back_up(record: Path, to: Path | None, as_json: bool) -> int:
    """Copies a record with SQLite's online backup, verifies the copy, prints its path, size and head.

    A name without an ending is a folder, made if it isn't there: each copy in it is named by its time.
    """
    db = open_record(record, create=False)
    to = to if to is not None else _name(record, datetime.now(UTC))
    if not to.suffix and not to.exists():
        to.mkdir(0o700, parents=True)
    if to.is_dir():
        to = to / _name(record, datetime.now(UTC)).name
    _reserve(to)
    try:
        found, head = _copied(db, to)
    except BaseException:
        to.unlink(missing_ok=True)
        raise
    if found.problems:
        to.unlink(missing_ok=True)
        raise RecordError(f"no backup was kept, since it doesn't verify: {found.problems[0]}; see wadeline desk verify")
    size = to.stat().st_size
    if as_json:
        print(json.dumps({"path": str(to), "bytes": size, "entries": found.entries, "head": head}))
    else:
        print(f"{to}: {size:,} bytes, {counted(found.entries, 'entry', 'entries')}, verified; head {head[:16]}")
        print("It holds phone numbers and words like the record itself: keep it where only you can read it.")
    return 0


def _name(record: Path, now: datetime) -> Path:
    return record.with_name(f"{record.stem}.backup-{now:%Y%m%d-%H%M%S}{record.suffix}")


def _reserve(to: Path) -> None:
    """Makes the file for the owner alone; raises RecordError if anything, a link too, has that name."""
    try:
        os.close(os.open(to, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except FileExistsError:
        raise RecordError(f"{to} is there already; name another file, nothing is overwritten") from None


def _copied(db: sqlite3.Connection, to: Path) -> tuple[Verified, str]:
    copy = sqlite3.connect(to, isolation_level=None)
    try:
        db.backup(copy, pages=_PAGES_A_STEP, sleep=0.001)
        copy.execute("PRAGMA journal_mode = DELETE")  # one file by itself, without a write-ahead log
        row = copy.execute("SELECT hash FROM log ORDER BY id DESC LIMIT 1").fetchone()
        return verify(copy), str(row[0]) if row else ""
    finally:
        copy.close()
