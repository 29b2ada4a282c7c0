"""Pace: gaps and medians by hand, times in seconds from a morning."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.field.pace import seconds_each, seconds_each_by_pair, seconds_each_together

MORNING = datetime(2024, 6, 3, 9, tzinfo=UTC)


def at(*seconds: float) -> list[datetime]:
    return [MORNING + timedelta(seconds=s) for s in seconds]


@pytest.mark.parametrize(
    ("kept_at", "expected"),
    [
        pytest.param(at(), None, id="none kept"),
        pytest.param(at(0), None, id="one kept, no gap"),
        pytest.param(at(0, 300), 300, id="one gap"),
        pytest.param(at(0, 300, 500), 250, id="gaps 300 200: between them"),
        pytest.param(at(0, 300, 500, 900), 300, id="gaps 300 200 400: middle"),
        pytest.param(at(900, 0, 500, 300), 300, id="order does not matter"),
        pytest.param(at(0, 300, 4000, 4200), 250, id="gap of 3700 is a pause; 300 200"),
        pytest.param(at(0, 1200), 1200, id="1200 is no pause yet"),
        pytest.param(at(0, 1201), None, id="only a pause"),
        # 3 in one text after 900 s: 300 each, three times; then 100
        pytest.param(at(0, 900, 900, 900, 1000), 300, id="shares 300 300 300 100"),
        pytest.param(at(0, 0, 0, 240), 240, id="the first text has no gap"),
    ],
)
def test_by_hand(kept_at: list[datetime], expected: float | None) -> None:
    assert seconds_each(kept_at) == expected


@pytest.mark.parametrize(
    ("paces", "expected"),
    [([], None), ([None], None), ([300], 300), ([300, 300], 150), ([300, 600], 200), ([300, None], 300)],
    ids=["no pair", "no pace yet", "one", "two alike halve it", "1/300 + 1/600 = 1/200", "one without a pace"],
)
def test_together(paces: list[float | None], expected: float | None) -> None:
    got = seconds_each_together(paces)
    assert got == (None if expected is None else pytest.approx(expected))


def test_by_pair() -> None:
    assert seconds_each_by_pair({"A": at(0, 60), "B": at(0)}) == {"A": 60, "B": None}


def test_zero_pace_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        seconds_each_together([0])


@given(st.lists(st.floats(0, 1200), min_size=1, max_size=30))
def test_between_the_shortest_and_the_longest_gap(gaps: list[float]) -> None:
    kept = [MORNING]
    for gap in gaps:
        kept.append(kept[-1] + timedelta(seconds=gap))
    pace = seconds_each(kept)
    if pace is not None:
        assert 0 < pace <= max(gaps) + 1e-6
