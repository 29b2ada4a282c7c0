"""The coordinator's path as the README tells it: commands that were run, with what they said, shortened and masked."""

import re
from dataclasses import dataclass

from tests.desk.coordinators_path import Said, Walk, walk

CHANGES = (
    (re.compile(r"(?<=mark )[0-9a-f]{8}"), "........"),
    (re.compile(r"\d{4}-\d\d-\d\dT[\d:.]+Z"), "..."),
    (re.compile(r"\d+(?= (new entries|entries))"), "..."),
)
"""What differs from run to run, since a record names itself by chance: marks, times of the desk's own clock, counts."""


@dataclass(frozen=True)
class Piece:
    """A command of the path and the lines of its answer worth reading, by their beginnings (none given: all)."""

    command: str
    lines: tuple[str, ...] = ()
    time: int = 0
    before: str = ""


def pieces(path: Walk) -> list[Piece]:
    """What is told, in order."""
    pond, brook = path.code["amberwell"], path.code["quill"]
    return [
        Piece("programme", ("sites", "wanted", "lab receives", "carrier", "coordinators"), before="Set up"),
        Piece("sites", ("code", "quill")),
        Piece("groups", ("code", "G1", "G4")),
        Piece("tags make"),
        Piece("tags assign"),
        Piece("merge", before="Two pairs texted their visits in; a third used a laptop where no network is"),
        Piece("visit", time=1),
        Piece(f"visit {pond}", ("no ", "s3", "s7", "findings", "- ", "    fix     if"), before="Review"),
        Piece(f"fix {pond}"),
        Piece(f"fix {brook}"),
        Piece(f"accept {pond}"),
        Piece(
            "choose --site amberwell", ("7 go", "tag", "03014", "7 larvae", "1 stays", "03067", "Stored"), 2, "Choose"
        ),
        Piece("ship plan --all --from", ("23 larvae", "Not", "Tue", "Good", "  the larger", "Dry ice."), before="Ship"),
        Piece("ship plan --all --day 2026-10-27", ("Kept",)),
        Piece("ship pack", ("03009", "03067", "22 of")),
        Piece("ship pack", ("23 of",), 1),
        Piece("ship sent", ("S1",)),
        Piece("ship received"),
        Piece("export", ("file", "samples", "log", "custody_S1", "summary_q"), before="Hand over"),
        Piece("verify handover/log.jsonl", ("ok",)),
    ]


def desk() -> str:
    """The path as a Markdown block."""
    path = walk()
    told = [line for piece in pieces(path) for line in _told(path.find(piece.command, piece.time), piece)]
    return "\n".join(["```", *told[1:], "```"])


def _told(said: Said, piece: Piece) -> list[str]:
    lead = ["", f"# {piece.before}."] if piece.before else []
    given = f"   (tags scanned, {said.given.count(chr(10))} lines)" if said.given else ""
    return [*lead, f"$ {said.typed}{given}", *_shortened(said.out.splitlines(), piece.lines)]


def _shortened(lines: list[str], wanted: tuple[str, ...]) -> list[str]:
    """The lines that begin as wanted, ``...`` where some are left out between them."""
    kept: list[str] = []
    for line in lines:
        if not wanted or line.startswith(wanted):
            kept.append(_masked(line))
        elif line and kept and kept[-1] != "...":
            kept.append("...")
    return kept


def _masked(line: str) -> str:
    for pattern, instead in CHANGES:
        line = pattern.sub(instead, line)
    return line


if __name__ == "__main__":
    print(desk())
