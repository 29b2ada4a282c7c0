"""The log as a file: one entry a line as JSON, an end line that counts them. Written, read and checked here.

A line has ``origin, stream, seq, at, seat, turn, kind, step, sample_uid, data, supersedes, prev, hash``; ``data`` is an
object, and the hash is over its canonical text (``log.to_json``). An entry with free words may have ``words`` and
``salt`` beside them, which the hash in its data proves. The last line is ``{"end": entries, "mark": hash}``, where the
mark is a hash over the hashes of all lines in order: a file that was cut, added to or put in another order shows.
"""

import json
import re
import sqlite3
import stat
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from json.encoder import encode_basestring
from pathlib import Path
from typing import Any, NamedTuple

from guide.errors import WadelineError
from guide.record.log import START, LogRow, chain_hash, row_hash, to_json, words_hash

FIELDS = (
    "origin", "stream", "seq", "at", "seat", "turn", "kind", "step", "sample_uid", "data", "supersedes", "prev", "hash",
)  # fmt: skip
LONGEST_LINE = 1_000_000
"""Bytes; a line of ours is far shorter, but for a list of thousands of tags."""

_TEXTS = ("origin", "stream", "at", "seat", "kind", "step", "prev", "hash")
_NUMBERS = ("seq", "turn")
_MAY_LACK = ("sample_uid", "supersedes")
_MOST = 2**63 - 1
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
_SELECT = (
    "SELECT log.id, origin.uid, stream, seq, at, seat, turn, kind, step, sample_uid, data, supersedes, prev, hash, "
    "text, salt FROM log JOIN origin ON origin.id = log.origin LEFT JOIN words ON words.entry = log.id "
)


class LogFileError(WadelineError):
    """A file of log entries can't be used; ``line`` counts from 1, 0 is the whole file, ``reason`` is in words."""

    def __init__(self, file: Path, line: int, reason: str) -> None:
        self.file, self.line, self.reason = file, line, reason
        super().__init__(f"{file}:{line}: {reason}" if line else f"{file}: {reason}")


class LogLine(NamedTuple):
    """One entry with its free words, where they are held; ``salt`` without ``words`` means they were forgotten."""

    row: LogRow
    words: str | None = None
    salt: str | None = None


# Writing


def held_lines(db: sqlite3.Connection, where: str = "1", values: Sequence[Any] = ()) -> Iterator[LogLine]:
    """The entries of a record that meet a condition on ``log``, in the order in which they were folded."""
    for *fields, words, salt in db.execute(f"{_SELECT} WHERE {where} ORDER BY log.id", values):
        yield LogLine(LogRow(*fields), words, salt)


def written(lines: Iterable[LogLine], with_words: bool) -> Iterator[str]:
    """Entries as the lines of a file, the end line last, each with its line end.

    ``with_words`` False leaves free words out; what is left still proves that they weren't changed.
    """
    mark, count = START, 0
    for line in lines:
        mark, count = chain_hash(mark, line.row.hash), count + 1
        told = line.salt is not None and with_words
        apart = f', "words": {_quoted(line.words)}, "salt": {_quoted(line.salt)}' if told else ""
        yield f"{_row_text(line.row)}{apart}}}\n"
    yield f"{json.dumps({'end': count, 'mark': mark})}\n"


def _row_text(row: LogRow) -> str:
    """An entry as JSON without the brace at its end; its data is JSON already. Put together by hand: a log is long."""
    quoted = encode_basestring
    return (
        f'{{"origin": {quoted(row.origin)}, "stream": {quoted(row.stream)}, "seq": {row.seq}, "at": {quoted(row.at)}, '
        f'"seat": {quoted(row.seat)}, "turn": {row.turn}, "kind": {quoted(row.kind)}, "step": {quoted(row.step)}, '
        f'"sample_uid": {_quoted(row.sample_uid)}, "data": {row.data}, "supersedes": {_quoted(row.supersedes)}, '
        f'"prev": {quoted(row.prev)}, "hash": {quoted(row.hash)}'
    )


def _quoted(text: str | None) -> str:
    return "null" if text is None else encode_basestring(text)


# Reading


def check_is_file(path: Path) -> None:
    """Raises LogFileError unless a path names an ordinary file."""
    try:
        mode = path.lstat().st_mode
    except OSError as error:
        raise LogFileError(path, 0, f"can't be read: {error.strerror or error}") from None
    if stat.S_ISLNK(mode):
        raise LogFileError(path, 0, "is a link; name the file itself, so that it is clear what is taken")
    if stat.S_ISDIR(mode):
        raise LogFileError(path, 0, "is a folder; name a file in it")
    if not stat.S_ISREG(mode):
        raise LogFileError(path, 0, "is no ordinary file")


def read_log_file(path: Path) -> Iterator[LogLine]:
    """The entries of a file, each proved before it is handed on; raises LogFileError naming the line."""
    heads: dict[tuple[str, str], tuple[int, str]] = {}
    mark, count, ended = START, 0, False
    for number, raw in _raw_lines(path):
        if ended:
            raise LogFileError(path, number, "there are lines behind the end line: something was added")
        fields = _object(path, number, raw)
        if "end" in fields:
            if (fields["end"], fields.get("mark")) != (count, mark):
                told = f"the end line speaks of {str(fields['end'])[:20]} entries, here are {count}"
                raise LogFileError(path, number, f"{told}, or others: the file was cut or changed")
            ended = True
            continue
        line = _line(path, number, fields)
        _check_chain(path, number, line.row, heads)
        mark, count = chain_hash(mark, line.row.hash), count + 1
        yield line
    if not ended:
        raise LogFileError(path, 0, f"has no end line after {count} entries: it was cut short; export or copy it again")


def _raw_lines(path: Path) -> Iterator[tuple[int, bytes]]:
    try:
        with path.open("rb") as file:
            number = 0
            while raw := file.readline(LONGEST_LINE + 1):
                number += 1
                if len(raw) > LONGEST_LINE:
                    raise LogFileError(path, number, f"the line is longer than {LONGEST_LINE:,} bytes: no log of ours")
                if not raw.endswith(b"\n"):
                    raise LogFileError(path, number, "the line breaks off: the file was cut short, copy it again")
                yield number, raw
    except OSError as error:
        raise LogFileError(path, 0, f"can't be read: {error.strerror or error}") from None


def _object(path: Path, number: int, raw: bytes) -> dict[str, Any]:
    try:
        found = json.loads(raw.decode("utf-8"), parse_constant=_no_number)
        to_json(found).encode("utf-8")
    except UnicodeError:
        raise LogFileError(path, number, "a letter is not UTF-8") from None
    except (ValueError, RecursionError):
        raise LogFileError(path, number, "the line is not JSON; a file of log entries has one object a line") from None
    if not isinstance(found, dict):
        raise LogFileError(path, number, "the line is no JSON object")
    return found


def _no_number(name: str) -> None:
    raise ValueError(name)


def _line(path: Path, number: int, fields: dict[str, Any]) -> LogLine:
    """A line's entry, each field of its kind and its hash proved."""
    lacking = [name for name in FIELDS if name not in fields]
    if lacking:
        raise LogFileError(path, number, f"the line lacks {', '.join(lacking)}: no log of ours")
    for names, types in ((_TEXTS, (str,)), (_MAY_LACK, (str, type(None))), (_NUMBERS, (int,)), (("data",), (dict,))):
        for name in names:
            if not isinstance(fields[name], types) or isinstance(fields[name], bool):
                raise LogFileError(path, number, f'"{name}" can\'t be {json.dumps(fields[name])[:30]}')
    if not all(0 <= fields[name] <= _MOST for name in _NUMBERS) or not _is_time(fields["at"]):
        raise LogFileError(path, number, "seq, turn or at is no number or time that can be")
    values = {**{name: fields[name] for name in FIELDS}, "data": to_json(fields["data"])}
    row = LogRow(id=0, **values)
    if row_hash(row) != row.hash:
        raise LogFileError(path, number, f"entry {row.ref} ({row.kind}) was changed: its hash doesn't fit")
    return _with_words(path, number, row, fields)


def _is_time(text: str) -> bool:
    if not _TIME.fullmatch(text):
        return False
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _with_words(path: Path, number: int, row: LogRow, fields: dict[str, Any]) -> LogLine:
    words, salt = fields.get("words"), fields.get("salt")
    if words is None and salt is None:
        return LogLine(row)
    if not isinstance(salt, str) or not isinstance(words, str | None):
        raise LogFileError(path, number, f"the words of entry {row.ref} have no salt, or are no text")
    if words is not None and words_hash(salt, words) != fields["data"].get("words"):
        raise LogFileError(path, number, f"the words of entry {row.ref} were changed: their hash doesn't fit")
    return LogLine(row, words, salt)


def _check_chain(path: Path, number: int, row: LogRow, heads: dict[tuple[str, str], tuple[int, str]]) -> None:
    """Holds an entry against the end of its chain so far, which it becomes."""
    seq, prev = heads.get((row.origin, row.stream), (0, START))
    if row.seq != seq + 1:
        reason = f"entry {row.ref} comes after number {seq} of its chain: entries are missing or in another order"
        raise LogFileError(path, number, reason)
    if row.prev != prev:
        raise LogFileError(path, number, f"entry {row.ref} doesn't follow from the entry before it")
    heads[row.origin, row.stream] = (row.seq, row.hash)
