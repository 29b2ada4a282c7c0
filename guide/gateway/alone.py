"""One server a record: two would each hand every text that waits to their gateway."""

import sqlite3
from pathlib import Path

from guide.errors import RecordError


def hold_alone(record: Path) -> sqlite3.Connection:
    """Holds a record for one server until this is closed or the process ends; raises RecordError if another holds it.

    It is a lock of SQLite's own on an empty file beside the record: the same on every system, and none stays behind
    when a process is killed.
    """
    hold = sqlite3.connect(f"{record.resolve()}-serving", isolation_level=None, timeout=0)
    try:
        hold.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        hold.close()
        if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
            why = "another wadeline serve works on it; both would send each text"
        else:
            why = str(error)
        raise RecordError(f"{record} can't be served: {why}") from None
    return hold
