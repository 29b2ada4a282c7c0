"""Folds the desk's entries about what goes to the lab: what was chosen, packed, sent and received."""

import json
import sqlite3
from typing import Any

from guide.record.log import LogRow, to_json


def _chosen(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A new choice for a site takes the place of the one before, but for samples that a shipment holds."""
    db.execute(
        "DELETE FROM choice WHERE programme = ? AND site = ? AND sample NOT IN (SELECT sample FROM shipment_sample)",
        (data["programme"], data["site"]),
    )
    reasons = {**dict.fromkeys(data["chosen"]), **data["left_out"]}
    db.executemany(
        "INSERT OR REPLACE INTO choice (sample, programme, site, entry, left_out) VALUES (?, ?, ?, ?, ?)",
        [(uid, data["programme"], data["site"], row.id, reason) for uid, reason in reasons.items()],
    )


def _planned(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    names = ("shipment", "code", "programme", "day", "arrival", "dry_ice_kg")
    db.execute(
        "INSERT INTO shipment (uid, code, programme, day, arrival, dry_ice_kg, extra, status) "
        "VALUES (?, ?, ?, ?, ?, ?, '[]', 'planned')",
        [data[name] for name in names],
    )
    db.executemany(
        "INSERT INTO shipment_sample (shipment, sample) VALUES (?, ?)",
        [(data["shipment"], uid) for uid in data["samples"]],
    )


def _packed(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    _set_packed(db, row, data, row.at)


def _unpacked(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    _set_packed(db, row, data, None)


def _set_packed(db: sqlite3.Connection, row: LogRow, data: dict[str, Any], at: str | None) -> None:
    sql = "UPDATE shipment_sample SET packed_at = ? WHERE shipment = ? AND sample = ?"
    db.execute(sql, (at, data["shipment"], row.sample_uid))


def _shipped(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """What was packed is under way; what was not stays here and is free for another shipment."""
    uid, day = data["shipment"], data["day"]
    db.execute("DELETE FROM shipment_sample WHERE shipment = ? AND packed_at IS NULL", (uid,))
    db.execute(
        "UPDATE shipment SET status = 'sent', waybill = ?, sent_on = ?, arrival = coalesce(?, arrival) WHERE uid = ?",
        (data["waybill"], day, data.get("arrival"), uid),
    )
    db.execute(
        "UPDATE sample SET shipped_at = ? WHERE uid IN (SELECT sample FROM shipment_sample WHERE shipment = ?)",
        (day, uid),
    )


def _unsent(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A hand-over that wasn't: the plan stands again, with what was left out and is still free."""
    uid = data["shipment"]
    db.execute(
        "UPDATE shipment SET status = 'planned', waybill = NULL, sent_on = NULL, arrival = ? WHERE uid = ?",
        (data["arrival"], uid),
    )
    db.execute(
        "UPDATE sample SET shipped_at = NULL WHERE uid IN (SELECT sample FROM shipment_sample WHERE shipment = ?)",
        (uid,),
    )
    db.executemany(
        "INSERT OR IGNORE INTO shipment_sample (shipment, sample) VALUES (?, ?)",
        [(uid, sample) for sample in data["samples"]],
    )


def _lab_found(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    sql = "UPDATE shipment_sample SET outcome = ? WHERE shipment = ? AND sample = ?"
    db.execute(sql, (data["outcome"], data["shipment"], row.sample_uid))


def _lab_received(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A later list of the lab adds to an earlier one; codes that nobody packed are kept beside the shipment."""
    (before,) = db.execute("SELECT extra FROM shipment WHERE uid = ?", (data["shipment"],)).fetchone()
    extra = sorted({*json.loads(before), *data["extra"]})
    db.execute(
        "UPDATE shipment SET status = 'received', received_on = ?, extra = ? WHERE uid = ?",
        (data["day"], to_json(extra), data["shipment"]),
    )


def _dropped(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A plan that won't be: its samples are free for another one."""
    db.execute("UPDATE shipment SET status = 'dropped' WHERE uid = ?", (data["shipment"],))
    db.execute("DELETE FROM shipment_sample WHERE shipment = ?", (data["shipment"],))


LAB_WRITERS = {
    "chosen": _chosen,
    "ship_planned": _planned,
    "packed": _packed,
    "unpacked": _unpacked,
    "shipped": _shipped,
    "ship_unsent": _unsent,
    "lab_found": _lab_found,
    "lab_received": _lab_received,
    "ship_dropped": _dropped,
}
"""What each kind of entry does to the tables ``choice``, ``shipment`` and ``shipment_sample``."""
