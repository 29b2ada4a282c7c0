"""Simulated specimens: a true length and family to find out, told in words and drawn with plain characters.

What tells the families apart is that of the family key in ``flows/family.toml``. Source: Tennessen, Dragonfly Nymphs of
North America (2019), ch. 5. The words fit one SMS; drawings go to a terminal only.
"""

from dataclasses import dataclass
from random import Random

from guide.drill.model import DAMSELFLY, Fixed

SLACK_MM = 1
"""A length this far from the true one is right: nobody reads a ruler through a bag better."""

SMALLEST_MM, LARGEST_MM = 14, 42
LATEST_HEAD_MM = 9
_LEGS_BEYOND_MM = 4


@dataclass(frozen=True)
class Look:
    """How a family looks through the bag: words for an SMS, and lines to draw."""

    words: str
    lip: tuple[str, ...]
    head: tuple[str, ...]


_FLAT = (" .-----. ", " |     | ", " |_____| ")
_SCOOP = (r" \     / ", r"  \___/  ", "   '-'   ")
LOOKS = {
    "Aeshnidae": Look(
        "slender, flat lip, feelers of 7 thin joints", _FLAT, (r"  \     /  ", r"   \   /   ", "  (o)_(o)  ")
    ),
    "Gomphidae": Look(
        "flat lip, feelers of 4 joints, the third broad", _FLAT, (r"  ()   ()  ", r"   \\ //   ", "  (o)_(o)  ")
    ),
    "Cordulegastridae": Look(
        "scoop lip, big jagged teeth on its edge", (r" \VvVvV/ ", *_SCOOP[1:]), ("   \\   /   ", "  (o)_(o)  ")
    ),
    "Macromiidae": Look(
        "scoop lip, even teeth, long legs like a spider: middle thigh 1.4 heads, horn in front",
        (r" \uuuuu/ ", *_SCOOP[1:]),
        ("     ^     ", "/ (o)_(o) \\", "\\_/     \\_/"),
    ),
    "Corduliidae": Look(
        "scoop lip, even teeth, middle thigh under a head width, a groove down the lip",
        (r" \uu|uu/ ", r"  \_|_/  ", "   '-'   "),
        ("   \\   /   ", "  (o)_(o)  "),
    ),
    "Libellulidae": Look(
        "scoop lip, even teeth, middle thigh under a head width, no groove in the lip",
        (r" \uuuuu/ ", *_SCOOP[1:]),
        ("   \\   /   ", "  (o)_(o)  "),
    ),
    DAMSELFLY: Look(
        "thin, head wider than the body, three leaf-like gills at the tail",
        (r" \     / ", r"  \   /  ", "   '-'   "),
        (r"  \     /  ", "(o)-----(o)"),
    ),
}
COMMON = ("Aeshnidae", "Libellulidae", "Gomphidae", "Corduliidae", "Macromiidae", "Cordulegastridae")
_WEIGHTS = (5, 5, 3, 3, 2, 2)


@dataclass(frozen=True)
class Specimen:
    """One simulated specimen on the ruler: where its head begins, how long it is, and the slip that lies ready."""

    length_mm: int
    family: str
    head_mm: int
    slip: str

    @property
    def tail_mm(self) -> int:
        """Where the tip of its tail lies on the ruler."""
        return self.head_mm + self.length_mm


def draw_lots(random: Random, slip: str, fixed: Fixed | None = None) -> Specimen:
    """A specimen by chance, or one with a fixed length and family lying by chance."""
    length_mm = random.randint(SMALLEST_MM, LARGEST_MM)
    (family,) = random.choices(COMMON, _WEIGHTS)
    head_mm = random.randint(2, LATEST_HEAD_MM)
    if fixed is not None:
        length_mm, family = fixed.length_mm, fixed.family
    return Specimen(length_mm, family, head_mm, slip)


def words(specimen: Specimen) -> str:
    """The specimen as one text: to measure, not to copy, so the ruler's marks are told and not the length."""
    legs = specimen.tail_mm + _LEGS_BEYOND_MM
    return (
        f"ON THE SPOON: head at {specimen.head_mm}, tail tip {specimen.tail_mm}, feet {legs} mm; "
        f"{LOOKS[specimen.family].words}. Slip {specimen.slip}"
    )


def drawing(specimen: Specimen) -> str:
    """The specimen over a ruler, and its head, feelers and lip as through a lens."""
    look = LOOKS[specimen.family]
    return "\n".join([*_side_by_side(look), "", _body(specimen), *_ruler(specimen.tail_mm + _LEGS_BEYOND_MM + 4)])


def _side_by_side(look: Look) -> list[str]:
    rows = max(len(look.head), len(look.lip))
    head = [*look.head, *[""] * (rows - len(look.head))]
    lip = [*look.lip, *[""] * (rows - len(look.lip))]
    lines = [f"   {left:<16}{right}".rstrip() for left, right in zip(head, lip, strict=True)]
    return ["   head, feelers   lip from below", *lines]


def _body(specimen: Specimen) -> str:
    """The body from head front to tail tip, a character a millimetre; feet reach beyond it and don't count."""
    thin = specimen.family == DAMSELFLY
    tail = "=<" if thin else "->"
    inside = specimen.length_mm - 2 - len(tail)
    body = "(o" + ("-" * inside if thin else ("#" * (inside // 3)).ljust(inside, "=")) + tail
    return " " * specimen.head_mm + body + "." * _LEGS_BEYOND_MM


def _ruler(length_mm: int) -> list[str]:
    """A ruler, a character a millimetre, with a mark at 5 and a number at 10."""
    marks = "".join("|" if at % 10 == 0 else "+" if at % 5 == 0 else "'" for at in range(length_mm + 1))
    numbers = "".join(f"{at:<10}" for at in range(0, length_mm + 1, 10))
    return [marks, f"{numbers.rstrip()} mm"]
