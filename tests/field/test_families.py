"""The families of the key, each with its everyday word and the ways people write it."""

import pytest

from guide.field.families import EITHER, FAMILIES, Family, everyday, family_named

WANTED = {
    "Aeshnidae": "darner",
    "Gomphidae": "clubtail",
    "Petaluridae": "petaltail",
    "Cordulegastridae": "spiketail",
    "Macromiidae": "cruiser",
    "Corduliidae": "emerald",
    "Libellulidae": "skimmer",
    "Corduliidae/Libellulidae": "emerald or skimmer",
}


def test_the_seven_families_and_the_pair_that_looks_alike():
    assert {family.latin: family.everyday for family in FAMILIES} == WANTED
    assert EITHER in WANTED


@pytest.mark.parametrize(("latin", "word"), WANTED.items())
def test_each_family_has_its_everyday_word(latin, word):
    assert everyday(latin) == word
    assert family_named(latin).everyday == word


@pytest.mark.parametrize("word", ["unsure", "key", "darner", "aeshnidae", "Zygoptera", ""])
def test_anything_else_is_no_family(word):
    with pytest.raises(KeyError):
        family_named(word)
    with pytest.raises(KeyError):
        everyday(word)


def test_no_word_means_two_families():
    words = [word for family in FAMILIES for word in (family.latin.lower(), family.everyday, *family.words)]
    assert len(words) == len(set(words))


def test_words_are_as_they_are_looked_up():
    for family in FAMILIES:
        assert all(word == word.lower().strip() for word in (family.everyday, *family.words))


def test_a_family_is_not_changed_by_hand():
    family = Family("Aeshnidae", "darner", ())
    with pytest.raises(AttributeError):
        family.everyday = "hawker"  # type: ignore[misc]
