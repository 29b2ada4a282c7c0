"""Who carries a record's texts: one server alone, or pipes. Each text that waits would else go out by all of them.

It is a lock of SQLite's own on an empty file beside the record: the same on every system, and none stays behind when a
process is killed.
"""

import os
import sqlite3

from guide.errors import RecordError


def hold_alone(record: "str | os.PathLike[str]") -> sqlite3.Connection:
    """Holds a record for one server until this is closed or the process ends; raises RecordError if another, or a
    pipe, carries its texts."""
    return _hold(record, "BEGIN EXCLUSIVE", "another wadeline serve, or a pipe, carries its texts")


def hold_beside_pipes(record: "str | os.PathLike[str]") -> sqlite3.Connection:
    """Holds a record for a pipe, beside other pipes; raises RecordError if a server carries its texts."""
    return _hold(record, "BEGIN", "a wadeline serve carries its texts")


def _hold(record: "str | os.PathLike[str]", begin: str, busy: str) -> sqlite3.Connection:
    path = os.fspath(record)
    file = path if path == ":memory:" else f"{os.path.realpath(path)}-carried"
    hold = sqlite3.connect(file, isolation_level=None, timeout=0)
    try:
        hold.execute(begin)
        hold.execute("SELECT count(*) FROM sqlite_schema").fetchone()  # from here on it is locked, for reading or all
    except sqlite3.OperationalError as error:
        hold.close()
        why = f"{busy}; end it first" if error.sqlite_errorcode == sqlite3.SQLITE_BUSY else str(error)
        raise RecordError(f"the texts of {path} can't be carried: {why}") from None
    return hold
