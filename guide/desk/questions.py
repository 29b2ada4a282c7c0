"""Questions that wait for the desk: ``DESK ...`` texts, and fixes asked for after a close."""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from guide.desk.visits import LogEntry, entries_of
from guide.record.store import DESK

ASKING = ("desk_question", "fix_request")
_SETTLING = ("desk_answer", "fix", "void", "swap", "note")


@dataclass(frozen=True)
class Question:
    """One question: which seat of which visit asks, when, and its words (None where they were forgotten)."""

    visit: str
    seat: str
    practice: bool
    at: datetime
    kind: str
    words: str | None
    entry: str

    @property
    def to(self) -> str:
        """What an answer is sent to."""
        return f"{self.visit}/{self.seat}"


def open_questions(entries: Iterable[LogEntry]) -> list[LogEntry]:
    """Of a visit's entries, questions with no answer that reached a phone, and fixes asked for with none made since."""
    waiting: list[LogEntry] = []
    for entry in entries:
        if entry.kind in ASKING:
            waiting.append(entry)
        elif entry.kind == "desk_answer" and entry.data.get("sent") is not False:
            waiting = [one for one in waiting if entry.data.get("seat") != one.seat]
        elif entry.seat == DESK and entry.kind in _SETTLING:
            waiting = [one for one in waiting if one.kind != "fix_request"]
    return waiting


def waiting_questions(db: sqlite3.Connection, since: str = "") -> list[Question]:
    """Questions of all visits begun since a time (as stored), the oldest first."""
    visits = db.execute("SELECT uid, code8, practice FROM visit WHERE opened_at >= ?", (since,)).fetchall()
    found = [
        Question(code, entry.seat, bool(practice), entry.at, entry.kind, entry.words, entry.ref)
        for uid, code, practice in visits
        for entry in open_questions(entries_of(db, uid, (*ASKING, *_SETTLING)))
    ]
    return sorted(found, key=lambda question: question.at)
