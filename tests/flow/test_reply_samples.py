"""A whole larva in one text, or several: good ones are kept whatever the others are."""

import pytest

from guide.flow.replies.kinds import KINDS
from guide.flow.replies.sample import PROBLEMS, read_samples
from tests.flow.reading import asked, read, taken

DARNER = {"length_mm": 27, "family": "Aeshnidae", "tag": "01428"}
CLUBTAIL = {"length_mm": 27, "family": "Gomphidae", "tag": "01428"}
UNSURE = {"length_mm": 27, "family": "unsure", "tag": "01428"}
SKIMMER = {"length_mm": 31, "family": "Libellulidae", "tag": "01431"}


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        ("01428 27 darner|27 darner 01428|darner 27 01428|27 01428 darner|27mm, darner, tag 01428|darner,27,01428|"
         "01428,27,darner|27 Darner #01428.|tag 01428: 27 mm darner|27 aesh 01428|about 27 darner 01428|"
         "length 27, family darner, tag 01428|27,darner,01428|~27 darner 01428|２７ darner ０１４２８|"
         "27 and darner and 01428|tag01428 27 darner|27 darner? 01428|27 darner 01428 ok|"
         "ok 27 darner 01428|27 darner 01428 👍|27 darner 01428 done|27 darner no 01428|27 darner tag number 01428|"
         "27ish darner 01428|twenty seven darner 01428|darner27 01428|27 darner 0 1 4 2 8|27 darner 01428 01428|"
         "a 27 mm darner with tag 01428", DARNER),
        ("#01428 2.7cm clubtail|2,7 cm club tail 01428|27 gomphid 01428", CLUBTAIL),
        ("27 unsure 01428|not sure 27 01428|27 01428 don't know", UNSURE),
        ("27.5 darner 01428|27,5 darner 01428", {**DARNER, "length_mm": 27.5}),
        ("27 emerald or skimmer 01428|27 emerald/skimmer 01428", {**DARNER, "family": "Corduliidae/Libellulidae"}),
        ('1 in darner 01428|1" darner 01428', {**DARNER, "length_mm": 25.4}),
    ],
)  # fmt: skip
def test_a_sample_is_length_family_and_tag_in_any_order(texts, value):
    for text in texts.split("|"):
        assert taken("sample", text) == ("sure", value), text


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("27 darner", "missing_tag"),
        ("27 01428", "missing_family"),
        ("27 ? 01428", "missing_family"),
        ("darner 01428", "missing_length"),
        ("0 darner 01428", "missing_length"),
        ("darner", "missing_length"),
        ("27 trout 01428", "unclear_family"),
        ("27 key 01428", "unclear_family"),
        ("27 cord 01428", "unclear_family"),
        ("27 damselfly 01428", "unclear_family"),
        ("27 darner 01413", "check_digit"),
        ("27 darner #1428", "check_digit"),
        ("27 darner tag 142", "check_digit"),
        ("27 28 darner 01428", "not_a_sample"),
        ("27 darner 01428 01431", "several"),
        ("01428 27 darner, 01431 31 skimmer", "several"),
        ("27 darner 1428", "check_digit"),
        ("27 darner 014288", "check_digit"),
        ("hello there", "not_a_sample"),
        ("ok", "not_a_sample"),
        ("", "not_a_sample"),
    ],
)
def test_what_is_missing_or_wrong_is_named(text, problem):
    assert taken("sample", text) == ("no", f"sample.{problem}")


def test_a_wrong_check_digit_is_kept_with_what_was_said():
    (reading,) = read_samples("27 darner 01413", asked())
    assert (reading.fields, reading.problem) == ({**DARNER, "tag": "01413"}, "check_digit")
    assert read("sample", "27 darner 01413").blanks["tag"] == "01413"


@pytest.mark.parametrize(
    ("text", "length", "phrase"),
    [
        ("270 darner 01428", 270, "length.odd"),
        ("2.7 darner 01428", 27, "length.unit"),
        ("2.7mm darner 01428", 2.7, "length.odd"),
        ("27-28 darner 01428", 27, "length.which"),
        ("27 or 28 darner 01428", 27, "length.which"),
    ],
)
def test_an_odd_length_is_asked_with_the_rest_held(text, length, phrase):
    reading = read("sample", text)
    assert (reading.value, reading.ask, reading.phrase) == ({**DARNER, "length_mm": length}, True, phrase)


def test_a_near_miss_is_taken_and_said_back():
    reading = read("sample", "27 drner 01428")
    assert (reading.value, reading.sure, reading.ask, reading.phrase) == (DARNER, False, False, "family.echo")
    reading = read("sample", "27 darner O1428")
    assert (reading.value, reading.sure, reading.ask, reading.phrase) == (DARNER, False, False, "tag.echo")


@pytest.mark.parametrize("between", ["; ", ";", "\n", "\r\n", " \n\n ", ";\n"])
def test_several_samples_are_parted_by_semicolons_or_lines(between):
    text = f"01428 27 darner{between}01431 31 skimmer"
    assert taken("sample", text) == ("sure", [DARNER, SKIMMER])


def test_good_ones_among_bad_ones_are_good():
    text = "01428 27 darner; 01413 31 skimmer; 270 club 01444\nhello;; 31 skimer 01431;"
    readings = read_samples(text, asked())
    assert [reading.problem for reading in readings] == ["", "check_digit", "odd_length", "not_a_sample", ""]
    assert [reading.text for reading in readings][:2] == ["01428 27 darner", "01413 31 skimmer"]
    assert readings[0].fields == DARNER
    assert readings[4].fields == SKIMMER
    assert readings[4].phrase == "family.echo"
    reading = read("sample", text)
    assert (reading.value, reading.sure, reading.ask) == ([DARNER, SKIMMER], False, False)
    assert (reading.phrase, reading.blanks["count"], reading.blanks["said"]) == ("sample.some", "2", "01413 31 skimmer")


@pytest.mark.parametrize("text", ["27;darner;01428", "27\ndarner\n01428", "#01428\n27 mm; darner"])
def test_one_sample_in_pieces_is_put_together(text):
    assert taken("sample", text)[0] == "sure"
    assert taken("sample", text)[1] in (DARNER, [DARNER])


def test_a_numbered_list_is_several_samples():
    assert taken("sample", "1) 27 darner 01428; 2) 31 skimmer 01431") == ("sure", [DARNER, SKIMMER])
    assert taken("sample", "1. 27 darner 01428\n2. 31 skimmer 01431") == ("sure", [DARNER, SKIMMER])


def test_without_tags_samples_come_singly():
    fields = ("length_mm", "family")
    assert taken("sample", "27 darner; 31 skimmer", fields=fields) == ("no", "sample.one")


def test_every_problem_has_its_sentence():
    assert {f"sample.{problem}" for problem in PROBLEMS if problem != "odd_length"} <= {
        taken("sample", text)[1]
        for text in ("27 darner", "27 01428", "darner", "27 trout 01428", "27 darner 01413", "hi")
    }


@pytest.mark.parametrize(
    ("fields", "text", "value"),
    [
        (("length_mm", "tag"), "27 01428", {"length_mm": 27, "tag": "01428"}),
        (("length_mm", "tag"), "27 darner 01428", DARNER),
        (("length_mm",), "27", {"length_mm": 27}),
        (("family", "tag"), "darner 01428", {"family": "Aeshnidae", "tag": "01428"}),
    ],
)
def test_a_programme_may_ask_for_less(fields, text, value):
    assert taken("sample", text, fields=fields) == ("sure", value)


def test_a_tag_has_the_programmes_width():
    assert taken("sample", "27 darner 572", tag_width=3) == ("no", "sample.check_digit")
    assert taken("sample", "27 darner 5724", tag_width=4) == ("sure", {**DARNER, "tag": "5724"})


def test_samples_are_shown_as_they_are_texted():
    show = KINDS["sample"].show
    assert show(DARNER) == "27 DARNER 01428"
    assert show(UNSURE) == "27 UNSURE 01428"
    assert show([DARNER, SKIMMER]) == "27 DARNER 01428; 31 SKIMMER 01431"
    assert show({"length_mm": 27.5, "tag": "01428"}) == "27.5 01428"
