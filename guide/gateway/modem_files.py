"""The files of the Gammu daemon's files back end: what an inbox file says, what an outbox file must say.

The daemon writes a text in the format of its backups, all its parts in one file (``InboxFormat = detail``), or its
words alone, each part in a file. Sources: gammu-smsd-files(7), gammu-smsdrc(5); for the header that numbers the parts
of a long text 3GPP TS 23.040, 9.2.3.24.1 and 9.2.3.24.8.
"""

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from guide.errors import WadelineError
from guide.talk.sms import PART_SEPTETS, PART_UNITS, is_gsm7, septets, split

GAP = "[...]"
"""Stands where a part of a long text is missing, so that what came is never taken for the whole."""

_IN_NAME = re.compile(r"IN(\d{8}_\d{6})_\d+_(.+)_(\d+)\.[a-z]+")
_HEAD = re.compile(rb"\[SMSBackup\d+\]")
_HEX_A_LINE = 200
_BOMS = (b"\xfe\xff", b"\xff\xfe")


class UnreadableError(WadelineError):
    """A file holds no text that can be read; says why."""


class HalfWrittenError(UnreadableError):
    """A file ends too early: it is still being written, or its writer was killed."""


@dataclass(frozen=True)
class Piece:
    """A text, or the part ``index`` of the ``total`` of a long one; ``sent`` is the carrier's time, as it stands."""

    words: str
    sent: str
    reference: int = 0
    index: int = 1
    total: int = 1


@dataclass(frozen=True)
class Received:
    """What an inbox file says: the sender as the carrier gives it, and pieces of one text."""

    sender: str
    pieces: tuple[Piece, ...]


@dataclass
class Letter:
    """A text and the inbox files it came in, the first one first."""

    sender: str
    total: int
    files: list[str] = field(default_factory=list)
    pieces: dict[int, Piece] = field(default_factory=dict)

    @property
    def missing(self) -> list[int]:
        """The parts that haven't come."""
        return [index for index in range(1, self.total + 1) if index not in self.pieces]

    @property
    def words(self) -> str:
        """Its words; a gap stands for each part that is missing."""
        parts = [self.pieces[i].words if i in self.pieces else GAP for i in range(1, self.total + 1)]
        return "".join(parts).encode("utf-16-be", "surrogatepass").decode("utf-16-be", "replace")

    @property
    def sent_at(self) -> str | None:
        """When the carrier took it, as UTC ISO 8601; None if its file doesn't say."""
        try:
            at = datetime.fromisoformat(min(piece.sent for piece in self.pieces.values()))
            return at.astimezone(UTC).isoformat() if at.tzinfo else None
        except (ValueError, OverflowError):
            return None

    @property
    def ext_id(self) -> str:
        """The same for the same text, however often and under whatever file name the daemon writes it.

        A daemon that is killed after it wrote a file reads the text from the phone once more, and the second file has
        another name. The same words of the same phone in the carrier's same second are one text.
        """
        told = [self.sender]
        for _, piece in sorted(self.pieces.items()):
            told += [piece.sent, str(piece.index), str(piece.reference), piece.words]
        return hashlib.sha256("\0".join(told).encode("utf-8", "surrogatepass")).hexdigest()[:32]


def letters(files: Mapping[str, Received]) -> list[Letter]:
    """The texts that a mapping of file names to contents holds, in the order of their names, which is that of time.

    A part that was there already, with other words, belongs to a later text with the same reference: it is left out.
    """
    found: dict[tuple[object, ...], Letter] = {}
    for name in sorted(files):
        received = files[name]
        first = received.pieces[0]
        key = (received.sender, first.reference, first.total) if first.total > 1 else (name,)
        letter = found.setdefault(key, Letter(received.sender, first.total))
        if all(letter.pieces.get(piece.index, piece).words == piece.words for piece in received.pieces):
            letter.files.append(name)
            letter.pieces.update({piece.index: piece for piece in received.pieces})
    return list(found.values())


# Reading


def read_inbox_file(name: str, data: bytes) -> Received:
    """What an inbox file says; raises UnreadableError, or HalfWrittenError where more may come.

    The sender must be the one in the file's name, which the daemon makes: so no phone's words can pass for a file.
    """
    named = _IN_NAME.fullmatch(name)
    if named is None:
        raise UnreadableError("its name is not one that the daemon gives")
    when, sender, part = named.groups()
    if not any(_HEAD.match(line) for line in data.split(b"\n")):
        return Received(sender, (_plain(data, when, int(part)),))
    received = _detailed(data)
    if received.sender != sender:
        raise UnreadableError("the number in it is not the one in its name")
    return received


def _plain(data: bytes, when: str, part: int) -> Piece:
    """A file that holds words alone. What may be one part of a long text is refused: nothing in it says so."""
    try:
        words = data.decode("utf-16" if data[:2] in _BOMS else "utf-8").rstrip("\0")
    except UnicodeDecodeError:
        raise UnreadableError("its words are neither UTF-16 nor UTF-8") from None
    count, units = septets(words), len(words.encode("utf-16-be")) // 2
    fills_part = units >= PART_UNITS - 1 if count is None else count >= PART_SEPTETS - 1
    if part or fills_part:
        raise UnreadableError("it may be one part of a long text; InboxFormat = detail tells")
    return Piece(words, when)


def _detailed(data: bytes) -> Received:
    sections = list(_sections(data))
    senders = {_utf16(section.get(b"NumberUnicode", b"")) for section in sections}
    pieces = tuple(_piece(section) for section in sections)
    if len(senders) != 1 or len({(piece.reference, piece.total) for piece in pieces}) != 1:
        raise UnreadableError("it holds more than one text")
    if len(pieces) > 1 and len({piece.index for piece in pieces}) != len(pieces):
        raise UnreadableError("it holds a part twice")
    return Received(senders.pop(), pieces)


def _sections(data: bytes) -> Iterator[dict[bytes, bytes]]:
    """The names and values below each ``[SMSBackupNNN]``. A comment, where the daemon repeats the words, begins with
    a semicolon in each of its lines, so that it is neither a head nor one of the names that are looked for."""
    section: dict[bytes, bytes] | None = None
    for line in data.split(b"\n"):
        if _HEAD.match(line):
            if section is not None:
                yield section
            section = {}
        elif section is not None:
            name, _, value = line.partition(b"=")
            section.setdefault(name.strip(), value.strip())
    if section is not None:
        yield section


def _piece(section: Mapping[bytes, bytes]) -> Piece:
    if b"Length" not in section:
        raise HalfWrittenError("it ends too early")
    if section.get(b"PDU") == b"Status_Report":
        raise UnreadableError("it is a report, no text")
    if section.get(b"Coding", b"").startswith(b"8bit"):
        raise UnreadableError("it holds data, no words")
    lines = iter(range(len(section)))
    hexes = b"".join(iter(lambda: section.get(b"Text%02d" % next(lines), b""), b""))
    sent = section.get(b"DateTime", b"").decode("ascii", "replace")
    return Piece(_utf16(hexes), sent, *_numbered(_bytes(section.get(b"UDH", b""))))


def _bytes(hexes: bytes) -> bytes:
    try:
        return bytes.fromhex(hexes.decode("ascii"))
    except (ValueError, UnicodeDecodeError):
        raise UnreadableError("its hexadecimal digits are damaged") from None


def _utf16(hexes: bytes) -> str:
    """Half of a surrogate pair is kept: the other half may be in the next part."""
    raw = _bytes(hexes)
    if len(raw) % 2:
        raise UnreadableError("its words are damaged")
    return raw.decode("utf-16-be", "surrogatepass")


def _numbered(header: bytes) -> tuple[int, int, int]:
    """Reference, index and total from a text's header; (0, 1, 1) if it numbers no parts or numbers them wrongly."""
    at = 1
    while at + 1 < len(header):
        kind, size = header[at], header[at + 1]
        value = header[at + 2 : at + 2 + size]
        if (kind, size, len(value)) in ((0, 3, 3), (8, 4, 4)):
            reference, total, index = int.from_bytes(value[:-2], "big"), value[-2], value[-1]
            return (reference, index, total) if 1 <= index <= total else (0, 1, 1)
        at += 2 + size
    return 0, 1, 1


# Writing


def outbox_name(number: str, made_at: datetime, urgent: bool, mark: str) -> str:
    """A name that the daemon takes: it sends in their order, and passes over ``mark``, our own note."""
    return f"OUT{'B' if urgent else 'C'}{made_at.astimezone(UTC):%Y%m%d_%H%M%S}_00_{number}_{mark}.smsbackup"


def outbox_file(number: str, words: str, reference: int) -> bytes:
    """A text out, in the format of the daemon's backups.

    In this format alphabet and parts are ours to say, whatever the daemon's settings and locale; and its parts keep
    one reference if the daemon is killed between two and sends them all again.
    """
    coding = "Default" if is_gsm7(words) else "Unicode"
    parts = split(words)
    sections = []
    for index, part in enumerate(parts, 1):
        header = f"050003{reference % 256:02X}{len(parts):02X}{index:02X}" if len(parts) > 1 else ""
        sections.append(_section(index - 1, number, part, coding, header))
    return "\r\n".join(sections).encode("ascii")


def _section(index: int, number: str, words: str, coding: str, header: str) -> str:
    hexes = _hex(words)
    lines = [f"[SMSBackup{index:03d}]", "PDU = Submit", f'Number = "{number}"', f"NumberUnicode = {_hex(number)}"]
    lines += [f"UDH = {header}"] if header else []
    cuts = range(0, len(hexes), _HEX_A_LINE)
    lines += [f"Text{line:02d} = {hexes[at : at + _HEX_A_LINE]}" for line, at in enumerate(cuts)]
    lines += [f"Coding = {coding}_No_Compression", f"Length = {len(hexes) // 4}", "Class = -1"]
    return "\r\n".join([*lines, "ReplySMSC = False", "RejectDuplicates = False", "ReplaceMessage = 0", ""])


def _hex(words: str) -> str:
    return words.encode("utf-16-be").hex().upper()
