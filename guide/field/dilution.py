"""How much household bleach goes into a tub, and whether a bottle may be used at all.

The permit decides which strength, the label and local rules how it is handled; people who were shown how do
it. Every ``Mix`` carries the caution. Sources: public-health guidance for diluting household bleach; label
strength is percent sodium hypochlorite (NaOCl) by weight.
"""

import math
from dataclasses import dataclass
from types import MappingProxyType

from guide.errors import WadelineError

DENSITY_KG_L = 1.08  # household bleach; a programme setting
CHLORINE_PER_NAOCL = 0.952  # available chlorine counts as Cl2: 70.91 g/mol over 74.44 g/mol of NaOCl
GALLON_L = 3.785411784  # US gallon, exact
CUP_ML = GALLON_L * 1000 / 16  # US cup: 16 to the gallon
TABLESPOONS_A_CUP, TEASPOONS_A_TABLESPOON = 16, 3

TUB_UNITS_L = MappingProxyType({"l": 1.0, "gal": GALLON_L, "bucket_10_l": 10.0, "bucket_5_gal": 5 * GALLON_L})

CAUTION = (
    "Gloves, eye cover, fresh air, no children near. Never with acid, vinegar or ammonia: the fumes kill. "
    "Permit and label decide; trained people mix."
)

SAY = MappingProxyType(
    {
        "label_unstated": "The label states no strength.",
        "label_outside": "The label is outside 5 to 9 % hypochlorite.",
        "age_unknown": "Nobody knows how old the bottle is.",
        "too_old": "The bottle is more than a year old: bleach fades.",
        "scented": "Scented bleach is not for this.",
        "splashless": "Splashless bleach has thickeners and is too weak.",
    }
)


class DilutionError(WadelineError):
    """A mix that was asked for can't be made; the text says why and what to do."""


class TooStrongError(DilutionError):
    """The strength asked for is above the bottle's; both in percent NaOCl by weight."""

    def __init__(self, asked_percent: float, label_percent: float) -> None:
        self.asked_percent, self.label_percent = asked_percent, label_percent
        super().__init__(
            f"A mix of {asked_percent:g} % hypochlorite can't be made from bleach of {label_percent:g} %. "
            f"If the permit means {asked_percent:g} % by volume, mix by volume. "
            "If unsure, ask who gave the permit."
        )


class LabelUnknownError(DilutionError):
    """A strength was asked for, but the bottle's label states none."""

    def __init__(self) -> None:
        super().__init__("The label states no strength, so no strength can be mixed. Take another bottle.")


@dataclass(frozen=True)
class Bottle:
    """A bottle as read: ``label_percent`` NaOCl by weight and ``age_days`` since bottling, None if not
    known."""

    label_percent: float | None
    age_days: int | None
    scented: bool = False
    splashless: bool = False


@dataclass(frozen=True)
class BottleCheck:
    """Whether the bottle may be used, the codes against it, and those of them that the permit waives."""

    ok: bool
    reasons: tuple[str, ...]
    waived: tuple[str, ...]


@dataclass(frozen=True)
class Household:
    """A volume in US cups (237 mL), tablespoons (15 mL) and teaspoons (5 mL), level."""

    cups: int
    tablespoons: int
    teaspoons: int

    def words(self) -> str:
        """The measure in words, as ``2 cups 3 tablespoons``; ``0 teaspoons`` for nothing."""
        counts = (("cup", self.cups), ("tablespoon", self.tablespoons), ("teaspoon", self.teaspoons))
        said = [f"{count} {name}{'s' if count > 1 else ''}" for name, count in counts if count]
        return " ".join(said) or "0 teaspoons"


@dataclass(frozen=True)
class Mix:
    """What goes into the tub: bleach and water in mL, the share of bleach by volume, the strength reached.

    ``naocl_mg_l`` and ``available_chlorine_mg_l`` are None when the label states no strength. ``bleach`` is
    ``bleach_ml`` in household measures, rounded up so that the mix is never weaker than asked.
    """

    tub_l: float
    bleach_ml: float
    water_ml: float
    percent_by_volume: float
    naocl_mg_l: float | None
    available_chlorine_mg_l: float | None
    bleach: Household
    caution: str = CAUTION


def litres_of(amount: float, unit: str) -> float:
    """Litres in ``amount`` of a unit: ``l``, ``gal`` (US), ``bucket_10_l``, ``bucket_5_gal``.

    Raises ValueError for another unit or an amount not above zero. Source: the US gallon is 3.785411784 L.
    """
    if unit not in TUB_UNITS_L:
        raise ValueError(f"unknown unit {unit!r}; known are {', '.join(TUB_UNITS_L)}")
    return _positive("amount", amount) * TUB_UNITS_L[unit]


def percent_in_all(parts: float, parts_in_all: float) -> float:
    """Percent by volume of ``parts`` of bleach in ``parts_in_all`` with the water: 1 in 10 is 10 %.

    Raises ValueError unless 0 < parts <= parts_in_all.
    """
    if _positive("parts", parts) > _positive("parts_in_all", parts_in_all):
        raise ValueError(f"{parts:g} parts can't be in {parts_in_all:g} parts in all")
    return 100 * parts / parts_in_all


def percent_to_water(bleach_parts: float, water_parts: float) -> float:
    """Percent by volume of bleach mixed "1 to 10": 1 part and 10 of water are 11 in all, 9.1 %.

    Raises ValueError unless both are above zero.
    """
    return percent_in_all(bleach_parts, bleach_parts + _positive("water_parts", water_parts))


def check_bottle(bottle: Bottle, permit_waives: frozenset[str] = frozenset()) -> BottleCheck:
    """Whether a bottle may be used: label of 5 to 9 %, at most a year (365 days) old, plain.

    A strength or an age that nobody knows counts against it. ``permit_waives`` are codes that the permit
    allows in so many words. Source: the programme's rule after public-health guidance (bleach fades in
    storage; scented and splashless kinds are not for disinfecting).
    """
    label, age_days = bottle.label_percent, bottle.age_days
    against = (
        ("label_unstated", label is None),
        ("label_outside", label is not None and not 5 <= label <= 9),
        ("age_unknown", age_days is None),
        ("too_old", age_days is not None and age_days > 365),
        ("scented", bottle.scented),
        ("splashless", bottle.splashless),
    )
    reasons = tuple(code for code, is_against in against if is_against)
    waived = tuple(code for code in reasons if code in permit_waives)
    return BottleCheck(len(waived) == len(reasons), reasons, waived)


def mix_by_volume(
    tub_l: float, percent: float, label_percent: float | None = None, density_kg_l: float = DENSITY_KG_L
) -> Mix:
    """Bleach for a tub of ``tub_l`` litres in all at ``percent`` by volume: 10 % is 1 part in 10 parts in
    all.

    Strength reached: NaOCl mg/L = percent/100 x label/100 x density x 1,000,000; available chlorine = that x
    0.952 (NaOCl to Cl2; the other way divides). Raises ValueError for a number out of range (percent above
    100, anything not above zero). Source: public-health guidance for bleach; label percent is by weight.
    """
    if _positive("percent", percent) > 100:
        raise ValueError(f"percent by volume is at most 100, not {percent:g}")
    return _mix(_positive("tub_l", tub_l), percent / 100, label_percent, density_kg_l)


def mix_to_strength(
    tub_l: float, naocl_percent: float, label_percent: float | None, density_kg_l: float = DENSITY_KG_L
) -> Mix:
    """Bleach for a tub of ``tub_l`` litres in all that is to hold ``naocl_percent`` hypochlorite by weight.

    From the balance of weights, water at 1 kg/L and volumes added: share = s / (d L - (d - 1) s), with s the
    strength asked, L the label, d the density. Raises TooStrongError when s is above L, as 10 % always is
    with household bottles; LabelUnknownError without a label; ValueError for numbers not above zero.
    Source: public- health guidance for bleach; balance of weights.
    """
    if label_percent is None:
        raise LabelUnknownError
    if _positive("naocl_percent", naocl_percent) > _positive("label_percent", label_percent):
        raise TooStrongError(naocl_percent, label_percent)
    density = _positive("density_kg_l", density_kg_l)
    share = naocl_percent / (density * label_percent - (density - 1) * naocl_percent)
    return _mix(_positive("tub_l", tub_l), share, label_percent, density)


def available_chlorine_mg_l(naocl_mg_l: float) -> float:
    """Available chlorine in mg/L (as Cl2) of ``naocl_mg_l`` mg/L hypochlorite (as NaOCl): x 0.952."""
    return naocl_mg_l * CHLORINE_PER_NAOCL


def household(volume_ml: float) -> Household:
    """``volume_ml`` in level US cups, tablespoons and teaspoons, rounded up.

    Up to the next teaspoon below a cup, up to the next tablespoon from a cup on: at most one spoon too
    strong, never too weak. Raises ValueError for a negative volume. Source: 16 tablespoons of 3 teaspoons a
    US cup.
    """
    if not (math.isfinite(volume_ml) and volume_ml >= 0):
        raise ValueError(f"a volume must be 0 mL or more, not {volume_ml}")
    tablespoons = volume_ml / CUP_ML * TABLESPOONS_A_CUP
    if tablespoons < TABLESPOONS_A_CUP:
        spoons, teaspoons = divmod(_up(tablespoons * TEASPOONS_A_TABLESPOON), TEASPOONS_A_TABLESPOON)
    else:
        spoons, teaspoons = _up(tablespoons), 0
    cups, spoons = divmod(spoons, TABLESPOONS_A_CUP)
    return Household(cups, spoons, teaspoons)


def _mix(tub_l: float, share: float, label_percent: float | None, density_kg_l: float) -> Mix:
    bleach_ml = tub_l * 1000 * share
    naocl_mg_l = None
    if label_percent is not None:
        naocl_mg_l = share * _positive("label_percent", label_percent) / 100 * density_kg_l * 1_000_000
    return Mix(
        tub_l=tub_l,
        bleach_ml=bleach_ml,
        water_ml=tub_l * 1000 - bleach_ml,
        percent_by_volume=share * 100,
        naocl_mg_l=naocl_mg_l,
        available_chlorine_mg_l=None if naocl_mg_l is None else available_chlorine_mg_l(naocl_mg_l),
        bleach=household(bleach_ml),
    )


def _up(number: float) -> int:
    """The next whole number, where a binary rounding error above a whole number is no reason to go up."""
    return math.ceil(number - 1e-9)


def _positive(name: str, number: float) -> float:
    if not (math.isfinite(number) and number > 0):
        raise ValueError(f"{name} must be above 0, not {number}")
    return number
