"""Seconds a sample takes a pair, from the times at which samples were kept."""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import datetime
from itertools import pairwise

PAUSE_S = 1200.0  # a longer gap is lunch, rain or a move, not work on a sample; a programme setting


def seconds_each(kept_at: Iterable[datetime], pause_s: float = PAUSE_S) -> float | None:
    """Median seconds a sample of one pair, or None when there is no gap to take it from.

    Samples kept at the same moment came in one text: they share the gap before it evenly. A share longer than
    ``pause_s`` is a pause and left out. Moments are in UTC, in any order. Source: the programme's own
    rule; the median, so that one long search for a larva does not stretch the forecast.
    """
    counts = sorted(Counter(kept_at).items())
    shares: list[float] = []
    for (before, _), (after, count) in pairwise(counts):
        share_s = (after - before).total_seconds() / count
        if share_s <= pause_s:
            shares += [share_s] * count
    return _median(shares) if shares else None


def seconds_each_by_pair(
    kept_at: Mapping[str, Iterable[datetime]], pause_s: float = PAUSE_S
) -> dict[str, float | None]:
    """``seconds_each`` for every pair by its name."""
    return {pair: seconds_each(times, pause_s) for pair, times in kept_at.items()}


def seconds_each_together(paces_s: Iterable[float | None]) -> float | None:
    """Seconds between samples of all pairs at work together, or None when no pair has a pace yet.

    Their rates add up: two pairs at 300 s a sample keep one every 150 s. Pairs without a pace are left out,
    so the forecast errs to the late side. Raises ValueError for a pace not above zero.
    """
    rates = []
    for pace_s in paces_s:
        if pace_s is None:
            continue
        if not pace_s > 0:
            raise ValueError(f"a pace must be above 0 s, not {pace_s}")
        rates.append(1 / pace_s)
    return 1 / sum(rates) if rates else None


def _median(numbers: list[float]) -> float:
    """The middle of the sorted numbers; the standard module for it is slow to load."""
    ordered, middle = sorted(numbers), len(numbers) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2
