"""How a number is spelled to be typed by thumb: 31 letters and digits, groups of five, the last group a check.

A text is a head of ten characters (the visit's code of eight, then two letters: which part it is, and which is the
last), then groups of five. Its characters are the digits of one number in base 31, and the last group is chosen so
that this number leaves the remainder ``text length`` when divided by ``PRIME``. What follows from that, proved for all
places and all characters in ``tests/papers/test_digest_letters.py``:

- Any one or two changed characters, any two characters that swapped places, and any damage within four neighbouring
  characters change the remainder: noticed with certainty. The weights of the places are powers of 31 modulo a prime,
  so a change of e at one place is e times a power and never 0; ``PRIME`` is the largest prime below 31**5 for
  which no two changes cancel.
- One to four characters dropped or added leave a broken group: noticed with certainty.
- Any other damage passes with a chance of 1 in 28,629,079.

Case and spaces carry nothing. The characters O, 0, I, 1 and L are never used, so that none can be taken for another.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""The characters of a visit's code, which serve the whole text."""

PART_LETTERS = ALPHABET[8:]
"""What parts are called: A is the first."""

BASE = len(ALPHABET)
GROUP = 5
CODE = 8
HEAD = CODE + 2
PRIME = 28_629_079
MOST_CHARACTERS = 130
"""With the spaces between the groups, 155 characters: one SMS. Another group would make it two."""

ROOM: int = BASE ** (MOST_CHARACTERS - HEAD - GROUP)
"""Numbers below this fit one text."""

_DIGITS = {letter: digit for digit, letter in enumerate(ALPHABET)} | {
    letter.lower(): digit for digit, letter in enumerate(ALPHABET)
}
_STRANGE = -1
"""Stands for a character that no text has."""


class Spelled(NamedTuple):
    """One undamaged text: the visit's code, which part of how many (from 1), and the number it carries."""

    code8: str
    part: int
    parts: int
    number: int


class DamageError(ValueError):
    """A text that isn't as it was printed; its text is the end of a sentence, such as ``has a character too few``."""


def is_code(code8: str) -> bool:
    """Whether a visit's code can be spelled."""
    return len(code8) == CODE and set(code8) <= set(ALPHABET)


def spell(said: Spelled) -> str:
    """The text as it is printed, in capitals and groups."""
    head = [*_digits_of(said.code8), *_digits_of(PART_LETTERS[said.part - 1] + PART_LETTERS[said.parts - 1])]
    body: list[int] = []
    number = said.number
    while number or len(body) % GROUP:
        number, digit = divmod(number, BASE)
        body.append(digit)
    digits = [*head, *reversed(body)]
    length = len(digits) + GROUP
    check = (length - _value(digits) * BASE**GROUP) % PRIME
    return _printed([*digits, *(check // BASE**place % BASE for place in reversed(range(GROUP)))])


def unspell(text: str) -> Spelled:
    """Reads a text back, in whatever case and spacing; raises DamageError if it isn't as it was printed."""
    letters = "".join(text.split())
    digits = [_DIGITS.get(letter, _STRANGE) for letter in letters]
    if not _fits(digits):
        raise DamageError(_what_is_wrong(letters, digits) + _perhaps(digits))
    first, last = (PART_LETTERS.find(ALPHABET[digit]) for digit in digits[CODE:HEAD])
    if not 0 <= first <= last:
        raise DamageError("says it is a part that can't be")
    return Spelled(
        "".join(ALPHABET[digit] for digit in digits[:CODE]), first + 1, last + 1, _value(digits[HEAD:-GROUP])
    )


def beginning(code8: str, part: int, parts: int) -> str:
    """What the printed text of a part begins with."""
    return f"{code8} {PART_LETTERS[part - 1]}{PART_LETTERS[parts - 1]}"


def _fits(digits: Sequence[int]) -> bool:
    whole = len(digits) % GROUP == 0 and len(digits) >= HEAD + GROUP and _STRANGE not in digits
    return whole and _value(digits) % PRIME == len(digits) and _value(digits[-GROUP:]) < PRIME


def _value(digits: Sequence[int]) -> int:
    value = 0
    for digit in digits:
        value = value * BASE + digit
    return value


def _digits_of(letters: str) -> list[int]:
    return [_DIGITS[letter] for letter in letters]


def _printed(digits: Sequence[int]) -> str:
    letters = "".join(ALPHABET[digit] for digit in digits)
    starts = range(HEAD, len(letters), GROUP)
    return " ".join([letters[:CODE], letters[CODE:HEAD], *(letters[start : start + GROUP] for start in starts)])


def _what_is_wrong(letters: str, digits: Sequence[int]) -> str:
    if _STRANGE in digits:
        return f"has the character '{letters[digits.index(_STRANGE)]}', which no digest has"
    if len(digits) < HEAD + GROUP:
        return "is too short to be a text of a digest"
    over = len(digits) % GROUP
    if over:
        fewer, more = _characters(GROUP - over), _characters(over)
        return f"is {fewer} too short, or {more} too long"
    return "has a wrong character or more"


def _characters(count: int) -> str:
    return "1 character" if count == 1 else f"{count} characters"


def _perhaps(digits: Sequence[int]) -> str:
    """Where to look, if there is one single slip that would explain the damage."""
    if not HEAD + GROUP - 1 <= len(digits) <= MOST_CHARACTERS + 1 or digits.count(_STRANGE) > 1:
        return ""
    mended = {_printed(one) for one in _mended(digits) if _fits(one)}
    if len(mended) != 1:
        return ""
    groups = mended.pop().split(" ")
    given = _printed([digit if digit != _STRANGE else 0 for digit in digits]).split(" ")
    strange = digits.index(_STRANGE) if _STRANGE in digits else len(digits)
    place = next((at for at, group in enumerate(groups) if given[at : at + 1] != [group]), None)
    if place is None:
        place = 0 if strange < CODE else 1 if strange < HEAD else 2 + (strange - HEAD) // GROUP
    return f"; perhaps its group {place + 1} of {len(groups)} (the visit's code is the first) should be {groups[place]}"


def _mended(digits: Sequence[int]) -> Iterator[list[int]]:
    """Every text from which one slip would have made this one."""
    before = list(digits)
    over = len(before) % GROUP
    for at in range(len(before)):
        if over == 0:
            yield from ([*before[:at], digit, *before[at + 1 :]] for digit in range(BASE) if digit != before[at])
            yield [*before[:at], *reversed(before[at : at + 2]), *before[at + 2 :]]
        if over == 1:
            yield [*before[:at], *before[at + 1 :]]
    if over == GROUP - 1:
        for at in range(len(before) + 1):
            yield from ([*before[:at], digit, *before[at:]] for digit in range(BASE))
