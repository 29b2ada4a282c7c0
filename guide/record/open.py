"""Opening a record: is it ours, is it new enough, and the settings every connection needs."""

import os
import sqlite3
from typing import TYPE_CHECKING

from guide.errors import RecordError
from guide.record.schema import APPLICATION_ID, VERSION

if TYPE_CHECKING:
    from pathlib import Path  # a start-up feels the import

BUSY_MS = 10_000


def open_record(path: "str | Path", create: bool = True) -> sqlite3.Connection:
    """A connection to a record at the newest schema, in autocommit mode (transactions are begun by hand).

    A database of an earlier version is brought up to date, with a backup beside it. Raises RecordError if the
    file isn't ours, is newer than this program, or can't be opened.
    """
    path = os.fspath(path)
    try:
        if not create and not os.path.exists(path):
            raise RecordError(f"there is no record at {path}")
        os.makedirs(os.path.dirname(path) or ".", exist_ok=True)
        if path != ":memory:" and not os.path.exists(path):
            os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))  # phone numbers are in it: for its owner only
        db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        version = _version(db, path)
        _settings(db)
        if version < VERSION:
            from pathlib import Path

            from guide.record.migrate import migrate

            migrate(db, Path(path))
        return db
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise RecordError(f"{path} can't be used as a record: {error}") from None
    except OSError as error:
        raise RecordError(f"{path} can't be opened: {error.strerror or error}") from None


def _version(db: sqlite3.Connection, path: str) -> int:
    (ours,) = db.execute("PRAGMA application_id").fetchone()
    (version,) = db.execute("PRAGMA user_version").fetchone()
    (tables,) = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if tables and ours != APPLICATION_ID:
        raise RecordError(f"{path} is a database of another program; name another file with --db")
    if version > VERSION:
        raise RecordError(
            f"{path} was written by a newer wadeline (schema {version}, this one knows {VERSION}): update first"
        )
    return int(version)


def _settings(db: sqlite3.Connection) -> None:
    db.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA recursive_triggers = ON")
