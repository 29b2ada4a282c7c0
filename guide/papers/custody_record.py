"""The chain-of-custody record: which samples, who handed them to whom, and the log that stands behind it.

People sign by hand. Nothing here comes from the initials that the record keeps apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from guide.counted import counted
from guide.field.dry_ice import CAUTION
from guide.papers.page import Cells, Head, Paper

TO_THE_LAB = ("the freezer to who packs", "who packs to the carrier", "the carrier to the lab", "")
FROM_THE_BANK = ("the group to who drives", "who drives to the freezer", *TO_THE_LAB)
"""Who hands over to whom, each a line to sign; the last is for what nobody foresaw."""

CAUTIONS = (
    f"Dry ice: {CAUTION}",
    "Inner bags stay shut. Water stays on wet ice and never freezes; larvae stay frozen. Thawed, warm, torn or wet: "
    "write it down, keep it, ask the lab.",
    "The carrier's rules, the law and local code, and trained packers decide.",
)


@dataclass(frozen=True)
class Held:
    """A sample in custody: its tag, what it is, where and when it was taken, iced and frozen, and what is marked."""

    tag: str
    what: str
    length_mm: str
    family: str
    place: str
    taken: str
    iced: str
    frozen: str
    remark: str


@dataclass(frozen=True)
class Custody:
    """A record: its code, what it is about, its day, its samples, the facts above them, and the logs' last hashes."""

    programme: str
    code: str
    about: str
    day: str
    facts: Sequence[tuple[str, str]]
    held: Sequence[Held]
    heads: Sequence[tuple[str, str]]
    practice: bool = False
    left_out: str = ""
    hand_overs: Sequence[str] = FROM_THE_BANK


def custody_record(custody: Custody) -> bytes:
    """The record as PDF."""
    first = (
        f"Log of {custody.heads[0][0]} ends with {custody.heads[0][1]}"
        if len(custody.heads) == 1
        else "Logs: at the end of this record"
    )
    paper = Paper(Head("Custody record", custody.programme, custody.code, custody.day, first, custody.practice))
    paper.lines(custody.about, 10)
    paper.facts(custody.facts)
    paper.heading(counted(len(custody.held), "sample"))
    rows = [
        Cells(
            (
                str(n),
                one.tag,
                one.what,
                one.length_mm,
                one.family,
                one.place,
                one.taken,
                one.iced,
                one.frozen,
                one.remark,
            ),
            tick=True,
        )
        for n, one in enumerate(custody.held, 1)
    ]
    names = ("no.", "tag", "what", "mm", "family", "site", "taken", "on ice", "frozen", "marked", "there")
    paper.listing(names, (7, 13, 19, 9, 28, 26, 21, 13, 25, 21, 9), rows)
    if custody.left_out:
        paper.lines(custody.left_out, 8)
    paper.heading("Handed over")
    paper.lines(
        "Each hand-over is one line, filled in by both. Condition: frozen hard, cold, seal whole; if not, what. "
        "Temperature in C, or none.",
        8,
    )
    form = (
        "from, to",
        "given by: name, signature",
        "taken by: name, signature",
        "day, time",
        "condition, C",
        "seal no.",
    )
    paper.grid(form, (30, 46, 46, 22, 28, 18), [(words, "", "", "", "", "") for words in custody.hand_overs], 11.5)
    paper.caution(CAUTIONS)
    if len(custody.heads) > 1:
        paper.heading("The logs behind it")
        paper.listing(("visit", "last hash of its log"), (30, 160), [Cells(one) for one in custody.heads])
    return bytes(paper.output())
