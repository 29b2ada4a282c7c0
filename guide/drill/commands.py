"""``wadeline drill``: what the options ask for. Imported only when the command runs or its help is asked for."""

import argparse
import secrets
import shutil
import sys
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from guide.cli import read_book, record_path
from guide.drill.debrief import as_text, debrief, explain
from guide.drill.load import drills_beside, load_drills
from guide.drill.model import Drill, DrillError
from guide.drill.session import Session, Wanted, end_stale
from guide.drill.view import find_session
from guide.flow.model import FlowBook
from guide.record.open import open_record
from guide.record.store import Store

_LONGEST_GROUP = 20


def drill_options(parser: argparse.ArgumentParser) -> None:
    """All options of the command."""
    parser.add_argument("drill", nargs="?", metavar="DRILL", help="a drill's name, such as first_larva (else a list)")
    parser.add_argument("--pairs", type=int, default=1, metavar="N", help="how many pairs play (1 to 12)")
    parser.add_argument("--rounds", type=int, default=0, metavar="N", help="how often (else as the drill says)")
    parser.add_argument("--group", default="", metavar="CODE", help="a group's code, to see if it gets better")
    board = "pairs text from their own phones, this terminal is the trainer's board; alone: that of the last drill"
    parser.add_argument("--board", action="store_true", help=board)
    parser.add_argument("--seed", type=int, help="the same surprises and specimens each time")
    parser.add_argument("--auto", type=int, metavar="SEED", help="a simulated pair plays (--db keeps it)")
    parser.add_argument("--skill", type=float, default=0.5, metavar="PART", help="of the simulated pair, 0 to 1")
    told = parser.add_mutually_exclusive_group()
    told.add_argument("--debrief", nargs="?", const="", metavar="NUMBER", help="print a debrief (else the last one)")
    told.add_argument("--explain", nargs="?", const="", metavar="NUMBER", help="print a score point by point")
    parser.add_argument("--page", type=Path, metavar="FILE", help="keep the debrief as a page")
    parser.add_argument("--drills", type=Path, metavar="DIR", help="a folder of drill files (else those shipped)")
    parser.add_argument("--db", type=Path, help="the record (else WADELINE_DB, else one in your data folder)")
    parser.add_argument("--programme", type=Path, metavar="FILE", help="a programme's settings (else the demo's)")
    parser.add_argument("--flows", type=Path, metavar="DIR", help="a folder of flow files (else those shipped)")
    parser.set_defaults(run=run_drill)


def run_drill(args: argparse.Namespace) -> int:
    """Runs the command."""
    _check(args)
    if args.auto is not None and args.db is None:
        with TemporaryDirectory(prefix="wadeline-drill-") as folder:
            return _run(args, Path(folder) / "record.db")
    return _run(args, record_path(args.db))


def _check(args: argparse.Namespace) -> None:
    if not 0 <= args.skill <= 1:
        raise DrillError("--skill takes 0 to 1, such as --skill 0.3")
    if args.rounds < 0 or args.rounds > 20:
        raise DrillError("--rounds takes 1 to 20")
    if args.group and (len(args.group) > _LONGEST_GROUP or not args.group.replace("-", "").isalnum()):
        raise DrillError(f"--group takes a code of letters and digits, {_LONGEST_GROUP} at most: no names of people")
    if args.board and args.auto is not None:
        raise DrillError("--board shows people who text; a simulated pair plays without it")


def _run(args: argparse.Namespace, path: Path) -> int:
    with closing(open_record(path)) as db:
        store, book = Store(db), read_book(args, db)
        drills = {drill.name: drill for drill in load_drills(book, args.drills or drills_beside(args.flows))}
        if args.debrief is not None or args.explain is not None:
            return _tell(store, drills, args)
        end_stale(store, book, drills, datetime.now(UTC))
        if args.auto is not None:
            return _auto(store, book, drills, args)
        if args.board:
            return _board(store, book, drills, args)
        return _laptop(store, book, drills, args)


def _tell(store: Store, drills: dict[str, Drill], args: argparse.Namespace) -> int:
    view = find_session(store.db, args.debrief or args.explain or None)
    if args.explain is not None:
        print(explain(store.db, view))
    else:
        _debrief(store, drills, args.page, view.number)
    return 0


def _debrief(store: Store, drills: dict[str, Drill], page: Path | None, number: str) -> None:
    told = debrief(store.db, find_session(store.db, number), drills)
    print(as_text(told, _width()))
    if page is not None:
        from guide.drill.page import as_page

        page.write_text(as_page(told), "utf-8")
        print(f"\nkept as {page}")


def _wanted(drill: Drill, args: argparse.Namespace, seed: int, **how: bool) -> Wanted:
    return Wanted(drill, args.pairs, args.rounds, seed, args.group, **how)


def _auto(store: Store, book: FlowBook, drills: dict[str, Drill], args: argparse.Namespace) -> int:
    from guide.drill.auto import BEGIN, play
    from guide.drill.debrief import SIMULATED

    drill = _named(drills, args.drill or next(iter(drills)))
    print(f"{SIMULATED} Skill {args.skill:g}, seed {args.auto}.\n")
    session = Session.begin(store, book, _wanted(drill, args, args.auto, simulated=True), BEGIN)
    play(session, args.skill)
    _debrief(store, drills, args.page, session.view.number)
    if args.db is None:
        print("\nNothing of it was kept; --db FILE keeps it, for --debrief and --explain.")
    return 0


def _laptop(store: Store, book: FlowBook, drills: dict[str, Drill], args: argparse.Namespace) -> int:
    from guide.drill.laptop import play

    drill = _choose(drills, args.drill)
    if drill is None:
        return 0
    session = Session.begin(store, book, _wanted(drill, args, _seed(args)), datetime.now(UTC))
    play(session)
    if session.view.lines[-1].kind != "drill_begun":
        _debrief(store, drills, args.page, session.view.number)
        where = f" --db {args.db}" if args.db else ""
        print(f"\nTo keep as a page: wadeline drill --debrief {session.view.number} --page debrief.html{where}")
    return 0


def _board(store: Store, book: FlowBook, drills: dict[str, Drill], args: argparse.Namespace) -> int:
    from guide.drill.board import run_board
    from guide.drill.session import drill_exchange

    now = datetime.now(UTC)
    if args.drill is None:
        view = find_session(store.db, None)
        if view.ended:
            raise DrillError(f"drill {view.number} is over; begin one: wadeline drill first_larva --board --pairs 4")
        drill = _named(drills, view.drill)
        session = Session(drill_exchange(store, book, drill, view.seed, now), drill, view.stream)
    else:
        drill = _named(drills, args.drill)
        session = Session.begin(store, book, _wanted(drill, args, _seed(args), in_turn=False), now)
    run_board(session)
    if session.read().ended:
        _debrief(store, drills, args.page, session.view.number)
    else:
        print(f"Drill {session.view.number} goes on. Its board: wadeline drill --board")
    return 0


def _seed(args: argparse.Namespace) -> int:
    return args.seed if args.seed is not None else secrets.randbelow(10_000)


def _named(drills: dict[str, Drill], name: str) -> Drill:
    if name not in drills:
        from difflib import get_close_matches

        near = get_close_matches(name, list(drills), 1, 0.5)
        hint = f", did you mean {near[0]}?" if near else f"; there are {', '.join(drills)}"
        raise DrillError(f"there is no drill {name}{hint}")
    return drills[name]


def _choose(drills: dict[str, Drill], name: str | None) -> Drill | None:
    """The drill named, or the one chosen from a list by one key and Enter; None at the end of the input."""
    if name is not None:
        return _named(drills, name)
    listed = list(drills.values())
    print("Drills: practice, nothing counts.\n")
    for key, drill in zip(_KEYS, listed, strict=False):
        print(f" {key}  {drill.title:<26} {drill.minutes:>3} min  {drill.about['en']}"[: _width()])
    while True:
        try:
            key = input("\nWhich one? A key and Enter: ").strip().casefold()
        except (EOFError, KeyboardInterrupt):
            print()
            return None
        if key and key in _KEYS[: len(listed)]:
            print()
            return listed[_KEYS.index(key)]
        print(f"Type a key from {_KEYS[0]} to {_KEYS[min(len(listed), len(_KEYS)) - 1]}; Ctrl-D leaves.")


_KEYS = "1234567890abcdefghijklmnopqrstuvwxyz"


def _width() -> int:
    return shutil.get_terminal_size().columns - 1 if sys.stdout.isatty() else 200
