"""The append-only log: what an entry is, and the chain of hashes that shows a change."""

import json
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from guide.sha import sha256_of

START = "0" * 64
"""What the first entry of a chain has as its ``prev``."""

FORGOTTEN = "forgotten"
"""What stands for the salt of words that were forgotten: their hash in the chain then tells nothing."""

_as_json = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode

_NO_DATA: dict[str, Any] = {}
"""Shared by all entries without data; never changed."""


class Entry(NamedTuple):
    """One line of the log before it is written.

    ``kind`` says what happened, ``step`` where in the talk, ``data`` holds codes and numbers (never a prompt's
    words), ``words`` a person's free words, kept apart; ``supersedes`` is the reference of the entry this one
    takes the place of.
    """

    kind: str
    step: str = ""
    data: dict[str, Any] = _NO_DATA
    sample_uid: str | None = None
    supersedes: str | None = None
    words: str | None = None


class LogRow(NamedTuple):
    """One line of the log as it stands in the database; ``origin`` is the machine's uid."""

    id: int
    origin: str
    stream: str
    seq: int
    at: str
    seat: str
    turn: int
    kind: str
    step: str
    sample_uid: str | None
    data: str
    supersedes: str | None
    prev: str
    hash: str

    @property
    def ref(self) -> str:
        """How other entries point to this one, on any machine."""
        return f"{self.origin}/{self.stream}/{self.seq}"


def to_json(data: Any) -> str:
    """JSON in one fixed form, so that the same data has the same hash."""
    return _as_json(data)


def chain_hash(prev: str, *parts: str | int | None) -> str:
    """SHA-256 over the hash before and every field of an entry; fields can't run into each other."""
    return sha256_of(to_json([prev, *parts]).encode("utf-8", "surrogatepass"))


def row_hash(row: LogRow) -> str:
    """The hash a row must have, from its own fields and its ``prev``."""
    return chain_hash(
        row.prev,
        row.origin,
        row.stream,
        row.seq,
        row.at,
        row.seat,
        row.turn,
        row.kind,
        row.step,
        row.sample_uid,
        row.data,
        row.supersedes,
    )


class Link(NamedTuple):
    """Where a chain stands and who adds to it: machine, stream, its last number and hash, and the turn."""

    origin: str
    stream: str
    seq: int
    prev: str
    at: str
    seat: str
    turn: int


def links(at: Link, entries: Iterable[Entry]) -> Iterator[tuple[Entry, str, LogRow]]:
    """Each entry as it goes into the chain behind ``at``: the entry, the salt of its words, its row (id still 0)."""
    seq, prev = at.seq, at.prev
    for entry in entries:
        seq += 1
        data, salt = entry.data, ""
        if entry.words is not None:
            import secrets  # few entries hold words, and a start-up feels the import

            salt = secrets.token_hex(8)
            data = {**data, "words": words_hash(salt, entry.words)}
        fields = (
            at.stream,
            seq,
            at.at,
            at.seat,
            at.turn,
            entry.kind,
            entry.step,
            entry.sample_uid,
            to_json(data),
        )
        here = chain_hash(prev, at.origin, *fields, entry.supersedes)
        yield entry, salt, LogRow(0, at.origin, *fields, entry.supersedes, prev, here)
        prev = here


def words_hash(salt: str, words: str) -> str:
    """The salted hash that stands in the chain for free words, so that the words themselves can be forgotten."""
    return sha256_of(f"{salt}\n{words}".encode("utf-8", "surrogatepass"))
