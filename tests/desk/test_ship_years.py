"""Ship days of whole programmes against a day-by-day count over ten years, with real calendars of three countries."""

from datetime import date, timedelta

import holidays
import pytest

from guide.desk.ship_plan import ship_rules
from guide.field.ship_days import explain, judge_days
from tests.desk.lab_world import real_settings

FIRST, YEARS = date(2024, 1, 1), range(2024, 2034)
COUNTRIES = {"IE": ("IE", None), "GB-NIR": ("GB", "NIR"), "US-MN": ("US", "MN")}


def off(code: str) -> set[date]:
    country, region = COUNTRIES[code]
    return set(holidays.country_holidays(country, subdiv=region, years=range(2023, 2036)))


@pytest.mark.parametrize(
    ("carrier", "lab", "transit", "carrier_days", "lab_days"),
    [
        ("IE", "IE", 1, {0, 1, 2, 3, 4}, {0, 1, 2, 3, 4}),
        ("IE", "GB-NIR", 2, {0, 1, 2, 3, 4, 5}, {0, 1, 2, 3}),
        ("US-MN", "US-MN", 1, {0, 1, 2, 3, 4}, {1, 2, 3, 4}),
    ],
)
def test_ten_years_day_by_day(carrier: str, lab: str, transit: int, carrier_days: set[int], lab_days: set[int]) -> None:
    rests, shut = off(carrier), off(lab)
    closed = date(2027, 3, 2)

    def carries(day: date) -> bool:
        return day.weekday() in carrier_days and day not in rests

    def receives(day: date) -> bool:
        return day.weekday() in lab_days and day not in shut and day != closed

    good, day = [], FIRST
    while day.year in YEARS:
        arrival, moved = day, 0
        while moved < transit:
            arrival += timedelta(days=1)
            moved += arrival not in rests
        late = arrival + timedelta(days=1)
        if carries(day) and all(carries(one) and receives(one) for one in (arrival, late)):
            good.append(day)
        day += timedelta(days=1)

    settings = real_settings(
        carrier_holidays=[carrier],
        lab_holidays=[lab],
        lab_closed=[closed.isoformat()],
        transit_days=transit,
        carrier_days=sorted(day + 1 for day in carrier_days),
        receiving_days=sorted(day + 1 for day in lab_days),
    )
    days = (date(YEARS[-1] + 1, 1, 1) - FIRST).days
    rules, names, _ = ship_rules(settings, (), FIRST, days)
    judged = judge_days(FIRST, days, rules)
    assert [one.day for one in judged if one.ok] == good
    assert 500 < len(good) < 2500
    assert all(explain(one, names).startswith("Not ") for one in judged if not one.ok)


def test_reasons_of_a_christmas_read_well() -> None:
    settings = real_settings(lab_closed=["2026-12-24"])
    rules, names, _ = ship_rules(settings, (), date(2026, 12, 21), 5)
    assert [explain(day, names) for day in judge_days(date(2026, 12, 21), 5, rules)] == [
        "Mon 21 Dec is a good day: it arrives on Tue 22 Dec, a day late on Wed 23 Dec.",
        "Not Tue 22 Dec: a day late it would come on Thu 24 Dec, a holiday of the lab (closed that day).",
        "Not Wed 23 Dec: it would arrive on Thu 24 Dec, a holiday of the lab (closed that day); a day late it would "
        "come on Fri 25 Dec, a holiday of the carrier and the lab (Christmas Day).",
        "Not Thu 24 Dec: it would arrive on Sun 27 Dec, when the carrier doesn't deliver and the lab doesn't receive.",
        "Not Fri 25 Dec: a holiday of the carrier (Christmas Day).",
    ]
