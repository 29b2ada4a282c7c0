"""Sunrise and sunset: day lengths by hand, clocks people know, and a second way of finding the sun."""

import math
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.field.daylight import SunTimes, last_specimen_at, sun_times, warn_dark


def risen(lat: float, lon: float, day: date) -> tuple[datetime, datetime]:
    sun = sun_times(lat, lon, day)
    assert sun.state == "normal"
    assert sun.sunrise is not None
    assert sun.sunset is not None
    return sun.sunrise, sun.sunset


# Day length = 8 min x H, cos H = (cos 90.833 - sin lat sin dec) / (cos lat cos dec), by pocket calculator; at the
# solstices dec = +-23.44: sin 0.39779, cos 0.91748; cos 90.833 = -0.01454
@pytest.mark.parametrize(
    ("lat", "day", "minutes"),
    [
        pytest.param(0, date(2024, 3, 20), 726.7, id="equinox, equator: H = 90.833"),
        pytest.param(0, date(2024, 6, 20), 727.3, id="-0.01454/0.91748: H = 90.908"),
        pytest.param(30, date(2024, 6, 20), 844.7, id="-0.21343/0.79456: H = 105.58"),
        pytest.param(30, date(2024, 12, 21), 612.7, id="0.18436/0.79456: H = 76.58"),
        pytest.param(50, date(2024, 6, 20), 982.2, id="-0.31926/0.58974: H = 122.78"),
        pytest.param(50, date(2024, 12, 21), 484.2, id="0.29019/0.58974: H = 60.52"),
        pytest.param(-50, date(2024, 6, 20), 484.2, id="south in June as north in December"),
    ],
)
def test_day_length(lat: float, day: date, minutes: float) -> None:
    sunrise, sunset = risen(lat, 0, day)
    assert (sunset - sunrise).total_seconds() / 60 == pytest.approx(minutes, abs=0.5)


# The middle of the day on the Greenwich meridian is 12:00 less the equation of time, whose four extremes are known.
@pytest.mark.parametrize(
    ("day", "equation_min"),
    [(date(2023, 2, 11), -14.2), (date(2023, 5, 14), 3.7), (date(2023, 7, 26), -6.5), (date(2023, 11, 3), 16.4)],
)
def test_middle_of_the_day(day: date, equation_min: float) -> None:
    sunrise, sunset = risen(0, 0, day)
    middle = sunrise + (sunset - sunrise) / 2
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    assert (noon - middle).total_seconds() / 60 == pytest.approx(equation_min, abs=0.3)


# Clock times as printed for these cities, here in UTC; the sunset of the west falls on the next date.
@pytest.mark.parametrize(
    ("lat", "lon", "day", "sunrise", "sunset"),
    [
        pytest.param(51.5, -0.12, date(2024, 6, 21), "2024-06-21 03:43", "2024-06-21 20:21", id="London"),
        pytest.param(40.71, -74.0, date(2024, 6, 21), "2024-06-21 09:25", "2024-06-22 00:31", id="New York"),
        pytest.param(-33.87, 151.21, date(2024, 12, 21), "2024-12-20 18:41", "2024-12-21 09:05", id="Sydney"),
        pytest.param(64.15, -21.94, date(2024, 6, 21), "2024-06-21 02:55", "2024-06-22 00:04", id="Reykjavik"),
    ],
)
def test_cities(lat: float, lon: float, day: date, sunrise: str, sunset: str) -> None:
    for got, said in zip(risen(lat, lon, day), (sunrise, sunset), strict=True):
        expected = datetime.strptime(said, "%Y-%m-%d %H:%M").replace(tzinfo=UTC)
        assert abs(got - expected) <= timedelta(minutes=1.5)


@pytest.mark.parametrize(
    ("lat", "day", "state"),
    [
        (69.65, date(2024, 6, 21), "polar_day"),
        (69.65, date(2024, 12, 21), "polar_night"),
        (90, date(2024, 6, 21), "polar_day"),
        (90, date(2024, 12, 21), "polar_night"),
        (-90, date(2024, 12, 21), "polar_day"),
        (-78, date(2024, 6, 21), "polar_night"),
    ],
)
def test_polar(lat: float, day: date, state: str) -> None:
    assert sun_times(lat, 20, day) == SunTimes(state, None, None)


@pytest.mark.parametrize(("lat", "lon"), [(90.1, 0), (0, 181), (math.nan, 0)])
def test_no_such_place(lat: float, lon: float) -> None:
    with pytest.raises(ValueError, match="no such place"):
        sun_times(lat, lon, date(2024, 6, 21))


def altitude_deg(lat: float, lon: float, moment: datetime) -> float:
    """Altitude of the sun by the short formulae of the Astronomical Almanac (good to 0.01 degree), via its right
    ascension and sidereal time instead of the equation of time."""
    n = (moment - datetime(2000, 1, 1, 12, tzinfo=UTC)).total_seconds() / 86400
    mean = math.radians((280.460 + 0.9856474 * n) % 360)
    anomaly = math.radians((357.528 + 0.9856003 * n) % 360)
    ecliptic = mean + math.radians(1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    tilt = math.radians(23.439 - 0.0000004 * n)
    ascension = math.atan2(math.cos(tilt) * math.sin(ecliptic), math.cos(ecliptic))
    declination = math.asin(math.sin(tilt) * math.sin(ecliptic))
    sidereal = math.radians((280.46062 + 360.98564737 * n + lon) % 360)
    phi = math.radians(lat)
    height = math.sin(phi) * math.sin(declination)
    height += math.cos(phi) * math.cos(declination) * math.cos(sidereal - ascension)
    return math.degrees(math.asin(height))


@given(st.floats(-60, 60), st.floats(-180, 180), st.dates(date(1990, 1, 1), date(2045, 12, 31)))
def test_the_sun_stands_on_the_horizon_within_half_a_minute(lat: float, lon: float, day: date) -> None:
    sunrise, sunset = risen(lat, lon, day)
    close = timedelta(seconds=30)
    assert altitude_deg(lat, lon, sunrise - close) < -0.833 < altitude_deg(lat, lon, sunrise + close)
    assert altitude_deg(lat, lon, sunset + close) < -0.833 < altitude_deg(lat, lon, sunset - close)
    assert timedelta(hours=5) < sunset - sunrise < timedelta(hours=19.5)


NOON = datetime(2024, 6, 3, 12, tzinfo=UTC)


def clock(hour: int, minute: int = 0) -> datetime:
    return datetime(2024, 6, 3, hour, minute, tzinfo=UTC)


@pytest.mark.parametrize(
    ("done", "target", "seconds_each", "expected"),
    [
        pytest.param(4, 12, 300, clock(12, 40), id="8 x 5 min = 40 min"),
        pytest.param(0, 12, 600, clock(14), id="12 x 10 min = 2 h"),
        pytest.param(12, 12, 300, NOON, id="all done"),
        pytest.param(13, 12, 300, NOON, id="more than all"),
        pytest.param(11, 12, 90, NOON + timedelta(seconds=90), id="one more"),
    ],
)
def test_last_specimen(done: int, target: int, seconds_each: float, expected: datetime) -> None:
    assert last_specimen_at(NOON, done, target, seconds_each) == expected


def test_pace_of_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        last_specimen_at(NOON, 0, 12, 0)


SUN = SunTimes("normal", clock(4), clock(20))


@pytest.mark.parametrize(
    ("now", "last_at", "code"),
    [
        pytest.param(clock(12), clock(19), "none", id="last one an hour before sunset"),
        pytest.param(clock(12), clock(19, 1), "late", id="a minute into that hour"),
        pytest.param(clock(12), None, "none", id="no forecast yet"),
        pytest.param(clock(18, 59), None, "none", id="61 minutes left"),
        pytest.param(clock(19), None, "soon", id="60 minutes left"),
        pytest.param(clock(19, 59), clock(19, 59), "soon", id="a minute left"),
        pytest.param(clock(20), None, "dark", id="sunset"),
        pytest.param(clock(3, 59), clock(5), "dark", id="before sunrise"),
    ],
)
def test_warn(now: datetime, last_at: datetime | None, code: str) -> None:
    assert warn_dark(now, SUN, last_at) == code


def test_warn_polar() -> None:
    assert warn_dark(NOON, SunTimes("polar_day", None, None)) == "none"
    assert warn_dark(NOON, SunTimes("polar_night", None, None)) == "dark"
