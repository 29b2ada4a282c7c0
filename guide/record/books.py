"""Flow books in the record: each text once, by its hash, with its ready form beside it."""

import sqlite3
from collections.abc import Mapping
from functools import lru_cache

from guide.errors import FlowError, SettingsError
from guide.flow.load import load_book
from guide.flow.model import FlowBook
from guide.flow.ready import from_ready, is_ready, to_ready
from guide.flow.registry import Registry
from guide.flow.replies.base import ReplyKind
from guide.sha import sha256_of


def ready_book(
    db: sqlite3.Connection, text: str, registry: Registry, kinds: Mapping[str, ReplyKind]
) -> FlowBook | None:
    """The book of a text from its ready form in the record; None where its text must be read."""
    book_hash = sha256_of(text.encode())
    row = db.execute("SELECT ready FROM flow_book WHERE hash = ?", (book_hash,)).fetchone()
    return from_ready(book_hash, text, row[0], registry, kinds) if row else None


def is_kept(db: sqlite3.Connection, book: FlowBook) -> bool:
    """Whether the record has a book, in a ready form that this program reads."""
    row = db.execute("SELECT ready FROM flow_book WHERE hash = ?", (book.hash,)).fetchone()
    return row is not None and is_ready(row[0])


@lru_cache(maxsize=4)
def is_true(text: str, ready: str | None) -> bool:
    """Whether a book's ready form says what its text says, if this program would read it at all."""
    from guide.flow.replies.kinds import KINDS
    from guide.talk.blanks import REGISTRY

    if not is_ready(ready):
        return True
    try:
        return to_ready(load_book(text, REGISTRY, KINDS)) == ready
    except (FlowError, SettingsError):
        return False


def keep_book(db: sqlite3.Connection, book: FlowBook) -> None:
    """Keeps a book's text, and its ready form of this program."""
    db.execute(
        "INSERT INTO flow_book (hash, toml, ready) VALUES (?, ?, ?) "
        "ON CONFLICT (hash) DO UPDATE SET ready = excluded.ready",
        (book.hash, book.text, to_ready(book)),
    )
