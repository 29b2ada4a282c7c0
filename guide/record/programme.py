"""The programme that new visits begin with: the settings text that the desk loaded last."""

import sqlite3


def stored_programme(db: sqlite3.Connection) -> str | None:
    """The settings text loaded last, the sites loaded from a list included; None if the desk has loaded none."""
    row = db.execute(
        "SELECT toml FROM programme WHERE toml IS NOT NULL ORDER BY loaded_at DESC, id DESC LIMIT 1"
    ).fetchone()
    return str(row[0]) if row else None


def loaded_at(db: sqlite3.Connection) -> str | None:
    """When the desk loaded a programme, or its sites, last."""
    (at,) = db.execute("SELECT max(loaded_at) FROM programme").fetchone()
    return str(at) if at else None
