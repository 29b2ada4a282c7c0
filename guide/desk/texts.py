"""``desk texts``: what went out and what became of it."""

import argparse
import sqlite3
from pathlib import Path
from typing import Any

from guide.cli import record_path
from guide.desk.commands import record_options
from guide.desk.show import show_rows
from guide.record.open import open_record

STATUSES = ("waiting", "sent", "delivered", "failed", "dropped")
MOST = 100
_SHOWN_WORDS = 48
_TEXTS = (
    "SELECT 't' || outgoing.id AS text, outgoing.due_at AS at, number, code8 AS visit, letter AS seat, "
    "outgoing.status, tries, failure AS why, outgoing.text AS words FROM outgoing "
    "JOIN phone ON phone.id = outgoing.phone LEFT JOIN seat ON seat.id = outgoing.seat "
    "LEFT JOIN visit ON visit.uid = seat.visit WHERE outgoing.status = ? OR ? IS NULL ORDER BY outgoing.id DESC LIMIT ?"
)


def add_texts_command(commands: Any) -> None:
    """Adds the command to those of the desk."""
    parser = commands.add_parser("texts", help="what went out, and what became of it")
    parser.add_argument("--failed", action="store_true", help="only texts that were given up, with why")
    parser.add_argument("--numbers", action="store_true", help="show whole phone numbers, not their last three digits")
    parser.add_argument("--most", type=_count, default=MOST, metavar="N", help=f"the newest N (else {MOST})")
    record_options(parser)
    parser.set_defaults(run=_texts)


def _count(text: str) -> int:
    number = int(text)
    if number < 1:
        raise ValueError
    return number


_count.__name__ = "count"


def _texts(args: argparse.Namespace) -> int:
    return show_texts(record_path(args.db), args.failed, args.json, args.numbers, args.most)


def show_texts(record: Path, failed: bool, as_json: bool, numbers: bool, most: int = MOST) -> int:
    """Prints the newest texts out, the last one last, and below them how many there are of each kind."""
    db = open_record(record, create=False)
    db.row_factory = sqlite3.Row
    found = db.execute(_TEXTS, ("failed" if failed else None,) * 2 + (most,)).fetchall()
    rows = [_row(row, as_json, numbers) for row in reversed(found)]
    show_rows(rows, as_json, "No text was given up." if failed else "No text went out yet.")
    if rows and not as_json:
        counts = dict(db.execute("SELECT status, count(*) FROM outgoing GROUP BY 1").fetchall())
        print(f"in all: {', '.join(f'{counts.get(status, 0)} {status}' for status in STATUSES)}")
    return 0


def _row(row: sqlite3.Row, as_json: bool, numbers: bool) -> dict[str, Any]:
    told = dict(row)
    told["number"] = told["number"] if numbers else last_digits(told["number"])
    if not as_json:
        told["at"] = told["at"][:16].replace("T", " ") + "Z"
        words = " ".join(told["words"].split())
        told["words"] = words if len(words) <= _SHOWN_WORDS else words[: _SHOWN_WORDS - 3] + "..."
    return told


def last_digits(number: str) -> str:
    """``...123`` for a phone's number; a name that the terminal or a drill gives its phone as it is."""
    return f"...{number[-3:]}" if sum(char.isdigit() for char in number) > 3 else number
