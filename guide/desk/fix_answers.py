"""``desk fix`` of a visit's own answers: site, day, group, and what the talk asked. The original stays in the log.

A value is read as the talk would read it, by the reply kind of the step that asked. What was said at the safety
questions stands as said: nobody can know afterwards what people would have done on another answer.
"""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from guide.desk.acts import CALLED, called, show
from guide.desk.custody import time_at_site
from guide.desk.lab import nearest
from guide.desk.visits import Visit, VisitError, sites_of
from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.model import FlowBook, Step
from guide.flow.replies.base import Asked
from guide.flow.replies.clean import plain
from guide.flow.replies.kinds import KINDS
from guide.flow.settings import Site
from guide.record.books import ready_book
from guide.record.log import Entry
from guide.record.programme import stored_programme
from guide.record.store import DESK
from guide.record.visit_answers import ALONE, Told, heads, standing, told_of
from guide.talk.blanks import REGISTRY
from guide.talk.samples import is_odd

STEP = "desk.fix"
MEASURED = ("water_c",)
"""Told at the safety questions, and a measurement for the lab: as that it can be put right. What was said at the
questions stands in the record of safety."""

_GATES = ("safety", "storm", "danger")
_GATE_STEPS = ("close.out", "close.missing", "close.home", "close.not_home")
_GATE_ANSWERS = ("gate", "permit_in_hand")
_ELSEWHERE = {
    "custody": "who has the cooler is told with desk custody --visit {code} --add",
    "seal_number": "a seal is told with desk custody --visit {code} --add",
    "kit": "where a kit was decides what the next group is asked: note it, and tell the group that has it",
    "target": "the larvae wanted are the programme's",
}
_NO_ANSWERS = ("pace", "slip_tag", *_ELSEWHERE)


@dataclass(frozen=True)
class Answer:
    """An answer to be put right: its name in the record and the steps that ask for it (none for day and group)."""

    name: str
    steps: tuple[Step, ...] = ()

    @property
    def called(self) -> str:
        """What the desk calls it."""
        return called(self.name)

    @property
    def at_the_gate(self) -> bool:
        """Whether it was told where people's safety was asked about, and so stands as said."""
        asked = [step for step in self.steps if step.flow not in _GATES and step.id not in _GATE_STEPS]
        return self.name in _GATE_ANSWERS or (bool(self.steps) and not asked and self.name not in MEASURED)


def answers_of(book: FlowBook) -> dict[str, Answer]:
    """What a visit of this book tells of itself, by what the desk calls it."""
    asked: dict[str, list[Step]] = {}
    for step in book.steps.values():
        if step.save and step.about == "visit" and step.save not in _NO_ANSWERS:
            asked.setdefault(step.save, []).append(step)
    known = {called(name): Answer(name) for name in ALONE}
    known |= {name: Answer(name, tuple(steps)) for name, steps in asked.items()}
    return {name: known[name] for name in ("site", *known) if name in known}


def is_answer(visit: Visit, db: sqlite3.Connection, word: str) -> bool:
    """Whether a word names an answer of the visit, so that no sample is meant."""
    return _name(word) in (*answers_of(book_of(db, visit)), *CALLED, *_NO_ANSWERS)


def book_of(db: sqlite3.Connection, visit: Visit) -> FlowBook:
    """The flow book a visit began with; where only its log came, that of new visits."""
    row = db.execute(
        "SELECT toml FROM flow_book WHERE hash = (SELECT book_hash FROM visit WHERE uid = ?)", (visit.uid,)
    ).fetchone()
    text = row[0] if row else book_text(shipped_flows(), stored_programme(db))
    return ready_book(db, text, REGISTRY, KINDS) or load_book(text, REGISTRY, KINDS)


def fix_answer(
    db: sqlite3.Connection, visit: Visit, word: str, text: str, reason: str, now: datetime
) -> tuple[list[Entry], str]:
    """The entries that put an answer of a visit right, and what they do in a sentence. Raises VisitError."""
    if _name(word) == "note":
        words = f"{text} ({reason})" if text else reason
        return [Entry("note", STEP, words=words)], f"noted with visit {visit.code}"
    if _name(word) == "frozen":
        return _frozen(db, visit, text, reason, now)
    book = book_of(db, visit)
    answer = _answer_called(book, visit, word)
    if not text:
        raise VisitError(
            f"{answer.called} needs what it should be: wadeline desk fix {visit.code} {answer.called} VALUE"
        )
    value = _value(db, visit, book, answer, text, now)
    every = told_of(db, visit.uid, answer.name)
    stands, rivals = standing(every, answer.name)
    old = stands.data[answer.name] if stands else None
    if value == old and not rivals and value != "words":
        raise VisitError(f"{answer.called} of visit {visit.code} is {show(old)} already")
    said = f"{answer.called} of visit {visit.code} is {show(text if value == 'words' else value)} now"
    said += "" if value == "words" else f", it was {show(old)}"
    entries = [_entry(answer.name, value, every, text if value == "words" else reason)]
    if value == "words":
        entries.append(Entry("note", STEP, {"of": answer.name}, words=reason))
    after = [*_odd(visit, answer, value), *(_after_site(db, visit, str(value)) if answer.name == "site" else ())]
    again = [f"accept it again: desk accept {visit.code}"] if visit.accepted_at else []
    return entries, "; ".join([said, *after, *again])


def _frozen(db: sqlite3.Connection, visit: Visit, text: str, reason: str, now: datetime) -> tuple[list[Entry], str]:
    """When a visit's larvae came into the freezer, of which no pair told."""
    if visit.status == "open":
        raise VisitError(f"visit {visit.code} is still open: the pair texts FREEZE and answers to its end")
    unfrozen = [larva.called for larva in visit.larvae if larva.frozen_at is None]
    if not unfrozen:
        raise VisitError(f"no larva of visit {visit.code} lacks it: that they are in a freezer was told")
    site = next((one for one in sites_of(db, visit.programme, visit.settings) if one.code == visit.site), None)
    at = time_at_site(text, ZoneInfo(site.zone if site else "UTC"), now, "frozen")
    kinds = ["larva", "sediment"] if visit.settings is not None and visit.settings.sediment_frozen else ["larva"]
    said = f"in the freezer since {text} by the record now: {', '.join(unfrozen)}"
    return [Entry("frozen", STEP, {"kinds": kinds, "at": at}, words=reason)], said


def _entry(name: str, value: Any, every: list[Told], words: str) -> Entry:
    """A fix that stands over all that was told of the answer so far, on whichever machine."""
    last = heads(every)
    over = {"over": [told.ref for told in last[1:]]} if len(last) > 1 else {}
    return Entry("fix", STEP, {name: value, **over}, None, last[0].ref if last else None, words)


# Which answer


def _name(word: str) -> str:
    return word.strip().casefold().replace("-", "_").replace(" ", "_")


def _answer_called(book: FlowBook, visit: Visit, word: str) -> Answer:
    name, known = _name(word), answers_of(book)
    if name in ("practice", "real"):
        raise VisitError(
            f"visit {visit.code} is {'practice' if visit.practice else 'real work'} and stays so: what it is was fixed "
            "when it began, with its tags"
        )
    if name in _ELSEWHERE:
        raise VisitError(f"{name} is not put right here: {_ELSEWHERE[name].format(code=visit.code)}")
    answer = known.get("day") if name in ("date", "local_date") else known.get(name)
    if answer is None:
        can = [one.called for one in known.values() if not one.at_the_gate]
        raise VisitError(f"a visit has no answer {word!r}{nearest(name, can, len(can))}")
    if answer.at_the_gate:
        raise VisitError(
            f"{answer.called} was told where people's safety was asked about: it stands as said. Add what is known "
            f"now: wadeline desk fix {visit.code} note --reason WORDS"
        )
    if visit.status == "open":
        raise VisitError(
            f"visit {visit.code} is still open, and its answers are the pair's: BACK asks again. Where nobody texts "
            f"any more: wadeline desk close {visit.code} --reason WHY"
        )
    return answer


# What it should be


def _value(db: sqlite3.Connection, visit: Visit, book: FlowBook, answer: Answer, text: str, now: datetime) -> Any:
    if answer.name == "site":
        return _site(db, visit, text).code
    if answer.name == "group_code":
        return _group(db, visit, text)
    if answer.name == "local_date":
        day = _read(Step("", "", "date"), book, text, visit.local(now))
        if day > visit.local(now).date().isoformat():
            raise VisitError(f"{day} is still to come: a visit's day is the day people were there")
        return day
    return _read(answer.steps[0], book, text, visit.local(now))


def _read(step: Step, book: FlowBook, text: str, now: datetime) -> Any:
    """A value as the talk reads it. One out of line is taken: the desk has looked; one that is unclear is not."""
    asked = Asked(step.asked.options, step.asked.least, step.asked.most, now=now)
    reading = book.kind(step).read(text, asked)
    unclear = reading.value is None or (reading.ask and not reading.phrase.endswith(".odd"))
    codes = [option.code for option in step.asked.options]
    if unclear or (step.kind != "choice" and reading.value in codes):
        like = ", ".join(codes if step.kind == "choice" else book.kind(step).samples(asked)[:2])
        raise VisitError(f"{text!r} can't be read as {step.save or 'a day'}, surely: write it like {like}")
    return "words" if step.kind == "text" else reading.value


def _site(db: sqlite3.Connection, visit: Visit, text: str) -> Site:
    sites = sites_of(db, visit.programme, visit.settings)
    for site in sites:
        if plain(text) in (plain(site.code), plain(site.name), *map(plain, site.words)):
            return site
    raise VisitError(f"the programme has no site {text!r}{nearest(text, [site.code for site in sites])}")


def _group(db: sqlite3.Connection, visit: Visit, text: str) -> str:
    codes = [code for (code,) in db.execute("SELECT code FROM field_group WHERE programme = ?", (visit.programme,))]
    for code in codes:
        if text.strip().casefold() == code.casefold():
            return str(code)
    raise VisitError(f"there is no group {text!r}{nearest(text, codes)}: desk groups lists them")


def _odd(visit: Visit, answer: Answer, value: Any) -> Iterator[str]:
    """What to look at twice in a value that was taken."""
    asked = answer.steps[0].asked if answer.steps else Asked()
    if isinstance(value, int | float) and not isinstance(value, bool) and is_odd(value, asked):
        yield f"that is out of line ({show(asked.least)} to {show(asked.most)} is usual): fix it again if it was a slip"
    days = {visit.local(entry.at).date().isoformat() for entry in visit.of_kind("kept") if entry.seat != DESK}
    if answer.name == "local_date" and days and value not in days:
        yield f"its samples were taken on {min(days)} by the clock of the talk"


# What hangs on a site


def _after_site(db: sqlite3.Connection, visit: Visit, site: str) -> Iterator[str]:
    """What is to be done once the samples of a visit are another site's."""
    (chosen,) = db.execute(
        "SELECT count(*) FROM choice JOIN sample ON sample.uid = choice.sample WHERE visit = ? AND left_out IS NULL",
        (visit.uid,),
    ).fetchone()
    if chosen:
        both = f"desk choose --site {visit.site}, then --site {site}" if visit.site else f"desk choose --site {site}"
        yield f"its larvae were chosen at {visit.site or 'no site'}: choose again with {both}"
    held = db.execute(
        "SELECT code, shipment.status, count(*) FROM shipment_sample JOIN shipment ON shipment.uid = shipment "
        "JOIN sample ON sample.uid = sample WHERE visit = ? GROUP BY shipment.uid ORDER BY code",
        (visit.uid,),
    )
    for code, status, count in held:
        told = "look at its plan again" if status == "planned" else "tell the lab"
        yield f"shipment {code} ({status}) holds {count} of its samples: {told}"
