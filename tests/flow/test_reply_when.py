"""Days and times of day as people text them."""

import pytest

from tests.flow.reading import NOW, read, taken


@pytest.mark.parametrize(
    ("texts", "day"),
    [
        ("2026-07-04|2026/7/4|4 July 2026|4th of July 2026|4 jul 2026|July 4, 2026|4 Jul|July 4|July 4th|4 july.|"
         "today|Today!|tonight|20260704|2026 07 04|the 4th of July|4july|july4|Sat 4 July|on 4 July|"
         "4 July 26|4-Jul-26|4 July ok",
         "2026-07-04"),
        ("yesterday|3 July 2026", "2026-07-03"),
        ("tomorrow|tomorow|tmrw", "2026-07-05"),
        ("13.7.2026|13/7/2026|7/13/2026|13-07-2026|13.7.26|13/7|7/13|13.7.", "2026-07-13"),
        ("7.7.2026", "2026-07-07"),
        ("1 sept|sep 1|1 September", "2026-09-01"),
        ("29 Feb 2028", "2028-02-29"),
    ],
)  # fmt: skip
def test_a_day_is_read_in_many_ways(texts, day):
    for text in texts.split("|"):
        assert taken("date", text, now=NOW) == ("sure", day), text


@pytest.mark.parametrize("text", ["4/7/2026", "4.7.2026", "04-07-2026", "4/7", "4.7.", "4.7.26"])
def test_day_or_month_first_is_asked(text):
    reading = read("date", text, now=NOW)
    assert (reading.value, reading.ask, reading.phrase) == ("2026-07-04", True, "date.which")
    assert (reading.blanks["answer"], reading.blanks["other"]) == ("2026-07-04", "2026-04-07")


NO_DAY = "31 June|29 Feb 2026|2026-13-01|0.7.2026|99/99/2026|July|July 2026|4|marshall 4|4 5 July|"
"0000-00-00|ok||Fri 4 July|in 2 days"


def test_a_weekday_alone_is_asked():
    reading = read("date", "Monday", now=NOW)
    assert (reading.value, reading.ask, reading.phrase) == ("2026-07-06", True, "date.which")
    assert reading.blanks["other"] == "2026-06-29"


@pytest.mark.parametrize("text", ["jully 4", "4 Juyl", "4 juli 2026"])
def test_a_month_nearly_typed_is_taken_and_said_back(text):
    assert taken("date", text, now=NOW) == ("echo", "2026-07-04")


@pytest.mark.parametrize("text", NO_DAY.split("|"))
def test_what_is_no_day_is_not_understood(text):
    assert taken("date", text, now=NOW) == ("no", "date.unclear")


@pytest.mark.parametrize("text", ["today", "tomorrow", "4 July"])
def test_without_a_clock_a_day_needs_its_year(text):
    assert taken("date", text) == ("no", "date.unclear")


@pytest.mark.parametrize(
    ("texts", "time"),
    [
        (
            "14:30|1430|14.30|14h30|2:30pm|2.30 pm|2:30 PM|2:30 p.m.|at 14:30|14:30.|1430h|１４：３０|"
            "14:30?|14 30|14-30|"
            "14:30 hrs|~14:30|ok 14:30|14:30 👍|14:30:00|230pm|2:30p|half past two pm|"
            "2:30 in the afternoon|around 14:30|14:30ish",
            "14:30",
        ),
        ("2pm|2 pm|2 p.m.|14h|14:00", "14:00"),
        ("02:30|2.30am|0230|2:30 a.m.", "02:30"),
        ("noon|12pm|midday|12:00", "12:00"),
        ("midnight|12am|0:00|0000", "00:00"),
        ("now|Now.", "15:20"),
    ],
)
def test_a_time_is_read_in_many_ways(texts, time):
    for text in texts.split("|"):
        assert taken("time", text, now=NOW) == ("sure", time), text


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("2", "14:00"), ("2 o'clock", "14:00"), ("9", "09:00"), ("14", "14:00"), ("2ish", "14:00"), ("two", "14:00"),
        ("2:30", "14:30"), ("230", "14:30"), ("half past 2", "14:30"), ("ten to 3", "14:50"),
    ],
)  # fmt: skip
def test_a_bare_or_small_hour_is_asked(text, time):
    reading = read("time", text)
    assert (reading.value, reading.ask, reading.phrase) == (time, True, "time.which")
    assert reading.blanks["answer"] == time


@pytest.mark.parametrize(
    "text", "25:00|14:60|2460|13pm|0am|soon|ok||99|2-3|2 hours|2 to 3 pm|14:30-15:00|in 2 hours".split("|")
)
def test_what_is_no_time_is_not_understood(text):
    assert taken("time", text) == ("no", "time.unclear")


def test_now_needs_a_clock():
    assert taken("time", "now") == ("no", "time.unclear")
