"""Wading: limits and speeds worked by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.field.wading import SAY, WadingLimits, check_wading, cold_water, drift_speed_m_s

DEEPER = WadingLimits(depth_m=1.0, speed_m_s=1.0, depth_speed_m2_s=0.3)


@pytest.mark.parametrize(
    ("distance_m", "seconds_s", "speed_m_s"),
    [(5, 10, 0.5), (5, 12.5, 0.4), (10, 40, 0.25), (3, 2, 1.5), (5, 100, 0.05)],
    ids=["5/10", "5/12.5", "10/40", "3/2", "5/100"],
)
def test_drift(distance_m: float, seconds_s: float, speed_m_s: float) -> None:
    assert drift_speed_m_s(distance_m, seconds_s) == pytest.approx(speed_m_s)


@pytest.mark.parametrize(("distance_m", "seconds_s"), [(5, 0), (5, -1), (0, 5), (-5, 5), (5, math.nan), (math.inf, 5)])
def test_drift_refused(distance_m: float, seconds_s: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        drift_speed_m_s(distance_m, seconds_s)


@pytest.mark.parametrize(
    ("depth_m", "speed_m_s", "limits", "product", "reasons"),
    [
        pytest.param(0, 0, WadingLimits(), 0, (), id="dry"),
        pytest.param(0.5, 0.5, WadingLimits(), 0.25, (), id="both on the limit: 0.25"),
        pytest.param(0.51, 0.5, WadingLimits(), 0.255, ("too_deep",), id="1 cm too deep: 0.255 < 0.3"),
        pytest.param(0.5, 0.51, WadingLimits(), 0.255, ("too_fast",), id="a little too fast: 0.255 < 0.3"),
        pytest.param(0.6, 0.6, WadingLimits(), 0.36, ("too_deep", "too_fast", "product"), id="all: 0.36"),
        pytest.param(0.3, 1.0, WadingLimits(), 0.3, ("too_fast",), id="0.3 x 1.0 is on the product's limit"),
        pytest.param(0.3, 1.01, WadingLimits(), 0.303, ("too_fast", "product"), id="0.3 x 1.01 = 0.303"),
        pytest.param(0.6, 0.5, DEEPER, 0.3, (), id="deeper limits: 0.6 x 0.5 = 0.3"),
        pytest.param(0.61, 0.5, DEEPER, 0.305, ("product",), id="deeper limits: 0.61 x 0.5 = 0.305"),
        pytest.param(0.375, 0.8, DEEPER, 0.3, (), id="0.375 x 0.8 = 0.3, though not in binary"),
        pytest.param(1.2, 0, WadingLimits(), 0, ("too_deep",), id="still but deep"),
    ],
)
def test_check(
    depth_m: float, speed_m_s: float, limits: WadingLimits, product: float, reasons: tuple[str, ...]
) -> None:
    check = check_wading(depth_m, speed_m_s, limits)
    assert (check.ok, check.reasons) == (not reasons, reasons)
    assert check.depth_speed_m2_s == pytest.approx(product)
    assert check.caution


def test_child_stays_on_the_bank_in_a_puddle() -> None:
    assert check_wading(0.05, 0, child=True).reasons == ("child",)


@pytest.mark.parametrize(("depth_m", "speed_m_s"), [(-0.1, 0), (0, -0.1), (math.nan, 0), (0, math.inf)])
def test_check_refused(depth_m: float, speed_m_s: float) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        check_wading(depth_m, speed_m_s)


@pytest.mark.parametrize(
    ("temp_c", "code"),
    [(30, "none"), (21, "none"), (20.9, "caution"), (15, "caution"), (14.9, "short_turns"), (-0.5, "short_turns")],
)
def test_cold(temp_c: float, code: str) -> None:
    assert cold_water(temp_c) == code


def test_cold_refused() -> None:
    with pytest.raises(ValueError, match="temperature"):
        cold_water(math.nan)


sensible = st.floats(0, 5, allow_nan=False)


@given(sensible, sensible, sensible, sensible)
def test_more_water_is_never_safer(depth: float, speed: float, deeper: float, faster: float) -> None:
    before, after = check_wading(depth, speed), check_wading(depth + deeper, speed + faster)
    assert set(before.reasons) <= set(after.reasons) <= set(SAY)
