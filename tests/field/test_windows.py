"""Windows between kinds and holding times: days counted by hand."""

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.field.windows import Window, check_window, hours_left_h, preserve_by


def june(day: int) -> date:
    return date(2024, 6, day)


@pytest.mark.parametrize(
    ("taken", "larvae", "today", "expected"),
    [
        pytest.param(june(10), june(10), june(10), Window("within", 0), id="same day"),
        pytest.param(june(3), june(10), june(10), Window("within", 7), id="10 - 3 = 7 before"),
        pytest.param(june(2), june(10), june(10), Window("outside", 8), id="10 - 2 = 8 before"),
        pytest.param(june(17), june(10), june(20), Window("within", 7), id="17 - 10 = 7 after"),
        pytest.param(june(18), june(10), june(20), Window("outside", 8), id="18 - 10 = 8 after"),
        pytest.param(date(2024, 2, 23), date(2024, 3, 1), june(1), Window("within", 7), id="leap: 6 to 29 Feb and 1"),
        pytest.param(
            date(2023, 2, 21), date(2023, 3, 1), june(1), Window("outside", 8), id="no leap: 7 to 28 Feb and 1"
        ),
        pytest.param(None, june(3), june(3), Window("open", None, june(10), 7), id="to come, 7 left"),
        pytest.param(None, june(3), june(8), Window("open", None, june(10), 2), id="to come, 2 left"),
        pytest.param(None, june(3), june(10), Window("open", None, june(10), 0), id="last day"),
        pytest.param(None, june(3), june(11), Window("closed", None, june(10), -1), id="a day late"),
        pytest.param(june(28), None, june(29), Window("open", None, date(2024, 7, 5), 6), id="larvae to come"),
        pytest.param(None, None, june(1), Window("not_begun"), id="neither"),
    ],
)
def test_by_hand(taken: date | None, larvae: date | None, today: date, expected: Window) -> None:
    assert check_window(taken, larvae, today) == expected


def test_negative_window_is_refused() -> None:
    with pytest.raises(ValueError, match="0 days or more"):
        check_window(None, None, june(1), -1)


NEW_YORK = ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("taken_at", "oxidised", "deadline"),
    [
        pytest.param(
            datetime(2024, 6, 3, 10, tzinfo=UTC), False, datetime(2024, 6, 5, 10, tzinfo=UTC), id="two days on"
        ),
        pytest.param(
            datetime(2024, 6, 3, 10, tzinfo=UTC),
            True,
            datetime(2024, 7, 1, 10, tzinfo=UTC),
            id="3 + 28 = 31 June = 1 July",
        ),
        pytest.param(
            datetime(2024, 6, 3, 20, tzinfo=timezone(timedelta(hours=-5))),
            False,
            datetime(2024, 6, 6, 1, tzinfo=UTC),
            id="20:00 at -5 is 01:00 next day",
        ),
        # clocks go on by an hour on 10 March 2024: 12:00 EST is 17:00 UTC, 48 h later it is 13:00 EDT
        pytest.param(
            datetime(2024, 3, 9, 12, tzinfo=NEW_YORK),
            False,
            datetime(2024, 3, 11, 13, tzinfo=NEW_YORK),
            id="48 real hours over a clock change",
        ),
    ],
)
def test_preserve_by(taken_at: datetime, oxidised: bool, deadline: datetime) -> None:
    assert preserve_by(taken_at, oxidised) == deadline


@pytest.mark.parametrize(
    ("now", "hours"),
    [
        (datetime(2024, 6, 3, 10, tzinfo=UTC), 48),
        (datetime(2024, 6, 5, 8, 30, tzinfo=UTC), 1.5),
        (datetime(2024, 6, 5, 13, tzinfo=UTC), -3),
    ],
    ids=["all", "an hour and a half", "3 h late"],
)
def test_hours_left(now: datetime, hours: float) -> None:
    assert hours_left_h(datetime(2024, 6, 5, 10, tzinfo=UTC), now) == hours


def test_hours_left_over_a_clock_change() -> None:
    # Saturday noon to Sunday noon of that weekend is 23 hours
    before, after = datetime(2024, 3, 9, 12, tzinfo=NEW_YORK), datetime(2024, 3, 10, 12, tzinfo=NEW_YORK)
    assert hours_left_h(after, before) == 23


def test_no_zone_is_refused() -> None:
    naive = datetime(2024, 6, 3)
    with pytest.raises(ValueError, match="no zone"):
        preserve_by(naive)
    with pytest.raises(ValueError, match="no zone"):
        hours_left_h(naive, naive)


days = st.dates(date(2000, 1, 1), date(2090, 1, 1))


@given(days, days, st.integers(0, 30))
def test_both_orders_agree_and_the_last_day_is_the_last(first: date, second: date, window: int) -> None:
    both = check_window(first, second, second, window)
    assert both == check_window(second, first, first, window)
    to_come = check_window(None, first, second, window)
    if second >= first:
        assert (to_come.state == "open") == (both.state == "within")
