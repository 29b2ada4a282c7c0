"""Folds log entries into the projection tables. Used for every text, and again from nothing by ``desk verify``."""

import json
import sqlite3
from collections.abc import Callable
from typing import Any

from guide.record.fold_lab import LAB_WRITERS
from guide.record.log import LogRow, to_json

SAMPLE_ANSWERS = ("length_mm", "family", "tag")
"""Answers about a sample that have a column of their own."""


def fold(db: sqlite3.Connection, row: LogRow) -> None:
    """Applies one entry to the projections. An entry of a kind that changes none is passed over."""
    data = json.loads(row.data)
    if row.supersedes and row.sample_uid:
        _drop_effects(db, row)
    writer = _WRITERS.get(row.kind)
    if writer is not None:
        writer(db, row, data)


def _drop_effects(db: sqlite3.Connection, row: LogRow) -> None:
    """A superseded answer takes its flags with it."""
    db.execute(
        "DELETE FROM sample_flag WHERE sample = ? AND entry IN "
        "(SELECT log.id FROM log JOIN origin ON origin.id = log.origin "
        " WHERE origin.uid || '/' || stream || '/' || seq = ? AND sample_uid = ?)",
        (row.sample_uid, row.supersedes, row.sample_uid),
    )


def _visit_opened(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.execute(
        "INSERT INTO visit "
        "(uid, code8, programme, book_hash, local_date, practice, target, word, status, answers, opened_at, "
        "group_code) VALUES (?, ?, ?, ?, ?, ?, ?, ?, 'open', '{}', ?, ?)",
        (
            row.stream,
            data["code8"],
            data["programme"],
            data["book_hash"],
            data["local_date"],
            data["practice"],
            data["target"],
            data["word"],
            row.at,
            data.get("group_code"),
        ),
    )


def _answer(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    if row.sample_uid is None:
        _visit_answer(db, row, data)
    for name in SAMPLE_ANSWERS:
        if name in data and row.sample_uid is not None:
            _sample_answer(db, row, name, data)
    for flag in data.get("flags", []) if row.sample_uid is not None else []:
        _add_flag(db, row, flag)


def _visit_answer(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    (old,) = db.execute("SELECT answers FROM visit WHERE uid = ?", (row.stream,)).fetchone()
    db.execute("UPDATE visit SET answers = ? WHERE uid = ?", (to_json({**json.loads(old), **data}), row.stream))
    if "site" in data:
        db.execute("UPDATE visit SET site = ? WHERE uid = ?", (data["site"], row.stream))
    if row.step.startswith(("safety.", "danger.", "close.out")):
        for question, answer in data.items():
            db.execute(
                "INSERT OR REPLACE INTO safety (entry, visit, question, answer) VALUES (?, ?, ?, ?)",
                (row.id, row.stream, question, to_json(answer)),
            )


def _sample_answer(db: sqlite3.Connection, row: LogRow, name: str, data: dict[str, Any]) -> None:
    if name == "tag":
        _take_tag(db, row, data["tag"])
    db.execute(f"UPDATE sample SET {name} = ? WHERE uid = ?", (data[name], row.sample_uid))
    if name == "family":
        db.execute("UPDATE sample SET sure = ? WHERE uid = ?", (data.get("sure"), row.sample_uid))


def _take_tag(db: sqlite3.Connection, row: LogRow, code: str) -> None:
    """A sample takes a tag; a tag it had before is free again."""
    _set_tag(db, row, "free", "sample = ?", row.sample_uid)
    db.execute(
        "UPDATE tag SET status = 'used', sample = ? WHERE code = ? AND (programme, practice) = "
        "(SELECT programme, practice FROM visit WHERE uid = ?)",
        (row.sample_uid, code, row.stream),
    )


def _set_tag(db: sqlite3.Connection, row: LogRow, status: str, where: str, value: str | None) -> None:
    owner = "NULL" if status == "free" else "sample"
    db.execute(
        f"UPDATE tag SET status = ?, sample = {owner} WHERE (programme, practice) = "
        f"(SELECT programme, practice FROM visit WHERE uid = ?) AND {where}",
        (status, row.stream, value),
    )


def _sample_opened(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    observed = row.at if data.get("observed", True) else None
    db.execute(
        "INSERT INTO sample (uid, visit, seat, kind, gloves, pace, status, opened_at) "
        "VALUES (?, ?, ?, ?, ?, ?, 'open', ?)",
        (row.sample_uid, row.stream, row.seat, data["kind"], data["gloves"], data["pace"], observed),
    )


def _set_sample(db: sqlite3.Connection, row: LogRow, **values: Any) -> None:
    columns = ", ".join(f"{name} = ?" for name in values)
    db.execute(f"UPDATE sample SET {columns} WHERE uid = ?", (*values.values(), row.sample_uid))


def _sealed(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """Gloves asked for and confirmed; a slip of a glove reported before stays told."""
    db.execute(
        "UPDATE sample SET sealed_at = ?, gloves = CASE gloves WHEN 'reported' THEN gloves ELSE ? END WHERE uid = ?",
        (row.at, data["gloves"], row.sample_uid),
    )


def _outer_bagged(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    _set_sample(db, row, outer_bagged_at=row.at, iced_at=row.at)


def _kept(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.execute("UPDATE sample SET status = 'kept' WHERE uid = ? AND status = 'open'", (row.sample_uid,))


def _void(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    _set_sample(db, row, status="void", void_reason=data["reason"])
    _set_tag(db, row, "void", "sample = ?", row.sample_uid)


def _flag(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    _add_flag(db, row, data["flag"])


def _add_flag(db: sqlite3.Connection, row: LogRow, flag: str) -> None:
    db.execute("INSERT OR REPLACE INTO sample_flag VALUES (?, ?, ?)", (row.sample_uid, flag, row.id))


def _swap(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """Two samples change tags with each other."""
    for uid, tag in data["tags"].items():
        db.execute("UPDATE sample SET tag = ? WHERE uid = ?", (tag, uid))
        db.execute(
            "UPDATE tag SET sample = ? WHERE code = ? AND (programme, practice) = "
            "(SELECT programme, practice FROM visit WHERE uid = ?)",
            (uid, tag, row.stream),
        )


def _contamination(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.execute(
        "INSERT OR REPLACE INTO contamination (entry, visit, slip, sample, what) VALUES (?, ?, ?, ?, ?)",
        (row.id, row.stream, data["slip"], row.sample_uid, data["what"]),
    )
    if row.sample_uid is not None and data.get("gloves"):
        _set_sample(db, row, gloves=data["gloves"])


def _remedy(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.execute(
        "UPDATE contamination SET touched = ?, remedy = ?, sample = coalesce(?, sample) WHERE visit = ? AND slip = ?",
        (data["touched"], data["remedy"], row.sample_uid, row.stream, data["slip"]),
    )


def _arrived(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A planned visit takes place: its day is the day people are there."""
    db.execute("UPDATE visit SET local_date = ? WHERE uid = ?", (data["local_date"], row.stream))


def _frozen(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    marks = ", ".join("?" * len(data["kinds"]))
    db.execute(
        f"UPDATE sample SET frozen_at = ? WHERE visit = ? AND status = 'kept' AND kind IN ({marks})",
        (row.at, row.stream, *data["kinds"]),
    )


def _kit_used(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A kit went to a water: it needs disinfecting before it goes to another."""
    _set_kit(db, row, data["kit"], data["site"], None)
    where = "(programme, practice) = (SELECT programme, practice FROM visit WHERE uid = ?) AND uid = ?"
    db.execute(f"UPDATE kit SET last_visit = ? WHERE {where}", (row.stream, row.stream, data["kit"]))


def _kit_disinfected(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    _set_kit(db, row, data["kit"], None, row.id)


def _set_kit(db: sqlite3.Connection, row: LogRow, uid: str, site: str | None, entry: int | None) -> None:
    db.execute(
        "INSERT INTO kit (programme, practice, uid, last_site, disinfected_entry) "
        "SELECT programme, practice, ?, ?, ? FROM visit WHERE uid = ? "
        "ON CONFLICT (programme, practice, uid) DO UPDATE SET "
        "last_site = coalesce(excluded.last_site, last_site), disinfected_entry = excluded.disinfected_entry",
        (uid, site, entry, row.stream),
    )


def _visit_closed(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.execute("UPDATE visit SET status = 'closed', closed_at = ? WHERE uid = ?", (row.at, row.stream))


def _tags_loaded(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.executemany(
        "INSERT OR IGNORE INTO tag (programme, practice, code, status) VALUES (?, ?, ?, 'free')",
        [(data["programme"], data["practice"], code) for code in data["codes"]],
    )


_WRITERS: dict[str, Callable[[sqlite3.Connection, LogRow, dict[str, Any]], None]] = {
    "visit_opened": _visit_opened,
    "answer": _answer,
    "fix": _answer,
    "sample_opened": _sample_opened,
    "sealed": _sealed,
    "outer_bagged": _outer_bagged,
    "kept": _kept,
    "void": _void,
    "flag": _flag,
    "swap": _swap,
    "contamination": _contamination,
    "remedy": _remedy,
    "arrived": _arrived,
    "frozen": _frozen,
    "kit_used": _kit_used,
    "kit_disinfected": _kit_disinfected,
    "visit_closed": _visit_closed,
    "tags_loaded": _tags_loaded,
    **LAB_WRITERS,
}
