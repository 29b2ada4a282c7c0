"""Finds numbers with their units in a text: ``27``, ``about 27 mm``, ``2,7cm``, ``twenty seven``, ``27 or 28``."""

import re
from collections.abc import Mapping
from typing import NamedTuple

LONGEST = 60
"""A longer text is no number."""

_SMALL = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen"
).split()
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
_WORDS = {word: value for value, word in enumerate(_SMALL)} | {word: 20 + 10 * n for n, word in enumerate(_TENS)}
_TOKEN = re.compile(r"\d+(?:[.,]\d+)?|[.,]\d+|[a-z]+|°|'|\"|-|~|=|/|:|&|\+")
_FILLERS = frozenset(
    "about around approx approximately roughly ca circa ish is its it it's = ~ : + long length deep depth water temp "
    "temperature now exactly just only of the".split()
)
_BETWEEN = frozenset(("-", "or", "to", "/", "and", "&"))


class Amount(NamedTuple):
    """A number and the unit behind it ("" where none was written)."""

    number: float
    unit: str


def tokens(text: str) -> list[str]:
    """The numbers, words and signs of a text, in small letters."""
    return _TOKEN.findall(text.casefold().replace("it's", "its"))


def amounts(text: str, units: Mapping[str, str], ignored: frozenset[str] = frozenset()) -> list[list[Amount]] | None:
    """The amounts a text offers: one list for each alternative (``27 or 28`` is two), each of one amount or, as in
    ``1 h 20 min``, several. None if the text holds anything else than those and ``ignored`` words, or no number."""
    if len(text) > LONGEST or re.sub(_TOKEN, "", text.casefold()).strip(" .,!?\n()"):
        return None
    found: list[list[Amount]] = [[]]
    sign = 1
    for token in _joined(tokens(text)):
        if token in ignored:
            continue
        if token[0].isdigit() or token[0] in ".,":
            if "," in token and len(token) - token.index(",") == 4:
                return None  # 1,000: a thousand to some, one to others
            found[-1].append(Amount(sign * float(token.replace(",", ".")), ""))
            sign = 1
        elif token in units and found[-1] and not found[-1][-1].unit:
            found[-1][-1] = Amount(found[-1][-1].number, units[token])
        elif token in _BETWEEN and found[-1]:
            found.append([])
        elif token in ("-", "minus"):
            sign = -1
        elif token not in _FILLERS and (token not in units or len(found) > 1):  # 10 m/s is no length
            return None
    found = [part for part in found if part]
    return _with_shared_unit(found) if found else None


def _with_shared_unit(found: list[list[Amount]]) -> list[list[Amount]]:
    """``2.7-2.8 cm``: the unit behind the last number is the first one's too."""
    unit = found[-1][-1].unit
    return [[Amount(part[0].number, part[0].unit or unit)] if len(part) == 1 else part for part in found]


def _joined(given: list[str]) -> list[str]:
    """Number words as digits: ``twenty seven`` and ``twenty-seven`` are 27."""
    joined: list[str] = []
    tens = 0
    for place, token in enumerate(given):
        value = _WORDS.get(token)
        if tens and token == "-" and place + 1 < len(given) and given[place + 1] in _SMALL[1:10]:
            continue
        if tens and value is not None and 0 < value < 10:
            joined[-1] = str(tens + value)
            tens = 0
            continue
        tens = value if value is not None and value >= 20 else 0
        joined.append(token if value is None else str(value))
    return joined


def tidy(number: float, decimals: int = 3) -> float:
    """A whole number as an int, others rounded."""
    rounded = round(number, decimals)
    return int(rounded) if rounded == int(rounded) else rounded
