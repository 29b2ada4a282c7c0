"""Folds what the desk put right of a visit itself into the tables: its answers, site, day and group.

A site that was put right moves what hangs on it: where its kit was last, and which of its tags are another site's.
"""

import json
import sqlite3
from typing import Any

from guide.record.fold import PUT_RIGHT
from guide.record.hand_flags import set_by_hand
from guide.record.log import LogRow, to_json
from guide.record.rivals import FLAGS_OF
from guide.record.visit_answers import ALONE, COLUMNS, name_put_right, settle


def put_right(db: sqlite3.Connection, row: LogRow, answers: dict[str, Any], fix: dict[str, Any] | None) -> None:
    """Answers that the desk put right come to what stands of all that was told of them.

    ``answers`` are the visit's, with those of the entry ``row`` among them; ``fix`` is its data where it is a fix.
    """
    names = {*answers.get(PUT_RIGHT, ()), *([name_put_right(fix)] if fix is not None else [])}
    for name, value in settle(db, row.stream, names, row.id).items():
        if name in COLUMNS:
            db.execute(f"UPDATE visit SET {name} = ? WHERE uid = ?", (value, row.stream))
        if name not in ALONE:
            answers.pop(name, None)
            answers |= {} if value is None else {name: value}
    answers[PUT_RIGHT] = sorted(names)
    db.execute("UPDATE visit SET answers = ? WHERE uid = ?", (to_json(answers), row.stream))
    if "site" in names:
        _move_kit(db, row)
        judge_tags(db, row, answers)
    elif "site" in json.loads(row.data):
        db.execute("UPDATE visit SET site = ? WHERE uid = ?", (answers.get("site"), row.stream))


def _move_kit(db: sqlite3.Connection, row: LogRow) -> None:
    """A kit whose last visit was somewhere else than told was last there."""
    db.execute(
        "UPDATE kit SET last_site = (SELECT site FROM visit WHERE uid = kit.last_visit) WHERE last_visit = ?",
        (row.stream,),
    )


def judge_tags(db: sqlite3.Connection, row: LogRow, answers: dict[str, Any]) -> None:
    """In a visit whose site was put right, samples are flagged anew whose tags were given to another site.

    A sample whose flag somebody set or took off by hand is left alone.
    """
    if "site" not in answers[PUT_RIGHT]:
        return
    (flag,) = FLAGS_OF["tag"]
    elsewhere = db.execute(
        "SELECT sample.uid, tag.site != visit.site FROM sample "
        "JOIN visit ON visit.uid = visit LEFT JOIN tag ON tag.programme = visit.programme "
        "AND tag.practice = visit.practice AND tag.code = sample.tag WHERE visit.uid = ?",
        (row.stream,),
    ).fetchall()
    for uid, is_elsewhere in elsewhere:
        if set_by_hand(db, uid, flag, row.id) is None:
            db.execute("DELETE FROM sample_flag WHERE sample = ? AND flag = ?", (uid, flag))
            if is_elsewhere:
                db.execute("INSERT INTO sample_flag VALUES (?, ?, ?)", (uid, flag, row.id))
