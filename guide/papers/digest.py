"""A visit as few texts, to be typed or sent from any phone when there was no signal at the water.

Each text stands alone: it names its visit, its part, the day and the site, carries some of the larvae, and has a check
(``letters.py``). Larvae go in the order of their tags. What a digest leaves out: words, times, gloves and pace of a
larva, why one is void, and what water and sediment was taken (only how many). It is provisional: the log itself is
the record, and a digest is only good until that log is merged.
"""

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from guide.errors import WadelineError
from guide.papers.digest_fields import LarvaDigest, VisitDigest, pack, pack_whole, tag_order, unpack
from guide.papers.letters import (
    BASE,
    PART_LETTERS,
    ROOM,
    DamageError,
    Spelled,
    beginning,
    is_code,
    spell,
    unspell,
)
from guide.papers.packing import UnpackError

MARKS = BASE**3
"""A mark of the whole digest stands in each of several parts: parts of two digests of a visit don't mix."""

MOST_IN_TEXT = 150
"""Larvae in a text; more can't be needed and would be slow to read."""


class DigestError(WadelineError):
    """A visit can't be written as a digest."""


@dataclass(frozen=True)
class VisitRead:
    """One visit as far as its texts have come in: its larvae so far, and the parts that are missing (from 1)."""

    digest: VisitDigest
    parts: int
    missing: tuple[int, ...] = ()


@dataclass(frozen=True)
class DigestRead:
    """What texts say: the visits in them, and every problem as a plain sentence."""

    visits: tuple[VisitRead, ...] = ()
    problems: tuple[str, ...] = ()


def write(digest: VisitDigest) -> list[str]:
    """The digest as texts of one SMS each, as few as it fits; raises DigestError where that can't be done."""
    if not is_code(digest.code8):
        raise DigestError(f"{digest.code8!r} is not a visit's code of 8 characters")
    digest = replace(digest, larvae=tag_order(digest.larvae))
    try:
        whole = pack(digest, digest.larvae, 0, 1)
        if whole < ROOM and len(digest.larvae) <= MOST_IN_TEXT:
            return [spell(Spelled(digest.code8, 1, 1, whole))]
        mark = _mark(digest)
        numbers = [pack(digest, larvae, mark, MARKS) for larvae in _cut(digest)]
    except ValueError as error:
        raise DigestError(f"visit {digest.code8} can't be written as a digest: {error}") from None
    if len(numbers) > len(PART_LETTERS):
        raise DigestError(f"visit {digest.code8} takes {len(numbers)} texts; a digest has at most {len(PART_LETTERS)}")
    return [spell(Spelled(digest.code8, part, len(numbers), number)) for part, number in enumerate(numbers, 1)]


def _mark(digest: VisitDigest) -> int:
    """CRC-32 (ISO/IEC/IEEE 8802-3, 3.2.9) of the whole digest, brought down to three characters."""
    whole = pack_whole(digest)
    return zlib.crc32(whole.to_bytes(whole.bit_length() // 8 + 1, "big")) % MARKS


def _cut(digest: VisitDigest) -> list[tuple[LarvaDigest, ...]]:
    """The larvae in runs, each as long as one text holds."""
    parts: list[tuple[LarvaDigest, ...]] = [()]
    for larva in digest.larvae:
        longer = (*parts[-1], larva)
        if len(longer) <= MOST_IN_TEXT and pack(digest, longer, 0, MARKS) < ROOM:
            parts[-1] = longer
        else:
            parts.append((larva,))
            if pack(digest, (larva,), 0, MARKS) >= ROOM:
                raise ValueError(f"what is known of larva {larva.tag or 'without a tag'} is longer than a text")
    return [part for part in parts if part]


@dataclass(frozen=True)
class _Part:
    """One text read: which it was among those given, and what it carries."""

    text: int
    spelled: Spelled
    mark: int
    digest: VisitDigest

    @property
    def of(self) -> tuple[object, ...]:
        """Parts of one digest have this in common."""
        return (self.spelled.code8, self.spelled.parts, self.mark, replace(self.digest, larvae=()))


def read(texts: Iterable[str]) -> DigestRead:
    """Reads texts in any order, of one visit or several, some of them twice; blank ones are passed over."""
    parts: list[_Part] = []
    problems: list[str] = []
    for place, text in enumerate((text for text in texts if text.strip()), 1):
        try:
            parts.append(_read_one(place, text))
        except (DamageError, UnpackError) as damaged:
            problems.append(f"Text {place} ({_quoted(text)}) {damaged}.")
    visits = []
    for of in dict.fromkeys(part.of for part in parts):
        visit, found = _joined([part for part in parts if part.of == of])
        visits.append(visit)
        problems += found
    codes = [visit.digest.code8 for visit in visits]
    for code in dict.fromkeys(code for code in codes if codes.count(code) > 1):
        problems.append(f"The texts of visit {code} come from different digests of it: print it again, send it whole.")
    return DigestRead(tuple(visits), tuple(problems))


def _read_one(place: int, text: str) -> _Part:
    said = unspell(text)
    mark, digest = unpack(said.code8, said.number, MARKS if said.parts > 1 else 1, MOST_IN_TEXT)
    return _Part(place, said, mark, digest)


def _quoted(text: str) -> str:
    start = " ".join(text.split())
    return start if len(start) <= 17 else f"{start[:17]}..."


def _joined(parts: Sequence[_Part]) -> tuple[VisitRead, list[str]]:
    """The parts of one digest put together, with what is wrong or missing."""
    first, problems = parts[0], []
    code8, count = first.spelled.code8, first.spelled.parts
    by_part: dict[int, _Part] = {}
    for part in parts:
        other = by_part.setdefault(part.spelled.part, part)
        if other.spelled != part.spelled:
            problems.append(
                f"Texts {other.text} and {part.text} are both part {part.spelled.part} of {count} of visit {code8} "
                "and say different things: print the digest again."
            )
    larvae = tuple(larva for number in sorted(by_part) for larva in by_part[number].digest.larvae)
    digest = replace(first.digest, larvae=larvae)
    missing = tuple(number for number in range(1, count + 1) if number not in by_part)
    for number in missing:
        start = beginning(code8, number, count)
        problems.append(f"Part {number} of {count} of visit {code8} is missing: the text that begins {start}.")
    if count > 1 and not missing and not problems and _mark(digest) != first.mark:
        problems.append(f"The parts of visit {code8} don't belong together: print the digest again.")
    return VisitRead(digest, count, missing), problems
