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


def check_digit(digits: str) -> str:
    """The check digit that goes behind ``digits`` (0 to 9 only)."""
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
    if first < 0 or count < 0 or first + count > 10 ** (width - 1):
        raise ValueError(f"tags {first} to {first + count - 1} don't fit {width} digits with the check digit")
    numbers = (str(number).zfill(width - 1) for number in range(first, first + count))
    return [number + check_digit(number) for number in numbers]
