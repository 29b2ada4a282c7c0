"""Bleach: mixes worked by hand. Label 6 % by weight at 1.08 kg/L is 0.06 x 1.08 = 64.8 g NaOCl a litre."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guide.errors import WadelineError
from guide.field import dilution
from guide.field.dilution import Bottle, Household, LabelUnknownError, TooStrongError

VOLUME = [
    # id (working), tub L, percent, label, bleach mL, NaOCl mg/L, available chlorine mg/L
    ("10 L at 10 %: a tenth of 64.8 g/L; x 0.952", 10, 10, 6, 1000, 6480, 6168.96),
    ("10 L at 5 %: a twentieth", 10, 5, 6, 500, 3240, 3084.48),
    ("20 L at 10 % of 8.25 %: 89.1 g/L / 10", 20, 10, 8.25, 2000, 8910, 8482.32),
    ("1 L at 2 % of 5 %: 54 g/L / 50", 1, 2, 5, 20, 1080, 1028.16),
    ("4 L undiluted", 4, 100, 6, 4000, 64800, 61689.6),
    ("5 gal at 10 %: half a gallon", 18.92705892, 10, 6, 1892.705892, 6480, 6168.96),
    ("10 L at 1/11: 909.09 mL, 64800 / 11", 10, 100 / 11, 6, 909.0909, 5890.909, 5608.145),
]


@pytest.mark.parametrize(
    ("tub", "percent", "label", "bleach", "naocl", "chlorine"), [v[1:] for v in VOLUME], ids=[v[0] for v in VOLUME]
)
def test_by_volume(tub: float, percent: float, label: float, bleach: float, naocl: float, chlorine: float) -> None:
    mix = dilution.mix_by_volume(tub, percent, label)
    assert mix.bleach_ml == pytest.approx(bleach)
    assert mix.bleach_ml + mix.water_ml == pytest.approx(tub * 1000)
    assert mix.percent_by_volume == pytest.approx(percent)
    assert mix.bleach == dilution.household(mix.bleach_ml)
    assert mix.naocl_mg_l == pytest.approx(naocl)
    assert mix.available_chlorine_mg_l == pytest.approx(chlorine)
    assert "acid" in mix.caution


def test_by_volume_without_a_label_states_no_strength() -> None:
    mix = dilution.mix_by_volume(10, 10)
    assert (mix.bleach_ml, mix.naocl_mg_l, mix.available_chlorine_mg_l) == (1000, None, None)


STRENGTH = [
    # id (working), tub L, strength %, label %, bleach mL, mg/L
    # 776.4 mL hold 50.31 g NaOCl and weigh 0.8385 kg; with 9.2236 kg of water 10.0621 kg: 50.31/10062.1 = 0.5 %
    ("10 L at 0.5 %: 0.5/(6.48 - 0.04) = 0.07764", 10, 0.5, 6, 776.398, 5031.06),
    ("10 L at 1 % of 5 %: 1/(5.4 - 0.08) = 0.18797", 10, 1, 5, 1879.699, 10150.38),
    ("10 L at 5 % of 8 %: 5/(8.64 - 0.4) = 0.60680", 10, 5, 8, 6067.961, 52427.18),
    ("the label's own strength is undiluted", 1, 6, 6, 1000, 64800),
]


@pytest.mark.parametrize(
    ("tub", "strength", "label", "bleach", "naocl"), [s[1:] for s in STRENGTH], ids=[s[0] for s in STRENGTH]
)
def test_to_strength(tub: float, strength: float, label: float, bleach: float, naocl: float) -> None:
    mix = dilution.mix_to_strength(tub, strength, label)
    assert mix.bleach_ml == pytest.approx(bleach, rel=1e-5)
    assert mix.naocl_mg_l == pytest.approx(naocl, rel=1e-5)


@pytest.mark.parametrize("label", [5, 6, 8.25, 9])
def test_ten_percent_hypochlorite_is_refused_in_words(label: float) -> None:
    with pytest.raises(TooStrongError, match="10 % by volume") as caught:
        dilution.mix_to_strength(10, 10, label)
    assert (caught.value.asked_percent, caught.value.label_percent) == (10, label)
    assert isinstance(caught.value, WadelineError)


def test_strength_without_a_label_is_refused() -> None:
    with pytest.raises(LabelUnknownError, match="Take another bottle"):
        dilution.mix_to_strength(10, 0.5, None)


@pytest.mark.parametrize(("parts", "in_all", "percent"), [(1, 10, 10), (1, 20, 5), (1, 50, 2), (1, 1, 100)], ids=str)
def test_parts_in_all(parts: float, in_all: float, percent: float) -> None:
    assert dilution.percent_in_all(parts, in_all) == pytest.approx(percent)


@pytest.mark.parametrize(
    ("bleach", "water", "percent"),
    [(1, 10, 9.0909), (1, 9, 10), (1, 4, 20), (1, 99, 1)],
    ids=["1+10 is 1 in 11", "1+9 is 1 in 10", "1+4 is 1 in 5", "1+99 is 1 in 100"],
)
def test_parts_to_water(bleach: float, water: float, percent: float) -> None:
    assert dilution.percent_to_water(bleach, water) == pytest.approx(percent, rel=1e-4)


@pytest.mark.parametrize(
    ("volume_ml", "measure", "words"),
    [
        pytest.param(0, (0, 0, 0), "0 teaspoons", id="nothing"),
        pytest.param(4.9, (0, 0, 1), "1 teaspoon", id="4.9 / 4.929 < 1"),
        pytest.param(5, (0, 0, 2), "2 teaspoons", id="5 / 4.929 = 1.01, up to 2"),
        pytest.param(14.78, (0, 1, 0), "1 tablespoon", id="14.78 / 4.929 = 2.999, up to 3"),
        pytest.param(50, (0, 3, 2), "3 tablespoons 2 teaspoons", id="50 / 4.929 = 10.1, up to 11 = 3 x 3 + 2"),
        pytest.param(236.5, (1, 0, 0), "1 cup", id="236.5 / 4.929 = 47.98, up to 48"),
        pytest.param(237, (1, 1, 0), "1 cup 1 tablespoon", id="237 / 14.787 = 16.03, up to 17"),
        pytest.param(500, (2, 2, 0), "2 cups 2 tablespoons", id="500 / 14.787 = 33.8, up to 34"),
        pytest.param(1000, (4, 4, 0), "4 cups 4 tablespoons", id="1000 / 14.787 = 67.6, up to 68"),
        pytest.param(1892.705892, (8, 0, 0), "8 cups", id="half a US gallon"),
    ],
)
def test_household(volume_ml: float, measure: tuple[int, int, int], words: str) -> None:
    assert dilution.household(volume_ml) == Household(*measure)
    assert Household(*measure).words() == words


@pytest.mark.parametrize(
    ("amount", "unit", "litres"),
    [(5, "gal", 18.92705892), (2, "bucket_10_l", 20), (1, "bucket_5_gal", 18.92705892), (3.5, "l", 3.5)],
)
def test_litres(amount: float, unit: str, litres: float) -> None:
    assert dilution.litres_of(amount, unit) == pytest.approx(litres)


@pytest.mark.parametrize(
    ("bottle", "reasons"),
    [
        pytest.param(Bottle(6, 100), (), id="fit"),
        pytest.param(Bottle(5, 365), (), id="5 % and a year are within"),
        pytest.param(Bottle(9, 0), (), id="9 % is within"),
        pytest.param(Bottle(4.9, 0), ("label_outside",), id="weak"),
        pytest.param(Bottle(9.1, 0), ("label_outside",), id="strong"),
        pytest.param(Bottle(None, 0), ("label_unstated",), id="no strength"),
        pytest.param(Bottle(6, 366), ("too_old",), id="a year and a day"),
        pytest.param(Bottle(6, None), ("age_unknown",), id="no age"),
        pytest.param(Bottle(6, 1, scented=True), ("scented",), id="scented"),
        pytest.param(Bottle(1, 400, True, True), ("label_outside", "too_old", "scented", "splashless"), id="all wrong"),
    ],
)
def test_bottle(bottle: Bottle, reasons: tuple[str, ...]) -> None:
    check = dilution.check_bottle(bottle)
    assert (check.ok, check.reasons, check.waived) == (not reasons, reasons, ())
    assert set(reasons) <= set(dilution.SAY)


def test_a_permit_waives_only_what_it_says() -> None:
    bottle = Bottle(12.5, 1, scented=True)
    assert not dilution.check_bottle(bottle, frozenset({"label_outside"})).ok
    check = dilution.check_bottle(bottle, frozenset({"label_outside", "scented"}))
    assert (check.ok, check.waived) == (True, ("label_outside", "scented"))


@pytest.mark.parametrize(
    "call",
    [
        lambda: dilution.mix_by_volume(0, 10),
        lambda: dilution.mix_by_volume(10, 101),
        lambda: dilution.mix_by_volume(10, math.nan),
        lambda: dilution.mix_by_volume(10, 10, 0),
        lambda: dilution.mix_to_strength(10, 0, 6),
        lambda: dilution.percent_in_all(2, 1),
        lambda: dilution.percent_to_water(1, 0),
        lambda: dilution.household(-1),
        lambda: dilution.litres_of(1, "cup"),
    ],
)
def test_refused(call: object) -> None:
    assert callable(call)
    with pytest.raises(ValueError, match=r"above 0|at most|can't|0 mL|unknown unit"):
        call()


tubs, labels = st.floats(0.5, 500), st.floats(5, 9)


@given(tubs, st.floats(0.01, 5), labels)
def test_a_mix_has_the_strength_by_weight(tub: float, strength: float, label: float) -> None:
    mix = dilution.mix_to_strength(tub, strength, label)
    bleach_kg, water_kg = mix.bleach_ml / 1000 * 1.08, mix.water_ml / 1000
    assert 100 * (bleach_kg * label / 100) / (bleach_kg + water_kg) == pytest.approx(strength)
    assert mix.naocl_mg_l is not None
    assert mix.naocl_mg_l >= strength * 9_999.99


@given(st.floats(0, 20_000))
def test_spoons_are_never_too_weak_and_at_most_one_too_strong(volume_ml: float) -> None:
    measure = dilution.household(volume_ml)
    spoons = (measure.cups * 16 + measure.tablespoons) * 3 + measure.teaspoons
    spooned_ml = spoons * 236.5882365 / 48
    assert volume_ml - 1e-6 <= spooned_ml < volume_ml + (14.7868 if volume_ml >= 236.5882365 else 4.9290)
    assert measure.tablespoons < 16
    assert measure.teaspoons < 3
