"""The dragonfly families a larva is told to, with the everyday word for each and the ways people write it.

Source for the names: Tennessen, Dragonfly Nymphs of North America (2019), ch. 5.
"""

from typing import NamedTuple


class Family(NamedTuple):
    """One family: its Latin and everyday names, and other words for it."""

    latin: str
    everyday: str
    words: tuple[str, ...]


EITHER = "Corduliidae/Libellulidae"
"""Two families that can't always be told apart through a bag."""

FAMILIES = (
    Family("Aeshnidae", "darner", ("darners", "aeshnid", "aeshnids", "aesh", "aeshna", "hawker", "hawkers")),
    Family("Gomphidae", "clubtail", ("clubtails", "club", "gomphid", "gomphids", "gomph")),
    Family("Petaluridae", "petaltail", ("petaltails", "petal", "petalurid", "petalurids")),
    Family("Cordulegastridae", "spiketail", ("spiketails", "spike", "cordulegastrid", "cordulegaster")),
    Family("Macromiidae", "cruiser", ("cruisers", "river cruiser", "macromiid", "macromiids", "macromia")),
    Family("Corduliidae", "emerald", ("emeralds", "corduliid", "corduliids", "cordulia")),
    Family("Libellulidae", "skimmer", ("skimmers", "libellulid", "libellulids", "libellula", "libell", "dasher")),
    Family(EITHER, "emerald or skimmer", ("emerald skimmer", "skimmer or emerald", "skimmer emerald", "either")),
)

_BY_LATIN = {family.latin: family for family in FAMILIES}


def family_named(latin: str) -> Family:
    """The family with this Latin name; raises KeyError for any other word."""
    return _BY_LATIN[latin]


def everyday(latin: str) -> str:
    """The everyday word for a family."""
    return _BY_LATIN[latin].everyday
