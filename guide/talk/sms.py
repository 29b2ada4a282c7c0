"""How many SMS segments a text takes: the GSM 7-bit alphabet, its escape pairs, and UCS-2 beyond it.

Sources: 3GPP TS 23.038 (default alphabet 6.2.1, extension table 6.2.1.1, UCS-2 6.2.3) and 3GPP TS 23.040
(9.2.3.24.1, concatenated messages: a header of 6 octets in each part leaves 153 septets or 67 UTF-16 units).
"""

SINGLE_SEPTETS, PART_SEPTETS = 160, 153
SINGLE_UNITS, PART_UNITS = 70, 67

# The code point ESC itself is left out: it announces the extension table and is no character to send.
BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION = "\f^{}\\[~]|€"

_ALL = frozenset(BASIC + EXTENSION)
_EXTENSION = frozenset(EXTENSION)


def _escaped(text: str) -> list[str]:
    return [char for char in text if char in _EXTENSION] if not _EXTENSION.isdisjoint(text) else []


def _astral(text: str) -> list[str]:
    return [char for char in text if char > "\uffff"]


def septets(text: str) -> int | None:
    """Septets that ``text`` takes in the GSM 7-bit alphabet, or None when a character is outside it.

    A character of the extension table takes two. Source: 3GPP TS 23.038, 6.2.1 and 6.2.1.1.
    """
    if not _ALL.issuperset(text):
        return None
    return len(text) + len(_escaped(text))


def is_gsm7(text: str) -> bool:
    """Whether each character of ``text`` is in the GSM alphabet or its extension table (3GPP TS 23.038)."""
    return _ALL.issuperset(text)


def segments(text: str) -> int:
    """Number of SMS segments that ``text`` is sent as; an empty text is sent too and counts 1.

    Up to 160 septets is one, more goes in parts of 153; a text with a character outside the alphabet is sent
    as UCS-2, up to 70 UTF-16 code units in one, more in parts of 67. Source: 3GPP TS 23.038 and 23.040,
    9.2.3.24.1.
    """
    count = septets(text)
    if count is None:
        if len(text) + len(_astral(text)) <= SINGLE_UNITS:
            return 1
    elif count <= SINGLE_SEPTETS:
        return 1
    elif count == len(text):
        return -(-count // PART_SEPTETS)
    return len(split(text))


def split(text: str) -> list[str]:
    """The parts that ``text`` is sent in, in order; joined they are ``text``, and there is always one.

    Parts are filled from the front. An escape pair or a surrogate pair never straddles two parts, so a part
    may be one short. Source: 3GPP TS 23.040, 9.2.3.24.1.
    """
    count = septets(text)
    if count is None:
        pairs, single, part = _astral(text), SINGLE_UNITS, PART_UNITS
    else:
        pairs, single, part = _escaped(text), SINGLE_SEPTETS, PART_SEPTETS
    if len(text) + len(pairs) <= single:
        return [text]
    return _cut(text, frozenset(pairs), part)


def _cut(text: str, double: frozenset[str], most: int) -> list[str]:
    """Cut ``text`` into parts of at most ``most`` units, where a character in ``double`` takes two units."""
    parts, start, used = [], 0, 0
    for at, char in enumerate(text):
        size = 2 if char in double else 1
        if used + size > most:
            parts.append(text[start:at])
            start, used = at, 0
        used += size
    return [*parts, text[start:]]
