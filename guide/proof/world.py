"""A visit held in memory: a seat's talk, its snapshot and its timers, and what a decision makes of them.

The log's entries are folded here as ``guide/record/fold.py`` folds them into tables; a test holds the two against each
other, text by text.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

from guide.record.log import Entry
from guide.talk.decide import begin, begin_joined, decide
from guide.talk.decision import Decision
from guide.talk.memory import MemorySnapshot
from guide.talk.snapshot import KitView, SampleView, SeatFacts, SeatView, TagView, VisitView
from guide.talk.state import SeatState
from guide.talk.timers import fire
from guide.talk.turn import Talk

START = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


class Move(NamedTuple):
    """What happens next: a ``text``, a ``timer`` that is due, or something another seat does (``other``)."""

    kind: str
    words: str


class World(NamedTuple):
    """Everything the next decision depends on. ``state`` is None before the first text.

    ``side`` names a visit that differs from the usual one (another pair at work, another sort of bottle).
    """

    talk: Talk
    snapshot: MemorySnapshot
    seat: SeatFacts
    timers: Mapping[str, datetime]
    now: datetime
    state: SeatState | None = None
    side: str = ""

    @property
    def at(self) -> SeatState:
        """The seat's state; the talk has begun."""
        assert self.state is not None
        return self.state


def new_world(
    talk: Talk, kits: Mapping[str, KitView], side: str = "", clean: int = 0, others: tuple[SeatView, ...] = ()
) -> World:
    """A visit nobody has texted to yet, its tags free."""
    from guide.field.tags import block

    tags = talk.book.settings.tags
    codes = block(tags.first, tags.count, tags.width)
    settings = talk.book.settings
    known: dict[str, Any] = {"site": settings.sites[0].code, "people": 5, "minors": 0, "kit": "K1"} if others else {}
    visit = VisitView(
        "v1", "ABCD2345", settings.practice, settings.target, site=known.get("site"), answers=known, word="yarrow18"
    )
    snapshot = MemorySnapshot(
        visit, [], {code: TagView(code, "free") for code in codes}, list(others), clean, dict(kits)
    )
    role = "leader" if side == "leader" else "pair"
    return World(talk, snapshot, SeatFacts("A", "heron42", role, now=START), {}, START, side=side)


def after(world: World, move: Move) -> tuple[World, Decision]:
    """The world after a move, and the decision that made it so."""
    if move.kind == "other":
        return _another(world, move.words), Decision(world.at)
    if move.kind == "timer":
        due = max(world.timers[move.words], world.now)
        world = world._replace(now=due, timers={k: v for k, v in world.timers.items() if k != move.words})
        decision = fire(world.talk, world.at, world.snapshot, world.seat, move.words, due)
    else:
        turn = world.seat.turn + 1
        now = world.now + MINUTE
        world = world._replace(seat=SeatFacts("A", "heron42", world.seat.role, world.seat.lossy, turn, now), now=now)
        decision = _first(world, move.words) if world.state is None else _next(world, move.words)
    return _apply(world, decision), decision


def _another(world: World, what: str) -> World:
    """What another seat does: it answers the safety questions, finds what is wanted, packs up, or closes."""
    if what == "packs":
        seats = [SeatView(s.id, s.letter, s.role, s.visit, s.phone, "pairs.done") for s in world.snapshot.seats]
        return world._replace(snapshot=replace(world.snapshot, seats=seats))
    if what == "finds":
        target = world.snapshot.visit_view.target
        found = [SampleView(f"b-{n}", "kept", None, 27, "Aeshnidae", True, "B") for n in range(target)]
        return world._replace(snapshot=replace(world.snapshot, sample_views=[*world.snapshot.sample_views, *found]))
    entry = {"gate": Entry("answer", "", {"gate": "safety", "in_water": 1}), "closes": Entry("visit_closed")}[what]
    return world._replace(snapshot=fold(world.snapshot, (entry,), "B", world.now))


def _first(world: World, words: str) -> Decision:
    if words.startswith("join"):
        return begin_joined(world.talk, world.snapshot, world.seat, world.now)
    return begin(world.talk, world.snapshot, world.seat, words, world.now)


def _next(world: World, words: str) -> Decision:
    return decide(world.talk, world.at, world.snapshot, world.seat, words, world.now)


def _apply(world: World, decision: Decision) -> World:
    timers = world.timers
    if decision.timers:
        changed = dict(timers)
        for change in decision.timers:
            if change.due is None:
                changed.pop(change.kind, None)
            else:
                changed[change.kind] = change.due
        timers = changed
    snapshot = fold(world.snapshot, decision.entries, world.seat.letter, world.now) if decision.entries else None
    return world._replace(snapshot=snapshot or world.snapshot, timers=timers, state=decision.state)


def fold(old: MemorySnapshot, entries: tuple[Entry, ...], letter: str, now: datetime) -> MemorySnapshot:
    """The snapshot as the record would show it with these entries appended; the old one is left as it was."""
    draft = _Fold(old, letter, now)
    for entry in entries:
        writer = _WRITERS.get(entry.kind)
        if writer is not None:
            writer(draft, entry)
    view = old.visit_view
    visit = VisitView(
        view.uid, view.code8, view.practice, view.target, draft.status, draft.answers.get("site"), draft.answers,
        view.opened_at, view.word,
    )  # fmt: skip
    samples = list(draft.samples.values())
    return MemorySnapshot(visit, samples, draft.tags, old.seats, old.clean, draft.kits, draft.times, old.bottle_day)


class _Fold:
    """The views of a snapshot, being changed."""

    def __init__(self, old: MemorySnapshot, letter: str, now: datetime) -> None:
        self.letter, self.now = letter, now
        self.status, self.answers = old.visit_view.status, dict(old.visit_view.answers)
        self.visit_uid = old.visit_view.uid
        self.samples = {sample.uid: sample for sample in old.sample_views}
        self.tags, self.kits, self.times = dict(old.tags), dict(old.kits), list(old.times)

    def set_sample(self, uid: str | None, **values: Any) -> None:
        if uid is None or uid not in self.samples:
            return
        old = self.samples[uid]
        known = {name: getattr(old, name) for name in _SAMPLE_FIELDS}
        self.samples[uid] = SampleView(**{**known, **values})

    def set_tag(self, code: str, status: str, sample: str | None) -> None:
        self.tags[code] = TagView(code, status, sample, self.visit_uid if sample else None)


_SAMPLE_FIELDS = (
    "uid", "status", "tag", "length_mm", "family", "sure", "seat", "gloves", "flags", "sealed", "kind",
)  # fmt: skip


def _answer(fold: _Fold, entry: Entry) -> None:
    if entry.sample_uid is None:
        fold.answers.update(entry.data)
        return
    sample = fold.samples.get(entry.sample_uid)
    if sample is None:
        return
    values: dict[str, Any] = {name: entry.data[name] for name in ("length_mm", "family", "tag") if name in entry.data}
    if "family" in values:
        values["sure"] = entry.data.get("sure")
    if "tag" in values:
        if sample.tag:
            fold.set_tag(sample.tag, "free", None)
        fold.set_tag(values["tag"], "used", sample.uid)
    before = tuple(f for f in sample.flags if "length_mm" not in values or f not in ("odd_length_mm", "under_minimum"))
    flags = tuple(dict.fromkeys((*before, *entry.data.get("flags", []))))
    fold.set_sample(entry.sample_uid, **values, flags=flags)


def _opened(fold: _Fold, entry: Entry) -> None:
    uid = entry.sample_uid or ""
    fold.samples[uid] = SampleView(uid, "open", seat=fold.letter, gloves=entry.data["gloves"], kind=entry.data["kind"])


def _sealed(fold: _Fold, entry: Entry) -> None:
    sample = fold.samples.get(entry.sample_uid or "")
    gloves = "reported" if sample is not None and sample.gloves == "reported" else entry.data["gloves"]
    fold.set_sample(entry.sample_uid, sealed=True, gloves=gloves)


def _kept(fold: _Fold, entry: Entry) -> None:
    sample = fold.samples.get(entry.sample_uid or "")
    if sample is not None and sample.status == "open":
        fold.set_sample(entry.sample_uid, status="kept")
        if sample.kind == "larva":
            fold.times.append((fold.letter, fold.now))


def _void(fold: _Fold, entry: Entry) -> None:
    fold.set_sample(entry.sample_uid, status="void")
    sample = fold.samples.get(entry.sample_uid or "")
    if sample is not None and sample.tag:
        fold.set_tag(sample.tag, "void", sample.uid)


def _flag(fold: _Fold, entry: Entry) -> None:
    sample = fold.samples.get(entry.sample_uid or "")
    if sample is not None:
        fold.set_sample(entry.sample_uid, flags=tuple(dict.fromkeys((*sample.flags, entry.data["flag"]))))


def _swap(fold: _Fold, entry: Entry) -> None:
    for uid, tag in entry.data["tags"].items():
        fold.set_sample(uid, tag=tag)
        fold.set_tag(tag, "used", uid)


def _contamination(fold: _Fold, entry: Entry) -> None:
    if entry.data.get("gloves"):
        fold.set_sample(entry.sample_uid, gloves=entry.data["gloves"])


def _kit_used(fold: _Fold, entry: Entry) -> None:
    fold.kits[entry.data["kit"]] = KitView(entry.data["site"], False, fold.visit_uid)


def _kit_clean(fold: _Fold, entry: Entry) -> None:
    known = fold.kits.get(entry.data["kit"])
    site, visit = (known.last_site, known.last_visit) if known else (None, None)
    fold.kits[entry.data["kit"]] = KitView(site, True, visit)


def _closed(fold: _Fold, entry: Entry) -> None:
    fold.status = "closed"


_WRITERS = {
    "answer": _answer,
    "fix": _answer,
    "sample_opened": _opened,
    "sealed": _sealed,
    "kept": _kept,
    "void": _void,
    "flag": _flag,
    "swap": _swap,
    "contamination": _contamination,
    "kit_used": _kit_used,
    "kit_disinfected": _kit_clean,
    "visit_closed": _closed,
}
