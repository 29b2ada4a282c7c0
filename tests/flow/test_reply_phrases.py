"""Each sentence for an unclear reply fits one SMS with room to spare, is used, and gets what its blanks need."""

import tomllib

import pytest

from guide.flow.load import blanks_in, shipped_flows
from guide.flow.replies.base import Reading
from guide.flow.replies.kinds import KINDS
from guide.talk.sms import septets
from tests.flow.reading import BOTTOM, NOW, asked
from tests.flow.test_reply_any_text import WIDEST

MOST_SEPTETS = 150
MOST_HOW = 40
KINDS_WITH_OPTIONS = ("choice", "choices")
"""Their short how-to-answer is the list of a step's answers."""

TABLES = tomllib.loads((shipped_flows() / "replies.toml").read_text("utf-8"))
PHRASES = {
    f"{kind}.{why}": texts["en"] for kind, whys in TABLES.items() if kind != "how" for why, texts in whys.items()
}

SAID = {
    "done": ("no", "fish", "doen"),
    "yes_no": ("fish", "yse"),
    "choice": ("fish", "slit", "s-a-n-d-y", "ballx", "sand?"),
    "choices": ("fish", "slit"),
    "count": ("fish", "2-3", "99", "both"),
    "length": ("fish", "2.7", "270", "27-28", "27 m", "27 milimeters"),
    "distance": ("fish", "40", "40 m", "1 or 2 m", "50 centimetes"),
    "temperature": ("fish", "64", "64 C", "18 or 19", "64 farenheit"),
    "duration": ("fish", "9000", "1 or 2 min", "1.30", "20 secods"),
    "volume": ("fish", "500", "1 or 2", "20 littres"),
    "percent": ("fish", "120", "5 or 6", "6 pecent"),
    "date": ("fish", "4/7/2026", "4 jully"),
    "time": ("fish", "2"),
    "family": ("fish", "damsel", "drner", "unsuer", "cord"),
    "tag": ("fish", "1428", "142", "01413", "01428 01431", "O1428"),
    "sample": (
        "fish", "27 darner", "27 01428", "darner", "27 trout 01428", "27 darner 01413", "2.7 darner 01428",
        "27 darner 01428 01431", "27 darner 01428; fish",
    ),
    "text": ("", "ok"),
}  # fmt: skip


def readings() -> list[Reading]:
    """A reading for each text above."""
    found = [KINDS["choice"].read("bal", asked(options=("BALD", "BALL")))]
    found += [KINDS["sample"].read("27 darner; 31 skimmer", asked(fields=("length_mm", "family")))]
    found += [KINDS["count"].read("101", asked(never_over=60))]
    found += [KINDS["tag"].read("slip", asked(tag_check=False))]
    for kind, texts in SAID.items():
        bounds = {"count": (0, 20), "distance": (0, 1), "duration": (0, 600), "volume": (1, 200)}.get(
            kind, (None, None)
        )
        options = BOTTOM if kind in KINDS_WITH_OPTIONS else ()
        step = asked(options=options, least=bounds[0], most=bounds[1], now=NOW)
        found += [KINDS[kind].read(text, step) for text in texts]
    return [reading for reading in found if reading.phrase]


@pytest.mark.parametrize(("name", "text"), PHRASES.items())
def test_a_phrase_fits_with_the_longest_blanks(name, text):
    worst = text.format_map({blank: "W" * WIDEST[blank] for blank in blanks_in(text)})
    assert septets(worst) == len(worst) <= MOST_SEPTETS


@pytest.mark.parametrize("kind", sorted(set(KINDS) - set(KINDS_WITH_OPTIONS)))
def test_each_kind_says_in_short_how_to_answer(kind):
    text = TABLES["how"][kind]["en"]
    assert septets(text) == len(text) <= MOST_HOW


def test_every_phrase_is_used_and_every_used_phrase_is_written():
    assert {reading.phrase for reading in readings()} == set(PHRASES)


def test_a_reading_brings_what_its_phrase_shows():
    for reading in readings():
        assert set(blanks_in(PHRASES[reading.phrase])) <= set(reading.blanks), reading.phrase


def test_no_sentence_asks_for_what_the_carriers_keep():
    for text in PHRASES.values():
        assert not {"STOP", "START", "HELP", "END", "QUIT", "CANCEL"} & set(text.replace(".", " ").split())
