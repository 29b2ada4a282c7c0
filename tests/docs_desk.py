"""The coordinator's path as the README tells it: commands that were run, and lines of their answers."""

from dataclasses import dataclass
from textwrap import wrap

from tests.desk.coordinators_path import Said, Walk, walk

WIDEST = 112


@dataclass(frozen=True)
class Piece:
    """A command of the path and the lines of its answer worth reading, by their beginnings (none given: all)."""

    command: str
    lines: tuple[str, ...] = ()
    time: int = 0
    before: str = ""


def pieces(path: Walk) -> list[Piece]:
    """What is told, in order."""
    pond = path.code["amberwell"]
    review = ("no ", "s3", "s7", "findings", "- ", "    fix     if")
    choice = ("7 go", "tag", "03014", "7 larvae", "1 stays", "03067", "Stored")
    plan = ("Not Mon", "Tue", "Good", "  the larger", "Dry ice.")
    around = "Ship around a holiday, scan the tags into the box, hear what came"
    return [
        Piece("programme", ("wanted", "lab receives", "coordinators"), before="Set up"),
        Piece("groups", ("code", "G1", "G4")),
        Piece("tags make"),
        Piece("merge", before="Two pairs text their visits in; a third has used a laptop, out of reach of any network"),
        Piece("visit", time=1, before="Review: what is odd, and the command that puts it right"),
        Piece(f"visit {pond}", review),
        Piece(f"fix {pond}"),
        Piece(f"accept {pond}"),
        Piece("choose --site amberwell", choice, 2, "Choose: which go to the lab, and why the others stay"),
        Piece("ship plan --all --from", plan, before=around),
        Piece("ship plan --all --day 2026-10-27", ("Kept",)),
        Piece("ship pack", ("03009", "03067", "22 of")),
        Piece("ship pack", ("23 of",), 1),
        Piece("ship sent", ("S1",)),
        Piece("ship received", ("S1", "MISSING", "DAMAGED", "Look")),
        Piece("export", ("16 files",), before="Hand over: tables, log, papers"),
        Piece("verify handover/log.jsonl", ("ok",)),
    ]


def desk() -> str:
    """The path as a Markdown block."""
    path = walk()
    told = [line for piece in pieces(path) for line in _told(path.find(piece.command, piece.time), piece)]
    return "\n".join(["```", *told[1:], "```"])


def _told(said: Said, piece: Piece) -> list[str]:
    lead = ["", f"# {piece.before}."] if piece.before else []
    tags = said.given.count("\n")
    given = f"   # {tags} tags scanned" if tags > 1 else "   # 1 tag scanned" if tags else ""
    kept = [line for line in said.out.splitlines() if not piece.lines or line.startswith(piece.lines)]
    missing = [start for start in piece.lines if not any(line.startswith(start) for line in kept)]
    assert not missing, f"{said.typed} says nothing that begins with {missing}"
    return [*lead, f"$ {said.typed}{given}", *(part for line in kept for part in _shown(line))]


def _shown(line: str) -> list[str]:
    """A line, folded where it is too wide for a page."""
    return wrap(line, WIDEST, subsequent_indent="    ") if len(line) > WIDEST else [line]


if __name__ == "__main__":
    print(desk())
