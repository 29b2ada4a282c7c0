"""How a digest is spelled: what the check notices, proved for every place and character, and tried on whole texts."""

from itertools import pairwise
from random import Random

import pytest

from guide.papers.letters import (
    ALPHABET,
    BASE,
    GROUP,
    HEAD,
    MOST_CHARACTERS,
    PRIME,
    ROOM,
    DamageError,
    Spelled,
    beginning,
    spell,
    unspell,
)
from guide.talk.sms import segments

SHORT = Spelled("PQXH7MK2", 1, 1, 0)
USUAL = Spelled("2B8S5Z6G", 1, 2, 31**37 + 123456789)
LONGEST = Spelled("ZZZZZZZZ", 23, 23, ROOM - 1)
TEXTS = pytest.mark.parametrize("said", [SHORT, USUAL, LONGEST], ids=["short", "usual", "longest"])


def bare(said: Spelled) -> str:
    return spell(said).replace(" ", "")


def passes(letters: str) -> bool:
    """Whether damage goes unnoticed. The looking for a likely slip is left out: it is slow, and tested by itself."""
    from guide.papers import letters as module

    return module._fits([module._DIGITS.get(letter, -1) for letter in letters])


@TEXTS
def test_a_text_reads_back_and_is_one_sms(said):
    assert unspell(spell(said)) == said
    assert segments(spell(said)) == 1


@TEXTS
def test_case_and_spaces_carry_nothing(said):
    for text in (spell(said).lower(), bare(said), " " + "  ".join(bare(said)) + "\t\n", spell(said).title()):
        assert unspell(text) == said


def test_it_begins_with_the_visit_s_code_and_the_part():
    assert spell(USUAL).startswith(beginning("2B8S5Z6G", 1, 2)) is True
    assert beginning("2B8S5Z6G", 1, 2) == "2B8S5Z6G AB"
    assert beginning("2B8S5Z6G", 3, 3) == "2B8S5Z6G CC"
    assert {len(group) for group in spell(USUAL).split(" ")[2:]} == {GROUP}


def test_no_character_can_be_taken_for_a_nought_or_a_one():
    assert not set("O0I1L") & set(ALPHABET)
    assert BASE == len(set(ALPHABET)) == 31


# The check, as a proof: a text is a number, and one slip adds e times a power of the base to it.


def test_the_prime_is_prime_and_below_a_whole_group():
    assert BASE ** (GROUP - 1) < PRIME < BASE**GROUP
    assert all(PRIME % divisor for divisor in range(2, int(PRIME**0.5) + 1))


def test_no_two_changed_characters_cancel_at_any_distance():
    small = set(range(1, BASE)) | set(range(PRIME - BASE + 1, PRIME))
    for distance in range(1, MOST_CHARACTERS):
        power = pow(BASE, distance, PRIME)
        assert not any(e * power % PRIME in small for e in range(1, BASE)), distance


def test_no_swap_of_two_characters_cancels_at_any_distance():
    assert all(pow(BASE, distance, PRIME) != 1 for distance in range(1, MOST_CHARACTERS))


# The check, tried.


@TEXTS
def test_every_changed_character_is_noticed(said):
    letters = bare(said)
    for at, letter in enumerate(letters):
        for other in "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ.-?":
            if other != letter:
                assert not passes(letters[:at] + other + letters[at + 1 :])


@TEXTS
def test_every_dropped_character_is_noticed(said):
    letters = bare(said)
    for at in range(len(letters)):
        assert not passes(letters[:at] + letters[at + 1 :])


@TEXTS
def test_every_added_character_is_noticed(said):
    letters = bare(said)
    for at in range(len(letters) + 1):
        assert not any(passes(letters[:at] + other + letters[at:]) for other in ALPHABET)


@TEXTS
def test_every_swap_of_two_characters_is_noticed(said):
    letters = bare(said)
    for at, letter in enumerate(letters):
        for to in range(at + 1, len(letters)):
            if letters[to] != letter:
                middle = letters[at + 1 : to]
                assert not passes(letters[:at] + letters[to] + middle + letter + letters[to + 1 :])


@TEXTS
def test_two_changed_neighbours_are_noticed(said):
    letters = bare(said)
    for at, (first, second) in enumerate(pairwise(letters)):
        for one in ALPHABET:
            for two in ALPHABET:
                if (one, two) != (first, second):
                    assert not passes(letters[:at] + one + two + letters[at + 2 :])


@TEXTS
def test_dropped_added_and_swapped_groups_are_noticed(said):
    groups = spell(said).split(" ")
    for at in range(len(groups)):
        assert not passes("".join(groups[:at] + groups[at + 1 :]))
        assert not passes("".join([*groups[:at], "22222", *groups[at:]]))
        if at >= 2 and groups[at : at + 1] != groups[at + 1 : at + 2] != []:
            assert not passes("".join([*groups[:at], groups[at + 1], groups[at], *groups[at + 2 :]]))


def test_other_damage_passes_hardly_ever():
    random = Random(5)
    letters = bare(USUAL)
    for _ in range(100_000):
        assert not passes("".join(random.choice(ALPHABET) if random.random() < 0.3 else one for one in letters))


# What is said of damage.


@pytest.mark.parametrize(
    ("damage", "sentence"),
    [
        (lambda t: t.replace("3", "8", 1), "has a wrong character"),
        (lambda t: t[:-1], "is 1 character too short, or 4 characters too long"),
        (lambda t: t + "22", "is 3 characters too short, or 2 characters too long"),
        (lambda t: t[:-1] + "O", "has the character 'O', which no digest has"),
        (lambda t: "hey", "is too short"),
        (lambda t: "", "is too short"),
    ],
)
def test_damage_is_said_in_words(damage, sentence):
    with pytest.raises(DamageError, match=sentence):
        unspell(damage(spell(USUAL)))


@TEXTS
def test_after_a_single_slip_the_right_group_is_named(said):
    random = Random(3)
    letters, groups = bare(said), spell(said).split(" ")
    for _ in range(5):
        at = random.randrange(HEAD, len(letters) - 1)
        other = random.choice([one for one in ALPHABET if one != letters[at]])
        for damaged in (
            letters[:at] + other + letters[at + 1 :],
            letters[:at] + "0" + letters[at + 1 :],
            letters[:at] + letters[at + 1 :],
            letters[:at] + other + letters[at:],
        ):
            with pytest.raises(DamageError) as caught:
                unspell(damaged)
            number = int(str(caught.value).split("its group ")[1].split(" ")[0])
            assert str(caught.value).endswith(f"should be {groups[number - 1]}")


def test_damage_that_no_single_slip_explains_names_no_group():
    with pytest.raises(DamageError, match=r"character or more$"):
        unspell(bare(USUAL)[:-4] + "2222")


def test_a_part_that_can_t_be_is_refused_though_its_check_fits():
    with pytest.raises(DamageError, match="a part that can't be"):
        unspell(spell(Spelled("PQXH7MK2", 2, 1, 5)))
