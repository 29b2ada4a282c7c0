"""Dry ice worked by hand: leak W = 0.033 x mean area x (30 + 78.5) / wall; kg = W x seconds / 571000."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.field.dry_ice import SAY, CarrierLimits, Cooler, DryIce, dry_ice_for, heat_leak_w

# 30 cm cube, 5 cm wall: 6 x 0.09 = 0.54 and 6 x 0.16 = 0.96 m2, mean 0.75
CUBE = Cooler(300, 300, 300, 50)
# 20 cm cube, 10 cm wall: 0.24 and 0.96, mean 0.6
THICK = Cooler(200, 200, 200, 100)
# 50 x 40 x 30, 4 cm wall: 2(0.2 + 0.15 + 0.12) = 0.94; 58 x 48 x 38: 2(0.2784 + 0.2204 + 0.1824) = 1.3624
LONG = Cooler(500, 400, 300, 40)
# 1 m cube, 5 cm wall: 6 and 7.26, mean 6.63
HUGE = Cooler(1000, 1000, 1000, 50)

ALWAYS = ("operator_agrees", "post_less")


@pytest.mark.parametrize(
    ("cooler", "area_m2", "inner_l", "leak_w"),
    [
        pytest.param(CUBE, 0.75, 27, 53.7075, id="0.033 x 0.75 x 108.5 / 0.05"),
        pytest.param(THICK, 0.6, 8, 21.483, id="0.033 x 0.6 x 108.5 / 0.1"),
        pytest.param(LONG, 1.1512, 60, 103.04679, id="0.033 x 1.1512 x 108.5 / 0.04"),
        pytest.param(HUGE, 6.63, 1000, 474.7743, id="0.033 x 6.63 x 108.5 / 0.05"),
    ],
)
def test_leak(cooler: Cooler, area_m2: float, inner_l: float, leak_w: float) -> None:
    assert cooler.mean_area_m2 == pytest.approx(area_m2)
    assert cooler.inner_l == pytest.approx(inner_l)
    assert heat_leak_w(cooler) == pytest.approx(leak_w)


def packed(cooler: Cooler, transit_h: float, payload_l: float = 0.0, ambient_c: float = 30.0) -> DryIce:
    return dry_ice_for(cooler, transit_h, payload_l, ambient_c)


@pytest.mark.parametrize(
    ("got", "rule_kg", "leak_kg", "need_kg", "mark_kg", "fits"),
    [
        # 24 h and a day are 172,800 s: 53.7075 x 172800 / 571000 = 16.2533; x 1.25 = 20.3167; 21/0.9 = 23.3 of 27 L
        pytest.param(packed(CUBE, 24), 9, 16.2533, 20.3167, 21, True, id="leak decides"),
        pytest.param(packed(CUBE, 24, 3), 9, 16.2533, 20.3167, 21, True, id="27 - 3 = 24 L hold 23.3"),
        pytest.param(packed(CUBE, 24, 4), 9, 16.2533, 20.3167, 21, False, id="27 - 4 = 23 L do not"),
        # 21.483 x 172800 / 571000 = 6.5013 < 9; 9 x 1.25 = 11.25; 12 / 0.9 = 13.3 L in 8
        pytest.param(packed(THICK, 24), 9, 6.5013, 11.25, 12, False, id="rule of thumb decides"),
        # 72 h: 4.5 x 3 = 13.5; 103.04679 x 259200 / 571000 = 46.7771; x 1.25 = 58.4714; 59/0.9 = 65.6 of 60 L
        pytest.param(packed(LONG, 48), 13.5, 46.7771, 58.4714, 59, False, id="two days"),
        # difference 98.5 K: 53.7075 x 98.5 / 108.5 = 48.7575 W; 14.7554 kg; 18.4442
        pytest.param(packed(CUBE, 24, 0, 20), 9, 14.7554, 18.4442, 19, True, id="20 C outside"),
        pytest.param(packed(CUBE, 24, 0, -78.5), 9, 0, 11.25, 12, True, id="no difference, no leak"),
        pytest.param(packed(CUBE, 24, 0, -90), 9, 0, 11.25, 12, True, id="colder outside, no leak"),
        # 120 h: 22.5; 474.7743 x 432000 / 571000 = 359.1988; x 1.25 = 448.9985
        pytest.param(packed(HUGE, 96), 22.5, 359.1988, 448.9985, 449, True, id="above a package"),
    ],
)
def test_by_hand(got: DryIce, rule_kg: float, leak_kg: float, need_kg: float, mark_kg: int, fits: bool) -> None:
    assert (got.rule_kg, got.leak_kg, got.need_kg) == (
        pytest.approx(rule_kg),
        pytest.approx(leak_kg, rel=1e-5, abs=1e-9),
        pytest.approx(need_kg, rel=1e-5),
    )
    assert (got.mark_kg, got.fits) == (mark_kg, fits)
    assert got.volume_l == pytest.approx(mark_kg / 0.9)


def test_better_foam() -> None:
    # 0.02 x 0.75 x 108.5 / 0.05 = 32.55 W; 9.8505 kg; x 1.25 = 12.3131
    assert packed(Cooler(300, 300, 300, 50, foam_w_mk=0.02), 24).mark_kg == 13


def test_codes() -> None:
    assert packed(CUBE, 24).codes == (*ALWAYS, "trained_packer")
    assert packed(THICK, 24).codes == (*ALWAYS, "trained_packer", "does_not_fit")
    assert packed(HUGE, 96).codes == (*ALWAYS, "trained_packer", "over_package")
    allowed = CarrierLimits(light_kg=21, untrained_kg=21)
    assert dry_ice_for(CUBE, 24, limits=allowed).codes == (*ALWAYS, "light_rules")


@pytest.mark.parametrize(
    "call",
    [
        lambda: dry_ice_for(CUBE, 0),
        lambda: dry_ice_for(CUBE, math.nan),
        lambda: dry_ice_for(CUBE, 24, -1),
        lambda: heat_leak_w(Cooler(300, 300, 300, 0)),
        lambda: heat_leak_w(Cooler(0, 300, 300, 50)),
    ],
)
def test_refused(call: object) -> None:
    assert callable(call)
    with pytest.raises(ValueError, match=r"above 0|0 L or more"):
        call()


sides = st.floats(100, 1000)


@given(st.builds(Cooler, sides, sides, sides, st.floats(10, 150)), st.floats(1, 200), st.floats(0, 100))
def test_never_less_than_either_sum(cooler: Cooler, transit_h: float, payload_l: float) -> None:
    got = dry_ice_for(cooler, transit_h, payload_l)
    assert got.need_kg >= 1.25 * max(got.rule_kg, got.leak_kg) - 1e-9
    assert got.need_kg - 1e-6 <= got.mark_kg < got.need_kg + 1
    assert dry_ice_for(cooler, transit_h + 1, payload_l).mark_kg >= got.mark_kg
    assert ("does_not_fit" in got.codes) != got.fits
    assert set(got.codes) <= set(SAY)
