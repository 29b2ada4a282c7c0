"""Finds numbers with their units in a text: ``27``, ``about 27 mm``, ``2,7cm``, ``twenty seven``, ``27 or 28``."""

import re
from collections.abc import Mapping
from typing import NamedTuple

from guide.flow.replies.clean import bare
from guide.flow.replies.match import near

LONGEST = 60
"""A longer text is no number."""

_SMALL = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen"
).split()
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
_WORDS = {
    **{word: value for value, word in enumerate(_SMALL)},
    **{word: 20 + 10 * n for n, word in enumerate(_TENS)},
    **{tens + _SMALL[n]: 20 + 10 * place + n for place, tens in enumerate(_TENS) for n in range(1, 10)},
    "fourty": 40,
}
_TOKEN = re.compile(r"\d+(?:[.,]\d+)?|[.,]\d+|[a-z]+|°|'|\"|-|~|=|/|:|&|\+")
_FILLERS = frozenset(
    "about around approx approximately appr roughly almost nearly ca circa ish so is its it it's = ~ : + long length "
    "deep depth water temp temperature now exactly just only of the maybe probably perhaps between think guess we got "
    "measured measures took ok okay yes done please thanks thx sorry".split()
)
_MINUS = frozenset(("-", "minus", "negative"))
_BETWEEN = frozenset(("-", "or", "to", "/", "and", "&"))
_FRACTION = re.compile(
    r"(?:(?<![\d.,])(\d{1,4}) +)?(?<![\d.,])([1357]) ?([\u2044/]) ?(2|4|8|16)(?![\d.,/])(?= ?([a-z\"']*))"
)
_SPOKEN = re.compile(r"\bi (?=think\b|guess\b|measured?\b|got\b)")
_SHORTEST_MENDED = 5
_HALF_MORE = "and a half"


class Amount(NamedTuple):
    """A number and the unit behind it ("" where none was written)."""

    number: float
    unit: str


def tokens(text: str) -> list[str]:
    """The numbers, words and signs of a text, in small letters."""
    return _TOKEN.findall(_SPOKEN.sub("", text.casefold().replace("'s", "s").replace("''", '"')))


def amounts(text: str, units: Mapping[str, str], ignored: frozenset[str] = frozenset()) -> list[list[Amount]] | None:
    """The amounts a text offers: one list for each alternative (``27 or 28`` is two), each of one amount or, as in
    ``1 h 20 min``, several. None if the text holds anything else than those and ``ignored`` words, or no number."""
    if len(text) > LONGEST:
        return None
    text = _FRACTION.sub(_decimal, bare(text.casefold()))
    if _TOKEN.sub("", text).strip(" .,;!?\n()"):
        return None
    found = _gathered(_with_halves(_joined(tokens(text)), units), units, ignored)
    return _with_shared_unit(found) if found else None


def _gathered(words: list[str], units: Mapping[str, str], ignored: frozenset[str]) -> list[list[Amount]]:
    found: list[list[Amount]] = [[]]
    sign, joins = 1, False
    for word in words:
        if word in ignored:
            continue
        if word[0].isdigit() or word[0] in ".,":
            if "," in word and len(word) - word.index(",") == 4:
                return []  # 1,000: a thousand to some, one to others
            found[-1].append(Amount(sign * float(word.replace(",", ".")), ""))
            sign = 1
        elif found[-1] and word == _HALF_MORE:
            found[-1][-1] = Amount(found[-1][-1].number + 0.5, found[-1][-1].unit)
        elif found[-1] and word in units and not found[-1][-1].unit:
            found[-1][-1] = Amount(found[-1][-1].number, units[word])
            joins = joins and _merge(found)
        elif found[-1] and word in _BETWEEN:
            joins = word in ("and", "&") and bool(found[-1][-1].unit)
            found.append([])
        elif word in _MINUS:
            sign = -1
        elif word not in _FILLERS and (word not in units or len(found) > 1):  # 10 m/s is no length
            return []
    return [part for part in found if part]


def _merge(found: list[list[Amount]]) -> bool:
    """``1 min and 30 s`` is one amount, ``27 mm and 28 mm`` are two."""
    if len(found[-1]) == 1 and found[-1][0].unit != found[-2][-1].unit:
        found[-2:] = [found[-2] + found[-1]]
    return False


def digits_for_words(text: str) -> str:
    """The text with its number words as digits."""
    has_words = not _WORDS.keys().isdisjoint(re.split(r"\W+", text.casefold()))
    parts = re.split(r"(\s+)", text) if has_words else []
    return " ".join(_joined([part.casefold() for part in parts if part.strip()])) if parts else text


def mended(text: str, units: Mapping[str, str]) -> str | None:
    """The text with long words nearly a unit put right (``27 milimeters``); None if there are none."""
    if len(text) > LONGEST:
        return None
    words = [_nearest(word, units) for word in tokens(text)]
    return " ".join(words) if words != tokens(text) else None


def _nearest(word: str, units: Mapping[str, str]) -> str:
    if len(word) < _SHORTEST_MENDED or not word.isalpha() or word in units or word in _WORDS or word in _FILLERS:
        return word
    found = near(word, units)
    return next(name for name, unit in units.items() if unit == found[0]) if len(found) == 1 else word


def _decimal(fraction: re.Match[str]) -> str:
    """``27 1/2`` and ``1/2 m`` as decimals; ``1/2`` alone may be 1 or 2."""
    whole, above, slash, below, unit = fraction.groups()
    if not whole and slash == "/" and (not unit or unit in _BETWEEN):
        return fraction[0]
    return f"{int(whole or 0) + int(above) / int(below):.12g}"


def _with_shared_unit(found: list[list[Amount]]) -> list[list[Amount]]:
    """``2.7-2.8 cm``: the unit behind the last number is the first one's too."""
    unit = found[-1][-1].unit
    return [[Amount(part[0].number, part[0].unit or unit)] if len(part) == 1 else part for part in found]


def _joined(given: list[str]) -> list[str]:
    """Number words as digits: ``twenty seven`` and ``twenty-seven`` are 27, ``27 point 5`` is 27.5."""
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
        tens = value if value is not None and value >= 20 and value % 10 == 0 else 0
        word = token if value is None else str(value)
        if word.isdecimal() and len(joined) > 1 and joined[-1] == "point" and joined[-2].isdecimal():
            joined[-2:] = [f"{joined[-2]}.{word}"]
        else:
            joined.append(word)
    return joined


def _with_halves(words: list[str], units: Mapping[str, str]) -> list[str]:
    """``a metre`` as 1 metre, ``half a metre`` as 0.5 metre, ``and a half`` as one token."""
    text = (
        f" {' '.join(words)} ".replace(" and a half ", " \0 ")
        .replace(" and half ", " \0 ")
        .replace(" a half ", " half ")
    )
    found: list[str] = []
    given = text.replace(" half an ", " half ").replace(" half a ", " half ").split()
    for place, word in enumerate(given):
        if word in ("a", "an", "half") and place + 1 < len(given) and given[place + 1] in units:
            word = "0.5" if word == "half" else "1"
        found.append(_HALF_MORE if word == "\0" else word)
    return found


def tidy(number: float, decimals: int = 3) -> float:
    """A whole number as an int, others rounded."""
    rounded = round(number, decimals)
    return int(rounded) if rounded == int(rounded) else rounded
