"""Any text at all is read: nothing raises, nothing is slow, and what the guide shows reads back as it was."""

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guide.field.families import FAMILIES
from guide.field.tags import block
from guide.flow.replies.clean import LONGEST
from guide.flow.replies.kinds import KINDS
from guide.talk.sms import septets
from tests.flow.reading import BOTTOM, NOW, asked, how

ANY_TEXT = st.text(st.characters(codec=None), max_size=60)
"""Control characters and lone surrogates too."""

PIECES = (
    "ok no done 27 mm cm 2.7 01428 01413 #tag tag O1 darner skimer cord unsure key about ~ - or to / , ; . \n and + ' "
    '" ° F C h min s : am pm july 4 2026 1:30 none two twenty seven \x00 \u202e 👍 \ud800 ½ ٢ silt 1 3 not'
).split(" ")
ALMOST = st.lists(st.sampled_from(PIECES), max_size=9).flatmap(
    lambda words: st.sampled_from(("", " ")).map(lambda gap: gap.join(words))
)
STEPS = (
    asked(),
    asked(now=NOW),
    asked(options=BOTTOM, least=1, most=5, now=NOW),
    asked(fields=("tag",), tag_width=2, least=-3, most=3000),
)


def check_reading(kind: str, text: str) -> None:
    for step in STEPS:
        reading = KINDS[kind].read(text, step)
        assert how(reading) in ("sure", "echo", "ask", "no")
        if reading.value is not None:
            assert KINDS[kind].outcome(reading.value, step) in (*KINDS[kind].outcomes(step), "any")
            assert isinstance(KINDS[kind].show(reading.value), str)
        for name, words in reading.blanks.items():
            assert len(words) <= WIDEST[name], (name, words)
            assert septets(words) == len(words), (name, words)


WIDEST = {"said": 20, "answer": 20, "other": 18, "options": 60, "latin": 24, "tag": 8, "width": 2, "count": 3}


@pytest.mark.parametrize("kind", sorted(KINDS))
@given(text=ANY_TEXT)
def test_any_text_is_read(kind, text):
    check_reading(kind, text)


@pytest.mark.parametrize("kind", sorted(KINDS))
@given(text=ALMOST)
@settings(max_examples=300)
def test_any_heap_of_answers_is_read(kind, text):
    check_reading(kind, text)


LONG = [
    piece * (10_000 // len(piece))
    for piece in (
        *"9 a o # 👍 \u0301 \ud800 \ufdfa".split(), " ", "\n", "0 1 ", "a ", "1;", "1 ", "27, ", "1-", "tag ", "l1",
        ".,", "or ", "sil ", "darner / ", "27 darner 01428;", "1 h ", "twenty-", "\u202e\x00", "a\u0323\u0307",
    )
]  # fmt: skip


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_of_a_very_long_text_only_the_beginning_is_looked_at(kind):
    """So no run of letters, digits or separators can be slow; how fast it is is measured in tests/bench."""
    for text in LONG:
        check_reading(kind, text)
        for step in STEPS:
            assert KINDS[kind].read(text, step) == KINDS[kind].read(text[:LONGEST], step)


def tidy(low: float, high: float, decimals: int) -> st.SearchStrategy[float]:
    """Numbers as a kind stores them: whole ones as int."""
    numbers = st.integers(round(low * 10**decimals), round(high * 10**decimals)).map(lambda n: n / 10**decimals)
    return numbers.map(lambda number: int(number) if number == int(number) else number)


TAGS = st.sampled_from(block(0, 10_000, 5))
SAMPLES = st.fixed_dictionaries(
    {
        "length_mm": tidy(8, 60, 1),
        "family": st.sampled_from([*(family.latin for family in FAMILIES), "unsure"]),
        "tag": TAGS,
    }
)
VALUES = {
    "done": st.just(True),
    "yes_no": st.booleans(),
    "choice": st.sampled_from([option.code for option in BOTTOM]),
    "choices": st.sets(st.sampled_from(range(4))).map(lambda places: [BOTTOM[place].code for place in sorted(places)]),
    "count": st.integers(0, 9999),
    "length": tidy(8, 60, 1),
    "distance": tidy(0, 9999, 3),
    "family": st.sampled_from([*(family.latin for family in FAMILIES), "unsure", "key"]),
    "tag": TAGS,
    "sample": SAMPLES | st.lists(SAMPLES, min_size=2, max_size=5),
    "text": st.text(st.characters(codec="ascii", categories=("L", "N")), min_size=1, max_size=480),
    "temperature": tidy(-10, 45, 1),
    "volume": tidy(0.01, 9999, 2),
    "percent": tidy(0.1, 100, 2),
    "duration": tidy(0, 100_000, 1),
    "date": st.dates(min_value=NOW.date().replace(year=1900), max_value=NOW.date().replace(year=2199)).map(str),
    "time": st.times().map(lambda clock: f"{clock:%H:%M}"),
}


@pytest.mark.parametrize("kind", sorted(KINDS))
@given(data=st.data())
def test_what_is_shown_reads_back_as_it_was(kind, data):
    value = data.draw(VALUES[kind])
    step = asked(options=BOTTOM if kind.startswith("choice") else ())
    shown = KINDS[kind].show(value)
    for text in (shown, shown.lower(), f" {shown}. "):
        reading = KINDS[kind].read(text, step)
        if kind != "text":
            assert (reading.value, reading.sure, type(reading.value)) == (value, True, type(value))
    assert kind != "text" or KINDS[kind].read(shown, step).value == value


BOUNDS = {
    "count": [(0, 20), (3, 8), (1, None)],
    "length": [(13, 60), (30, 80)],
    "sample": [(13, 60), (30, 80)],
    "distance": [(0, 1), (10, 100), (0, 0.3)],
    "temperature": [(-5, -2), (5, 35), (None, 10)],
    "duration": [(1, 60), (3600, 7200)],
    "volume": [(5, 40), (100, 200)],
    "percent": [(5, 9), (7, 9)],
}


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_example_is_understood_surely(kind):
    steps = [asked(options=BOTTOM, least=least, most=most, now=NOW) for least, most in BOUNDS.get(kind, [(None, None)])]
    steps += [asked(options=BOTTOM[:1], fields=("length_mm", "tag")), asked(options=BOTTOM, tag_width=6)]
    for step in steps:
        examples = KINDS[kind].samples(step)
        assert examples
        assert [how(KINDS[kind].read(text, step)) for text in examples] == ["sure"] * len(examples)


def test_reading_brings_no_heavy_library():
    """What the terminal imports at its start is felt on an old phone."""
    names = "difflib json tomllib sqlite3 asyncio logging urllib transitions prompt_toolkit hypothesis"
    code = f"import sys, guide.flow.replies.kinds; print([n for n in {names.split()} if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
