"""May an adult wade here: depth, speed and their product, and how cold the water is.

Nothing here makes water safe. A result of ``ok`` only means that no limit of the programme is passed; the
person at the bank, the permit, local rules and trained people decide, and staying out is always a good
answer. Children stay on the bank whatever the sums say.
"""

import math
from dataclasses import dataclass
from types import MappingProxyType

# Keeps 0.375 m x 0.8 m/s (0.30000000000000004 in binary) from failing a limit of 0.3.
_ROUNDING = 1e-9

CAUTION = "A sum can't see mud, holes or ice. If unsure, stay out. Children stay on the bank."

SAY = MappingProxyType(
    {
        "too_deep": "It is deeper than this programme wades.",
        "too_fast": "It flows faster than this programme wades.",
        "product": "Depth and speed together push too hard.",
        "child": "Children stay on the bank.",
        "caution": "Cool water: falling in takes the breath away. Keep turns short and stay near the bank.",
        "short_turns": "Cold water: only short turns, with a check-in at each.",
    }
)


@dataclass(frozen=True)
class WadingLimits:
    """The programme's limits for an adult: depth in m (knee), speed in m/s, their product in m2/s.

    With these three defaults depth and speed alone keep the product at 0.25 m2/s or less; the product bites
    where a programme allows deeper or faster water. Source: the programme's own choice, below the low-hazard
    product that Cox et al. (2004, 2010) found for people standing in flow (0.4 m2/s children, 0.6 adults).
    Manuals for professionals forbid wading at about 0.93 m2/s (10 ft2/s: USGS National Field Manual, A9);
    that is a limit for trained people and no volunteer's limit.
    """

    depth_m: float = 0.5
    speed_m_s: float = 0.5
    depth_speed_m2_s: float = 0.3


@dataclass(frozen=True)
class WadingCheck:
    """Whether no limit is passed, the codes of those that are, the product in m2/s, and the caution to show.

    ``reasons`` holds ``too_deep``, ``too_fast``, ``product``, ``child``, in this order. ``ok`` is never a
    promise of safety.
    """

    ok: bool
    reasons: tuple[str, ...]
    depth_speed_m2_s: float
    caution: str = CAUTION


def drift_speed_m_s(distance_m: float, seconds_s: float) -> float:
    """Speed in m/s of a stick that drifts ``distance_m`` metres in ``seconds_s`` seconds.

    The surface speed is used as it is: the mean of the whole depth is lower, so this errs to the safe side,
    but a stick in a back eddy tells nothing about the main flow. Raises ValueError when the distance or the
    time is not above zero: zero seconds is a slip of the watch, and a stick that stays put has no time.
    Source: float method, USGS National Field Manual, A8.
    """
    if not (math.isfinite(distance_m) and distance_m > 0):
        raise ValueError(f"the drift distance must be above 0 m, not {distance_m}")
    if not (math.isfinite(seconds_s) and seconds_s > 0):
        raise ValueError(f"the drift time must be above 0 s, not {seconds_s}")
    return distance_m / seconds_s


def check_wading(
    depth_m: float, speed_m_s: float, limits: WadingLimits = WadingLimits(), *, child: bool = False
) -> WadingCheck:
    """Hold depth in m and speed in m/s against the limits; a value on its limit passes.

    ``child`` is true when a minor would go in: bank only, whatever the water. Speed 0 is still water, where
    mud and drop-offs are probed for instead. Raises ValueError for a negative or unreadable number. Source:
    ``WadingLimits``.
    """
    for name, value in (("depth_m", depth_m), ("speed_m_s", speed_m_s)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} must be 0 or more, not {value}")
    product = depth_m * speed_m_s
    passed = (
        ("too_deep", depth_m > limits.depth_m + _ROUNDING),
        ("too_fast", speed_m_s > limits.speed_m_s + _ROUNDING),
        ("product", product > limits.depth_speed_m2_s + _ROUNDING),
        ("child", child),
    )
    reasons = tuple(code for code, is_passed in passed if is_passed)
    return WadingCheck(not reasons, reasons, product)


def cold_water(temp_c: float, cool_c: float = 21.0, cold_c: float = 15.0) -> str:
    """How cold water of ``temp_c`` degrees Celsius is to a wader: ``none``, ``caution`` or ``short_turns``.

    ``caution`` is below ``cool_c``, ``short_turns`` below ``cold_c``. ``none`` is no all-clear: people
    chill in warmer water too. Raises ValueError when ``temp_c`` is not a number. Source: the programme's
    own choice, in line with the safety chapter of the USGS National Field Manual (A9).
    """
    if not math.isfinite(temp_c):
        raise ValueError(f"the water temperature must be a number, not {temp_c}")
    if temp_c < cold_c:
        return "short_turns"
    return "caution" if temp_c < cool_c else "none"
