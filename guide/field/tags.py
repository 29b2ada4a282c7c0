"""Tags: numbers whose last digit is a Damm check digit, so that a slip of the thumb is caught on the bank.

Source: H. M. Damm, Total anti-symmetrische Quasigruppen, 2004. Every wrong digit and every swap of neighbours is
caught, with one digit and no letters.
"""

_TABLE = (
    "0317598642",
    "7092154863",
    "4206871359",
    "1750983426",
    "6123045978",
    "3674209581",
    "5869720134",
    "8945362017",
    "9438617205",
    "2581436790",
)
"""A weakly totally anti-symmetric quasigroup of order 10 (Damm 2004)."""

LENGTHS_END = 1000
"""Millimetres; a bare number from here on is no length that anybody means, so it may be a tag."""


def check_digit(digits: str) -> str:
    """The check digit that goes behind ``digits`` (0 to 9 only). Source: Damm (2004)."""
    interim = 0
    for digit in digits:
        interim = int(_TABLE[interim][int(digit)])
    return str(interim)


def is_valid(code: str) -> bool:
    """True if the last digit of ``code`` is the check digit of those before it."""
    return len(code) > 1 and code.isascii() and code.isdigit() and check_digit(code) == "0"


def block(first: int, count: int, width: int) -> list[str]:
    """``count`` tags from number ``first`` on, each ``width`` digits with its check digit.

    Raises ValueError if the numbers don't fit the width.
    """
    if first < 0 or count < 0 or width < 2:
        raise ValueError(f"{count} tags from {first}, {width} digits wide: nothing negative, and two digits at least")
    last = first + count - 1
    if last >= 10 ** (width - 1):
        fits = len(str(last)) + 1
        raise ValueError(f"tags {first} to {last} don't fit {width} digits with the check digit; {fits} would do")
    numbers = (str(number).zfill(width - 1) for number in range(first, first + count))
    return [number + check_digit(number) for number in numbers]


def refuse_reason(code: str) -> str | None:
    """Why a code of a lab's own list can't be a tag, as a sentence; None if it can.

    A tag that reads as a length or as a family would be taken for one on the bank.
    """
    from guide.flow.replies.base import Asked
    from guide.flow.replies.clean import quote
    from guide.flow.replies.names import FamilyKind
    from guide.flow.replies.numbers import Length

    said = quote(code)
    if not said:
        return "An empty code can't be a tag."
    length = Length().read(code, Asked()).value
    if length is not None and length < LENGTHS_END:
        return f"'{said}' can't be a tag: it reads as a length, {length:g} mm."
    family = FamilyKind().read(code, Asked()).value
    if family is not None:
        return f"'{said}' can't be a tag: it reads as a family, {family}."
    return None
