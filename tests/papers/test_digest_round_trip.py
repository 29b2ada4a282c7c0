"""Digests are written and read back the same: ten thousand of them, the smallest, the largest, the odd."""

from dataclasses import replace
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guide.field.families import FAMILIES as ALL_FAMILIES
from guide.field.tags import block
from guide.papers.digest import DigestError, read, write
from guide.papers.digest_fields import FAMILIES, FLAGS, LarvaDigest, SitePlace, VisitDigest, tag_order, unpack
from guide.papers.letters import ALPHABET, ROOM, Spelled, spell
from guide.papers.packing import UnpackError
from guide.talk.sms import segments

NUMBERED = block(0, 10_000, 5)
VISIT = VisitDigest("PQXH7MK2", date(2026, 7, 4), True, True, SitePlace(0, 77), 1, 2)


def back(digest: VisitDigest) -> VisitDigest:
    """What a digest's texts say, read in another order, in small letters, and twice."""
    texts = write(digest)
    assert all(segments(text) == 1 for text in texts)
    found = read([*(text.lower() for text in reversed(texts)), *texts])
    assert found.problems == ()
    (visit,) = found.visits
    assert visit.missing == ()
    return visit.digest


def in_order(digest: VisitDigest) -> VisitDigest:
    return replace(digest, larvae=tag_order(digest.larvae))


tags = st.one_of(
    st.integers(140, 199).map(NUMBERED.__getitem__),
    st.integers(0, 9_999).map(NUMBERED.__getitem__),
    st.none(),
    st.sampled_from(["", "A-17", "99992", "0017", "014", "00", "0123456", "Amberwell 3", "\u00e9"]),
)
lengths = st.one_of(
    st.integers(8, 60).map(float),
    st.integers(80, 600).map(lambda tenths: tenths / 10),
    st.none(),
    st.sampled_from([0.0, 0.1, 270.0, 9999.0, 27.25, 1e3, 12.345678]),
)
flags = st.one_of(
    st.just(frozenset[str]()),
    st.sets(st.sampled_from([*FLAGS, "seen by an owl", "brand_new"]), max_size=4).map(frozenset),
)
larvae = st.builds(
    LarvaDigest,
    tags,
    lengths,
    st.sampled_from([None, *FAMILIES, "Lestidae"]),
    st.sampled_from([True, False, None]),
    st.sampled_from(["kept", "kept", "void", "open"]),
    flags,
)
visits = st.builds(
    VisitDigest,
    st.text(ALPHABET, min_size=8, max_size=8),
    st.one_of(st.integers(0, 4_000).map(lambda days: date(2026, 1, 1) + timedelta(days=days)), st.dates()),
    st.booleans(),
    st.booleans(),
    st.one_of(st.none(), st.builds(SitePlace, st.integers(0, 600), st.integers(0, 960))),
    st.integers(0, 30),
    st.integers(0, 30),
    st.lists(larvae, max_size=18).map(tuple),
)


@settings(max_examples=10_000, deadline=None, suppress_health_check=list(HealthCheck))
@given(visits)
def test_ten_thousand_digests_round_trip(digest):
    assert back(digest) == in_order(digest)


@pytest.mark.parametrize(
    "digest",
    [
        replace(VISIT, site=None, practice=False, closed=False),
        replace(VISIT, local_date=date.min),
        replace(VISIT, local_date=date.max),
        replace(VISIT, larvae=(LarvaDigest(),)),
        replace(VISIT, larvae=(LarvaDigest("01428"), LarvaDigest("01428", 27.0, status="void"), LarvaDigest())),
        replace(VISIT, larvae=(LarvaDigest("0" * 12), LarvaDigest("0" * 13), LarvaDigest("9" * 40))),
        replace(VISIT, larvae=tuple(LarvaDigest(flags=frozenset(FLAGS[:size])) for size in range(len(FLAGS) + 1))),
        replace(VISIT, empty_spots=1000, others=1000, site=SitePlace(10_000, 960)),
        replace(VISIT, larvae=tuple(LarvaDigest(tag, 27.0, "Aeshnidae", True) for tag in block(0, 200, 5))),
        replace(VISIT, larvae=tuple(LarvaDigest(tag) for tag in block(9_999_990_000, 5, 11))),
    ],
)
def test_the_smallest_the_largest_and_the_odd(digest):
    assert back(digest) == in_order(digest)


def test_every_family_and_status_has_its_own_place():
    assert {family.latin for family in ALL_FAMILIES} <= set(FAMILIES)


@pytest.mark.parametrize(
    "digest",
    [
        replace(VISIT, code8="PQXH7MK"),
        replace(VISIT, code8="PQXH7MKO"),
        replace(VISIT, larvae=(LarvaDigest(length_mm=-1.0),)),
        replace(VISIT, larvae=(LarvaDigest(length_mm=float("nan")),)),
        replace(VISIT, larvae=(LarvaDigest(length_mm=1e-9),)),
        replace(VISIT, larvae=(LarvaDigest(flags=frozenset(["x" * 100])),)),
        replace(VISIT, larvae=tuple(LarvaDigest(str(place) * 20) for place in range(1000, 1030))),
    ],
)
def test_what_can_t_be_written_is_refused_in_words(digest):
    with pytest.raises(DigestError, match=r"visit|digest"):
        write(digest)


# Sizes. A text is one SMS of at most 160 septets.


def usual(count: int, seed: int) -> VisitDigest:
    """A day as days are: tags from the programme's block of 60, whole millimetres, four families, a few flags."""
    random = Random(seed)
    return replace(
        VISIT,
        larvae=tuple(
            LarvaDigest(
                tag,
                float(random.randint(13, 45)),
                random.choice(["Aeshnidae", "Gomphidae", "Libellulidae", "unsure"]),
                random.random() < 0.8,
                "void" if random.random() < 0.1 else "kept",
                frozenset(random.sample(FLAGS, 1)) if random.random() < 0.2 else frozenset(),
            )
            for tag in random.sample(block(140, 60, 5), count)
        ),
    )


def worst(count: int, seed: int) -> VisitDigest:
    """Tags all over the ten thousand, tenths from 8 to 60 mm, all families half sure or sure, every larva flagged up
    to four times, all statuses, a site far down the list, many empty spots."""
    random = Random(seed)
    tags = [NUMBERED[0], NUMBERED[-1], *random.sample(NUMBERED[1:-1], count - 2)]
    lengths = [8.0, 60.0, *(random.randint(80, 600) / 10 for _ in range(count - 2))]
    return replace(
        VISIT,
        site=SitePlace(499, 960),
        empty_spots=40,
        others=20,
        larvae=tuple(
            LarvaDigest(
                tag,
                length,
                random.choice(FAMILIES),
                random.choice([True, False]),
                random.choice(["kept", "void", "open"]),
                frozenset(random.sample(FLAGS, random.randint(1, 4))),
            )
            for tag, length in zip(tags, lengths, strict=True)
        ),
    )


@pytest.mark.parametrize(("count", "make", "most"), [(12, usual, 1), (16, usual, 1), (12, worst, 2), (16, worst, 3)])
@pytest.mark.parametrize("seed", range(40))
def test_twelve_larvae_take_two_segments_at_most_and_sixteen_three(count, make, most, seed):
    digest = make(count, seed)
    texts = write(digest)
    assert len(texts) <= most
    assert sum(segments(text) for text in texts) <= most
    assert back(digest) == in_order(digest)


def test_a_usual_day_is_short_to_type():
    lengths = [sum(map(len, write(usual(12, seed)))) for seed in range(40)]
    assert sum(lengths) / len(lengths) < 100


# Numbers that no packer made, behind a check that fits.


@settings(max_examples=2_000, deadline=None)
@given(st.integers(0, ROOM - 1), st.sampled_from([1, 31**3]))
def test_any_number_at_all_is_read_or_refused(number, marks):
    try:
        _, digest = unpack("PQXH7MK2", number, marks, 150)
    except UnpackError:
        return
    assert digest.code8 == "PQXH7MK2"


@pytest.mark.parametrize("number", [1, 5, 31**100, 31**115 - 1])
def test_a_text_that_no_packer_made_is_a_problem_not_a_crash(number):
    found = read([spell(Spelled("PQXH7MK2", 1, 1, number))])
    assert len(found.problems) + len(found.visits) == 1
