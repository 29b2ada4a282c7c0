"""What the desk should look at in a visit: one function a check, each pure over the loaded visit.

A finding of the serious sort puts in doubt which specimen is which, or what the record says of it: a visit with one is
not accepted without a reason.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from guide.counted import counted
from guide.desk.visits import UNSURE, LogEntry, Sample, Visit
from guide.field.families import everyday
from guide.field.slip_rate import slip_rate
from guide.record.store import DESK
from guide.talk.samples import OTHER_SITE_FLAG

REMEASURE_MM = 2
"""Two measures of a larva through its bag that differ by more are a finding: our own choice, no source."""

SHOWN = {"length_mm": "length", "family": "family", "tag": "tag"}
"""What a fix command calls each answer."""


@dataclass(frozen=True)
class Finding:
    """One thing to look at. ``entries`` are references into the log; ``fix`` is a command, or why there is none."""

    check: str
    serious: bool
    what: str
    entries: tuple[str, ...] = ()
    fix: str = ""


def fix_command(visit: Visit, sample: Sample, *words: str) -> str:
    """The command that puts something right; words in capitals are to be filled in."""
    twice = sum(other.tag == sample.tag for other in visit.samples) > 1
    called = sample.name if twice else sample.called
    return f"wadeline desk fix {visit.code} {called} {' '.join(words)} --reason WHY"


def of_sample(visit: Visit, sample: Sample, *kinds: str) -> tuple[str, ...]:
    """References to a sample's entries of some kinds."""
    return tuple(entry.ref for entry in visit.of_kind(*kinds) if entry.sample == sample.uid)


def _refs(entries: Iterable[LogEntry]) -> tuple[str, ...]:
    return tuple(entry.ref for entry in entries)


# Which specimen is which


def tags_reconcile(visit: Visit) -> Iterator[Finding]:
    """Every kept sample has a tag, of the pool, not void, not on another sample, given to this site."""
    for sample in visit.kept:
        told, pool = _refs(visit.told(sample, "tag")), visit.pool.get(sample.tag or "")
        named = f"{sample.kind.replace('_', ' ')} {sample.name}"
        retag, at = fix_command(visit, sample, "tag TAG"), f"tag {sample.tag} of {sample.name}"
        if sample.tag is None:
            yield Finding("no_tag", True, f"{named} is kept without a tag", of_sample(visit, sample, "kept"), retag)
        elif pool is None:
            yield Finding("tag_unknown", True, f"{at} is not in the pool of {visit.programme}", told, retag)
        elif pool.status == "void" and pool.owner is None:
            yield Finding("tag_void", True, f"{at} was made void at the desk", told, retag)
        elif pool.site and visit.site and pool.site != visit.site and OTHER_SITE_FLAG not in sample.flags:
            moved = f"{at} was given to site {pool.site}, this visit is at {visit.site}"
            yield Finding("tag_elsewhere", False, moved, told, "none needed if the group simply took another sheet")


def tags_are_on_one_sample(visit: Visit) -> Iterator[Finding]:
    """No tag is on two samples: both sides are told, and nothing was overwritten."""
    counts = Counter(sample.tag for sample in visit.samples if sample.status != "void" and sample.tag)
    for sample in visit.samples:
        if sample.tag is None or sample.status == "void":
            continue
        others = [f"{one.name} of this visit" for one in visit.samples if one.tag == sample.tag and one is not sample]
        others = others if counts[sample.tag] > 1 else []
        others += visit.others.tags.get(sample.tag, ())
        if others:
            pool = visit.pool.get(sample.tag)
            holds = (
                f"; the pool holds it for {_owner(visit, pool.owner, pool.owner_visit)}" if pool and pool.owner else ""
            )
            what = f"tag {sample.tag} is on {sample.name} of this visit and on {', '.join(others)}{holds}"
            fix = fix_command(visit, replace(sample, tag=None), "tag TAG")
            yield Finding("tag_twice", True, what, _refs(visit.told(sample, "tag")), f"look at both bags, then {fix}")


def _owner(visit: Visit, uid: str, code: str | None) -> str:
    return visit.by_uid[uid].name if uid in visit.by_uid else f"visit {code}"


def fixes_are_not_rivals(visit: Visit) -> Iterator[Finding]:
    """No answer was put right in two ways on two machines: neither wins, the value before both stands."""
    for sample, name, takers in visit.rivals:
        said = " and ".join(f"{_value(taker.data[name])} by machine {taker.ref.split('/')[0]}" for taker in takers)
        what = f"{SHOWN[name]} of {sample.called} was put right to {said}; neither counts"
        what += f", {_value(getattr(sample, name) or 'nothing')} from before both stands"
        fix = fix_command(visit, sample, SHOWN[name], "VALUE")
        yield Finding("rival_fixes", True, what, tuple(taker.ref for taker in takers), fix)


def _value(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


# What is known of each specimen


def samples_are_complete(visit: Visit) -> Iterator[Finding]:
    """No sample is left open; every larva has a length and was asked its family."""
    for sample in visit.samples:
        if sample.status == "open":
            what = f"{sample.kind.replace('_', ' ')} {sample.name} was opened and never finished"
            fix = fix_command(visit, sample, "void")
            if sample.tag is not None and sample.sealed_at is not None:
                fix += f"; or, with the bag and its slip at hand: {fix_command(visit, sample, 'keep')}"
            yield Finding("still_open", True, what, of_sample(visit, sample, "sample_opened"), fix)
    for larva in visit.larvae:
        kept = of_sample(visit, larva, "kept")
        if larva.length_mm is None:
            fix = fix_command(visit, larva, "length MM")
            yield Finding("no_length", True, f"larva {larva.called} has no length", kept, fix)
        if larva.family is None:
            fix = fix_command(visit, larva, "family FAMILY")
            yield Finding("no_family", False, f"larva {larva.called} has no family", kept, fix)


def families_are_large_enough(visit: Visit) -> Iterator[Finding]:
    """No family has fewer larvae than the programme can use."""
    least = visit.settings.family_min if visit.settings else 2
    counts = Counter(larva.family for larva in visit.larvae if larva.family not in (None, UNSURE))
    for larva in visit.larvae:
        if larva.family and 0 < counts[larva.family] < least:
            few = counts[larva.family]
            which = "the only" if few == 1 else f"one of only {few}"
            what = f"{larva.called} is {which} {everyday(larva.family)}, {least} are needed"
            fix = f"none if it was named right, it stays at home; else {fix_command(visit, larva, 'family FAMILY')}"
            yield Finding("singleton", False, what, _refs(visit.told(larva, "family")), fix)


def larvae_are_long_enough(visit: Visit) -> Iterator[Finding]:
    """No kept larva is shorter than the programme takes."""
    least = visit.settings.minimum_mm if visit.settings else 0
    for larva in visit.larvae:
        if larva.length_mm is not None and larva.length_mm < least:
            what = f"{larva.called} is {_value(larva.length_mm)} mm, shorter than {least} mm"
            fix = f"none if it was measured right; else {fix_command(visit, larva, 'length MM')}"
            yield Finding("under_size", False, what, _refs(visit.told(larva, "length_mm")), fix)


def flags_and_voids(visit: Visit) -> Iterator[Finding]:
    """Kept samples with flags, and void ones with the reason."""
    for sample in visit.samples:
        if sample.status == "void":
            what = f"{sample.called} is void: {(sample.void_reason or 'no reason told').replace('_', ' ')}"
            void = of_sample(visit, sample, "void")
            yield Finding("void", False, what, void, "none: a void sample stays void")
        elif sample.status == "kept" and sample.flags:
            serious = "protected" in sample.flags
            what = f"{sample.called} is flagged: {', '.join(flag.replace('_', ' ') for flag in sample.flags)}"
            flagged = of_sample(visit, sample, "flag") + tuple(
                entry.ref for entry in visit.entries if entry.sample == sample.uid and entry.data.get("flags")
            )
            fix = fix_command(visit, sample, f"unflag {sample.flags[0]}")
            permit = "the permit protects this family: ask before it is kept or shipped; " if serious else ""
            yield Finding("flagged", serious, what, flagged, f"{permit}if the flag is wrong: {fix}")


def slips_are_as_usual(visit: Visit) -> Iterator[Finding]:
    """Slips were finished, and not more than in the programme's other closed visits (Fisher's exact test)."""
    slips = [slip for slip in visit.slips if slip.counts]
    for slip in visit.slips:
        if slip.remedy is None:
            what = f"a slip ({slip.what.casefold()}) was reported and its questions were never finished"
            yield Finding("slip_unfinished", False, what, (slip.ref,), "none: ask the pair what was touched")
    touched = {slip.sample for slip in slips if slip.sample in visit.by_uid}
    rate = slip_rate(len(touched), len(visit.samples), visit.others.slips, visit.others.samples)
    if rate.unusual:
        others = counted(visit.others.visits, "other closed visit")
        what = (
            f"{rate.slips} of {rate.samples} samples had a slip; in the {others} "
            f"{rate.usual_slips} of {rate.usual_samples} had (Fisher's exact test, one-sided, p = {rate.p:.2g}, "
            "below 0.01)"
        )
        told = tuple(slip.ref for slip in slips if slip.sample in touched)
        yield Finding("many_slips", True, what, told, "none: talk with the pair, look for a cause (wind, gloves, bags)")


def second_measures_agree(visit: Visit) -> Iterator[Finding]:
    """A larva measured again by the other person is as long as before, within 2 mm."""
    for entry in visit.of_kind("remeasured"):
        first, second = entry.data["first_mm"], entry.data["second_mm"]
        sample = visit.by_uid.get(entry.sample or "")
        if sample is not None and abs(first - second) > REMEASURE_MM:
            what = f"{sample.called} was {_value(first)} mm and, measured blind again, {_value(second)} mm"
            fix = f"measure a third time, then {fix_command(visit, sample, 'length MM')}"
            yield Finding("remeasure", False, what, (entry.ref,), fix)


def fixes_are_told(visit: Visit) -> Iterator[Finding]:
    """Every answer about a sample that was changed later, with what it was before and who changed it."""
    by_ref = {entry.ref: entry for entry in visit.entries}
    for entry in visit.of_kind("fix", "swap"):
        who = "at the desk" if entry.seat == DESK else f"by seat {entry.seat}"
        why = f": {entry.words}" if entry.words else ""
        none = "none needed; another fix puts it right again"
        sample, before = visit.by_uid.get(entry.sample or ""), by_ref.get(entry.supersedes or "")
        if entry.kind == "swap":
            tags = " and ".join(sorted(entry.data["tags"].values()))
            yield Finding("changed", False, f"tags {tags} were swapped {who}{why}", (entry.ref,), none)
        for name in SHOWN:
            if entry.kind == "fix" and sample is not None and name in entry.data:
                old = _value(before.data.get(name, "not told")) if before else "not told"
                what = f"{SHOWN[name]} of {sample.called}: {old} became {_value(entry.data[name])} {who}{why}"
                refs = (entry.ref, before.ref) if before else (entry.ref,)
                yield Finding("changed", False, what, refs, none)


def check_visit(visit: Visit) -> list[Finding]:
    """All findings of a closed visit, serious ones first; of one that is open, only those that no closing can mend."""
    from guide.desk.findings_day import DAY_CHECKS
    from guide.desk.findings_visit import VISIT_CHECKS, answers_are_not_rivals

    always = (*ALWAYS, answers_are_not_rivals)
    checks = (*always, *CLOSED, *VISIT_CHECKS, *DAY_CHECKS) if visit.status == "closed" else always
    found = [finding for check in checks for finding in check(visit)]
    return sorted(found, key=lambda finding: not finding.serious)


Check = Callable[[Visit], Iterable[Finding]]

ALWAYS: tuple[Check, ...] = (tags_are_on_one_sample, fixes_are_not_rivals)
CLOSED: tuple[Check, ...] = (
    tags_reconcile,
    samples_are_complete,
    larvae_are_long_enough,
    families_are_large_enough,
    second_measures_agree,
    slips_are_as_usual,
    flags_and_voids,
    fixes_are_told,
)
