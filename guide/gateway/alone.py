"""Who carries a record's texts: one server alone, or pipes. Each text that waits would else go out by all of them.

It is a lock of SQLite's own on an empty file beside the record: the same on every system, and none stays behind when a
process is killed.

Pipes stand beside each other: one that is at work leaves a text that waits to the pipe that made it, for a second. One
that starts takes all that waits at once, and may so print a text again that another pipe has printed and not yet noted.
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
    cannot = f"the texts of {path} can't be carried"
    try:
        hold = sqlite3.connect(file, isolation_level=None, timeout=0)
        hold.execute(begin)
        hold.execute("SELECT count(*) FROM sqlite_schema").fetchone()  # from here on it is locked, for reading or all
    except sqlite3.Error as error:
        if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
            raise RecordError(f"{cannot}: {busy}; end it first") from None
        raise RecordError(f"{cannot}: its lock {file} can't be used: {error}") from None
    if file != path and not os.access(file, os.W_OK):  # one that is only read would lock nobody out
        hold.close()
        raise RecordError(f"{cannot}: this user can't write its lock {file}; give it the owner of the record")
    return hold
