"""Checks a flow book: each text fits its SMS with the longest values of its blanks, and each step is reached."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from guide.counted import counted
from guide.flow.load import blanks_in
from guide.flow.model import RETURN, ROUTE, FlowBook, Step
from guide.flow.registry import Blank
from guide.flow.settings import Settings
from guide.talk.blanks import BLANKS, PHRASE_BLANKS
from guide.talk.sms import segments, septets

PROMPT_SEGMENTS = 1
ANSWER_SEGMENTS = 2
WHO_ACTS = ("CLEAN:", "DIRTY:", "BOTH:", "ALL:", "LEADER:")


@dataclass
class Report:
    """What the check found: problems, and the septets each prompt takes at worst."""

    problems: list[str] = field(default_factory=list)
    prompts: dict[str, int] = field(default_factory=dict)
    phrases: int = 0

    @property
    def ok(self) -> bool:
        """True if the book has no problem."""
        return not self.problems

    def as_text(self) -> str:
        """For people: the problems, or what was proved."""
        longest = sorted(self.prompts, key=lambda step: -self.prompts[step])[:3]
        words = ", ".join(f"{step} {self.prompts[step]}" for step in longest)
        summary = f"{len(self.prompts)} prompts and {self.phrases} phrases; longest of 160 septets at worst: {words}"
        if self.ok:
            return f"{summary}\nok: every prompt is one SMS for every value its blanks can take, every step is reached"
        return "\n".join([*self.problems, summary, counted(len(self.problems), "problem")])


def check_book(book: FlowBook) -> Report:
    """Checks every text of a book in every language, and every way through it."""
    report = Report()
    for step in book.steps.values():
        _check_step(report, step)
    for name, texts in book.phrases.items():
        report.phrases += 1
        for language, text in texts.items():
            _check_text(report, f"phrase {name}, {language}", text, ANSWER_SEGMENTS, {**BLANKS, **PHRASE_BLANKS})
    _check_reached(report, book)
    report.problems += unfit_names(book.settings)
    return report


def _check_step(report: Report, step: Step) -> None:
    where = f"{step.flow}.toml, step {step.id}"
    for language, text in step.say.items():
        worst = _check_text(report, f"{where}, say.{language}", text, PROMPT_SEGMENTS, BLANKS)
        report.prompts[step.id] = max(report.prompts.get(step.id, 0), worst)
        if step.kind != ROUTE and not any(who in text for who in WHO_ACTS):
            report.problems.append(f"{where}, say.{language}: doesn't say who acts ({', '.join(WHO_ACTS)})")
    for branch in step.branches:
        if "new_visit" in branch.do and branch.go != step.id:
            report.problems.append(
                f"{where}: begins a new visit and goes to {branch.go}, where nothing is asked any more"
            )
    for language, text in step.why.items():
        _check_text(report, f"{where}, why.{language}", text, ANSWER_SEGMENTS, BLANKS)


def _check_text(report: Report, where: str, text: str, most: int, blanks: Mapping[str, Blank]) -> int:
    """The septets a text takes at worst; what is wrong with it goes into the report."""
    unknown = [name for name in blanks_in(text) if name not in blanks]
    if unknown:
        report.problems.append(f"{where}: there is no blank {{{unknown[0]}}}")
        return 0
    worst = text.format_map({name: blanks[name].widest for name in blanks_in(text)})
    count = septets(worst)
    if count is None:
        odd = next(char for char in worst if septets(char) is None)
        report.problems.append(f"{where}: {odd!r} is not in the SMS alphabet (GSM-7); write it another way")
        return 0
    if segments(worst) > most:
        over = count - (160 if most == 1 else 306)
        report.problems.append(f"{where}: {count} septets at worst, {over} too many for {most} SMS")
    return count


def _check_reached(report: Report, book: FlowBook) -> None:
    """Every step can be come to from the beginning or from a word that works anywhere."""
    waiting = [f"{name}.{book.flows[name].first}" for name in ("arrive", "plan", "oops", "danger", "pairs", "lead")]
    waiting += ["close.home", "larva.next"]
    reached: set[str] = set()
    while waiting:
        state = waiting.pop()
        if state not in reached:
            reached.add(state)
            waiting += list(_ways_on(book, book.step(state)))
    for state, step in book.steps.items():
        if state not in reached:
            report.problems.append(f"{step.flow}.toml, step {state}: no branch leads to this step")


def _ways_on(book: FlowBook, step: Step) -> Iterator[str]:
    for branch in step.branches:
        if branch.call:
            yield f"{branch.call}.{book.flows[branch.call].first}"
        if branch.go != RETURN:
            yield branch.go


def unfit_names(settings: Settings) -> list[str]:
    """Names of the settings that don't fit the blanks they will fill, or are not in the SMS alphabet."""
    names = [("name", settings.name, BLANKS["programme"].width)]
    names += [(f"site {site.code}", site.name, BLANKS["site"].width) for site in settings.sites]
    return [
        f"programme.toml, {what}: {text!r} must be plain SMS letters, {width} at most"
        for what, text, width in names
        if septets(text) != len(text) or not text.isprintable() or len(text) > width
    ]
