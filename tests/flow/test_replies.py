"""OK, yes, no, choices and free words are read as people text them; a step's own words work beside every kind."""

import pytest

from guide.flow.replies.base import Option
from guide.flow.replies.kinds import KINDS
from tests.flow.reading import BOTTOM, NOW, asked, read, taken

OKS = (
    "ok|OK|Ok.|ok!|k|K.|okay|yes|Yes.|y|yep|Done|done.|ready|sealed?|“Ok.”|ｏｋ|o\u200bk|\u00a0ok\u00a0|OK thanks|"
    "all done|it's done|okk|yess|yesss!|O.K.|o k|0k|okie dokie|alright|roger|copy that|good to go|"
    "I'm done|both done|"
    "bag sealed|sealed and done|okay we did it|yes sir|Ok. Sealed."
)
THUMBS = "👍|👍🏽|👍🏿|👍\ufe0f|👍👍|✅|👌|ok 👍🏻|🆗|✓|☑️"


@pytest.mark.parametrize("text", [*OKS.split("|"), *THUMBS.split("|")])
def test_done_is_texted_in_many_ways(text):
    assert taken("done", text) == ("sure", True)


@pytest.mark.parametrize(
    "text", "no|N|not yet|Wait!|not done|ok wait|hold on|nearly|one sec|👎|hang on|2 min|nooo|not sealed".split("|")
)
def test_not_yet_is_given_time(text):
    assert taken("done", text) == ("no", "done.not_yet")


@pytest.mark.parametrize("text", "doen|dnoe|donr|finshed|seled|compelte|yse".split("|"))
def test_nearly_done_is_taken_and_said_back(text):
    reading = read("done", text)
    assert (reading.value, reading.sure, reading.ask, reading.phrase) == (True, False, False, "done.echo")


NOT_DONE = (
    "27|darner|in|all|got|oops|?|...|yes but it fell|ok 27|dont|gone|none|bone|dead|steady|sea led|well done|thanks"
)


@pytest.mark.parametrize("text", NOT_DONE.split("|"))
def test_what_is_neither_ok_nor_not_yet_is_not_done(text):
    assert taken("done", text) == ("no", "done.unclear")


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        ("y|Y.|yes|YES!|yep|yeah|ok|k|sure|👍|👍🏼|yes it is|yes please|yess|yea|yepp|y e s|of course|"
         "yes we have|we did|"
         "yes, longer|Yes all of us", True),
        ("n|N.|no|No!|nope|nah|👎|👎🏾|no thanks|noo|nop|naw|not yet|not really|no it isn't|"
         "no we don’t|of course not|🚫|"
         "no shorter|no, too short", False),
    ],
)  # fmt: skip
def test_yes_and_no_are_texted_in_many_ways(texts, value):
    for text in texts.split("|"):
        assert taken("yes_no", text) == ("sure", value), text


@pytest.mark.parametrize("text", "yse|yws|yed|ues|tes".split("|"))
def test_yes_by_a_hurried_thumb_is_taken_and_said_back(text):
    assert taken("yes_no", text) == ("echo", True)
    assert read("yes_no", text).phrase == "yes_no.echo"


UNDECIDED = "maybe|yes no|y/n|27|not sure|n/a|yes but one fell||yes not|ok no|👍👎|yes 👎|dont|"
"no problem yes|longer"


@pytest.mark.parametrize("text", UNDECIDED.split("|"))
def test_what_is_both_or_neither_is_no_answer(text):
    assert taken("yes_no", text) == ("no", "yes_no.unclear")


# One of a step's answers


@pytest.mark.parametrize(
    ("texts", "how", "code"),
    [
        ("SILT|silt.|Silt!|mud|Soft Mud|#1|1|1.|1)|one|number 1|sil", "sure", "SILT"),
        ("gravel|3|three|stones|GRA|small sto|Gravel 🙂", "sure", "GRAVEL"),
        ("slit|siltt|ailt", "echo", "SILT"),
        ("garvel|gravl|grevvel|stnoes", "echo", "GRAVEL"),
        ("s and|sann", "echo", "SAND"),
    ],
)
def test_a_choice_is_its_word_its_number_its_beginning_or_nearly_its_word(texts, how, code):
    for text in texts.split("|"):
        assert taken("choice", text, options=BOTTOM) == (how, code), text


def test_a_near_miss_is_said_back():
    reading = read("choice", "slit", options=BOTTOM)
    assert (reading.phrase, reading.blanks["said"], reading.blanks["answer"]) == ("choice.echo", "slit", "SILT")


def test_two_that_fit_are_asked():
    reading = read("choice", "bal", options=("BALD", "BALL"))
    assert (reading.value, reading.ask, reading.phrase) == ("BALD", True, "choice.which")
    assert reading.blanks["options"] == "BALD, BALL"
    assert taken("choice", "balt", options=("BALD", "BALL")) == ("ask", "BALD")


@pytest.mark.parametrize("text", "5|0|12|done|ok|yes|no|si|rock||?|-|not silt|silt or rock|1 9".split("|"))
def test_what_is_none_of_the_answers_is_told_which_there_are(text):
    reading = read("choice", text, options=BOTTOM)
    assert (reading.value, reading.phrase) == (None, "choice.unclear")
    assert reading.blanks["options"] == "SILT, SAND, GRAVEL, WEED"


@pytest.mark.parametrize("text", "silt or sand|1 2|1 and 2|1 or 2|the silt, sand|number 1 or number 2".split("|"))
def test_two_answers_are_asked(text):
    reading = read("choice", text, options=BOTTOM)
    assert (reading.value, reading.ask, reading.phrase) == ("SILT", True, "choice.which")
    assert reading.blanks["options"] == "SILT, SAND"


@pytest.mark.parametrize(
    "text",
    "it is silt|Silt please|1 silt|silt (1)|I think silt|the first one|1st|silt 👍|option 1|soft mud, ok".split("|"),
)
def test_small_words_around_an_answer_dont_matter(text):
    assert taken("choice", text, options=BOTTOM) == ("sure", "SILT")


def test_a_place_counts_only_where_choices_are_listed():
    assert taken("count", "-1", options=MOVE) == ("no", "count.unclear")
    assert taken("yes_no", "1", options=MOVE) == ("no", "yes_no.unclear")


def test_done_is_not_taken_for_none_nor_yeah_for_year():
    assert taken("choice", "done", options=("NONE", "SOME")) == ("no", "choice.unclear")
    assert taken("choice", "yeah", options=("YEAR", "MONTH")) == ("no", "choice.unclear")
    assert taken("choice", "yes", options=(Option("STAY", ("yes",)), "PACK")) == ("sure", "STAY")


def test_an_answer_that_is_a_number_goes_before_a_place():
    assert taken("choice", "2", options=("2", "1")) == ("sure", "2")
    assert taken("choice", "1", options=("A", Option("B", ("1",)))) == ("sure", "B")


# Several of a step's answers


@pytest.mark.parametrize(
    ("texts", "codes"),
    [
        ("1 3 4|1,3,4|4 3 1|1. 3. 4.|silt gravel weed|Silt, gravel + weed bed|mud/stones/weed|1 and 3 and weed",
         ["SILT", "GRAVEL", "WEED"]),
        ("sand|2|SAND.|sand sand|sand, 2", ["SAND"]),
        ("soft mud small stones|soft mud; small stones|soft mud\nsmall stones|sil & gra", ["SILT", "GRAVEL"]),
        ("sand and weed", ["WEED"]),
        ("none|None.|0|no|nothing", []),
    ],
)  # fmt: skip
def test_choices_are_words_or_numbers_in_any_order(texts, codes):
    for text in texts.split("|"):
        assert taken("choices", text, options=BOTTOM) == ("sure", codes), text


def test_a_near_miss_among_choices_is_said_back():
    reading = read("choices", "sand and garvel", options=BOTTOM)
    assert (reading.value, reading.phrase) == (["SAND", "GRAVEL"], "choices.echo")
    assert (reading.blanks["said"], reading.blanks["options"]) == ("sand and garvel", "SAND, GRAVEL")


@pytest.mark.parametrize("text", "7|sand and rock|ok|done||,|sand done".split("|"))
def test_choices_with_a_word_that_is_none_of_them_are_not_understood(text):
    assert taken("choices", text, options=BOTTOM) == ("no", "choices.unclear")


def test_choices_go_on_with_none_or_any():
    kind, step = KINDS["choices"], asked(options=BOTTOM)
    assert kind.outcomes(step) == ("none", "any")
    assert [kind.outcome(value, step) for value in ([], ["SAND"])] == ["none", "any"]


# Free words


def test_words_are_kept_without_what_cant_be_seen():
    assert taken("text", " a  blue\tnet\r\nis \x1b[31m torn\u202e ") == ("sure", "a blue net is [31m torn")
    assert len(read("text", "word " * 500).value) <= 480


@pytest.mark.parametrize("text", ["ok", "K.", "yes", "Done!", "no"])
def test_a_word_of_habit_where_something_was_to_be_told_is_asked_back(text):
    assert taken("text", text) == ("ask", text)
    assert taken("text", f"{text} windy") == ("sure", f"{text} windy")


@pytest.mark.parametrize("text", ["", "  ", "\x00\x07", "\u200b", "\ud800"])
def test_no_words_are_no_text(text):
    assert taken("text", text) == ("no", "text.unclear")


# A step's own words beside a kind

MOVE = (Option("MOVE", ("move on", "ok")),)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_steps_own_word_works_beside_every_kind(kind):
    for text in ("MOVE", "move.", "Move on!"):
        value = read(kind, text, options=MOVE).value
        assert value == (["MOVE"] if kind == "choices" else "MOVE"), text
    step = asked(options=MOVE)
    if kind != "choices":
        assert "MOVE" in KINDS[kind].outcomes(step)
        assert KINDS[kind].outcome("MOVE", step) == "MOVE"
        assert read(kind, KINDS[kind].show("MOVE"), options=MOVE).value == "MOVE"


def test_a_steps_own_word_goes_first_but_its_beginning_goes_last():
    assert taken("done", "ok", options=MOVE) == ("sure", "MOVE")
    assert taken("family", "club", options=("CLUBFOOT",)) == ("sure", "Gomphidae")
    assert taken("yes_no", "mov", options=MOVE) == ("sure", "MOVE")
    assert taken("yes_no", "mvoe", options=MOVE) == ("echo", "MOVE")


# Where answers lead

OUTCOMES = {
    "done": ("done",),
    "yes_no": ("yes", "no"),
    "choice": (),
    "choices": ("none", "any"),
    "count": ("zero", "any"),
    "family": ("family", "unsure", "key"),
}


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_kind_names_where_its_answers_lead(kind):
    assert KINDS[kind].outcomes(asked()) == OUTCOMES.get(kind, ("any",))
    step = asked(options=BOTTOM if kind.startswith("choice") else (), now=NOW)
    for text in KINDS[kind].samples(step):
        value = KINDS[kind].read(text, step).value
        assert KINDS[kind].outcome(value, step) in KINDS[kind].outcomes(step), text


@pytest.mark.parametrize(
    ("kind", "value", "outcome"),
    [
        ("done", True, "done"),
        ("yes_no", True, "yes"),
        ("yes_no", False, "no"),
        ("count", 0, "zero"),
        ("count", 3, "any"),
        ("length", 27, "any"),
        ("family", "Gomphidae", "family"),
        ("family", "unsure", "unsure"),
        ("family", "key", "key"),
        ("tag", "01428", "any"),
    ],
)
def test_a_value_leads_one_way(kind, value, outcome):
    assert KINDS[kind].outcome(value, asked()) == outcome
