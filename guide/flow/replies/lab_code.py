"""A lab's own tag codes in a text: letters and digits as printed, without a check digit."""

import re

from guide.field.tags import refuse_reason

LONGEST_CODE = 8
SAMPLE_CODE = "K7001"
_TOKEN = re.compile(r"(?<![\w.,/-])[A-Za-z0-9](?:[A-Za-z0-9/.-]*[A-Za-z0-9])?(?![\w/-])")
_CODE = re.compile(r"[A-Z0-9](?:[A-Z0-9/.-]{0,6}[A-Z0-9])")


def as_code(text: str) -> str:
    """A code in the one form it is kept in: capitals, no spaces."""
    return "".join(text.split()).upper()


def is_code(text: str) -> bool:
    """True for 2 to 8 letters, digits and - / . with a digit among them, that read as no length and no family."""
    return _CODE.fullmatch(text) is not None and any(map(str.isdecimal, text)) and refuse_reason(text) is None


def find_codes(text: str) -> list[re.Match[str]]:
    """Where codes stand in a text."""
    return [found for found in _TOKEN.finditer(text) if is_code(as_code(found[0]))]


def cut_code(text: str) -> tuple[str, str]:
    """The first code of a text, or "", and the text without it."""
    found = next(iter(find_codes(text)), None)
    if found is None:
        return "", text
    return as_code(found[0]), f"{text[: found.start()]} {text[found.end() :]}"
