"""What is done before a shipment leaves, with its cautions: words shared by the screen and the papers."""

from dataclasses import dataclass

from guide.counted import counted
from guide.field.dry_ice import CAUTION

BLEACH_CAUTION = (
    "A cooler that stood on the bank: disinfect its outside, empty, as the permit says. Bleach burns and gives off "
    "fumes: gloves, eyes, open air, children away; never with acids (bottles may hold acid), vinegar or ammonia; never "
    "near samples. The product's label and local rules decide."
)
DEFER = (
    "The carrier's rules, the law and local code, and trained packers decide; this list only reminds. "
    "The carrier must know that dry ice is in it, before it is handed over."
)


@dataclass(frozen=True)
class Load:
    """What goes: counts by larva, water and sediment, whether sediment is frozen, net dry ice in kg, the address."""

    larvae: int
    water: int
    sediment: int
    sediment_frozen: bool
    dry_ice_kg: int
    lab: str = ""

    @property
    def on_dry_ice(self) -> list[str]:
        """What the dry ice cooler holds."""
        held = [counted(self.larvae, "larva", "larvae")] if self.larvae else []
        return held + [f"{self.sediment} sediment"] * bool(self.sediment and self.sediment_frozen)

    @property
    def on_wet_ice(self) -> list[str]:
        """What the wet ice cooler holds."""
        held = [f"{self.water} water"] if self.water else []
        return held + [f"{self.sediment} sediment"] * bool(self.sediment and not self.sediment_frozen)


def checklist(load: Load) -> list[str]:
    """The steps in order, one sentence or two each."""
    steps = []
    if load.on_dry_ice:
        steps += _dry_ice_steps(load)
    if load.on_wet_ice:
        steps.append(
            f"Wet ice cooler: {' and '.join(load.on_wet_ice)}, upright, ice in sealed bags. Water never freezes: no "
            "dry ice in this one, and not against the other cooler."
        )
    steps += [
        "A copy of the custody record (desk ship sheet) in a dry bag inside each lid, one stays with you.",
        f"{load.lab or 'The lab'} has said yes to this day, and knows the carrier and how many coolers come.",
        "Waybill number written on both copies, then: desk ship sent.",
    ]
    return steps


def _dry_ice_steps(load: Load) -> list[str]:
    kg = load.dry_ice_kg
    return [
        f"Dry ice cooler: {' and '.join(load.on_dry_ice)}, still frozen hard, in a closed liner bag; {kg} kg of dry "
        "ice around and above, gaps filled with paper.",
        "Its vent stays open and its lid is not taped all round: gas must get out, or it bursts.",
        f"Its outside: UN 1845, Dry ice, {kg} kg net; the class 9 label; the sender's and the lab's addresses. "
        "Old marks off.",
    ]


def cautions(load: Load) -> list[str]:
    """What can hurt somebody here, and who decides."""
    return [*([f"Dry ice. {CAUTION}"] if load.on_dry_ice else []), f"Bleach. {BLEACH_CAUTION}", DEFER]
