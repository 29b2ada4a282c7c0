"""Finds which of a step's named answers a text means: exactly, by number, by its beginning, or nearly."""

from collections.abc import Iterable, Mapping
from functools import lru_cache

from guide.flow.replies.base import Option
from guide.flow.replies.clean import plain

SHORTEST_BEGINNING = 3
_ORDINALS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_PLACES = {"first": "1", "1st": "1", "second": "2", "2nd": "2", "third": "3", "3rd": "3", "fourth": "4", "4th": "4"}
_AROUND = frozenset(
    "a an the it its is was are we i im my at in on this that please thanks yes ok okay yep maybe think site number "
    "option answer choice and or one of".split()
)


def exact(text: str, options: tuple[Option, ...]) -> str | None:
    """The code of the option whose code or word the text is."""
    return spellings(options).get(plain(text)) if options else None


def by_number(text: str, options: tuple[Option, ...]) -> str | None:
    """The code of the option at the place the text names: ``2``, ``2.``, ``#2``, ``two``, ``number 2``."""
    words = plain(text).removeprefix("number ").removeprefix("option ").removeprefix("no ")
    if words in _ORDINALS:
        place = _ORDINALS.index(words) + 1
    elif words.isascii() and words.isdigit() and len(words) < 4:
        place = int(words)
    else:
        return None
    return options[place - 1].code if 0 < place <= len(options) else None


def mentioned(text: str, options: tuple[Option, ...], by_place: bool = False) -> list[str]:
    """The codes that a text names among small words (``at Quill Brook``, ``1 or 2``); none if it holds others."""
    names, words = spellings(options), plain(text).split()
    longest = max((name.count(" ") + 1 for name in names), default=1)
    found: list[str] = []
    while words:
        runs = (" ".join(words[:n]) for n in range(min(longest, len(words)), 0, -1))
        run = next((run for run in runs if run in names and run not in _AROUND), words[0])
        code = names.get(run) if run not in _AROUND else None
        if code is None and by_place and _PLACES.get(run, run).isdecimal():
            code = by_number(_PLACES.get(run, run), options)
        if code is None and run not in _AROUND:
            return []
        found += [code] if code is not None else []
        words = words[run.count(" ") + 1 :]
    return list(dict.fromkeys(found))


@lru_cache(maxsize=256)
def spellings(options: tuple[Option, ...]) -> Mapping[str, str]:
    """Every way to text each option, to its code; a code goes before another option's word for the same."""
    words = {plain(word): option.code for option in reversed(options) for word in option.words}
    codes = {plain(option.code): option.code for option in options}
    return {name: code for name, code in {**words, **codes}.items() if name}


def beginning(words: str, names: Mapping[str, str], shortest: int = SHORTEST_BEGINNING) -> list[str]:
    """What the names that begin with ``words`` stand for, each once."""
    if len(words) < shortest:
        return []
    return list(dict.fromkeys(code for name, code in names.items() if name.startswith(words)))


def near(words: str, names: Mapping[str, str]) -> list[str]:
    """What the names nearest to ``words`` stand for: one slip of the thumb, two in a long word."""
    best = 3
    found: list[str] = []
    for name, code in names.items():
        allowed = 2 if min(len(name), len(words)) >= 6 else 1 if min(len(name), len(words)) >= 4 else 0
        if abs(len(name) - len(words)) > allowed or len(set(name) ^ set(words)) > 2 * allowed:
            continue
        slips = distance(words, name, allowed)
        if slips <= allowed and slips <= best:
            found = [code] if slips < best else [*found, code]
            best = slips
    return list(dict.fromkeys(found))


def distance(one: str, other: str, most: int = 99) -> int:
    """Slips between two words: a letter wrong, missing, too many, or two neighbours swapped.

    Above ``most`` it stops counting.
    """
    before: list[int] = []
    last = list(range(len(other) + 1))
    for row, letter in enumerate(one, 1):
        now = [row]
        for column, wanted in enumerate(other, 1):
            cost = min(last[column] + 1, now[column - 1] + 1, last[column - 1] + (letter != wanted))
            swapped = row > 1 and column > 1 and letter == other[column - 2] and one[row - 2] == wanted
            now.append(min(cost, before[column - 2] + 1) if swapped else cost)
        if min(now) > most:
            return most + 1
        before, last = last, now
    return last[-1]


def listed(codes: Iterable[str], most: int = 60) -> str:
    """Codes with commas, as many as fit."""
    words = ""
    for code in codes:
        more = f"{words}, {code}" if words else code
        if len(more) > most - 4:
            return f"{words}, ..."
        words = more
    return words
