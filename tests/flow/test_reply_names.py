"""Families and tags as people text them; a slip with one meaning is taken and said back, with two it is asked."""

import pytest

from guide.field.families import EITHER, FAMILIES
from guide.field.tags import block
from tests.flow.reading import read, taken


@pytest.mark.parametrize(
    ("texts", "family"),
    [
        ("darner|Darner.|DARNER!|darners|aesh|Aeshnid|AESHNIDAE|aeshnidae?|a darner|darner larva|I think darner|"
         "ｄａｒｎｅｒ|dar\u200bner|darn|aeshn|family darner|"
         "looks like a darner|pretty sure darner|ok darner|Darner 👍|darner, I think|"
         "Aeshnidae (darner)|darner darner", "Aeshnidae"),
        ("clubtail|club tail|Club-tail|club|gomphid|gomph|Gomphidae|clubtails", "Gomphidae"),
        ("petaltail|petal|petalurid", "Petaluridae"),
        ("spiketail|spike|spike tail|cordulegastrid|Cordulegastridae|cordule", "Cordulegastridae"),
        ("cruiser|river cruiser|macromiid|macro", "Macromiidae"),
        ("emerald|emeralds|corduliid|Corduliidae|emer", "Corduliidae"),
        ("skimmer|skim|Libellulidae|libell|libel", "Libellulidae"),
        ("emerald or skimmer|emerald/skimmer|Skimmer or emerald|skimmer / emerald|Corduliidae/Libellulidae|either|"
         "emerald, skimmer|corduliid or libellulid|emerald? skimmer?|either emerald or skimmer|"
         "emerald/skim|emerald\nskimmer", EITHER),
        ("unsure|UNSURE.|not sure|Not sure!|dunno|don't know|don’t know|dont know|idk|no idea|"
         "I don't know|I'm not sure|"
         "we are not sure|not really sure|no clue|hard to tell|can't tell|un sure|🤷", "unsure"),
        ("key|KEY.|Key!|family key|key please|use the key|keys", "key"),
    ],
)  # fmt: skip
def test_a_family_is_its_everyday_word_its_latin_name_or_short_for_it(texts, family):
    for text in texts.split("|"):
        assert taken("family", text) == ("sure", family), text


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.latin)
def test_every_word_of_a_family_is_taken_surely(family):
    for word in (family.latin, family.everyday, *family.words):
        assert taken("family", word) == ("sure", family.latin), word
        assert taken("family", f" {word.upper()}. ") == ("sure", family.latin), word


@pytest.mark.parametrize(
    ("text", "family", "everyday"),
    [
        ("gomphide", "Gomphidae", "clubtail"),
        ("skimer", "Libellulidae", "skimmer"),
        ("drner", "Aeshnidae", "darner"),
        ("dranre", "Aeshnidae", "darner"),
        ("clubtial", "Gomphidae", "clubtail"),
        ("emreald", "Corduliidae", "emerald"),
        ("petltail", "Petaluridae", "petaltail"),
        ("spiketale", "Cordulegastridae", "spiketail"),
        ("aeschnidae", "Aeshnidae", "darner"),
        ("libelula", "Libellulidae", "skimmer"),
        ("cordulidae", "Corduliidae", "emerald"),
        ("macromidae", "Macromiidae", "cruiser"),
        ("emerald or skimer", EITHER, "emerald or skimmer"),
    ],
)
def test_a_near_miss_is_taken_and_said_back_with_both_names(text, family, everyday):
    reading = read("family", text)
    assert taken("family", text) == ("echo", family)
    assert reading.phrase == "family.echo"
    assert reading.blanks == {"latin": family, "answer": everyday}


def test_nearly_unsure_is_unsure():
    assert taken("family", "unsuer") == ("echo", "unsure")


@pytest.mark.parametrize(
    ("text", "first", "second"),
    [
        ("cord", "SPIKETAIL", "EMERALD"),
        ("darner or clubtail", "DARNER", "CLUBTAIL"),
        ("cruiser/darner", "CRUISER", "DARNER"),
        ("darner clubtail", "DARNER", "CLUBTAIL"),
        ("darnet or clubtail", "DARNER", "CLUBTAIL"),
    ],
)
def test_two_families_are_asked(text, first, second):
    reading = read("family", text)
    assert (reading.ask, reading.phrase) == (True, "family.which")
    assert (reading.blanks["answer"], reading.blanks["other"]) == (first, second)


@pytest.mark.parametrize(
    "text",
    "damselfly|Damsel.|damselflies|a damselfly larva|damsel fly|Zygoptera|dancer|bluet|danser|spread wing".split("|"),
)
def test_a_damselfly_word_is_told_apart(text):
    assert taken("family", text) == ("no", "family.damselfly")


@pytest.mark.parametrize(
    "text",
    "trout|27|27 darner|no darner|not a darner|neither|dar|ok|?||dragonfly|darner clubtail cruiser|"
    "👎|darner 👎|cord/lib|darner or trout|not a skimmer, darner".split("|"),
)
def test_what_is_no_family_is_not_understood(text):
    assert taken("family", text) == ("no", "family.unclear")


# Tags


@pytest.mark.parametrize(
    "text",
    "01428|#01428|tag 01428|Tag: 01428.|01428.|0 1 4 2 8|014 28|01428!|no. 01428|it's 01428|01428 01428|０１４２８|"
    "\u200b01428|01-428|tag01428|Tag number 01428|the tag is 01428|it says 01428|slip 01428|(01428)|"
    "=01428|*01428*|01428 ok|"
    "ok 01428|01428 👍|yes 01428|I think 01428|bag 01428|№ 01428|0️⃣1️⃣4️⃣2️⃣8️⃣|01428?|0.1.4.2.8|"
    "-01428".split("|"),
)  # fmt: skip
def test_a_tag_is_its_digits_with_leading_zeros(text):
    assert taken("tag", text) == ("sure", "01428")


@pytest.mark.parametrize("text", ["O1428", "o1428", "0l428", "0I428", "#OI428"])
def test_letters_that_look_like_digits_are_taken_and_said_back(text):
    reading = read("tag", text)
    assert (reading.value, reading.sure, reading.ask, reading.phrase) == ("01428", False, False, "tag.echo")
    assert reading.blanks == {"tag": "01428"}


@pytest.mark.parametrize("text", ["01413", "#01482", "tag 10428", "O1413"])
def test_a_wrong_check_digit_is_not_taken(text):
    reading = read("tag", text)
    assert (reading.value, reading.phrase) == (None, "tag.check")
    assert len(reading.blanks["tag"]) == 5


@pytest.mark.parametrize("text", ["1429", "001428", "27", "01428 27", "1", "142", "01428 #2", "0" * 300])
def test_a_tag_of_another_width_is_told_the_width(text):
    reading = read("tag", text)
    assert (reading.value, reading.phrase, reading.blanks["width"]) == (None, "tag.width", "5")


@pytest.mark.parametrize("text", "1428|#1428|tag no 1428|1 4 2 8|1,428|01.428|01,428".split("|"))
def test_a_first_zero_left_out_or_a_point_put_in_is_asked(text):
    reading = read("tag", text)
    assert (reading.value, reading.ask, reading.phrase) == ("01428", True, "tag.mean")
    assert reading.blanks["tag"] == "01428"


@pytest.mark.parametrize("text", ["zero one four two eight", "oh one four two eight", "0 one 4 two 8"])
def test_a_tag_in_words_is_taken_and_said_back(text):
    assert taken("tag", text) == ("echo", "01428")


@pytest.mark.parametrize("text", ["01428 01431", "01428, 01431", "01428 or 01431", "01428/01431", "01428\n01431"])
def test_two_tags_are_asked(text):
    assert taken("tag", text) == ("ask", "01428")
    assert read("tag", text).phrase == "tag.which"


def test_of_two_tags_a_valid_one_is_held():
    assert taken("tag", "01413 01431") == ("ask", "01431")
    assert taken("tag", "01413 01432") == ("no", "tag.check")


@pytest.mark.parametrize(
    "text", "darner|oil|ok|27 mm|01428 darner||#|tag|01428x|not 01428|01428 not 01431|lost|01428 👎|0142B".split("|")
)
def test_what_is_no_tag_is_not_understood(text):
    assert taken("tag", text) == ("no", "tag.unclear")


@pytest.mark.parametrize("width", [2, 4, 6, 8])
def test_a_programme_may_have_wider_or_narrower_tags(width):
    code = block(7, 1, width)[0]
    assert taken("tag", f"#{code}", tag_width=width) == ("sure", code)
    assert taken("tag", f"{code}0", tag_width=width) == ("no", "tag.width")
