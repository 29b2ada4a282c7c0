"""Numbered migrations. Each commits together with its own number, so that a crash leaves one or the other."""

import secrets
import socket
import sqlite3
from collections.abc import Callable
from pathlib import Path

from guide.record.schema import APPLICATION_ID, OTHER_TABLES, PROJECTION_TABLES, TRIGGERS, VERSION


def _newest(db: sqlite3.Connection) -> None:
    """A new record, in plain SQL, since it is made before the first prompt."""
    _run(db, OTHER_TABLES + PROJECTION_TABLES)
    for trigger in TRIGGERS.values():
        db.execute(trigger)
    db.execute("INSERT INTO origin (uid, name) VALUES (?, ?)", (secrets.token_hex(4), socket.gethostname()[:40]))


def _run(db: sqlite3.Connection, statements: str) -> None:
    for statement in statements.split(";\n"):
        if statement.strip():
            db.execute(statement)


def _to_2(db: sqlite3.Connection) -> None:
    """Coordinators, groups, delivery of texts, digests, the desk's marks on visits."""
    _add_columns(db, "visit", "group_code TEXT", "accepted_at TEXT")
    _add_columns(db, "programme", "toml TEXT", "loaded_at TEXT")
    _add_columns(db, "phone", "told_at TEXT")
    _add_columns(db, "flow_book", "ready TEXT")
    _add_columns(db, "outgoing", "retry_at TEXT", "sent_at TEXT", "reported_at TEXT", "failure TEXT")
    for table in ("shipment_sample", "shipment"):  # the first schema had them, and nothing ever wrote to them
        db.execute(f"DROP TABLE {table}")
    _add_tables(db, "choice", "shipment", "shipment_sample")
    _add_tables(db, "coordinator", "field_group", "digest_text")
    db.execute("DROP INDEX tag_status")
    _add_indexes(db, "phone_seat", "visit_open", "visit_site", "tag_free")


def _add_columns(db: sqlite3.Connection, table: str, *columns: str) -> None:
    for column in columns:
        db.execute(f"ALTER TABLE {table} ADD COLUMN {column}")


def _add_tables(db: sqlite3.Connection, *names: str) -> None:
    """Makes tables that the newest schema has, with their indexes."""
    statements = [one for one in (OTHER_TABLES + PROJECTION_TABLES).split(";\n") if one.strip()]
    for statement in statements:
        if any(f" {name} (" in statement or f" ON {name}(" in statement for name in names):
            db.execute(statement)


def _add_indexes(db: sqlite3.Connection, *names: str) -> None:
    for statement in (OTHER_TABLES + PROJECTION_TABLES).split(";\n"):
        if any(f"INDEX {name} ON" in statement for name in names):
            db.execute(statement)


MIGRATIONS: dict[int, Callable[[sqlite3.Connection], None]] = {2: _to_2}
"""How a record of the version before is brought to each version."""


def migrate(db: sqlite3.Connection, path: Path) -> None:
    """Brings a record to the newest schema, one numbered step after the other."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    if version:
        _back_up(db, path, version)
    for number in range(version + 1, VERSION + 1) if version else (VERSION,):
        db.execute("BEGIN IMMEDIATE")
        try:
            (now,) = db.execute("PRAGMA user_version").fetchone()
            if now < number:
                (MIGRATIONS[number] if version else _newest)(db)
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
