"""Sunrise and sunset at a site, and whether the last specimen comes before dark.

The sun's place is worked out from low-precision series: good to about a minute between 72 degrees south and
north, to about ten minutes nearer the poles, for 1950 to 2050 and a flat horizon at sea level. Hills, trees
and cloud bring the dark earlier. Sources: Meeus, Astronomical Algorithms (1998), ch. 25 and 28, as used by
the solar calculator of the US National Oceanic and Atmospheric Administration.
"""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

# Centre of the sun 50 arc minutes under the horizon: 34 of refraction, 16 of radius.
HORIZON_ZENITH_DEG = 90.833
BEFORE_DARK_MIN = 60

_J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)


@dataclass(frozen=True)
class SunTimes:
    """Sunrise and sunset in UTC. ``state`` is ``normal``, ``polar_day`` or ``polar_night``; then both are
    None."""

    state: str
    sunrise: datetime | None
    sunset: datetime | None


def sun_times(lat_deg: float, lon_deg: float, day: date) -> SunTimes:
    """Sunrise and sunset at latitude and longitude in degrees (north and east positive) on ``day``.

    ``day`` is the date by the sun at that longitude: the site's own date, except where a zone lies on the
    other side of the date line. In UTC a sunset may fall on the next date and a sunrise on the one before.
    Raises ValueError for a latitude beyond 90 or a longitude beyond 180 degrees. Source and error: see the
    module.
    """
    if not (-90 <= lat_deg <= 90 and -180 <= lon_deg <= 180):
        raise ValueError(f"no such place: latitude {lat_deg}, longitude {lon_deg}")
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    noon = midnight + timedelta(minutes=720 - 4 * lon_deg)
    times = []
    for side in (-1, 1):
        moment = noon
        for _ in range(3):
            declination_deg, equation_min = _sun(moment)
            cosine = _cos_hour_angle(lat_deg, declination_deg)
            if abs(cosine) > 1:
                return SunTimes("polar_night" if cosine > 1 else "polar_day", None, None)
            hour_angle_deg = math.degrees(math.acos(cosine))
            moment = noon + timedelta(minutes=side * 4 * hour_angle_deg - equation_min)
        times.append(moment)
    return SunTimes("normal", times[0], times[1])


def last_specimen_at(now: datetime, done: int, target: int, seconds_each: float) -> datetime:
    """When the last of ``target`` specimens is kept at this pace; ``now`` when all are done. Moments are in UTC.

    ``seconds_each`` is seconds a specimen of all pairs together. Raises ValueError for a pace not above zero.
    """
    if not (math.isfinite(seconds_each) and seconds_each > 0):
        raise ValueError(f"a pace must be above 0 s, not {seconds_each}")
    return now + timedelta(seconds=max(0, target - done) * seconds_each)


def warn_dark(
    now: datetime, sun: SunTimes, last_at: datetime | None = None, before_min: float = BEFORE_DARK_MIN
) -> str:
    """What to say about the dark: ``none``, ``late``, ``soon`` or ``dark``.

    ``dark`` before sunrise, from sunset on and in polar night; ``soon`` in the last ``before_min`` minutes
    before sunset: finish and get out of the water; ``late`` when the last specimen (``last_at``) would come
    in that time or after it. Twilight is not counted as light. Source: the programme's own rule.
    """
    if sun.sunset is None or sun.sunrise is None:
        return "dark" if sun.state == "polar_night" else "none"
    if now >= sun.sunset or now < sun.sunrise:
        return "dark"
    warn_from = sun.sunset - timedelta(minutes=before_min)
    if now >= warn_from:
        return "soon"
    return "late" if last_at is not None and last_at > warn_from else "none"


def _cos_hour_angle(lat_deg: float, declination_deg: float) -> float:
    lat, declination = math.radians(lat_deg), math.radians(declination_deg)
    across = math.cos(lat) * math.cos(declination)
    above = math.cos(math.radians(HORIZON_ZENITH_DEG)) - math.sin(lat) * math.sin(declination)
    # At a pole there is no hour angle: the sun is up all day or down all day.
    return above / across if across > 1e-12 else math.copysign(math.inf, above)


def _sun(moment: datetime) -> tuple[float, float]:
    """The sun's declination in degrees and the equation of time in minutes (Meeus, ch. 25 and 28)."""
    century = (moment - _J2000).total_seconds() / 86400 / 36525
    longitude = math.radians((280.46646 + century * (36000.76983 + century * 0.0003032)) % 360)
    anomaly = math.radians(357.52911 + century * (35999.05029 - century * 0.0001537))
    eccentricity = 0.016708634 - century * (0.000042037 + century * 0.0000001267)
    centre_deg = (
        math.sin(anomaly) * (1.914602 - century * (0.004817 + century * 0.000014))
        + math.sin(2 * anomaly) * (0.019993 - century * 0.000101)
        + math.sin(3 * anomaly) * 0.000289
    )
    ascending = math.radians(125.04 - 1934.136 * century)
    apparent = longitude + math.radians(centre_deg - 0.00569 - 0.00478 * math.sin(ascending))
    tilt = math.radians(23.439291 - century * 0.0130042 + 0.00256 * math.cos(ascending))
    declination = math.asin(math.sin(tilt) * math.sin(apparent))
    y = math.tan(tilt / 2) ** 2
    equation = (
        y * math.sin(2 * longitude)
        - 2 * eccentricity * math.sin(anomaly)
        + 4 * eccentricity * y * math.sin(anomaly) * math.cos(2 * longitude)
        - y * y * math.sin(4 * longitude) / 2
        - 1.25 * eccentricity**2 * math.sin(2 * anomaly)
    )
    return math.degrees(declination), 4 * math.degrees(equation)
