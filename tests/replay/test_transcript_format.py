"""The format of transcripts: read, printed back, and refused with the place and the way out."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.replay.transcript import Beat, Expect, GuideLine, Head, Remark, Transcript, TranscriptError, parse, show

START = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)
HEAD = "A title\nseed 1\nstart 2026-07-04T09:00Z\nphones pair, second phone\n"

WHOLE = (
    HEAD
    + """
# What to notice.
09:00 pair: hello
      BOTH: which water is it?
      09:06 ALL: six minutes at this spot.
09:07:30 second phone: 01428 27 darner\\n01431 31 skimmer
      Kept 2.
      to pair: ALL: that was the last one.
wait 30 min
      09:37 to pair: ALL: all well?
09:40 second phone again
restart
2026-07-05 00:10 pair:

expect kept 2
expect whole
"""
)


def test_every_sort_of_line_is_read() -> None:
    transcript = parse(WHOLE)
    assert (transcript.title, transcript.seed, transcript.start) == ("A title", 1, START)
    assert transcript.phones == ("pair", "second phone")
    assert [(b.act, b.at - START, b.phone, b.words) for b in transcript.beats] == [
        ("text", timedelta(0), "pair", "hello"),
        ("text", timedelta(minutes=7, seconds=30), "second phone", "01428 27 darner\n01431 31 skimmer"),
        ("wait", timedelta(minutes=37, seconds=30), "", ""),
        ("again", timedelta(minutes=40), "second phone", ""),
        ("restart", timedelta(minutes=40), "", ""),
        ("text", timedelta(hours=15, minutes=10), "pair", ""),
    ]
    assert transcript.beats[0].guide[1] == GuideLine("ALL: six minutes at this spot.", None, START.replace(minute=6))
    assert transcript.beats[1].guide[1] == GuideLine("ALL: that was the last one.", "pair")
    assert [expect.words for expect in transcript.expects] == [["kept", "2"], ["whole"]]


def test_printing_gives_back_what_was_read() -> None:
    assert show(parse(WHOLE)) == WHOLE


def test_a_timer_past_midnight_keeps_its_day() -> None:
    late = (
        "T\nstart 2026-07-04T23:50Z\n23:55 pair: hi\n      00:05 ALL: all well?\nwait 10 min\n      23:59 ALL: well?\n"
    )
    first, second = parse(late).beats
    assert first.guide[0].at == datetime(2026, 7, 5, 0, 5, tzinfo=UTC)
    assert second.guide[0].at == datetime(2026, 7, 4, 23, 59, tzinfo=UTC)
    assert show(parse(late)) == late


WORDS = st.text(st.characters(exclude_categories=("Cs", "Cc"), include_characters="\n\\ #:"), max_size=40)
TRICKY = st.sampled_from(["09:10 hi", "to pair: hi", "to second phone: x", " lead", "trail ", "\\", "\\n", "# no", ""])
LINES = st.builds(
    GuideLine,
    st.one_of(WORDS, TRICKY).filter(lambda text: bool(text)),
    st.sampled_from([None, "pair", "second phone"]),
    st.sampled_from([None, START + timedelta(minutes=40)]),
)


@given(st.lists(st.tuples(st.one_of(WORDS, TRICKY), st.lists(LINES, max_size=3)), min_size=1, max_size=4))
def test_any_words_come_back_as_they_were(said: list[tuple[str, list[GuideLine]]]) -> None:
    beats = [
        Beat("text", START + timedelta(minutes=place), "pair", words, guide=tuple(lines))
        for place, (words, lines) in enumerate(said)
    ]
    heads = [Head("seed 3"), Head("start 2026-07-04T09:00Z"), Head("phones pair, second phone"), Head("lossy")]
    items = (*heads, Remark("# a remark"), Remark(""), *beats, Expect("expect whole"))
    transcript = Transcript("A title", 3, START, ("pair", "second phone"), True, items)
    assert parse(show(transcript)) == transcript


@pytest.mark.parametrize(
    ("text", "line", "reason"),
    [
        ("", 1, "the first line must be the title"),
        ("# remark\n", 1, "the first line must be the title"),
        ("A title\n", 1, "the head must say when it begins"),
        ("A title\nstart today\n", 2, "write it like 2026-07-04T09:00Z"),
        ("A title\nseed one\n", 2, "seed 1"),
        ("A title\nphones Pair\n", 2, "roles in small letters"),
        ("A title\n09:00 pair: hi\n", 2, "the head must say when it begins, before the first text"),
        (HEAD + "9 o'clock pair: hi\n", 5, "write a text like '09:00 pair: hello'"),
        (HEAD + "09:00 par: hi\n", 5, "no phone is called 'par'"),
        (HEAD + "25:00 pair: hi\n", 5, "25:00 is no time of a day"),
        (HEAD + "09:10 pair: hi\n09:05 pair: ok\n", 6, "past midnight, write 2026-07-05 09:05"),
        (HEAD + "09:10 pair again\n", 5, "pair has sent no text yet"),
        (HEAD + "wait a while\n", 5, "or wait 30 min"),
        (HEAD + "      BOTH: which water?\n", 5, "the guide's answer to a text above it"),
        (HEAD + "09:00 pair: hi\nseed 2\n", 6, "seed belongs to the head"),
        (HEAD + "expect whole\n09:00 pair: hi\n", 6, "expect lines come last"),
        (HEAD + "expect\n", 5, "expect what?"),
        (HEAD + "expect kept\n", 5, "written like: expect kept 12"),
        (HEAD + "expect keeps many larvae\n", 5, "expect keeps: not known"),
        (HEAD + "expect sample 01428 weight 3\n", 5, "a sample has no weight"),
    ],
)
def test_a_line_that_cant_be_read_is_named(text: str, line: int, reason: str) -> None:
    with pytest.raises(TranscriptError) as caught:
        parse(text, "pond.txt")
    assert str(caught.value).startswith(f"pond.txt:{line}: ")
    assert reason in str(caught.value)
    assert (caught.value.file, caught.value.line) == ("pond.txt", line)
