"""Choosing specimens: cases worked by hand, and a brute force over all subsets."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guide.field.choosing import SAY, Choice, Specimen, choose
from tests.bench.choose import specimens


def bunch(words: str) -> list[Specimen]:
    """Specimens from ``tag length family`` triples; family ``-`` is unsure, ``20!`` is flagged."""
    out = []
    for item in words.split(","):
        tag, length, family = item.split()
        mm = None if length == "?" else float(length.rstrip("!"))
        out.append(Specimen(tag, mm, None if family == "-" else family, flagged=length.endswith("!")))
    return out


# id (with the working), specimens, most, minimum mm, family minimum, chosen, left out
CASES = [
    ("nothing to choose", [], 5, 13, 2, "", {}),
    ("one of no family goes: the family rule does not bar it", bunch("1 20 -"), 5, 13, 2, "1", {}),
    ("a family of one stays", bunch("1 20 G"), 5, 13, 2, "", {"1": "family_too_few"}),
    ("a family of two goes", bunch("1 20 G,2 21 G"), 5, 13, 2, "1 2", {}),
    ("on the minimum goes, 12.9 does not", bunch("1 13 -,2 12.9 -"), 5, 13, 2, "1", {"2": "too_short"}),
    ("no length stays", bunch("1 ? -,2 20 -"), 5, 13, 2, "2", {"1": "no_length"}),
    (
        "the short one does not count for its family: 1 left of 2",
        bunch("1 20 G,2 12 G"),
        5,
        13,
        2,
        "",
        {"1": "family_too_few", "2": "too_short"},
    ),
    ("K=0 takes none", bunch("1 20 -"), 0, 13, 2, "", {"1": "full"}),
    ("longest first: 22+21 > any other", bunch("1 20 -,2 21 -,3 22 -"), 2, 13, 2, "2 3", {"1": "full"}),
    ("equal lengths: lowest tags", bunch("3 20 -,1 20 -,2 20 -"), 2, 13, 2, "1 2", {"3": "full"}),
    ("unflagged 14 before flagged 40", bunch("1 40! -,2 14 -"), 1, 13, 2, "2", {"1": "full_flagged"}),
    ("flagged still goes when there is room", bunch("1 40! -,2 14 -"), 2, 13, 2, "1 2", {}),
    (
        "count before families: G+G+G (3) against G+G (2) and no room for A+A",
        bunch("1 20 G,2 20 G,3 20 G,4 30 A,5 30 A"),
        3,
        13,
        2,
        "1 2 3",
        {"4": "family_no_room", "5": "family_no_room"},
    ),
    (
        "K=3 of two pairs: only 2 can go, the longer pair 60 > 40",
        bunch("1 20 G,2 20 G,4 30 A,5 30 A"),
        3,
        13,
        2,
        "4 5",
        {"1": "family_no_room", "2": "family_no_room"},
    ),
    (
        "K=3, a pair and an unsure make 3: the longer pair",
        bunch("1 20 G,2 20 G,4 30 A,5 30 A,6 14 -"),
        3,
        13,
        2,
        "4 5 6",
        {"1": "family_no_room", "2": "family_no_room"},
    ),
    (
        "families before millimetres: GG+AA (2 families, 96) over GGGG (1, 120)",
        bunch("1 30 G,2 30 G,3 30 G,4 30 G,5 18 A,6 18 A"),
        4,
        13,
        2,
        "1 2 5 6",
        {"3": "full", "4": "full"},
    ),
    (
        "unflagged before families: GGGG (4 unflagged) over GG+A!A (3)",
        bunch("1 30 G,2 30 G,3 30 G,4 30 G,5 18 A,6 18! A"),
        4,
        13,
        2,
        "1 2 3 4",
        {"5": "family_no_room", "6": "family_no_room"},
    ),
    (
        "a flagged one completes its family when nothing better: unsure! against GG!: 1 unflagged each way",
        bunch("1 30 G,2 30! G,3 50! -,4 20 -"),
        2,
        13,
        2,
        # {1,2}: 1 unflagged; {3,4}: 1; {4} and {1}: not allowed alone. Families: {1,2} has 1, {3,4} 0.
        "1 2",
        {"3": "full_flagged", "4": "full"},
    ),
    ("tenths count: 20.1 over 20", bunch("1 20 -,2 20.1 -"), 1, 13, 2, "2", {"1": "full"}),
    (
        "tags as sorted lists: 1+4 before 2+3, though 4 is high",
        # two families of two, equal lengths, room for one
        bunch("1 20 G,4 20 G,2 20 A,3 20 A"),
        2,
        13,
        2,
        "1 4",
        {"2": "family_no_room", "3": "family_no_room"},
    ),
    ("m=1: every family may go alone", bunch("1 20 G,2 20 A"), 2, 13, 1, "1 2", {}),
    (
        "m=3: a pair stays, a triple goes",
        bunch("1 20 G,2 20 G,3 20 A,4 20 A,5 20 A"),
        9,
        13,
        3,
        "3 4 5",
        {"1": "family_too_few", "2": "family_too_few"},
    ),
    (
        "two families with a slash are no family",
        [Specimen("1", 20, "Corduliidae/Libellulidae"), Specimen("2", 20, "Gomphidae", sure=False)],
        5,
        13,
        2,
        "1 2",
        {},
    ),
    (
        "an unsure one does not help its family to two",
        [Specimen("1", 20, "Gomphidae"), Specimen("2", 20, "Gomphidae", sure=False)],
        5,
        13,
        2,
        "2",
        {"1": "family_too_few"},
    ),
]


@pytest.mark.parametrize(
    ("specimens", "most", "minimum", "least", "chosen", "left_out"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_by_hand(
    specimens: list[Specimen], most: int, minimum: float, least: int, chosen: str, left_out: dict[str, str]
) -> None:
    assert choose(specimens, most, minimum, least) == Choice(tuple(chosen.split()), left_out)


@pytest.mark.parametrize(
    ("specimens", "most", "least"),
    [
        (bunch("1 20 G,1 21 G"), 5, 2),
        (bunch("1 0 G"), 5, 2),
        ([Specimen("1", float("nan"), None)], 5, 2),
        ([], -1, 2),
        ([], 1, 0),
    ],
    ids=["tag twice", "length zero", "length not a number", "most negative", "family_min zero"],
)
def test_refused(specimens: list[Specimen], most: int, least: int) -> None:
    with pytest.raises(ValueError, match=r"tag 1|most must be"):
        choose(specimens, most, 13, least)


def brute(pool: list[Specimen], most: int, minimum: float, least: int) -> tuple[str, ...]:
    """Every subset, the rules as they are written."""
    fit = sorted((s for s in pool if s.length_mm is not None and s.length_mm >= minimum), key=lambda s: s.tag)
    found = []
    for count in range(min(most, len(fit)) + 1):
        for subset in combinations(fit, count):
            names = [s.family for s in subset if s.family and s.sure and "/" not in s.family]
            if any(names.count(name) < least for name in names):
                continue
            unflagged = sum(not s.flagged for s in subset)
            tenths = sum(round((s.length_mm or 0) * 10) for s in subset)
            tags = tuple(s.tag for s in subset)
            found.append((-count, -unflagged, -len(set(names)), -tenths, tags))
    return min(found)[-1]


def specimen_lists() -> st.SearchStrategy[list[Specimen]]:
    one = st.builds(
        Specimen,
        tag=st.from_regex("[0-9]{3}", fullmatch=True),
        length_mm=st.sampled_from([None, 12.0, 13.0, 13.1, 14.0, 20.0, 20.0]),
        family=st.sampled_from(["G", "A", "L", "M", None, "C/L"]),
        sure=st.sampled_from([True, True, True, False]),
        flagged=st.sampled_from([False, False, True]),
    )
    return st.lists(one, max_size=9, unique_by=lambda s: s.tag)


@settings(max_examples=2000, deadline=None)
@given(specimen_lists(), st.integers(0, 10), st.sampled_from([0.0, 13.0]), st.integers(1, 4))
def test_as_brute_force(pool: list[Specimen], most: int, minimum: float, least: int) -> None:
    choice = choose(pool, most, minimum, least)
    assert choice.chosen == brute(pool, most, minimum, least)
    assert set(choice.left_out) == {s.tag for s in pool} - set(choice.chosen)
    assert set(choice.left_out.values()) <= set(SAY)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from("GAL"), st.integers(0, 3), st.booleans()), min_size=20, max_size=60),
    st.integers(0, 60),
    st.integers(1, 9),
)
def test_larger_lists_as_the_plain_table(rows: list[tuple[str, int, bool]], most: int, least: int) -> None:
    """Against all numbers taken from three families: 20 to 60 specimens, too many for subsets."""
    pool = [Specimen(f"{i:03}", 20 + mm / 10, family, flagged=flag) for i, (family, mm, flag) in enumerate(rows)]
    groups = [sorted((s for s in pool if s.family == f), key=lambda s: (s.flagged, -s.tenths, s.tag)) for f in "GAL"]
    found = []
    for g in range(len(groups[0]) + 1):
        for a in range(len(groups[1]) + 1):
            for c in range(len(groups[2]) + 1):
                taken = (g, a, c)
                if sum(taken) > most or any(0 < n < least for n in taken):
                    continue
                subset = [s for group, n in zip(groups, taken, strict=True) for s in group[:n]]
                found.append(
                    (
                        -len(subset),
                        -sum(not s.flagged for s in subset),
                        -sum(n > 0 for n in taken),
                        -sum(s.tenths for s in subset),
                        tuple(sorted(s.tag for s in subset)),
                    )
                )
    assert choose(pool, most, 0, least).chosen == min(found)[-1]


@pytest.mark.parametrize("most", [12, 500, 2500, 4999])
def test_five_thousand_fill_every_place(most: int) -> None:
    choice = choose(specimens(5000), most, 13, 2)
    assert len(choice.chosen) == most
    assert len(choice.left_out) == 5000 - most
