"""``desk fix``: a correction from the desk, by the rules of the talk's FIX. The original stays in the log.

What is about a sample is here; a visit's own answers are in ``fix_answers``.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from guide.desk.acts import ACTS
from guide.desk.visits import Sample, Visit, VisitError, append_at_desk, load_visit, visit_uid
from guide.field.families import FAMILIES
from guide.flow.replies.base import Asked
from guide.flow.replies.kinds import KINDS
from guide.record.hand_flags import last_words
from guide.record.log import Entry
from guide.record.rivals import live_rivals
from guide.record.store import Store
from guide.talk.samples import OTHER_SITE_FLAG

STEP = "desk.fix"
LENGTH_MM = (1, 120)
"""What can be a larva's length at all; outside it a fix is a slip of the thumb."""

PLAUSIBLE_MM = (8, 60)
"""Outside this a length is kept and flagged, as in the talk."""

_BARE = ("void", "keep", "note")
"""Acts that need no value behind them."""


@dataclass(frozen=True)
class Wanted:
    """What a fix asks for: the visit's code, the sample by tag or name, the act, its value, and the reason in words."""

    visit: str
    sample: str
    act: str
    value: str
    reason: str


def fix_as_said(store: Store, code: str, words: Sequence[str], reason: str, now: datetime) -> str:
    """Puts right what words name: of a sample (its tag or name, an act, a value) or of the visit itself.

    In one transaction; returns what was done in a sentence. Raises VisitError.
    """
    from guide.desk.fix_answers import fix_answer, is_answer

    _check_reason(reason)
    called, act, value = words[0], words[1].casefold() if len(words) > 1 else "", " ".join(words[2:])
    visit = load_visit(store.db, visit_uid(store.db, code))
    if _samples_called(visit, called) or (act in ACTS and not is_answer(visit, store.db, called)):
        if act not in ACTS:
            raise VisitError(f"what about {called}? Say one of {', '.join(ACTS)}, such as {called} length 27")
        return fix_visit(store, Wanted(code, called, act, value, reason), now)
    with store.transaction():
        visit = load_visit(store.db, visit.uid)
        entries, said = fix_answer(store.db, visit, called, " ".join(words[1:]), reason.strip(), now)
        append_at_desk(store, visit.uid, entries, now)
    return said


def _check_reason(reason: str) -> None:
    if not reason.strip():
        raise VisitError("a fix needs its reason in words: --reason 'misread, photo 12'")


def fix_visit(store: Store, wanted: Wanted, now: datetime) -> str:
    """Puts one thing of a sample right in one transaction; returns what was done in a sentence. Raises VisitError."""
    _check_reason(wanted.reason)
    if not wanted.value and wanted.act not in _BARE:
        raise VisitError(f"{wanted.act} needs what it should be, such as {_EXAMPLES[wanted.act]}")
    with store.transaction():
        visit = load_visit(store.db, visit_uid(store.db, wanted.visit))
        sample = sample_called(visit, wanted.sample)
        entry, said = _ENTRIES[wanted.act](store.db, visit, sample, wanted.value)
        append_at_desk(store, visit.uid, [entry._replace(words=wanted.reason.strip())], now)
        if wanted.act != "note":
            said += _shipped_with(store.db, sample)
    return said


def _shipped_with(db: sqlite3.Connection, sample: Sample) -> str:
    """Which shipment holds a sample that was put right, and whom that concerns."""
    sql = (
        "SELECT code, shipment.status, packed_at FROM shipment_sample JOIN shipment ON shipment.uid = shipment "
        "WHERE sample = ? ORDER BY code"
    )
    said = ""
    for code, status, packed_at in db.execute(sql, (sample.uid,)):
        out = f"take it out with OUT in desk ship pack {code}" if packed_at else f"look at desk ship list {code}"
        said += f"; shipment {code} ({status}) holds it: {out if status == 'planned' else 'tell the lab'}"
    return said


def sample_called(visit: Visit, called: str) -> Sample:
    """The sample with this tag or name; raises VisitError if there is none, or two have that tag."""
    found, word = _samples_called(visit, called), called.strip().lstrip("#")
    if len(found) > 1:
        names = " and ".join(one.name for one in found)
        raise VisitError(f"tag {word} is on {names} of visit {visit.code}: name the sample, such as {found[0].name}")
    if not found:
        raise VisitError(
            f"visit {visit.code} has no sample {called!r}; name it by its tag, or as desk visit {visit.code} lists it"
        )
    return found[0]


def _samples_called(visit: Visit, called: str) -> list[Sample]:
    """The sample with this name, else those with this tag, void ones only where no other has it."""
    word = called.strip().lstrip("#")
    found = [one for one in visit.samples if word.casefold() == one.name.casefold()]
    found = found or [one for one in visit.samples if one.tag == word and one.status != "void"]
    return found or [one for one in visit.samples if one.tag == word]


# One entry for each act


def _length(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    reading = KINDS["length"].read(value, Asked(least=PLAUSIBLE_MM[0], most=PLAUSIBLE_MM[1]))
    length_mm = reading.value
    clear = reading.sure or reading.phrase == "length.odd"  # 7 is odd and kept with a flag; 2.7 may be centimetres
    if not clear or not isinstance(length_mm, int | float) or not LENGTH_MM[0] <= length_mm <= LENGTH_MM[1]:
        raise VisitError(f"{value!r} is no length in millimetres, such as 27 or 2.7 cm")
    flags = [] if PLAUSIBLE_MM[0] <= length_mm <= PLAUSIBLE_MM[1] else ["odd_length_mm"]
    if visit.settings is not None and length_mm < visit.settings.minimum_mm:
        flags.append("under_minimum")
    return _answer(db, visit, sample, "length_mm", float(length_mm), flags)


def _family(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    reading = KINDS["family"].read(value, Asked())
    family = reading.value
    if reading.ask or family not in (*(one.latin for one in FAMILIES), "unsure"):
        names = ", ".join(one.everyday for one in FAMILIES)
        raise VisitError(f"{value!r} is no family; say one of {names}, or unsure")
    site = next((s for s in visit.settings.sites if s.code == visit.site), None) if visit.settings else None
    flags = ["protected"] if site is not None and family in site.protected else []
    return _answer(db, visit, sample, "family", family, flags, sure=family != "unsure")


def _tag(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    code = value.strip().lstrip("#")
    pool = (visit.programme, int(visit.practice))
    row = db.execute(
        "SELECT tag.status, tag.site, code8 FROM tag LEFT JOIN sample ON sample.uid = tag.sample "
        "LEFT JOIN visit ON visit.uid = sample.visit WHERE tag.programme = ? AND tag.practice = ? AND tag.code = ?",
        (*pool, code),
    ).fetchone()
    if row is None:
        raise VisitError(f"tag {code} is not in the pool of {visit.programme}: read the slip again")
    if row[0] == "void":
        raise VisitError(f"tag {code} is void and can't be used again")
    if row[0] == "used":
        raise VisitError(f"tag {code} is on a sample of visit {row[2]}: if two tags were mixed up, use swap")
    flags = [OTHER_SITE_FLAG] if row[1] and visit.site and row[1] != visit.site else []
    return _answer(db, visit, sample, "tag", code, flags)


def _answer(
    db: sqlite3.Connection, visit: Visit, sample: Sample, name: str, value: Any, flags: list[str], **more: Any
) -> tuple[Entry, str]:
    """A fix of an answer: it takes the place of the last one, or stands over rival fixes of it.

    Where nothing was told before, it takes that place behind the sample's opening, so that rivals show there too.
    """
    old = getattr(sample, name)
    told = visit.told(sample, name)
    if value == old and not any(rival[:2] == (sample, name) for rival in visit.rivals):
        raise VisitError(f"{name.removesuffix('_mm')} of {sample.called} is {_show(value)} already")
    data: dict[str, Any] = {name: value, **more, **({"flags": flags} if flags else {})}
    opened = [entry for entry in visit.of_kind("sample_opened") if entry.sample == sample.uid]
    supersedes: str | None = (told or opened)[-1].ref
    for rivals in live_rivals(db, sample.uid, name):
        supersedes, data["over"] = rivals[0].supersedes, [taker.ref for taker in rivals]
    said = f"{name.removesuffix('_mm')} of {sample.called} is {_show(value)} now, it was {_show(old)}"
    for flag in flags:
        if last_words(db, sample.uid, flag) and flag not in sample.flags:
            said += f"; the flag {flag} was taken off by hand and stays off: set it if it holds now"
    return Entry("fix", STEP, data, sample.uid, supersedes), said


def _swap(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    other = sample_called(visit, value)
    if other.uid == sample.uid or sample.tag is None or other.tag is None:
        raise VisitError("a swap needs two samples of the visit that both have a tag")
    data = {"tags": {sample.uid: other.tag, other.uid: sample.tag}}
    said = f"{sample.name} has tag {other.tag} now, and {other.name} has {sample.tag}"
    return Entry("swap", STEP, data, sample.uid), said


def _void(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    if sample.status == "void":
        raise VisitError(f"{sample.called} is void already")
    if sample.shipped_at:
        raise VisitError(f"{sample.called} was shipped on {sample.shipped_at}: flag it and tell the lab instead")
    return Entry("void", STEP, {"reason": "desk"}, sample.uid), f"{sample.called} is void, and its tag with it"


def _keep(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    """A sample that a pair left open counts, where its bag is shut and has its slip."""
    if sample.status != "open":
        raise VisitError(f"{sample.called} is {sample.status} already")
    if visit.status == "open":
        raise VisitError(f"visit {visit.code} is still open: {sample.called} is in the pair's hands")
    if sample.tag is None or sample.sealed_at is None:
        lacking = "tag" if sample.tag is None else "bag reported shut"
        raise VisitError(f"{sample.called} has no {lacking}, so it can't be kept: make it void")
    return Entry("kept", STEP, {}, sample.uid), f"{sample.called} is kept; flag what nobody can tell of it"


def _flag(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    name = _flag_name(value)
    if name in sample.flags:
        raise VisitError(f"{sample.called} has the flag {name} already")
    return _by_hand(db, sample, "flag", name), f"{sample.called} is flagged {name}"


def _unflag(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    name = _flag_name(value)
    if name not in sample.flags:
        has = f"its flags are {', '.join(sample.flags)}" if sample.flags else "it has none"
        raise VisitError(f"{sample.called} has no flag {name}; {has}")
    return _by_hand(db, sample, "unflag", name), f"{sample.called} has no flag {name} any more"


def _by_hand(db: sqlite3.Connection, sample: Sample, kind: str, name: str) -> Entry:
    """An entry that stands over all that was said of a flag by hand so far, on whichever machine."""
    said = [told.ref for told in last_words(db, sample.uid, name)]
    over = {"over": said[1:]} if len(said) > 1 else {}
    return Entry(kind, STEP, {"flag": name, **over}, sample.uid, said[0] if said else None)


def _flag_name(value: str) -> str:
    name = value.strip().casefold().replace(" ", "_").replace("-", "_")
    if not name.isascii() or not name.replace("_", "").isalnum() or len(name) > 30:
        raise VisitError(f"{value!r} can't be a flag: one or two words of letters, such as late_ice")
    return name


def _note(db: sqlite3.Connection, visit: Visit, sample: Sample, value: str) -> tuple[Entry, str]:
    return Entry("note", STEP, {}, sample.uid), f"noted with {sample.called}"


def _show(value: Any) -> str:
    if value is None:
        return "not told"
    return f"{value:g} mm" if isinstance(value, int | float) else str(value)


_EXAMPLES = {
    "length": "length 27",
    "family": "family skimmer",
    "tag": "tag 01428",
    "swap": "swap 01428",
    "flag": "flag late_ice",
    "unflag": "unflag late_ice",
}
_ENTRIES = {
    "length": _length,
    "family": _family,
    "tag": _tag,
    "swap": _swap,
    "void": _void,
    "keep": _keep,
    "flag": _flag,
    "unflag": _unflag,
    "note": _note,
}
