"""Reads a text as a kind and says in a word how it was taken, so that a table of texts reads like sentences."""

from datetime import datetime
from typing import Any

from guide.flow.replies.base import Asked, Option, Reading
from guide.flow.replies.kinds import KINDS

NOW = datetime(2026, 7, 4, 15, 20)
BOTTOM = (
    Option("SILT", ("mud", "soft mud")),
    Option("SAND"),
    Option("GRAVEL", ("stones", "small stones")),
    Option("WEED", ("weed bed", "sand and weed")),
)


def asked(**given: Any) -> Asked:
    """What a step asks for; ``options`` may be codes alone."""
    options = tuple(o if isinstance(o, Option) else Option(o) for o in given.pop("options", ()))
    return Asked(options=options, **given)


def read(kind: str, text: str, **given: Any) -> Reading:
    """One text, read as a kind."""
    return KINDS[kind].read(text, asked(**given))


def how(reading: Reading) -> str:
    """In a word: sure, echo (taken and said back), ask (held and asked back) or no (not understood)."""
    if reading.value is None:
        assert reading.phrase
        assert not reading.sure
        assert not reading.ask
        return "no"
    assert not (reading.sure and (reading.ask or reading.phrase))
    return "sure" if reading.sure else "ask" if reading.ask else "echo"


def taken(kind: str, text: str, **given: Any) -> tuple[str, Any]:
    """How a text was taken, and as which value (for one not understood, the phrase that says so)."""
    reading = read(kind, text, **given)
    return how(reading), reading.phrase if reading.value is None else reading.value
