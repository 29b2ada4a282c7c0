"""Reading the texts of a digest: any order, twice, mixed visits, what is missing and what is damaged."""

from dataclasses import replace
from datetime import date
from itertools import permutations

from guide.field.tags import block
from guide.papers.digest import read, write
from guide.papers.digest_fields import LarvaDigest, SitePlace, VisitDigest, tag_order

TAGS = block(0, 10_000, 5)[:: 10_000 // 24]
LARVAE = tuple(
    LarvaDigest(tag, 20 + place / 10, "Aeshnidae", True, "kept", frozenset(["third_bag"] if place % 2 else []))
    for place, tag in enumerate(TAGS)
)
BIG = VisitDigest("PQXH7MK2", date(2026, 7, 4), False, True, SitePlace(1, 5), 2, 0, LARVAE * 1)
SMALL = VisitDigest("2B8S5Z6G", date(2026, 7, 5), True, False, None, 0, 0, LARVAE[:3])


def three() -> list[str]:
    """A digest of three texts."""
    odd = tuple(replace(larva, tag=f"{larva.tag}x") for larva in LARVAE[:14])
    texts = write(replace(BIG, larvae=LARVAE + odd))
    assert len(texts) == 3
    return texts


def test_any_order_and_twice_without_harm():
    texts = three()
    whole = read(texts)
    assert whole.problems == ()
    for order in permutations(texts):
        assert read([*order, order[1], "", "  "]) == whole


def test_missing_parts_are_named_and_the_others_are_read():
    texts = three()
    found = read([texts[2], texts[0]])
    assert found.problems == ("Part 2 of 3 of visit PQXH7MK2 is missing: the text that begins PQXH7MK2 BC.",)
    assert found.visits[0].missing == (2,)
    assert 0 < len(found.visits[0].digest.larvae) < 38
    assert found.visits[0].digest.local_date == date(2026, 7, 4)
    assert [problem[:11] for problem in read(texts[2:]).problems] == ["Part 1 of 3", "Part 2 of 3"]


def test_the_damaged_text_is_named_and_the_others_are_read():
    texts = three()
    texts[1] = texts[1].replace("BC", "BD")
    found = read(texts)
    damaged, missing = found.problems
    assert damaged.startswith("Text 2 (PQXH7MK2 BD")
    assert "its group 2 of" in damaged
    assert damaged.endswith("should be BC.")
    assert missing.startswith("Part 2 of 3")


def test_texts_of_several_visits_are_told_apart():
    found = read([*write(SMALL), *three()])
    assert found.problems == ()
    assert [visit.digest.code8 for visit in found.visits] == ["2B8S5Z6G", "PQXH7MK2"]
    assert found.visits[0].digest == replace(SMALL, larvae=tag_order(SMALL.larvae))


def test_two_digests_of_one_visit_don_t_mix():
    """The visit was digested, then a length was put right, then digested again."""
    old = three()
    fixed = (replace(LARVAE[0], length_mm=31.0), *LARVAE[1:])
    odd = tuple(replace(larva, tag=f"{larva.tag}x") for larva in LARVAE[:14])
    new = write(replace(BIG, larvae=fixed + odd))
    found = read([new[0], old[1], old[2]])
    assert "come from different digests" in found.problems[-1]
    assert len(found.visits) == 2


def test_two_short_digests_of_one_visit_are_seen():
    changed = replace(SMALL, larvae=(replace(LARVAE[0], length_mm=31.0), *LARVAE[1:3]))
    found = read([*write(SMALL), *write(changed)])
    assert found.problems == (
        "Texts 1 and 2 are both part 1 of 1 of visit 2B8S5Z6G and say different things: print the digest again.",
    )


def test_nothing_to_read_is_no_problem_of_a_text():
    assert read(["", " "]).visits == ()
    assert read(["", " "]).problems == ()
