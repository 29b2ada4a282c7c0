"""How much dry ice a cooler needs, whether it fits, and what the carrier will want to know.

Dry ice burns skin, takes the air of closed cars and rooms, and bursts a sealed cooler. The carrier, its
dangerous goods rules and trained packers decide; the sums only say how much is needed. Sources: 49 CFR
173.217; air packing instruction 954 (UN 1845, class 9).
"""

import math
from dataclasses import dataclass
from types import MappingProxyType

RULE_KG_DAY = 4.5  # upper end of the rule of thumb, 2.3 to 4.5 kg per 24 h for a small shipping cooler
SUBLIMATION_C = -78.5
SUBLIMATION_J_KG = 571_000
FOAM_W_MK = 0.033
BULK_KG_L = 0.9
MARGIN = 1.25
SLIP_H = 24

CAUTION = (
    "Thick gloves: it burns. Never in a closed car or room: it takes the air. "
    "Vent open, never sealed: it bursts. Carrier and trained people decide."
)

SAY = MappingProxyType(
    {
        "operator_agrees": "By air only with the operator's agreement: ask the carrier before packing.",
        "post_less": "Air mail by post takes far less dry ice than other carriers: ask first.",
        "light_rules": "At this weight some countries have lighter rules: ask the carrier.",
        "trained_packer": "More than an untrained shipper may send: a trained packer packs and marks it.",
        "over_package": "More than a package may hold by air: use several coolers.",
        "does_not_fit": "It does not fit beside what is inside: use a larger cooler or thicker walls.",
    }
)


@dataclass(frozen=True)
class Cooler:
    """A foam cooler: inner length, width, height and wall thickness in mm; foam's conductivity in W/mK."""

    inner_length_mm: float
    inner_width_mm: float
    inner_height_mm: float
    wall_mm: float
    foam_w_mk: float = FOAM_W_MK

    @property
    def inner_l(self) -> float:
        """Inner volume in litres."""
        return self.inner_length_mm * self.inner_width_mm * self.inner_height_mm / 1e6

    @property
    def mean_area_m2(self) -> float:
        """Mean of the inner and the outer wall area in m2, bottom and lid counted."""
        inner = (self.inner_length_mm, self.inner_width_mm, self.inner_height_mm)
        outer = tuple(side + 2 * self.wall_mm for side in inner)
        return (_area_mm2(*inner) + _area_mm2(*outer)) / 2 / 1e6


@dataclass(frozen=True)
class CarrierLimits:
    """Weights in kg a package: most by air, most under lighter rules, most an untrained shipper may send.

    The first two after 49 CFR 173.217 and packing instruction 954; the third is the programme's own choice,
    to be set lower or higher only on the carrier's word.
    """

    package_kg: float = 200.0
    light_kg: float = 2.5
    untrained_kg: float = 2.5


@dataclass(frozen=True)
class DryIce:
    """Dry ice for one cooler: what the two sums give, what to pack and mark, and what must be said.

    ``rule_kg`` and ``leak_kg`` are for ``hours_h`` before the margin, ``need_kg`` is the larger with the
    margin, ``mark_kg`` is that in whole kilograms rounded up: pack this much and mark it as net weight.
    ``volume_l`` is the room it takes, ``codes`` are keys of ``SAY``.
    """

    hours_h: float
    rule_kg: float
    leak_kg: float
    need_kg: float
    mark_kg: int
    volume_l: float
    fits: bool
    codes: tuple[str, ...]
    caution: str = CAUTION


def heat_leak_w(cooler: Cooler, ambient_c: float = 30.0) -> float:
    """Heat in watts that leaks into a cooler held at -78.5 C from air of ``ambient_c`` degrees Celsius.

    conductivity x mean wall area x difference / thickness; no leak from colder air. Raises ValueError for a
    cooler with a side, a wall or a conductivity not above zero. Source: Fourier's law for a flat wall.
    """
    sizes = (cooler.inner_length_mm, cooler.inner_width_mm, cooler.inner_height_mm, cooler.wall_mm)
    if not all(math.isfinite(size) and size > 0 for size in (*sizes, cooler.foam_w_mk)):
        raise ValueError(f"a cooler's sides, wall and conductivity must be above 0: {cooler}")
    difference_k = max(0.0, ambient_c - SUBLIMATION_C)
    return cooler.foam_w_mk * cooler.mean_area_m2 * difference_k / (cooler.wall_mm / 1000)


def dry_ice_for(
    cooler: Cooler,
    transit_h: float,
    payload_l: float = 0.0,
    ambient_c: float = 30.0,
    limits: CarrierLimits = CarrierLimits(),
) -> DryIce:
    """Dry ice for ``transit_h`` hours from closing to opening as planned, and one day's slip.

    The larger of the rule of thumb (4.5 kg per 24 h, by the hour) and the heat leak (571 kJ/kg), x 1.25.
    ``payload_l`` is the room in litres that samples and padding take. Raises ValueError for a negative
    number, or a time of zero. Sources: shippers' rule of thumb; Fourier's law; 49 CFR 173.217 and packing
    instruction 954 for the limits.
    """
    if not (math.isfinite(transit_h) and transit_h > 0):
        raise ValueError(f"the transit time must be above 0 h, not {transit_h}")
    if not (math.isfinite(payload_l) and payload_l >= 0):
        raise ValueError(f"the payload must be 0 L or more, not {payload_l}")
    hours_h = transit_h + SLIP_H
    rule_kg = RULE_KG_DAY * hours_h / 24
    leak_kg = heat_leak_w(cooler, ambient_c) * hours_h * 3600 / SUBLIMATION_J_KG
    need_kg = max(rule_kg, leak_kg) * MARGIN
    mark_kg = math.ceil(need_kg - 1e-9)
    volume_l = mark_kg / BULK_KG_L
    fits = volume_l <= cooler.inner_l - payload_l + 1e-9
    return DryIce(hours_h, rule_kg, leak_kg, need_kg, mark_kg, volume_l, fits, _codes(mark_kg, fits, limits))


def _codes(mark_kg: float, fits: bool, limits: CarrierLimits) -> tuple[str, ...]:
    said = (
        ("operator_agrees", True),
        ("post_less", True),
        ("light_rules", mark_kg <= limits.light_kg),
        ("trained_packer", mark_kg > limits.untrained_kg),
        ("over_package", mark_kg > limits.package_kg),
        ("does_not_fit", not fits),
    )
    return tuple(code for code, applies in said if applies)


def _area_mm2(length_mm: float, width_mm: float, height_mm: float) -> float:
    return 2 * (length_mm * width_mm + length_mm * height_mm + width_mm * height_mm)
