"""SMS length: a table worked by hand, and properties against the codec of gsm0338."""

from itertools import pairwise

import gsm0338  # noqa: F401  (registers the codec)
import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.talk import sms

CODEC = "gsm03.38"
THUMB = "\U0001f44d"

TABLE = [
    # id, text, septets, segments
    ("empty", "", 0, 1),
    ("plain", "27 darner 01428", 15, 1),
    ("newline is in the alphabet", "a\nb", 3, 1),
    ("at sign is in the alphabet", "@", 1, 1),
    ("euro takes two", "€", 2, 1),
    ("all ten escaped take twenty", "\f^{}\\[~]|€", 20, 1),
    ("capital C cedilla is in", "Ç", 1, 1),
    ("small c cedilla is out", "ç", None, 1),
    ("back quote is out", "`", None, 1),
    ("tab is out", "\t", None, 1),
    ("curly quote is out", "don’t", None, 1),
    ("escape itself is out", "\x1b", None, 1),
    ("160 fit", "a" * 160, 160, 1),
    ("161 do not", "a" * 161, 161, 2),
    ("79 pairs and 2 are 160", "€" * 79 + "ab", 160, 1),
    ("80 pairs are 160", "€" * 80, 160, 1),
    ("80 pairs and 1 are 161", "€" * 80 + "a", 161, 2),
    ("2 x 153 fit two", "a" * 306, 306, 2),
    ("307 need three", "a" * 307, 307, 3),
    # 76 pairs a part (152 septets, one left empty): 154 = 76 + 76 + 2
    ("306 septets of pairs need three", "€" * 153, 306, 3),
    # 152 + pair does not fit: part one is 152, part two 2 + 151 = 153
    ("pair at the seam moves on", "a" * 152 + "€" + "a" * 151, 305, 2),
    ("pair at the seam costs a part", "a" * 152 + "€" + "a" * 152, 306, 3),
    ("pair just before the seam stays", "a" * 151 + "€" + "a" * 153, 306, 2),
    ("70 units fit", "ç" * 70, None, 1),
    ("71 units do not", "ç" * 71, None, 2),
    ("2 x 67 fit two", "ç" * 134, None, 2),
    ("135 need three", "ç" * 135, None, 3),
    ("35 thumbs are 70 units", THUMB * 35, None, 1),
    ("35 thumbs and 1 are 71", THUMB * 35 + "a", None, 2),
    # 33 thumbs a part (66 units, one left empty): 67 = 33 + 33 + 1
    ("67 thumbs need three", THUMB * 67, None, 3),
    ("escaped characters count 1 in UCS-2", "ç" + "€" * 69, None, 1),
]


@pytest.mark.parametrize(("text", "count", "parts"), [row[1:] for row in TABLE], ids=[row[0] for row in TABLE])
def test_table(text: str, count: int | None, parts: int) -> None:
    assert (sms.septets(text), sms.segments(text), len(sms.split(text))) == (count, parts, parts)
    assert sms.is_gsm7(text) == (count is not None)


def test_alphabet_is_the_whole_code_table() -> None:
    # 128 codes of the table, one of them ESC; 10 in the extension table
    assert (len(set(sms.BASIC)), len(sms.BASIC), len(set(sms.EXTENSION))) == (127, 127, 10)


def test_seam_is_where_it_should_be() -> None:
    assert sms.split("a" * 152 + "€" + "b" * 10) == ["a" * 152, "€" + "b" * 10]
    assert sms.split("ç" * 66 + THUMB + "b" * 10) == ["ç" * 66, THUMB + "b" * 10]


def codec_length(text: str) -> int | None:
    """Bytes of the other codec, which writes one septet a byte; it lets ESC pass, which is no character."""
    if "\x1b" in text:
        return None
    try:
        return len(text.encode(CODEC))
    except UnicodeError:
        return None


def test_every_character_of_the_basic_plane_as_the_codec() -> None:
    chars = [chr(c) for c in range(0x10000) if not 0xD800 <= c < 0xE000]
    assert [c for c in chars if sms.septets(c) != codec_length(c)] == []


gsm_text = st.text(alphabet=sms.BASIC + sms.EXTENSION * 12, max_size=700)
any_text = st.one_of(gsm_text, st.text(max_size=300), st.text(alphabet="aç€" + THUMB, max_size=300))


@given(any_text)
def test_septets_as_the_codec(text: str) -> None:
    assert sms.septets(text) == codec_length(text)


def units(text: str, gsm: bool) -> int:
    return len(text.encode(CODEC)) if gsm else len(text.encode("utf-16-be")) // 2


@given(any_text)
def test_parts_join_fit_and_are_filled(text: str) -> None:
    parts = sms.split(text)
    gsm = codec_length(text) is not None
    single, most = (160, 153) if gsm else (70, 67)
    assert "".join(parts) == text
    assert len(parts) == sms.segments(text)
    if units(text, gsm) <= single:
        assert parts == [text]
        return
    assert all(0 < units(part, gsm) <= most for part in parts)
    # each next character would not have fitted in the part before it
    assert all(units(a + b[0], gsm) > most for a, b in pairwise(parts))
