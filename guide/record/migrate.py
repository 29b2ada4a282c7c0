"""Numbered migrations. Each commits together with its own number, so that a crash leaves one or the other."""

import secrets
import socket
import sqlite3
from collections.abc import Callable
from pathlib import Path

import sqlite_utils

from guide.record.schema import APPLICATION_ID, OTHER_TABLES, PROJECTION_TABLES, TRIGGERS, VERSION


def _first_schema(db: sqlite_utils.Database) -> None:
    for statement in (OTHER_TABLES + PROJECTION_TABLES).split(";\n"):
        if statement.strip():
            db.execute(statement)
    for trigger in TRIGGERS.values():
        db.execute(trigger)
    db.table("origin").insert({"uid": secrets.token_hex(4), "name": socket.gethostname()[:40]})


MIGRATIONS: dict[int, Callable[[sqlite_utils.Database], None]] = {1: _first_schema}


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Brings a record to the newest schema, one numbered step after the other."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version:
        _back_up(connection, path, version)
    db = sqlite_utils.Database(connection, execute_plugins=False)
    for number in range(version + 1, VERSION + 1):
        connection.execute("BEGIN IMMEDIATE")
        try:
            (now,) = connection.execute("PRAGMA user_version").fetchone()
            if now < number:
                MIGRATIONS[number](db)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {number}")
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise


def _back_up(connection: sqlite3.Connection, path: Path, version: int) -> None:
    with sqlite3.connect(path.with_name(f"{path.name}.v{version}.bak")) as backup:
        connection.backup(backup)
    backup.close()
