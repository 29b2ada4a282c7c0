"""The names a flow file may use: conditions, effects and blanks, each a plain Python function passed in."""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

ALPHABETS = {"digits": "0", "text": "W"}
"""What a blank may hold: ``digits`` (with signs and points) or ``text`` (basic GSM-7), with a letter of each."""


class Blank(NamedTuple):
    """A ``{name}`` in a text: how it is filled, and the most characters of which alphabet it can take."""

    fill: Callable[[Any], str]
    width: int
    alphabet: str = "text"

    @property
    def widest(self) -> str:
        """The longest value, for proving that a text fits."""
        return ALPHABETS[self.alphabet] * self.width


class Registry(NamedTuple):
    """All names that flow files may use."""

    conditions: Mapping[str, Callable[[Any], bool]]
    effects: Mapping[str, Callable[[Any], None]]
    blanks: Mapping[str, Blank]
