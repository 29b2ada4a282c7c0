"""Checks of a visit's day: its order, its clock, gear, ice and freezer, what was asked of the desk, and its digest."""

import shlex
from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime, timedelta
from itertools import pairwise

from guide.counted import counted
from guide.desk.acts import ACTS
from guide.desk.findings import Finding, fix_command
from guide.desk.questions import open_questions
from guide.desk.visits import BY_ITSELF, Sample, Visit
from guide.field.windows import WINDOW_DAYS, check_window
from guide.flow.replies.clean import clean
from guide.papers.digest_fields import LarvaDigest
from guide.papers.visit_digest import site_mark
from guide.record.store import DESK

ICE_MIN = 30
"""Minutes from the shut bag to the ice that are no finding: our own choice."""

QUIET_TIMES = 2
"""A silence is a finding where it is longer than this many check-ins."""


def _clock(visit: Visit, at: datetime) -> str:
    return visit.local(at).strftime("%H:%M")


# Order and days apart


def bottles_come_first(visit: Visit) -> Iterator[Finding]:
    """Water and sediment were taken before anyone stirred the bottom for larvae."""
    netted = next((entry for entry in visit.of_kind("answer") if entry.data.get("netted")), None)
    opened = [larva.opened_at for larva in visit.samples if larva.kind == "larva" and larva.opened_at]
    first = min([*opened, *([netted.at] if netted else [])], default=None)
    for sample in visit.kept:
        if sample.kind != "larva" and sample.opened_at and first and sample.opened_at > first:
            what = f"{sample.kind.replace('_', ' ')} {sample.called} was taken at {_clock(visit, sample.opened_at)}, "
            what += f"after netting began at {_clock(visit, first)}"
            told = tuple(e.ref for e in visit.of_kind("sample_opened") if e.sample == sample.uid)
            yield Finding("late_bottle", False, what, told, "none: the order can't be changed, the flag tells the lab")


def bottles_belong_to_larvae(visit: Visit) -> Iterator[Finding]:
    """Larvae of a site have its water or sediment within the programme's days, and the reverse."""
    bottles = [sample for sample in visit.kept if sample.kind in ("water", "sediment")]
    pairs = []
    if visit.larvae and not bottles:
        pairs.append(("larvae", "water or sediment", visit.others.bottle_days))
    if bottles and not visit.larvae:
        pairs.append(("water or sediment", "larvae", visit.others.larva_days))
    today = date.fromisoformat(visit.local_date)
    most = visit.settings.window_days if visit.settings else WINDOW_DAYS
    wanted = visit.settings is not None and bool(visit.settings.water_bottles or visit.settings.sediment_jars)
    for these, those, days in pairs:
        near = min((date.fromisoformat(day) for day in days), key=lambda day: abs((day - today).days), default=None)
        if near is None and (wanted or bottles):
            what = f"there are no {those} of this site yet: at most {most} days from these {these}"
            yield Finding("window_open", False, what, (), "none: plan a visit in time")
        elif near is not None and check_window(today, near, today, most).state == "outside":
            what = (
                f"the nearest {those} of this site are of {near}, {abs((near - today).days)} days away, {most} at most"
            )
            yield Finding("window_over", True, what, (), "none: take both again, or ask the lab")


# The clock


def time_goes_on(visit: Visit) -> Iterator[Finding]:
    """No clock went back, and nobody was silent for long between the safety questions and the close."""
    least = timedelta(minutes=QUIET_TIMES * (visit.settings.check_in_min if visit.settings else 30))
    said = [entry for entry in visit.entries if entry.kind not in BY_ITSELF and entry.seat != DESK]
    gate = next((entry.at for entry in said if entry.data.get("gate") == "safety"), None)
    for before, after in pairwise(said):
        if after.at < before.at and after.ref.rsplit("/", 1)[0] == before.ref.rsplit("/", 1)[0]:
            what = f"the clock went back from {_clock(visit, before.at)} to {_clock(visit, after.at)}"
            yield Finding("clock_back", False, what, (before.ref, after.ref), "none: the order of entries is right")
        in_water = gate is not None and gate <= before.at and (visit.closed_at is None or after.at <= visit.closed_at)
        if in_water and after.at - before.at > least:
            minutes = int((after.at - before.at).total_seconds() / 60)
            what = f"no text for {minutes} minutes, from {_clock(visit, before.at)} to {_clock(visit, after.at)}"
            yield Finding("silence", False, what, (before.ref, after.ref), "none: ask the group what happened")
    for alarm in visit.of_kind("alarm"):
        what = f"an alarm ({str(alarm.data.get('alarm')).replace('_', '-')}) went out at {_clock(visit, alarm.at)}"
        yield Finding("alarm", False, what, (alarm.ref,), "none: be sure that everybody came home")


# Gear, ice, freezer


def gear_is_disinfected(visit: Visit) -> Iterator[Finding]:
    """The kit was disinfected after this water, and came in without a waiver."""
    used = visit.of_kind("kit_used")
    for waiver in visit.of_kind("waiver"):
        what = f"kit {waiver.data.get('kit')} was let in without a disinfection in the record"
        yield Finding("waiver", False, what, (waiver.ref,), "none: it was the desk's word")
    if used and not visit.of_kind("kit_disinfected"):
        drying = visit.of_kind("kit_drying")
        state = "is drying or freezing, and its time is not over" if drying else "was not disinfected, as far as told"
        told = tuple(entry.ref for entry in drying or used[-1:])
        what = f"kit {used[-1].data['kit']} {state}"
        yield Finding("kit_unclean", False, what, told, "none here: the pair texts GEAR and answers to its end")


def ice_and_freezer(visit: Visit) -> Iterator[Finding]:
    """Larvae were soon on ice, stayed there, and were frozen the same day."""
    for entry in visit.of_kind("answer"):
        if entry.data.get("ice_ok") is False:
            what = f"at {_clock(visit, entry.at)} the ice was not good"
            yield Finding("ice", False, what, (entry.ref,), "none: samples it touched are flagged by the flow")
    for sample in visit.kept:
        if sample.sealed_at and sample.iced_at and sample.iced_at - sample.sealed_at > timedelta(minutes=ICE_MIN):
            minutes = int((sample.iced_at - sample.sealed_at).total_seconds() / 60)
            what = f"{sample.called} was on ice {minutes} minutes after it was sealed"
            told = tuple(e.ref for e in visit.of_kind("outer_bagged") if e.sample == sample.uid)
            fix = f"none if it was so; to flag it: {fix_command(visit, sample, 'flag late_ice')}"
            yield Finding("late_ice", False, what, told, fix)
    yield from _freezer(visit)


def _how_to_freeze(visit: Visit) -> str:
    if visit.status == "open":
        return "none here: the pair texts FREEZE and answers to its end"
    return f"wadeline desk fix {visit.code} frozen 'YYYY-MM-DD HH:MM' --reason WHY"


def _freezer(visit: Visit) -> Iterator[Finding]:
    unfrozen = [larva.called for larva in visit.larvae if larva.frozen_at is None]
    if unfrozen:
        many = "1 larva is" if len(unfrozen) == 1 else f"{len(unfrozen)} larvae are"
        what = f"{many} not in a freezer, as far as told: {', '.join(unfrozen)}"
        yield Finding("not_frozen", False, what, (), _how_to_freeze(visit))
    late = {larva.frozen_at for larva in visit.larvae if larva.frozen_at}
    for at in sorted(late):
        if visit.local(at).date().isoformat() != visit.local_date:
            what = f"larvae were frozen on {visit.local(at):%Y-%m-%d %H:%M}, not on the day of the visit"
            told = tuple(entry.ref for entry in visit.of_kind("frozen") if entry.at == at)
            yield Finding("late_freezer", False, what, told, "none: tell the lab")


# Counts, and what waits for an answer


def bags_agree(visit: Visit) -> Iterator[Finding]:
    """As many bags were counted in the cooler as larvae are kept."""
    for entry in visit.of_kind("bags_differ")[-1:]:
        told = entry.data["counted"]
        if "bags_counted" in visit.put_right:
            told = visit.answers.get("bags_counted", told)  # rival fixes may leave none that stands
        if told != len(visit.larvae):
            bags = "1 bag was" if told == 1 else f"{told} bags were"
            what = f"{bags} counted, the record keeps {counted(len(visit.larvae), 'larva', 'larvae')}"
            remedy = f"look again, then wadeline desk fix {visit.code} bags_counted N --reason WHY; a bag that is not "
            remedy += f"there: wadeline desk fix {visit.code} TAG void --reason WHY"
            yield Finding("bags_differ", True, what, (entry.ref,), remedy)


def questions_are_answered(visit: Visit) -> Iterator[Finding]:
    """What the pair asked or wanted put right was answered or done at the desk."""
    for entry in open_questions(visit.entries):
        said = entry.words or "words that were forgotten"
        if entry.kind == "fix_request":
            what = f"seat {entry.seat} asked after the close to put right: {said}"
            yield Finding("fix_asked", True, what, (entry.ref,), _asked_fix(visit, said))
        else:
            fix = f"wadeline desk say {visit.code}/{entry.seat} WORDS"
            yield Finding("question", False, f"seat {entry.seat} asks: {said}", (entry.ref,), fix)


def _asked_fix(visit: Visit, said: str) -> str:
    """The command that does what was asked for, where the words are as plain as ``01428 length 26``."""
    words = clean(said).split()
    called = words[0].lstrip("#") if words else ""
    known = any(called.casefold() in (sample.tag, sample.name) for sample in visit.samples)
    if known and len(words) > 1 and words[1].casefold() in ACTS:
        asked = shlex.join([called, words[1].casefold(), *words[2:]])
        return f"wadeline desk fix {visit.code} {asked} --reason WHY"
    return f"wadeline desk fix {visit.code} TAG WHAT VALUE --reason WHY, or answer with desk say"


# The digest


def digest_agrees(visit: Visit) -> Iterator[Finding]:
    """What digest texts told before the log came is what the log tells; a value fixed since is no difference."""
    if visit.digest is None:
        return
    digest = visit.digest.digest
    told = []
    days = {entry.data["local_date"] for entry in visit.told_of_itself("local_date")} | {visit.local_date}
    sites = {entry.data["site"] for entry in visit.told_of_itself("site")} | {visit.site}
    if digest.local_date.isoformat() not in days:
        told.append(f"the day {digest.local_date}, the log {visit.local_date}")
    if digest.site is not None and digest.site.mark not in {site_mark(site) for site in sites if site}:
        told.append(f"another site than the log's {visit.site}")
    for larva in digest.larvae:
        told += _larva_differs(visit, larva)
    if digest.closed and not visit.digest.missing:
        in_digest = {larva.tag for larva in digest.larvae}
        for sample in visit.samples:
            ever = set(_ever(visit, sample, "tag")) - {None}
            if sample.kind == "larva" and ever and not ever & in_digest:
                told.append(f"nothing of larva {sample.called}, which the log has")
    for one in told:
        none = "none: the log counts; ask the group which is right before accepting"
        yield Finding("digest_differs", True, f"the digest told {one}", (), none)


def _larva_differs(visit: Visit, larva: LarvaDigest) -> Iterator[str]:
    if larva.tag is None:
        return
    sample = next((one for one in visit.samples if larva.tag in _ever(visit, one, "tag")), None)
    if sample is None:
        yield f"of a larva {larva.tag}, which the log doesn't have"
        return
    for name, value in (("length_mm", larva.length_mm), ("family", larva.family)):
        known = _ever(visit, sample, name)
        if value not in known and not (value is None and not known):
            yield f"{name.removesuffix('_mm')} {value} of {larva.tag}, the log {getattr(sample, name)}"
    if larva.status == "void" and sample.status != "void":
        yield f"that {larva.tag} is void, in the log it is {sample.status}"
    if larva.status == "kept" and not any(e.sample == sample.uid for e in visit.of_kind("kept")):
        yield f"that {larva.tag} is kept, the log never kept it"


def _ever(visit: Visit, sample: Sample, name: str) -> list[object]:
    """Every value that an answer of a sample ever had."""
    swapped = [entry.data["tags"].get(sample.uid) for entry in visit.of_kind("swap")] if name == "tag" else []
    return [entry.data[name] for entry in visit.told(sample, name)] + swapped


DAY_CHECKS: tuple[Callable[[Visit], Iterable[Finding]], ...] = (
    bags_agree,
    questions_are_answered,
    digest_agrees,
    bottles_come_first,
    bottles_belong_to_larvae,
    time_goes_on,
    gear_is_disinfected,
    ice_and_freezer,
)
