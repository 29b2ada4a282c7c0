"""``wadeline flow check``: every text held to its SMS, every state of the talk held to the rules."""

import argparse
import json
from pathlib import Path
from typing import Any

from guide.drill.check import check_drills
from guide.drill.load import drills_beside
from guide.flow.check import check_book
from guide.flow.load import RULES, shipped_flows
from guide.flow.model import FlowBook
from guide.proof.prompts import readings, summary, table
from guide.proof.prove import prove


def check(book: FlowBook, args: argparse.Namespace) -> int:
    """Prints what was proved and what wasn't; 1 if there is a problem."""
    report, rows = check_book(book), readings(book)
    if args.table:
        print(table(rows))
    if not report.ok:
        print(report.as_text())
        return 1
    proof = prove(book, rules_beside(args.flows), args.deep)
    drills = check_drills(book, drills_beside(args.flows))
    if args.json:
        figures: dict[str, Any] = {"states": proof.states, "texts": proof.texts, "seconds": round(proof.seconds, 1)}
        figures |= {"problems": [*proof.problems, *drills], "prompts": [row._asdict() for row in rows]}
        print(json.dumps(figures, indent=1))
    else:
        said = drills or ["drills: every text is one SMS, every surprise was answered well and badly"]
        print("\n".join([report.as_text(), summary(rows), proof.as_text(), *said]))
    return 1 if proof.problems or drills else 0


def rules_beside(flows: Path | None) -> Path:
    """The folder of the rules: beside the flows, else the shipped ones."""
    return flows if flows is not None and (flows / RULES).exists() else shipped_flows()
