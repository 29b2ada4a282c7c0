"""Numbered migrations. Each commits together with its own number, so that a crash leaves one or the other."""

import secrets
import socket
import sqlite3
from collections.abc import Callable
from pathlib import Path

from guide.record.schema import APPLICATION_ID, OTHER_TABLES, PROJECTION_TABLES, TRIGGERS, VERSION


def _first_schema(db: sqlite3.Connection) -> None:
    for statement in (OTHER_TABLES + PROJECTION_TABLES).split(";\n"):
        if statement.strip():
            db.execute(statement)
    for trigger in TRIGGERS.values():
        db.execute(trigger)
    db.execute("INSERT INTO origin (uid, name) VALUES (?, ?)", (secrets.token_hex(4), socket.gethostname()[:40]))


MIGRATIONS: dict[int, Callable[[sqlite3.Connection], None]] = {1: _first_schema}
"""The first is plain SQL, since a new record is made before the first prompt; one that changes tables of an old record
wraps its connection in ``sqlite_utils.Database`` for ``transform`` and the like."""


def migrate(db: sqlite3.Connection, path: Path) -> None:
    """Brings a record to the newest schema, one numbered step after the other."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    if version:
        _back_up(db, path, version)
    for number in range(version + 1, VERSION + 1):
        db.execute("BEGIN IMMEDIATE")
        try:
            (now,) = db.execute("PRAGMA user_version").fetchone()
            if now < number:
                MIGRATIONS[number](db)
                db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                db.execute(f"PRAGMA user_version = {number}")
            db.execute("COMMIT")
        except BaseException:
            db.execute("ROLLBACK")
            raise


def _back_up(connection: sqlite3.Connection, path: Path, version: int) -> None:
    with sqlite3.connect(path.with_name(f"{path.name}.v{version}.bak")) as backup:
        connection.backup(backup)
    backup.close()
