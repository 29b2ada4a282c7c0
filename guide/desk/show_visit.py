"""What ``desk visit`` prints: the list of visits, and one visit with its samples, findings and, if asked, its talk."""

import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import datetime
from typing import Any

from guide.desk.findings import Finding, check_visit
from guide.desk.progress import progress
from guide.desk.provisional import provisional, site_told
from guide.desk.show import table
from guide.desk.usual import read_usual
from guide.desk.visits import Sample, Visit, load_visit
from guide.field.families import everyday
from guide.flow.replies.clean import clean
from guide.papers.digest import VisitRead
from guide.record.fold import CLOSED_BY, PUT_RIGHT
from guide.record.store import DESK, FROM_A_PHONE
from guide.record.visit_answers import standing, told_of

_VISITS = (
    "SELECT uid FROM visit WHERE practice = ? "
    "AND (? IS NULL OR (CASE WHEN accepted_at IS NOT NULL THEN 'accepted' ELSE status END) = ?) "
    "ORDER BY local_date, opened_at, id"
)
_TALK = (
    "SELECT 0, turn.id, received_at, coalesce(letter, '-'), raw FROM turn LEFT JOIN seat ON seat.id = turn.seat "
    f"WHERE turn.stream = :uid AND raw IS NOT NULL AND {FROM_A_PHONE} "
    "UNION ALL SELECT 1, outgoing.id, due_at, letter, text FROM outgoing JOIN seat ON seat.id = outgoing.seat "
    "WHERE seat.visit = :uid ORDER BY 3, 1, 2"
)


def state_of(visit: Visit) -> str:
    """open, closed or accepted."""
    return "accepted" if visit.accepted_at else visit.status


def visit_rows(db: sqlite3.Connection, practice: bool, state: str | None = None) -> list[dict[str, Any]]:
    """A row for each visit, of practice or of real work, the oldest first."""
    rows, usual = [], read_usual(db)
    uids = db.execute(_VISITS, (int(practice), state, state)).fetchall()
    for (uid,) in progress(uids, len(uids), "visits"):
        visit = load_visit(db, uid, usual)
        findings = check_visit(visit)
        rows.append(
            {
                "visit": visit.code,
                "state": state_of(visit),
                "site": visit.site,
                "date": visit.local_date,
                "group": visit.group,
                "kept": len(visit.kept),
                "void": sum(sample.status == "void" for sample in visit.samples),
                "findings": len(findings),
                "serious": sum(finding.serious for finding in findings),
            }
        )
    return rows + ([] if state else provisional_rows(db, practice))


def provisional_rows(db: sqlite3.Connection, practice: bool) -> list[dict[str, Any]]:
    """Visits of which only the texts of a digest have come in so far."""
    rows = []
    for read in provisional(db):
        digest, states = read.digest, Counter(larva.status for larva in read.digest.larvae)
        if digest.practice == practice:
            named = {"visit": digest.code8, "state": "provisional", "site": site_told(db, digest.site)}
            counted = {
                "kept": states["kept"] + digest.others,
                "void": states["void"],
                "findings": None,
                "serious": None,
            }
            rows.append({**named, "date": digest.local_date.isoformat(), "group": None, **counted})
    return rows


def provisional_lines(db: sqlite3.Connection, read: VisitRead) -> Iterator[str]:
    """A visit that is only known from its digest, for people."""
    digest = read.digest
    practice = "  PRACTICE: it counts nowhere" if digest.practice else ""
    yield f"Visit {digest.code8}  provisional{practice}"
    yield f"  site      {site_told(db, digest.site) or '-'}, {digest.local_date}"
    missing = f"; texts missing: {', '.join(map(str, read.missing))} of {read.parts}" if read.missing else ""
    yield f"  known     from the texts of its digest only, until its log is merged{missing}"
    yield ""
    yield from table(_told_larvae(read)) if digest.larvae else ["no larvae"]


def provisional_as_json(db: sqlite3.Connection, read: VisitRead) -> str:
    """A visit that is only known from its digest, for scripts."""
    digest = read.digest
    told = {"visit": digest.code8, "state": "provisional", "practice": digest.practice, "parts_missing": read.missing}
    day = {"site": site_told(db, digest.site), "local_date": digest.local_date.isoformat(), "closed": digest.closed}
    return json.dumps({**told, **day, "larvae": _told_larvae(read)}, ensure_ascii=False)


def _told_larvae(read: VisitRead) -> list[dict[str, Any]]:
    names = ("tag", "length_mm", "family", "sure", "status")
    return [{**{name: getattr(one, name) for name in names}, "flags": sorted(one.flags)} for one in read.digest.larvae]


def talk_rows(db: sqlite3.Connection, visit: Visit) -> list[dict[str, Any]]:
    """Every text of a visit's seats and every answer, in order; nothing in them can move a terminal's cursor."""
    who = ("seat", "guide")
    return [
        {"at": visit.local(datetime.fromisoformat(at)).isoformat(), "seat": seat, "from": who[out], "text": clean(text)}
        for out, _, at, seat, text in db.execute(_TALK, {"uid": visit.uid})
    ]


def visit_as_json(db: sqlite3.Connection, visit: Visit, talk: bool) -> str:
    """One visit with all that is known of it."""
    shown = {
        "visit": visit.code,
        "state": state_of(visit),
        **{name: getattr(visit, name) for name in ("uid", "programme", "practice", "site", "local_date", "group")},
        **{name: getattr(visit, name) for name in ("target", "opened_at", "closed_at", "accepted_at", "answers")},
        "seats": _seats(visit),
        "samples": [asdict(sample) for sample in visit.samples],
        "slips": [asdict(slip) for slip in visit.slips],
        "findings": [asdict(finding) for finding in check_visit(visit)],
    }
    if talk:
        shown["talk"] = talk_rows(db, visit)
    return json.dumps(shown, ensure_ascii=False, default=_time_text)


def _time_text(value: Any) -> str:
    return value.isoformat() if isinstance(value, datetime) else str(value)


def visit_lines(db: sqlite3.Connection, visit: Visit, talk: bool) -> Iterator[str]:
    """One visit for people."""
    practice = "  PRACTICE: it counts nowhere" if visit.practice else ""
    yield f"Visit {visit.code}  {state_of(visit)}{practice}"
    for name, told in _head(visit):
        yield f"  {name:<9} {told}"
    yield ""
    yield from _answers(db, visit)
    yield from table([_sample_row(visit, one) for one in visit.samples]) if visit.samples else ["no samples"]
    yield ""
    yield from _slips(visit)
    yield from _notes(visit)
    yield from _findings(visit, check_visit(visit))
    if talk:
        yield ""
        said = talk_rows(db, visit)
        yield from (f"{row['at'][11:16]} {row['seat']} {row['from']:<5} {row['text']}" for row in said)
        if not said:
            yield "no texts here: the talk stayed on the machine that it was held on, only its log was merged"


def _head(visit: Visit) -> Iterator[tuple[str, str]]:
    yield "site", f"{visit.site or '-'}{_told(visit, 'site')}, {visit.local_date}{_told(visit, 'local_date')}"
    yield (
        "group",
        f"{visit.group or '-'}{_told(visit, 'group_code')}; "
        f"seats {', '.join(f'{seat} ({role})' for seat, role in _seats(visit).items())}",
    )
    times = [("opened", visit.opened_at), ("closed", visit.closed_at), ("accepted", visit.accepted_at)]
    yield "times", ", ".join(f"{name} {visit.local(at):%Y-%m-%d %H:%M}" for name, at in times if at) + f" {visit.zone}"
    void = sum(sample.status == "void" for sample in visit.samples)
    yield (
        "samples",
        f"{len(visit.larvae)} of {visit.target} larvae, {len(visit.kept) - len(visit.larvae)} other, {void} void",
    )


def _seats(visit: Visit) -> dict[str, str]:
    """Who talked, by the seat's letter: a pair or the leader, never a name."""
    roles = {entry.seat: str(entry.data.get("role", "pair")) for entry in visit.of_kind("seat_opened")}
    letters = dict.fromkeys(entry.seat for entry in visit.entries if entry.seat != DESK)
    return {letter: roles.get(letter, "pair") for letter in letters}


def _answers(db: sqlite3.Connection, visit: Visit) -> Iterator[str]:
    told = {name: value for name, value in visit.answers.items() if name not in _NOT_SHOWN}
    for name, value in told.items():
        shown = _words_of(db, visit, name) if value == "words" else _plain(value)
        yield f"  {name:<16} {clean(shown)}{_told(visit, name)}"
    if told:
        yield ""


_NOT_SHOWN = ("words", "flags", PUT_RIGHT, CLOSED_BY)


def _words_of(db: sqlite3.Connection, visit: Visit, name: str) -> str:
    """What an answer in words says, as it stands now."""
    stands = standing(told_of(db, visit.uid, name), name)[0] if name in visit.put_right else None
    said = [entry.words for entry in visit.told_of_itself(name) if stands is None or entry.ref == stands.ref]
    return (said[-1] if said else None) or "(forgotten)"


def _told(visit: Visit, name: str) -> str:
    """What the pair told of an answer that the desk put right, behind it in brackets."""
    if name not in visit.put_right:
        return ""
    said = [entry for entry in visit.told_of_itself(name) if entry.kind != "fix"]
    value = said[-1].data[name] if said else None
    if value == "words":
        value = said[-1].words or "(forgotten)"
    return f" (put right, told {'nothing' if value is None else clean(_plain(value))})"


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return f"{value:g}" if isinstance(value, float) else str(value)


def _sample_row(visit: Visit, sample: Sample) -> dict[str, Any]:
    family = sample.family and (sample.family if sample.family == "unsure" else everyday(sample.family))
    return {
        "no": sample.name,
        "kind": sample.kind.replace("_", " "),
        "tag": sample.tag,
        "mm": sample.length_mm,
        "family": f"{family}?" if family and sample.sure is False and family != "unsure" else family,
        "state": sample.status,
        "gloves": sample.gloves,
        "opened": _clock(visit, sample.opened_at),
        "sealed": _clock(visit, sample.sealed_at),
        "on_ice": _clock(visit, sample.iced_at),
        "frozen": _clock(visit, sample.frozen_at),
        "flags": [flag.replace("_", " ") for flag in sample.flags] or (sample.void_reason or ""),
    }


def _clock(visit: Visit, at: datetime | None) -> str | None:
    return f"{visit.local(at):%H:%M}" if at else None


def _slips(visit: Visit) -> Iterator[str]:
    for slip in visit.slips:
        sample = visit.by_uid.get(slip.sample or "")
        at = sample.called if sample else "no sample in hand"
        touched = f", touched: {slip.touched}" if slip.touched else ""
        yield f"slip: {slip.what.casefold()}, {at}{touched}, {slip.remedy or '?'}"
    if visit.slips:
        yield ""


def _notes(visit: Visit) -> Iterator[str]:
    """What people wrote down beside the answers; why words were put right stands with that finding."""
    notes = [entry for entry in visit.of_kind("note") if "of" not in entry.data]
    for entry in notes:
        sample = visit.by_uid.get(entry.sample or "")
        at = f", {sample.called}" if sample else ""
        who = "the desk" if entry.seat == DESK else f"seat {entry.seat}"
        yield f"note by {who}, {visit.local(entry.at):%m-%d %H:%M}{at}: {clean(entry.words or '(forgotten)')}"
    if notes:
        yield ""


def _findings(visit: Visit, findings: Iterable[Finding]) -> Iterator[str]:
    found = list(findings)
    if not found:
        if visit.status == "closed":
            yield "findings: none"
        else:
            yield "findings: checks run when the group has closed the visit; where nobody texts any more:"
            yield f"    wadeline desk close {visit.code} --reason WHY"
        return
    yield f"findings: {len(found)}, serious {sum(finding.serious for finding in found)}"
    for finding in found:
        yield f"{'!' if finding.serious else '-'} {clean(finding.what)}"
        if finding.entries:
            yield f"    entries {', '.join(finding.entries[:4])}{' ...' if len(finding.entries) > 4 else ''}"
        yield f"    fix     {finding.fix}"
