"""What ``desk merge`` takes from: another record, or a file of log entries. Both are proved first and never written."""

import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from guide.errors import WadelineError
from guide.record.jsonl import LogLine, check_is_file, held_lines, read_log_file
from guide.record.log import LogRow
from guide.record.schema import APPLICATION_ID, VERSION
from guide.record.store import DESK
from guide.record.verify import Watch, verify_log

SQLITE_HEAD = b"SQLite format 3\0"
_NEEDED = {"log": "data", "origin": "uid", "words": "salt", "flow_book": "toml", "turn": "head_after"}


class MergeError(WadelineError):
    """A file can't be merged; the record is as it was."""


@dataclass(frozen=True)
class OtherLog:
    """A log that was proved: ``lines`` hands on its visits' entries anew each time, in the order they were folded.

    ``names`` are machines' names by their uids, ``books`` texts of flow books by their hashes.
    """

    path: Path
    lines: Callable[[], Iterator[LogLine]]
    total: int
    names: dict[str, str]
    books: dict[str, str]


@contextmanager
def open_other(path: Path, watch: Watch) -> Iterator[OtherLog]:
    """Opens and proves a file; raises MergeError or LogFileError with what is wrong and where."""
    check_is_file(path)
    with path.open("rb") as file:
        head = file.read(len(SQLITE_HEAD))
    if head == SQLITE_HEAD:
        with closing(_open_to_read(path)) as db:
            yield _of_record(path, db, watch)
    elif head.lstrip().startswith(b"{"):
        yield _of_file(path)
    else:
        raise MergeError(f"{path} is neither a record nor a log.jsonl of an export; nothing was taken")


def _of_file(path: Path) -> OtherLog:
    """Each entry of a file is proved whenever it is read; its first one before the whole file is gone through."""
    next(read_log_file(path), None)
    with path.open("rb") as file:
        total = sum(part.count(b"\n") for part in iter(lambda: file.read(1 << 20), b"")) - 1
    return OtherLog(path, lambda: (line for line in read_log_file(path) if line.row.stream != DESK), total, {}, {})


def _open_to_read(path: Path) -> sqlite3.Connection:
    """Opens a database for reading only; without a write-ahead log beside it, nothing at all is made there."""
    wal = path.with_name(f"{path.name}-wal")
    still = "" if wal.exists() and wal.stat().st_size else "&immutable=1"
    try:
        return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro{still}", uri=True, isolation_level=None)
    except sqlite3.Error as error:
        raise MergeError(f"{path} can't be opened: {error}") from None


def _of_record(path: Path, db: sqlite3.Connection, watch: Watch) -> OtherLog:
    try:
        db.execute("BEGIN")
        _check_ours(path, db)
        found = verify_log(db, watch)
        if found.problems:
            more = f" (and {len(found.problems) - 1} more)" if len(found.problems) > 1 else ""
            raise MergeError(f"{path} is not whole, nothing was taken: {found.problems[0]}{more}")
        books = dict(db.execute("SELECT hash, toml FROM flow_book"))
        for book_hash, text in books.items():
            if hashlib.sha256(text.encode()).hexdigest() != book_hash:
                raise MergeError(f"{path} is not whole, nothing was taken: the flow book {book_hash[:8]} was changed")
        names = dict(db.execute("SELECT uid, name FROM origin"))
        (total,) = db.execute("SELECT count(*) FROM log WHERE stream != ?", (DESK,)).fetchone()
    except sqlite3.DatabaseError as error:
        raise MergeError(f"{path} can't be read as a record: {error}; nothing was taken") from None
    return OtherLog(path, lambda: held_lines(db, "stream != ?", (DESK,)), total, names, books)


def _check_ours(path: Path, db: sqlite3.Connection) -> None:
    (ours,), (version,) = (db.execute(f"PRAGMA {name}").fetchone() for name in ("application_id", "user_version"))
    if ours != APPLICATION_ID:
        raise MergeError(f"{path} is a database of another program; nothing was taken")
    if version > VERSION:
        raise MergeError(
            f"{path} was written by a newer wadeline (schema {version}, this one knows {VERSION}): update this one"
        )
    for table, column in _NEEDED.items():
        columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
        if column not in columns:
            raise MergeError(
                f"{path} is no record of ours: its table {table} has no column {column}; nothing was taken"
            )


def watched(lines: Iterable[LogLine], watch: Watch, total: int, label: str = "taking") -> Iterator[LogLine]:
    """Lines, with their progress shown."""
    held: list[LogLine] = []

    def rows() -> Iterator[LogRow]:
        for line in lines:
            held.append(line)
            yield line.row

    for _ in watch(rows(), total, label):
        yield held.pop()
