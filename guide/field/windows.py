"""Days between the kinds of sample at one site, and the time a water bottle may wait for preservation."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

WINDOW_DAYS = 7
PRESERVE_H = 48
OXIDISED_DAYS = 28


@dataclass(frozen=True)
class Window:
    """How a kind (water or sediment) stands to the larvae of its site.

    ``state`` is ``within`` or ``outside`` when both are taken, ``open`` or ``closed`` when one is and the
    other is still to come, ``not_begun`` when neither is. ``days_apart`` is set when both are taken.
    ``last_day`` is the last local day for the one still to come and ``days_left`` the days until it, 0 on
    that day and negative after it.
    """

    state: str
    days_apart: int | None = None
    last_day: date | None = None
    days_left: int | None = None


def check_window(taken: date | None, larvae: date | None, today: date, window_days: int = WINDOW_DAYS) -> Window:
    """Hold the day a kind was taken against the day of the larvae: at most ``window_days`` days apart.

    Days are local dates at the site; before and after the larvae both count. Raises ValueError for a negative
    window. Source: the programme's own rule, so that water and sediment belong to the larvae.
    """
    if window_days < 0:
        raise ValueError(f"the window must be 0 days or more, not {window_days}")
    if taken is not None and larvae is not None:
        days_apart = abs((taken - larvae).days)
        return Window("within" if days_apart <= window_days else "outside", days_apart)
    first = taken or larvae
    if first is None:
        return Window("not_begun")
    last_day = first + timedelta(days=window_days)
    days_left = (last_day - today).days
    return Window("open" if days_left >= 0 else "closed", None, last_day, days_left)


def preserve_by(
    taken_at: datetime,
    oxidised_in_bottle: bool = False,
    preserve_h: float = PRESERVE_H,
    oxidised_days: float = OXIDISED_DAYS,
) -> datetime:
    """The moment in UTC by which the lab must have preserved a bottle filled at ``taken_at``.

    48 hours, or 28 days when the lab oxidises it in the bottle it was taken in. Raises ValueError for a time
    without a zone. Source: EPA Method 1631E and 40 CFR 136 table II; the lab's word goes before this sum.
    """
    held = timedelta(days=oxidised_days) if oxidised_in_bottle else timedelta(hours=preserve_h)
    return _utc(taken_at) + held


def hours_left_h(deadline: datetime, now: datetime) -> float:
    """Hours from ``now`` to ``deadline``, negative when it has passed. Raises ValueError without a zone."""
    return (_utc(deadline) - _utc(now)).total_seconds() / 3600


def _utc(moment: datetime) -> datetime:
    """Sums within a zone ignore its clock changes, so they are done in UTC."""
    if moment.utcoffset() is None:
        raise ValueError(f"{moment} has no zone")
    return moment.astimezone(UTC)
