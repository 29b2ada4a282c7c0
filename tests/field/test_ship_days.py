"""Ship days: weeks read off a calendar by hand, and a day-by-day brute force over ten years.

6 May 2024 is a Monday.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.field.ship_days import (
    EVERY_DAY,
    SAY,
    Calendar,
    Deadline,
    Rules,
    arrival_day,
    explain,
    good_days,
    holidays_of,
    judge_day,
    judge_days,
)

WEEK = Calendar()
SATURDAY_TOO = Calendar(frozenset({1, 2, 3, 4, 5, 6}))
OVERNIGHT = Rules(WEEK, WEEK, WEEK)
SAT_SUN = ("slip_no_delivery", "slip_lab_shut")


def may(day: int) -> date:
    return date(2024, 5, day)


def off(*days: int) -> Calendar:
    return Calendar(holidays=frozenset(may(day) for day in days))


ALL_OFF_MONDAY = Rules(off(6), off(6), off(6))
CARRIER_OFF_WEDNESDAY = Rules(off(8), off(8), WEEK)
LAB_OFF_WEDNESDAY = Rules(WEEK, WEEK, off(8))
TWO_DAYS = Rules(WEEK, WEEK, WEEK, transit_days=2)
LAB_TUE_TO_THU = Rules(WEEK, WEEK, Calendar(frozenset({2, 3, 4})))


@pytest.mark.parametrize(
    ("rules", "day", "arrival", "reasons"),
    [
        pytest.param(OVERNIGHT, 6, 7, (), id="Mon: Tue, Wed"),
        pytest.param(OVERNIGHT, 7, 8, (), id="Tue: Wed, Thu"),
        pytest.param(OVERNIGHT, 8, 9, (), id="Wed: Thu, Fri"),
        pytest.param(OVERNIGHT, 9, 10, SAT_SUN, id="Thu: Fri, a day late Sat"),
        pytest.param(OVERNIGHT, 10, 11, ("no_delivery", "lab_shut", *SAT_SUN), id="Fri: Sat, Sun"),
        pytest.param(OVERNIGHT, 11, 12, ("no_pick_up", "no_delivery", "lab_shut"), id="Sat: Sun, Mon"),
        pytest.param(OVERNIGHT, 12, 13, ("no_pick_up",), id="Sun: Mon, Tue"),
        pytest.param(ALL_OFF_MONDAY, 5, 7, ("no_pick_up",), id="Sun before a Mon off: nothing moves till Tue"),
        pytest.param(ALL_OFF_MONDAY, 6, 7, ("pick_up_holiday",), id="Mon off: no pick-up"),
        pytest.param(ALL_OFF_MONDAY, 7, 8, (), id="Tue after a Mon off"),
        pytest.param(CARRIER_OFF_WEDNESDAY, 6, 7, ("slip_delivery_holiday",), id="carrier off Wed: late Mon"),
        pytest.param(CARRIER_OFF_WEDNESDAY, 7, 9, (), id="carrier off Wed: Tue moves on Thu, late Fri"),
        pytest.param(LAB_OFF_WEDNESDAY, 6, 7, ("slip_lab_holiday",), id="lab off Wed: Mon late"),
        pytest.param(LAB_OFF_WEDNESDAY, 7, 8, ("lab_holiday",), id="lab off Wed: Tue arrives then"),
        pytest.param(LAB_OFF_WEDNESDAY, 8, 9, (), id="lab off Wed: Wed may still go"),
        pytest.param(TWO_DAYS, 7, 9, (), id="two days: Tue, Thu, Fri"),
        pytest.param(TWO_DAYS, 8, 10, SAT_SUN, id="two days: Wed, Fri, Sat"),
        pytest.param(LAB_TUE_TO_THU, 8, 9, ("slip_lab_shut",), id="lab Tue to Thu: Wed, Thu, Fri"),
        pytest.param(Rules(WEEK, SATURDAY_TOO, SATURDAY_TOO), 9, 10, (), id="Saturday works: Thu, Fri, Sat"),
        pytest.param(Rules(WEEK, SATURDAY_TOO, WEEK), 9, 10, ("slip_lab_shut",), id="the lab does not"),
        pytest.param(Rules(WEEK, off(7), WEEK, moving=WEEK), 6, 7, ("delivery_holiday",), id="moves, no delivery"),
        pytest.param(Rules(WEEK, WEEK, WEEK, transit_days=0), 6, 6, (), id="same day by courier"),
    ],
)
def test_by_hand(rules: Rules, day: int, arrival: int, reasons: tuple[str, ...]) -> None:
    judged = judge_day(may(day), rules)
    assert (judged.ok, judged.reasons) == (not reasons, reasons)
    assert (judged.arrival, judged.slipped) == (may(arrival), may(arrival + 1))
    assert judged.transit_h == max(24, 24 * (arrival - day))


@pytest.mark.parametrize(
    ("rules", "good"),
    [
        pytest.param(OVERNIGHT, [6, 7, 8], id="Monday to Wednesday"),
        pytest.param(ALL_OFF_MONDAY, [7, 8], id="Monday holiday: Tuesday and Wednesday"),
        pytest.param(TWO_DAYS, [6, 7], id="two days: Monday and Tuesday"),
        pytest.param(CARRIER_OFF_WEDNESDAY, [7], id="Wed off: Mon late on Wed; Tue; Wed no pick-up; Thu late on Sat"),
        pytest.param(LAB_TUE_TO_THU, [6, 7], id="lab Tue to Thu"),
    ],
)
def test_good_days_of_a_week(rules: Rules, good: list[int]) -> None:
    assert [judged.day for judged in good_days(may(6), 7, rules)] == [may(day) for day in good]


def held(*deadlines: datetime) -> Rules:
    return Rules(WEEK, WEEK, WEEK, 1, None, tuple(Deadline("water", at) for at in deadlines), UTC)


@pytest.mark.parametrize(
    ("deadline", "reasons"),
    [
        (datetime(2024, 5, 8, 17, tzinfo=UTC), ()),
        (datetime(2024, 5, 8, 16, 59, tzinfo=UTC), ("slip_holding:water",)),
        (datetime(2024, 5, 8, 12, 30, tzinfo=timezone(timedelta(hours=-5))), ()),
        (datetime(2024, 5, 7, 17, tzinfo=UTC), ("slip_holding:water",)),
        (datetime(2024, 5, 7, 16, 59, tzinfo=UTC), ("holding:water",)),
    ],
    ids=[
        "Wed 17:00 is when a late one is in hand",
        "a minute short",
        "12:30 at -5 is 17:30",
        "only if on time",
        "not even then",
    ],
)
def test_holding_time_of_a_monday(deadline: datetime, reasons: tuple[str, ...]) -> None:
    assert judge_day(may(6), held(deadline)).reasons == reasons


def test_explained() -> None:
    assert explain(judge_day(may(6), OVERNIGHT)) == (
        "Mon 6 May is a good day: it arrives on Tue 7 May, a day late on Wed 8 May."
    )
    assert explain(judge_day(may(9), OVERNIGHT)) == (
        "Not Thu 9 May: a day late it would come on Sat 11 May, when the carrier doesn't deliver and the lab doesn't "
        "receive."
    )
    gone = judge_day(may(6), held(datetime(2024, 5, 7, tzinfo=UTC)))
    assert explain(gone) == "Not Mon 6 May: it would arrive on Tue 7 May, when the holding time of water has run out."
    late = judge_day(may(6), held(datetime(2024, 5, 7, 18, tzinfo=UTC)))
    assert explain(late) == (
        "Not Mon 6 May: a day late it would come on Wed 8 May, when the holding time of water has run out."
    )


def test_a_holiday_is_said_by_its_name() -> None:
    names = {may(6): "May Day"}
    assert explain(judge_day(may(6), ALL_OFF_MONDAY), names) == "Not Mon 6 May: a holiday of the carrier (May Day)."
    before = judge_day(may(3), Rules(off(6), off(6), off(6), transit_days=2, moving=SATURDAY_TOO))
    assert explain(before, names) == (
        "Not Fri 3 May: it would arrive on Mon 6 May, a holiday of the carrier and the lab (May Day)."
    )
    assert "(" not in explain(judge_day(may(9), OVERNIGHT), {may(11): "no holiday of theirs"})


def test_where_nobody_picks_up_no_more_is_said() -> None:
    assert explain(judge_day(may(11), OVERNIGHT)) == "Not Sat 11 May: the carrier doesn't pick up."


def test_many_bottles_of_a_kind_give_one_reason_and_the_worse_one() -> None:
    early, late = datetime(2024, 5, 7, tzinfo=UTC), datetime(2024, 5, 8, tzinfo=UTC)
    assert judge_day(may(6), held(late, early, late)).reasons == ("holding:water",)


def test_holidays_of_a_region_are_the_countrys_too() -> None:
    lists = {"XA": [may(1)], "XA-N": [may(6)], "XB": []}
    assert holidays_of(lists, "XA-N") == {may(1), may(6)}
    assert holidays_of(lists, "XA") == {may(1)}
    assert holidays_of(lists, "XB") == frozenset()
    with pytest.raises(ValueError, match="XC and XC-S"):
        holidays_of(lists, "XC-S")


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: Calendar(frozenset()), "1 .Monday. to 7"),
        (lambda: Calendar(frozenset({0})), "1 .Monday. to 7"),
        (lambda: Rules(WEEK, WEEK, WEEK, -1), "0 or more"),
        (lambda: Rules(WEEK, WEEK, WEEK, deadlines=(Deadline("water", datetime(2024, 5, 6, tzinfo=UTC)),)), "zone"),
        (lambda: Rules(WEEK, WEEK, WEEK, 1, None, (Deadline("water", datetime(2024, 5, 6)),), UTC), "no zone"),
    ],
)
def test_refused(build: object, words: str) -> None:
    assert callable(build)
    with pytest.raises(ValueError, match=words):
        build()


# Three invented countries: fixed days, the first Monday of a month, and a region with more.
def first_monday(year: int, month: int) -> date:
    return next(date(year, month, day) for day in range(1, 8) if date(year, month, day).weekday() == 0)


YEARS = range(2023, 2035)
HOLIDAYS = {
    "XA": {date(y, 1, 1) for y in YEARS} | {date(y, 12, 24) for y in YEARS} | {date(y, 12, 25) for y in YEARS},
    "XA-N": {first_monday(y, 8) for y in YEARS},
    "XB": {first_monday(y, m) for y in YEARS for m in (2, 5, 9)} | {date(y, 7, 14) for y in YEARS},
    "XC": {date(y, 4, 3) + timedelta(days=n) for y in YEARS for n in range(5)},
}


def worked(regions: Iterable[str], weekdays: str) -> set[date]:
    """All days of twelve years on which somebody works; weekdays as letters of ``mtwhfsu``."""
    day, out = date(2023, 1, 1), set()
    while day.year < 2035:
        if "mtwhfsu"[day.weekday()] in weekdays and not any(day in HOLIDAYS[r] for r in regions):
            out.add(day)
        day += timedelta(days=1)
    return out


ISO = {letter: number for number, letter in enumerate("mtwhfsu", 1)}


@pytest.mark.parametrize("transit", [1, 2, 3])
@pytest.mark.parametrize(
    ("start", "lab", "carrier_week", "lab_week"),
    [("XA-N", "XB", "mtwhf", "mtwhf"), ("XB", "XC", "mtwhfs", "mtwh"), ("XC", "XA", "mtwhf", "twhfs")],
)
def test_ten_years_day_by_day(start: str, lab: str, carrier_week: str, lab_week: str, transit: int) -> None:
    start_regions, lab_regions = {start, start[:2]}, {lab}
    picks, delivers = worked(start_regions, carrier_week), worked(lab_regions, carrier_week)
    receives, moves = worked(lab_regions, lab_week), worked(start_regions | lab_regions, "mtwhfsu")
    week = frozenset(ISO[letter] for letter in carrier_week)
    rules = Rules(
        Calendar(week, holidays_of(HOLIDAYS, start)),
        Calendar(week, holidays_of(HOLIDAYS, lab)),
        Calendar(frozenset(ISO[letter] for letter in lab_week), holidays_of(HOLIDAYS, lab)),
        transit,
    )
    expected, day = [], date(2024, 1, 1)
    while day.year < 2034:
        ahead = [day + timedelta(days=n) for n in range(1, 30)]
        arrival = [d for d in ahead if d in moves][transit - 1]
        both = {arrival, arrival + timedelta(days=1)}
        if day in picks and both <= delivers and both <= receives:
            expected.append((day, arrival))
        day += timedelta(days=1)
    days = (date(2034, 1, 1) - date(2024, 1, 1)).days
    assert [(g.day, g.arrival) for g in good_days(date(2024, 1, 1), days, rules)] == expected
    assert 100 < len(expected) < 3000


calendars = st.builds(
    Calendar,
    st.frozensets(st.sampled_from(sorted(EVERY_DAY)), min_size=1),
    st.frozensets(st.dates(date(2024, 5, 1), date(2024, 5, 31)), max_size=6),
)
rule_sets = st.builds(Rules, calendars, calendars, calendars, st.integers(0, 5))


@given(rule_sets, st.integers(1, 28))
def test_a_bad_day_says_why_and_a_good_one_holds(rules: Rules, day: int) -> None:
    judged = judge_day(may(day), rules)
    assert judged.ok == (not judged.reasons)
    assert set(judged.reasons) <= set(SAY)
    assert judged.arrival == arrival_day(may(day), rules) >= may(day)
    assert explain(judged).endswith(".")
    if judged.ok:
        assert rules.pick_up.is_open(judged.day)
        for late in (judged.arrival, judged.slipped):
            assert rules.delivery.is_open(late)
            assert rules.receiving.is_open(late)


@given(rule_sets, st.integers(1, 28), st.integers(0, 72))
def test_a_deadline_only_takes_days_away(rules: Rules, day: int, hours: int) -> None:
    at = datetime.combine(may(day), time(), UTC) + timedelta(hours=hours)
    tight = Rules(
        rules.pick_up, rules.delivery, rules.receiving, rules.transit_days, None, (Deadline("water", at),), UTC
    )
    loose_days = {judged.day for judged in good_days(may(1), 28, rules)}
    for judged in judge_days(may(1), 28, tight):
        in_time = datetime.combine(judged.slipped, time(17), UTC) <= at
        assert judged.ok == (judged.day in loose_days and in_time)
