"""Which specimens go to the lab: an exact choice, with a reason for every one left out.

The rules order whole sets: more specimens (up to the lab's number), then more unflagged ones, then more
families, then more millimetres, then lower tags. Each of these is a sum over the specimens of a set. That
holds even for the tags: give the k-th lowest tag the weight 2^-k, and of two sets of equal size the one
whose sorted tags come first has the larger sum. So a set's worth is one whole number with these sums side
by side as digits, worths of separate sets add up, and the best set of every size is found family by family.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

SAY = MappingProxyType(
    {
        "no_length": "It has no length.",
        "too_short": "It is shorter than the minimum.",
        "family_too_few": "Its family has too few specimens to be used.",
        "family_no_room": "Its whole family stays out: a better set fills the places without it.",
        "full_flagged": "The set is full, and this one is flagged.",
        "full": "The set is full of specimens that rank before it.",
    }
)


@dataclass(frozen=True)
class Specimen:
    """One specimen: its tag, length in mm (None if never measured), family, whether that is sure, any flag.

    A family that is None, not sure, or two families with a slash between them is no family.
    """

    tag: str
    length_mm: float | None
    family: str | None
    sure: bool = True
    flagged: bool = False

    @property
    def known_family(self) -> str | None:
        """The family if it is known for sure, else None."""
        return self.family if self.family and self.sure and "/" not in self.family else None

    @property
    def tenths(self) -> int:
        """Length in tenths of a millimetre, to the nearest; 0 if never measured."""
        return round((self.length_mm or 0) * 10)


@dataclass(frozen=True)
class Choice:
    """The tags chosen, sorted, and a code of ``SAY`` for each tag left out."""

    chosen: tuple[str, ...]
    left_out: dict[str, str]


def choose(
    specimens: Iterable[Specimen],
    most: int,
    min_length_mm: float = 0.0,
    family_min: int = 1,
    gone: Mapping[str, int] = MappingProxyType({}),
) -> Choice:
    """The best set of at most ``most`` specimens.

    It holds none shorter than ``min_length_mm`` or without a length, and of each family at least
    ``family_min`` or none. A specimen without a known family belongs to none: the family rule neither bars
    nor helps it, it counts towards no family, and otherwise ranks like the rest. Of all such sets the best
    one by count, unflagged, families, total tenths of a millimetre, lowest sorted tags (as text), in this
    order. ``gone`` counts specimens by family that went before: they count towards ``family_min``, and another
    of such a family makes no more families. Raises ValueError for a tag that is there twice, a length not above
    zero, or a number out of range. Time grows with families x most x log(most). Source: the programme's own rule.
    """
    pool = list(specimens)
    _check(pool, most, family_min)
    fit = [s for s in pool if s.length_mm is not None and s.length_mm >= min_length_mm]
    families: dict[str | None, list[Specimen]] = {}
    for specimen in fit:
        families.setdefault(specimen.known_family, []).append(specimen)
    fewest = {name: 1 if name is None else max(1, family_min - gone.get(name, 0)) for name in families}
    usable = {name: group for name, group in families.items() if len(group) >= fewest[name]}
    chosen = _best_set(usable, most, fewest, gone)
    left_out = {s.tag: _reason(s, min_length_mm, usable, chosen) for s in pool if s.tag not in chosen}
    return Choice(tuple(sorted(chosen)), left_out)


@dataclass(frozen=True)
class _Scale:
    """Where each digit of a worth stands: tags lowest, then tenths, families, unflagged."""

    tags: list[str]
    tenths_at: int
    family_at: int
    unflagged_at: int

    def worth(self, specimen: Specimen, tag_bit: int) -> int:
        unflagged = (not specimen.flagged) << self.unflagged_at
        return unflagged + (specimen.tenths << self.tenths_at) + (1 << tag_bit)

    def tags_of(self, worth: int) -> frozenset[str]:
        bits = bin(worth & ((1 << len(self.tags)) - 1))[:1:-1]
        return frozenset(self.tags[bit] for bit, is_set in enumerate(bits) if is_set == "1")


def _best_set(
    groups: dict[str | None, list[Specimen]], most: int, fewest: Mapping[str | None, int], gone: Mapping[str, int]
) -> frozenset[str]:
    everyone = [s for group in groups.values() for s in group]
    tags = sorted((s.tag for s in everyone), reverse=True)
    bit_of = {tag: bit for bit, tag in enumerate(tags)}
    family_at = len(tags) + sum(s.tenths for s in everyone).bit_length()
    scale = _Scale(tags, len(tags), family_at, family_at + len(groups).bit_length())
    best: dict[int, int] = {0: 0}
    for name, group in groups.items():
        worths = sorted((scale.worth(s, bit_of[s.tag]) for s in group), reverse=True)
        total = 0 if name is None or gone.get(name) else 1 << family_at
        totals = []
        for worth in worths[:most]:
            total += worth
            totals.append(total)
        best = _join(best, totals, fewest[name], most)
    return scale.tags_of(best[max(best)])


def _join(best: dict[int, int], totals: list[int], fewest: int, most: int) -> dict[int, int]:
    """The best worth of every size after a family of which none, or ``fewest`` or more, may go.

    ``best[size]`` is the best worth before it; ``totals[n - 1]`` is that of its best n. Each next one of a
    family adds less than the one before, so the larger the set, the more the rest of it may hold (argmax is
    monotone), and halving the sizes finds all of them. Numbers of specimens that the family can't give cost
    ``far`` for each one beyond: that keeps the differences falling, and a result below zero is no set.
    """
    joined = dict(best)
    if len(totals) < fewest:
        return joined
    rest = sorted(best)
    far = 1 << (max(best.values()) + totals[-1]).bit_length()

    def worth(size: int, index: int) -> int:
        taken = size - rest[index]
        given = min(max(taken, fewest), len(totals))
        return best[rest[index]] + totals[given - 1] - far * abs(taken - given)

    todo = [(fewest, min(most, rest[-1] + len(totals)), 0, len(rest) - 1)]
    while todo:
        low, high, first, last = todo.pop()
        if low > high:
            continue
        size = (low + high) // 2
        top, index = max((worth(size, i), -i) for i in range(first, last + 1))
        if top >= 0:
            joined[size] = max(top, joined.get(size, 0))
        todo += [(low, size - 1, first, -index), (size + 1, high, -index, last)]
    return joined


def _reason(
    specimen: Specimen,
    min_length_mm: float,
    usable: dict[str | None, list[Specimen]],
    chosen: frozenset[str],
) -> str:
    family = specimen.known_family
    if specimen.length_mm is None:
        return "no_length"
    if specimen.length_mm < min_length_mm:
        return "too_short"
    if family not in usable:
        return "family_too_few"
    if family is not None and not any(s.tag in chosen for s in usable[family]):
        return "family_no_room"
    return "full_flagged" if specimen.flagged else "full"


def _check(pool: list[Specimen], most: int, family_min: int) -> None:
    if most < 0 or family_min < 1:
        raise ValueError(f"most must be 0 or more and family_min 1 or more, not {most} and {family_min}")
    seen: set[str] = set()
    for specimen in pool:
        if specimen.tag in seen:
            raise ValueError(f"tag {specimen.tag} is there twice")
        seen.add(specimen.tag)
        length_mm = specimen.length_mm
        if length_mm is not None and not (math.isfinite(length_mm) and length_mm > 0):
            raise ValueError(f"tag {specimen.tag}: a length must be above 0 mm, not {length_mm}")
