"""What a digest holds, and how it goes into a number and back. The order of the fields is the form: see ``FORM``.

The tables here are places in that form: add at their end, never in between, or texts of earlier versions are misread.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from guide.field.tags import check_digit, is_valid
from guide.papers.packing import Packer, Unpacker, UnpackError

FORM = 0
"""Goes first into every text; a form that this version doesn't know is refused in words."""

FAMILIES = (
    "unsure",
    "Aeshnidae",
    "Gomphidae",
    "Petaluridae",
    "Cordulegastridae",
    "Macromiidae",
    "Corduliidae",
    "Libellulidae",
    "Corduliidae/Libellulidae",
)
FLAGS = (
    "odd_length_mm",
    "under_minimum",
    "over_target",
    "rinsed_after_touch",
    "third_bag",
    "protected",
    "ice_gone",
    "warm_freezer",
    "thawed",
)
"""Flags and families with a number of their own; any other goes in letter by letter."""

STATUSES = ("kept", "void", "open")
_SURE = (True, False, None)
_NOT_NAMED, _SPELLED = 0, 1
_DAY_0 = date(2026, 1, 1)
_MOST_DAYS = 2 * (date.max - _DAY_0).days
SITE_MARKS = 31**2
_MOST_DECIMALS, _MOST_DIGITS, _MOST_FLAGS = 6, 12, 16
_NEWER = "was written by a newer wadeline: update this one"


@dataclass(frozen=True)
class LarvaDigest:
    """One larva: what was not asked is None. ``sure`` is False for a name given half sure."""

    tag: str | None = None
    length_mm: float | None = None
    family: str | None = None
    sure: bool | None = None
    status: str = "kept"
    flags: frozenset[str] = frozenset()


@dataclass(frozen=True)
class SitePlace:
    """A site by its place in the programme's list, from 0; ``mark`` shows whether a reader's list is the same."""

    place: int
    mark: int


@dataclass(frozen=True)
class VisitDigest:
    """A visit: its larvae whatever became of them, and how many ``others`` (water, sediment) were kept."""

    code8: str
    local_date: date
    practice: bool
    closed: bool = False
    site: SitePlace | None = None
    empty_spots: int = 0
    others: int = 0
    larvae: tuple[LarvaDigest, ...] = ()


def tag_order(larvae: Iterable[LarvaDigest]) -> tuple[LarvaDigest, ...]:
    """Larvae in the order of their tags, those without one last. Close tags then take little room."""
    listed = list(larvae)
    width = _width(listed)
    seen: set[str | None] = set()
    numbered: list[LarvaDigest] = []
    others: list[LarvaDigest] = []
    for larva in listed:
        fits = larva.tag not in seen and _number(larva.tag, width) is not None
        (numbered if fits else others).append(larva)
        seen.add(larva.tag)
    return (*sorted(numbered, key=lambda larva: larva.tag or ""), *others)


def pack(visit: VisitDigest, larvae: Sequence[LarvaDigest], mark: int, marks: int) -> int:
    """A visit's head and some of its larvae as a number; ``mark`` is one of ``marks``."""
    to = Packer()
    to.put_free(FORM, 2)
    to.put(visit.practice, 2)
    to.put(visit.closed, 2)
    days = (visit.local_date - _DAY_0).days
    to.put_free(2 * days if days >= 0 else -2 * days - 1, 15_626)
    to.put_free(visit.site.place + 1 if visit.site else 0, 26)
    if visit.site:
        to.put(visit.site.mark, SITE_MARKS)
    to.put_free(visit.empty_spots, 6)
    to.put_free(visit.others, 3)
    to.put(mark, marks)
    to.put_free(len(larvae), 32)
    if larvae:
        _put_tags(to, larvae, _width(visit.larvae))
        _put_lengths(to, [larva.length_mm for larva in larvae])
        to.put_column([(larva.family, larva.sure) for larva in larvae], lambda named: _put_family(to, *named))
        to.put_column([larva.status for larva in larvae], lambda status: to.put(STATUSES.index(status), len(STATUSES)))
        to.put_column([larva.flags for larva in larvae], lambda flags: _put_flags(to, flags))
    return to.number()


def pack_whole(visit: VisitDigest) -> int:
    """Everything a digest holds as one number, however long."""
    return pack(visit, visit.larvae, 0, 1)


def unpack(code8: str, number: int, marks: int, most: int) -> tuple[int, VisitDigest]:
    """The mark, and the visit with the larvae in this number; raises UnpackError for a number no packer made."""
    of = Unpacker(number)
    if of.take_free(2) != FORM:
        raise UnpackError(_NEWER)
    practice, closed = bool(of.take(2)), bool(of.take(2))
    days = of.take_at_most(15_626, _MOST_DAYS)
    place = of.take_free(26)
    site = SitePlace(place - 1, of.take(SITE_MARKS)) if place else None
    empty_spots, others, mark = of.take_free(6), of.take_free(3), of.take(marks)
    larvae = _take_larvae(of, of.take_at_most(32, most))
    of.end()
    try:
        local_date = _DAY_0 + timedelta(days=-((days + 1) // 2) if days % 2 else days // 2)
    except OverflowError:
        raise UnpackError("holds a date that can't be") from None
    return mark, VisitDigest(code8, local_date, practice, closed, site, empty_spots, others, larvae)


def _take_larvae(of: Unpacker, count: int) -> tuple[LarvaDigest, ...]:
    if not count:
        return ()
    tags = _take_tags(of, count)
    lengths = _take_lengths(of, count)
    families = of.take_column(count, lambda: _take_family(of))
    statuses = of.take_column(count, lambda: STATUSES[of.take(len(STATUSES))])
    flags = of.take_column(count, lambda: _take_flags(of))
    return tuple(
        LarvaDigest(tag, length_mm, family, sure, status, flagged)
        for tag, length_mm, (family, sure), status, flagged in zip(
            tags, lengths, families, statuses, flags, strict=True
        )
    )


# Tags: a rising run of numbers goes in as a set, without the check digit; what follows it letter by letter.


def _width(larvae: Iterable[LarvaDigest]) -> int:
    widths = Counter(len(larva.tag) for larva in larvae if larva.tag and is_valid(larva.tag))
    usual = [width for width, _ in widths.most_common() if width <= _MOST_DIGITS]
    return usual[0] if usual else 0


def _number(tag: str | None, width: int) -> int | None:
    return int(tag[:-1]) if tag and len(tag) == width and is_valid(tag) else None


def _put_tags(to: Packer, larvae: Sequence[LarvaDigest], width: int) -> None:
    numbers: list[int] = []
    for larva in larvae:
        number = _number(larva.tag, width)
        if number is None or (numbers and number <= numbers[-1]):
            break
        numbers.append(number)
    to.put_free(len(larvae) - len(numbers), 3)
    if numbers:
        to.put_free(width, 8)
        _put_run(to, numbers, 10 ** (width - 1))
    for larva in larvae[len(numbers) :]:
        to.put(larva.tag is not None, 2)
        if larva.tag is not None:
            to.put_words(larva.tag)


def _put_run(to: Packer, numbers: Sequence[int], below: int) -> None:
    """The first, how far it is to the last, and which between them."""
    first, last = numbers[0], numbers[-1]
    to.put(first, below)
    if len(numbers) > 1:
        to.put_free(last - first, 64)
        to.put_set([number - first - 1 for number in numbers[1:-1]], last - first - 1)


def _take_tags(of: Unpacker, count: int) -> list[str | None]:
    others = of.take_at_most(3, count)
    tags: list[str | None] = []
    if others < count:
        width = max(of.take_at_most(8, _MOST_DIGITS), 2)
        digits = (str(number).zfill(width - 1) for number in _take_run(of, count - others, 10 ** (width - 1)))
        tags += [number + check_digit(number) for number in digits]
    return tags + [of.take_words() if of.take(2) else None for _ in range(others)]


def _take_run(of: Unpacker, count: int, below: int) -> list[int]:
    first = of.take(below)
    if count == 1:
        return [first]
    far = of.take_at_most(64, below - 1 - first)
    if far < count - 1:
        raise UnpackError("holds more tags than there are numbers for")
    return [first, *(first + 1 + number for number in of.take_set(count - 2, far - 1)), first + far]


# Lengths: whole numbers of the smallest unit any of them needs, above the shortest.


def _put_lengths(to: Packer, lengths: Sequence[float | None]) -> None:
    exact = [None if length is None else Decimal(repr(float(length))).normalize() for length in lengths]
    known = [length for length in exact if length is not None]
    if not all(length.is_finite() and length >= 0 for length in known):
        raise ValueError("a length is less than nothing, or no number")
    decimals = max((-int(length.as_tuple().exponent) for length in known), default=0)
    decimals = max(decimals, 0)
    if decimals > _MOST_DECIMALS:
        raise ValueError(f"a length has more than {_MOST_DECIMALS} decimals")
    whole = [None if length is None else int(length * 10**decimals) for length in exact]
    numbers = [number for number in whole if number is not None]
    unknown = len(numbers) < len(whole)
    least, most = min(numbers, default=0), max(numbers, default=0)
    to.put_free(decimals, 3)
    to.put(unknown, 2)
    to.put_free(least, 64)
    to.put_free(most - least, 64)
    for number in whole:
        to.put(0 if number is None else number - least + unknown, most - least + 1 + unknown)


def _take_lengths(of: Unpacker, count: int) -> list[float | None]:
    decimals = of.take_at_most(3, _MOST_DECIMALS)
    unknown, least, span = of.take(2), of.take_free(64), of.take_free(64)
    numbers = [of.take(span + 1 + unknown) - unknown for _ in range(count)]
    return [None if number < 0 else float(Decimal(f"{least + number}e-{decimals}")) for number in numbers]


# Families and flags: by their place in the tables above, or letter by letter.


def _put_family(to: Packer, family: str | None, sure: bool | None) -> None:
    if family is None:
        to.put_free(_NOT_NAMED, 16)
    elif family in FAMILIES:
        to.put_free(FAMILIES.index(family) + 2, 16)
    else:
        to.put_free(_SPELLED, 16)
        to.put_words(family)
    to.put(_SURE.index(sure), len(_SURE))


def _take_family(of: Unpacker) -> tuple[str | None, bool | None]:
    number = of.take_at_most(16, len(FAMILIES) + 1)
    family = None if number == _NOT_NAMED else of.take_words() if number == _SPELLED else FAMILIES[number - 2]
    return family, _SURE[of.take(len(_SURE))]


def _put_flags(to: Packer, flags: frozenset[str]) -> None:
    known = [place for place, flag in enumerate(FLAGS) if flag in flags]
    others = sorted(flags - set(FLAGS))
    to.put_free(len(known), 4)
    to.put_set(known, _MOST_FLAGS)
    to.put_free(len(others), 2)
    for flag in others:
        to.put_words(flag)


def _take_flags(of: Unpacker) -> frozenset[str]:
    places = of.take_set(of.take_at_most(4, _MOST_FLAGS), _MOST_FLAGS)
    if places and places[-1] >= len(FLAGS):
        raise UnpackError(_NEWER)
    others = [of.take_words() for _ in range(of.take_at_most(2, 50))]
    return frozenset([*(FLAGS[place] for place in places), *others])
