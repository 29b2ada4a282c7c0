"""What a move made happen, in the words of the rules."""

from collections.abc import Iterable

from guide.flow.model import RETURN, ROUTE, Branch
from guide.proof.rules import Event
from guide.proof.world import Move, World
from guide.record.log import Entry
from guide.talk.decision import Decision
from guide.talk.state import SeatState
from guide.talk.words import WORDS

_WORDS = frozenset(word.name for word in WORDS)


def events(
    before: World, move: Move, now: World, decision: Decision, moves: Iterable[tuple[str, str, Branch]]
) -> list[Event]:
    """In order: the word or timer, what was answered, entries, timers, and the prompt the pair stands at."""
    if move.kind == "other":
        return [("other", move.words)]
    found: list[Event] = []
    step, moves = now.talk.book.step, list(moves)
    if move.kind == "timer":
        found.append(("time", move.words))
    elif (word := move.words.partition(" ")[0]) in _WORDS:
        found.append(("texts", word))
    elif any(entry.kind == "danger" for entry in decision.entries):
        found.append(("texts", "DANGER"))
    for state, outcome, _ in moves:
        if step(state).kind != ROUTE:
            found.append(("answers", state, outcome, *step(state).acts))
    stirred = bool(found)
    found += [_entry(entry) for entry in decision.entries if _is_ours(entry, before, now, decision, bool(moves))]
    found += [("starts" if change.due else "stops", change.kind) for change in decision.timers]
    found += [("returns", step(state).flow) for state, _, branch in moves if branch.go == RETURN]
    if stirred or before.state is None or _place(before.state) != _place(now.at):
        standing = now.at.top.state
        found.append(("asks", standing, *step(standing).acts))
    return found


def _is_ours(entry: Entry, before: World, now: World, decision: Decision, moved: bool) -> bool:
    """An entry of the visit, or of the sample in hand: what is told of others on the way is no act of this step."""
    if entry.sample_uid is None or entry.kind in ("contamination", "remedy", "flag"):
        return True
    if entry.sample_uid in (before.state.base.sample if before.state else None, now.at.base.sample):
        return True
    opened = any(e.kind == "sample_opened" and e.sample_uid == entry.sample_uid for e in decision.entries)
    return moved and opened


def _place(state: SeatState) -> list[str]:
    return [frame.state for frame in state.frames]


def _entry(entry: Entry) -> Event:
    words = []
    for name, value in entry.data.items():
        words.append(name)
        words += [str(one) for one in value] if isinstance(value, list) else [str(value)]
    return ("logs", entry.kind, entry.step, *words)
