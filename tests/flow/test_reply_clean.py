"""Whatever a phone adds to a text, it is made even before it is read and safe before it is shown."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.flow.replies.clean import clean, plain, quote
from guide.talk.sms import septets

ANY_TEXT = st.text(st.characters(codec=None), max_size=80)


@pytest.mark.parametrize(
    ("text", "cleaned"),
    [
        ("  27   mm ", "27 mm"),
        ("27\u00a0mm\t.", "27 mm ."),
        ("２７ ｍｍ", "27 mm"),
        ("٢٧", "27"),
        ("“27”, don’t", '"27", don\'t'),
        ("27–28", "27-28"),
        ("a\x00b\x1b[31mc", "a b [31mc"),
        ("a\u200bb\u202ec\ufeff", "abc"),
        ("one \r\n\n two\u2028three", "one\ntwo\nthree"),
        ("\ud800ok\udfff", "ok"),
        ("👍🏽", "👍🏽"),
        ("", ""),
    ],
)
def test_a_text_is_made_even(text, cleaned):
    assert clean(text) == cleaned


@given(ANY_TEXT)
def test_a_clean_text_stays_as_it_is_and_holds_nothing_unseen(text):
    once = clean(text)
    assert clean(once) == once
    assert all(char == "\n" or char.isprintable() for char in once)
    once.encode("utf-8")


@pytest.mark.parametrize(
    ("text", "quoted"),
    [
        ("darner", "darner"),
        ("a long text that goes on and on", "a long text that goe"),
        ("[x] {y} ~ €|\\^", "?x? ?y? ? ????"),
        ("🐉 larva", "? larva"),
        ("two\nlines", "two lines"),
        ("\x1b[2J", "?2J"),
        ("\ud800", ""),
    ],
)
def test_words_are_quoted_short_and_in_plain_sms_letters(text, quoted):
    assert quote(text) == quoted


@given(ANY_TEXT)
def test_a_quote_takes_a_septet_a_letter(text):
    quoted = quote(text)
    assert len(quoted) <= 20
    assert septets(quoted) == len(quoted)
    assert quoted.isprintable()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Don't know!", "dont know"),
        ("  OK... ", "ok"),
        ("👍🏽", "yes"),
        ("👎", "no"),
        ("weed_bed", "weed bed"),
        ("?", ""),
    ],
)
def test_only_the_bare_words_count(text, words):
    assert plain(text) == words
