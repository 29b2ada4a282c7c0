"""Folds log entries into the projection tables. Used for every text, and again from nothing by ``desk verify``."""

import json
import sqlite3
from collections.abc import Callable
from typing import Any

from guide.record.fold_lab import LAB_WRITERS
from guide.record.log import LogRow, to_json
from guide.record.rivals import FLAGS_OF, settled

SAMPLE_ANSWERS = ("length_mm", "family", "tag")
"""Answers about a sample that have a column of their own."""

_UNDOES_ACCEPTANCE = frozenset(
    (
        "answer",
        "fix",
        "void",
        "flag",
        "unflag",
        "swap",
        "sample_opened",
        "contamination",
        "remedy",
        "note",
        "unaccepted",
    )
)
"""Entries after which a visit that was accepted must be looked at again; of answers, only those about a sample."""

_MOVES_TAGS = frozenset(("fix", "swap", "flag", "unflag"))
"""Entries about samples that may change which tag a sample has, or the flag that its tag is another site's."""

PUT_RIGHT = "put_right"
"""Among a visit's answers: the names of those that the desk put right, in order of the alphabet."""

CLOSED_BY = "closed_by"
"""Among a visit's answers: ``desk`` where no pair closed it."""


def fold(db: sqlite3.Connection, row: LogRow) -> None:
    """Applies one entry to the projections. An entry of a kind that changes none is passed over."""
    data = json.loads(row.data)
    if row.supersedes and row.sample_uid:
        data = settled(db, row, data, SAMPLE_ANSWERS)
        _drop_effects(db, row, data)
    writer = _WRITERS.get(row.kind)
    if writer is not None:
        writer(db, row, data)
    if row.sample_uid and (row.kind in _MOVES_TAGS or (row.kind == "answer" and "tag" in data)):
        _tag_moved(db, row)
    if row.kind in _UNDOES_ACCEPTANCE and (row.kind != "answer" or row.sample_uid):
        db.execute("UPDATE visit SET accepted_at = NULL WHERE uid = ? AND accepted_at IS NOT NULL", (row.stream,))


def _drop_effects(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A superseded answer takes the flags it brought with it; those that somebody set by hand stay."""
    brought = [flag for name in SAMPLE_ANSWERS if name in data for flag in FLAGS_OF.get(name, ())]
    for flag in brought:
        if _by_hand(db, row, flag) is None:
            db.execute(
                "DELETE FROM sample_flag WHERE sample = ? AND flag = ? AND entry IN "
                "(SELECT log.id FROM log JOIN origin ON origin.id = log.origin WHERE sample_uid = ? "
                " AND (supersedes IS NOT NULL OR origin.uid || '/' || stream || '/' || seq = ?))",
                (row.sample_uid, flag, row.sample_uid, row.supersedes),
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
    (text,) = db.execute("SELECT answers FROM visit WHERE uid = ?", (row.stream,)).fetchone()
    old = json.loads(text)
    if row.kind == "fix":
        _put_right(db, row, old, data)
        return
    db.execute("UPDATE visit SET answers = ? WHERE uid = ?", (to_json({**old, **data}), row.stream))
    if PUT_RIGHT in old:
        _put_right(db, row, {**old, **data})
    elif "site" in data:
        db.execute("UPDATE visit SET site = ? WHERE uid = ?", (data["site"], row.stream))
    if row.step.startswith(("safety.", "danger.", "close.out")):
        for question, answer in data.items():
            db.execute(
                "INSERT OR REPLACE INTO safety (entry, visit, question, answer) VALUES (?, ?, ?, ?)",
                (row.id, row.stream, question, to_json(answer)),
            )


def _put_right(db: sqlite3.Connection, row: LogRow, answers: dict[str, Any], fix: dict[str, Any] | None = None) -> None:
    from guide.record.put_right import put_right  # few visits are put right, and a start-up feels the import

    put_right(db, row, answers, fix)


def _tag_moved(db: sqlite3.Connection, row: LogRow) -> None:
    """In a visit whose site was put right, whose tags are another site's is judged anew."""
    found = db.execute("SELECT answers FROM visit WHERE uid = ?", (row.stream,)).fetchone()
    if found is not None and PUT_RIGHT in found[0]:
        from guide.record.put_right import judge_tags

        judge_tags(db, row, json.loads(found[0]))


def _sample_answer(db: sqlite3.Connection, row: LogRow, name: str, data: dict[str, Any]) -> None:
    if name == "tag":
        _set_sample_tag(db, row, row.sample_uid, data["tag"])
        return
    db.execute(f"UPDATE sample SET {name} = ? WHERE uid = ?", (data[name], row.sample_uid))
    if name == "family":
        db.execute("UPDATE sample SET sure = ? WHERE uid = ?", (data.get("sure"), row.sample_uid))


def _set_sample_tag(db: sqlite3.Connection, row: LogRow, uid: str | None, code: str | None) -> None:
    """A sample takes a tag; a tag it had before is free again."""
    before = db.execute("SELECT tag FROM sample WHERE uid = ?", (uid,)).fetchone()
    db.execute("UPDATE sample SET tag = ? WHERE uid = ?", (code, uid))
    for changed in {code, *(before or ())} - {None}:
        _assign_in_pool(db, _pool(db, row), changed)


def _pool(db: sqlite3.Connection, row: LogRow) -> tuple[str, int]:
    """The pool of tags that a visit takes from: a programme's, of practice or of real work."""
    found = db.execute("SELECT programme, practice FROM visit WHERE uid = ?", (row.stream,)).fetchone()
    return (found[0], found[1])


def _assign_in_pool(db: sqlite3.Connection, pool: tuple[str, int], code: str) -> None:
    """Who has a tag: the first sample with it that counts, else the first void one (then the tag is void), else none.

    By this rule a tag that came in twice stays with whom it was here first, in whatever order samples then change. A
    tag that the desk made void stays void.
    """
    owner = db.execute(
        "SELECT sample.uid, sample.status FROM sample JOIN visit ON visit.uid = visit WHERE tag = ? "
        "AND programme = ? AND practice = ? ORDER BY sample.status = 'void', sample.rowid LIMIT 1",
        (code, *pool),
    ).fetchone()
    uid, status = (owner[0], "void" if owner[1] == "void" else "used") if owner else (None, "free")
    db.execute(
        "UPDATE tag SET status = ?, sample = ? WHERE code = ? AND programme = ? AND practice = ? "
        "AND NOT (status = 'void' AND sample IS NULL)",
        (status, uid, code, *pool),
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
    (code,) = db.execute("SELECT tag FROM sample WHERE uid = ?", (row.sample_uid,)).fetchone()
    if code is not None:
        _assign_in_pool(db, _pool(db, row), code)


def _by_hand(db: sqlite3.Connection, row: LogRow, flag: str) -> bool | None:
    from guide.record.hand_flags import set_by_hand  # few samples have flags, and a start-up feels the import

    return set_by_hand(db, row.sample_uid, flag, row.id)


def _flag(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A flag set or taken off by hand: the last word of it stands, whichever entry came now."""
    db.execute("DELETE FROM sample_flag WHERE sample = ? AND flag = ?", (row.sample_uid, data["flag"]))
    if _by_hand(db, row, data["flag"]):
        db.execute("INSERT INTO sample_flag VALUES (?, ?, ?)", (row.sample_uid, data["flag"], row.id))


def _add_flag(db: sqlite3.Connection, row: LogRow, flag: str) -> None:
    """A flag that an answer brings, unless somebody said by hand whether it holds."""
    if _by_hand(db, row, flag) is None:
        db.execute("INSERT OR REPLACE INTO sample_flag VALUES (?, ?, ?)", (row.sample_uid, flag, row.id))


def _swap(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """Two samples change tags with each other."""
    for uid, tag in data["tags"].items():
        _set_sample_tag(db, row, uid, tag)


def _accepted(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.execute("UPDATE visit SET accepted_at = ? WHERE uid = ?", (row.at, row.stream))


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
    (text,) = db.execute("SELECT answers FROM visit WHERE uid = ?", (row.stream,)).fetchone()
    if PUT_RIGHT in text:
        _put_right(db, row, json.loads(text))


def _frozen(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """The pair was at the freezer; or the desk tells ``at`` when it was, of what no pair told it."""
    marks = ", ".join("?" * len(data["kinds"]))
    untold = "AND frozen_at IS NULL" if "at" in data else ""
    db.execute(
        f"UPDATE sample SET frozen_at = ? WHERE visit = ? AND status = 'kept' AND kind IN ({marks}) {untold}",
        (data.get("at", row.at), row.stream, *data["kinds"]),
    )


def _kit_used(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A kit went to a water: it needs disinfecting before it goes to another."""
    if _kit_was_out_later(db, row, data["kit"]):
        return
    (site,) = db.execute("SELECT coalesce(site, ?) FROM visit WHERE uid = ?", (data["site"], row.stream)).fetchone()
    _set_kit(db, row, data["kit"], site, None)
    where = "(programme, practice) = (SELECT programme, practice FROM visit WHERE uid = ?) AND uid = ?"
    db.execute(f"UPDATE kit SET last_visit = ? WHERE {where}", (row.stream, row.stream, data["kit"]))


def _kit_disinfected(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    if not _kit_was_out_later(db, row, data["kit"]):
        _set_kit(db, row, data["kit"], None, row.id)


def _kit_was_out_later(db: sqlite3.Connection, row: LogRow, uid: str) -> bool:
    """An older log that is merged later says nothing of a kit that a newer visit has used since."""
    found = db.execute(
        "SELECT opened_at FROM kit JOIN visit ON visit.uid = last_visit WHERE kit.uid = ? "
        "AND (kit.programme, kit.practice) = (SELECT programme, practice FROM visit WHERE uid = ?)",
        (uid, row.stream),
    ).fetchone()
    return found is not None and row.at < found[0]


def _set_kit(db: sqlite3.Connection, row: LogRow, uid: str, site: str | None, entry: int | None) -> None:
    db.execute(
        "INSERT INTO kit (programme, practice, uid, last_site, disinfected_entry) "
        "SELECT programme, practice, ?, ?, ? FROM visit WHERE uid = ? "
        "ON CONFLICT (programme, practice, uid) DO UPDATE SET "
        "last_site = coalesce(excluded.last_site, last_site), disinfected_entry = excluded.disinfected_entry",
        (uid, site, entry, row.stream),
    )


def _visit_closed(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """A pair's own close counts before one at the desk; of several at the desk, the first by their time."""
    sql = "SELECT answers, status, closed_at FROM visit WHERE uid = ?"
    text, status, closed_at = db.execute(sql, (row.stream,)).fetchone()
    answers, at = json.loads(text), row.at
    own = answers.pop(CLOSED_BY, None) is None
    if data.get("by") == "desk":
        if status == "closed" and own:
            return
        answers[CLOSED_BY], at = "desk", min(at, closed_at or at)
    db.execute(
        "UPDATE visit SET status = 'closed', closed_at = ?, answers = ? WHERE uid = ?",
        (at, to_json(answers), row.stream),
    )


def _tags_loaded(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.executemany(
        "INSERT OR IGNORE INTO tag (programme, practice, code, site, status) VALUES (?, ?, ?, ?, 'free')",
        [(data["programme"], data["practice"], code, data.get("site")) for code in data["codes"]],
    )


def _tags_assigned(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    db.executemany(
        "UPDATE tag SET site = ? WHERE programme = ? AND practice = ? AND code = ?",
        [(data["site"], data["programme"], data["practice"], code) for code in data["codes"]],
    )


def _tags_voided(db: sqlite3.Connection, row: LogRow, data: dict[str, Any]) -> None:
    """Slips lost or torn; a tag that a sample has by now stays with it."""
    db.executemany(
        "UPDATE tag SET status = 'void' WHERE programme = ? AND practice = ? AND code = ? AND status = 'free'",
        [(data["programme"], data["practice"], code) for code in data["codes"]],
    )
    pool = (data["programme"], data["practice"])
    carried = db.execute(
        "SELECT DISTINCT tag FROM sample JOIN visit ON visit.uid = visit WHERE programme = ? AND practice = ?", pool
    )
    for code in {code for (code,) in carried} & set(data["codes"]):
        _assign_in_pool(db, pool, code)


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
    "unflag": _flag,
    "swap": _swap,
    "contamination": _contamination,
    "remedy": _remedy,
    "arrived": _arrived,
    "frozen": _frozen,
    "kit_used": _kit_used,
    "kit_disinfected": _kit_disinfected,
    "visit_closed": _visit_closed,
    "accepted": _accepted,
    "tags_loaded": _tags_loaded,
    "tags_assigned": _tags_assigned,
    "tags_voided": _tags_voided,
    **LAB_WRITERS,
}
