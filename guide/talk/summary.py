"""Short accounts of a visit in words: where it stands, the tally, families that are too few."""

from collections import Counter

from guide.field.families import everyday
from guide.talk.turn import Turn

UNSURE = "unsure"


def family_counts(turn: Turn) -> Counter[str]:
    """Kept samples by family, most first; those not told are counted as unsure."""
    return Counter(sample.family or UNSURE for sample in turn.kept())


def too_few(turn: Turn) -> list[str]:
    """Families with fewer larvae than the programme can use."""
    counts = family_counts(turn)
    return sorted(f for f, n in counts.items() if f != UNSURE and n < turn.settings.family_min)


def short_name(family: str) -> str:
    """The everyday word for a family."""
    return UNSURE if family == UNSURE else everyday(family)


def both_names(family: str) -> str:
    """The Latin name with the everyday one: ``Gomphidae (clubtail)``."""
    return short_name(family) if family == UNSURE or "/" in family else f"{family} ({everyday(family)})"


def tally_words(turn: Turn, most: int) -> str:
    """``darner 5, skimmer 3``, as many as fit in ``most`` characters, the rest as a count."""
    counts = family_counts(turn).most_common()
    words = ""
    for done, (family, count) in enumerate(counts):
        more = f"{short_name(family)} {count}"
        rest = sum(n for _, n in counts[done + 1 :])
        tail = f", +{rest}" if rest else ""
        if len(words) + 2 + len(more) + len(tail) > most:
            return f"{words}, +{rest + count}" if words else f"{rest + count} larvae"
        words = f"{words}, {more}" if words else more
    return words or "none yet"
