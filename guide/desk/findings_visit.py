"""Checks of what a visit tells of itself: its site, its day, its own answers, and how it was closed."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from guide.desk.acts import called, show
from guide.desk.findings import Finding, fix_command, of_sample
from guide.desk.visits import LogEntry, Visit
from guide.field.families import everyday
from guide.record.fold import CLOSED_BY
from guide.record.store import DESK
from guide.record.visit_answers import name_put_right

_OVER = ("all_well", "close_early", "all_out", "all_home")
"""Entries of a seat after which a danger that it called is over."""


def answer_command(visit: Visit, *words: str) -> str:
    """The command that puts an answer of a visit right."""
    return f"wadeline desk fix {visit.code} {' '.join(words)} --reason WHY"


def answers_are_not_rivals(visit: Visit) -> Iterator[Finding]:
    """No answer of the visit was told in two ways on two machines: neither wins, the value before both stands."""
    words = {entry.ref: entry.words for entry in visit.entries}
    for name, told in visit.answer_rivals:
        said = " and ".join(f"{_said(one.data[name], words.get(one.ref))} by machine {one.origin}" for one in told)
        what = f"{called(name)} of the visit was put right to {said}; neither counts, what was before both stands"
        yield Finding(
            "rival_fixes", True, what, tuple(one.ref for one in told), answer_command(visit, called(name), "VALUE")
        )


def site_is_that_of_the_tags(visit: Visit) -> Iterator[Finding]:
    """Most slips of a visit are not of one other site's sheet: then the wrong water was named on arrival."""
    tagged = [visit.pool[sample.tag] for sample in visit.kept if sample.tag in visit.pool]
    counts = Counter(tag.site for tag in tagged if tag.site and tag.site != visit.site)
    for site, count in counts.most_common(1):
        if count > 1 and 2 * count > len(tagged):
            what = f"{count} of {len(tagged)} slips were given to {site}, the visit is told as at {visit.site or '-'}"
            fix = f"{answer_command(visit, 'site', str(site))}, if it was there; none if the group took another sheet"
            yield Finding("site_doubtful", True, what, _refs(visit.told_of_itself("site")), fix)


def day_is_that_of_the_samples(visit: Visit) -> Iterator[Finding]:
    """The visit's day is the day its samples were taken on, and the day it was planned for."""
    if "local_date" in visit.put_right:
        return
    days = Counter(visit.local(entry.at).date().isoformat() for entry in visit.of_kind("kept") if entry.seat != DESK)
    told = _refs(visit.told_of_itself("local_date"))
    planned = visit.answers.get("visit_day")
    if days and visit.local_date not in days:
        ((day, _),) = days.most_common(1)
        what = f"its samples were taken on {day}, the visit's day is {visit.local_date}"
        yield Finding("day_doubtful", False, what, told, answer_command(visit, "day", day))
    elif isinstance(planned, str) and planned != visit.local_date:
        what = f"it was planned for {planned}, and people were there on {visit.local_date}"
        fix = f"none if they went another day; else {answer_command(visit, 'day', planned)}"
        yield Finding("day_planned", False, what, told, fix)


def protected_here(visit: Visit) -> Iterator[Finding]:
    """After a change of site, no family is kept unflagged that the permit of the new site protects."""
    site = next((one for one in visit.settings.sites if one.code == visit.site), None) if visit.settings else None
    if site is None or "site" not in visit.put_right:
        return
    looked_at = {entry.sample for entry in visit.of_kind("unflag") if entry.data.get("flag") == "protected"}
    for larva in visit.larvae:
        if larva.family in site.protected and "protected" not in larva.flags and larva.uid not in looked_at:
            what = f"{larva.called} is a {everyday(larva.family)}, which the permit of {site.name} protects"
            fix = fix_command(visit, larva, "flag protected")
            yield Finding("protected", True, what, of_sample(visit, larva, "answer", "fix"), fix)


def closed_by_its_pair(visit: Visit) -> Iterator[Finding]:
    """The pair closed the visit itself; where the desk did, what was never told is told here."""
    if visit.answers.get(CLOSED_BY) != "desk":
        return
    for entry in visit.of_kind("visit_closed"):
        if entry.seat == DESK:
            why = f": {entry.words}" if entry.words else ""
            none = "none: what the pair would have been asked at the close is not known"
            yield Finding("closed_at_desk", False, f"it was closed at the desk{why}", (entry.ref,), none)
    went_in = visit.answers.get("in_water")
    if went_in and "out_count" not in visit.answers:
        what = f"{show(went_in)} in the water, and never counted out"
        yield Finding("not_counted_out", False, what, (), "none: be sure that everybody came home")


def open_dangers(visit: Visit) -> Iterator[LogEntry]:
    """For each seat its last call of danger, where it never told that all are well, out or home since."""
    last = {entry.seat: entry for entry in visit.of_kind("danger", *_OVER)}
    yield from (entry for entry in last.values() if entry.kind == "danger")


def danger_is_over(visit: Visit) -> Iterator[Finding]:
    """Whoever called danger told how it ended."""
    for entry in open_dangers(visit):
        what = f"seat {entry.seat} called danger at {visit.local(entry.at):%H:%M}, and never told that it is over"
        none = "none: be sure that everybody is safe before accepting"
        yield Finding("danger_open", True, what, (entry.ref,), none)


def answers_put_right(visit: Visit) -> Iterator[Finding]:
    """Every answer of the visit that the desk changed, with what it was before and why."""
    by_ref = {entry.ref: entry for entry in visit.entries}
    for entry in visit.of_kind("fix"):
        if entry.sample is None:
            name, before = name_put_right(entry.data), by_ref.get(entry.supersedes or "")
            new = _said(entry.data[name], entry.words)
            old = _said(before.data.get(name), before.words) if before else show(None)
            why = f": {entry.words}" if entry.words and entry.data[name] != "words" else ""
            refs = (entry.ref, before.ref) if before else (entry.ref,)
            what = f"{called(name)} of the visit: {old} became {new} at the desk{why}"
            yield Finding("changed", False, what, refs, "none needed; another fix puts it right again")


def heads_agree(visit: Visit) -> Iterator[Finding]:
    """As many people were counted out of the water as are told now, where the desk put the number right."""
    people, out = visit.answers.get("people"), visit.answers.get("out_count")
    if "people" in visit.put_right and isinstance(out, int) and out != people:
        what = f"{show(people)} people are told now, {out} were counted out of the water"
        none = "none: what was counted stands; be sure that everybody came home"
        yield Finding("heads_differ", False, what, _refs(visit.told_of_itself("out_count")), none)


def _said(value: Any, words: str | None) -> str:
    """A value as a sentence has it; free words only where they are held."""
    return (words or "(words)") if value == "words" else show(value)


def _refs(entries: Iterable[LogEntry]) -> tuple[str, ...]:
    return tuple(entry.ref for entry in entries)


VISIT_CHECKS: tuple[Callable[[Visit], Iterable[Finding]], ...] = (
    site_is_that_of_the_tags,
    day_is_that_of_the_samples,
    protected_here,
    heads_agree,
    closed_by_its_pair,
    danger_is_over,
    answers_put_right,
)
