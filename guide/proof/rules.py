"""The trade's rules, as ``flows/rules.toml`` states them beside the flows, and how each is held against a talk.

A rule forbids something from the beginning of a visit, or after something, until something else was done. The file
itself says at its top how a rule is written.
"""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from guide.errors import FlowError
from guide.flow.model import REST, ROUTE, FlowBook
from guide.flow.registry import Registry

Event = tuple[str, ...]
"""What happened in words: a verb and its object's names, such as ``("asks", "larva.bag", "open_inner")``."""
BEGINS: Event = ("begins",)
CLOSED_BY_OTHERS: Event = ("other", "closes")
"""The visit is over for this seat, whatever was left undone: nothing is forbidden any more."""
RULES_FILE = "rules.toml"

VERBS = ("asks", "answers", "logs", "texts", "starts", "stops", "time", "begins", "returns", "other")
_KEYS = ("rule", "never", "until", "after", "each", "while", "steps", "but")


@dataclass(frozen=True)
class Pattern:
    """What an event is held against: its verb, and words that must all be among its names."""

    verb: str
    words: tuple[str, ...]

    def fits(self, event: Event) -> bool:
        """True if the event is one of these."""
        if event[0] != self.verb:
            return False
        if self.verb == "logs":
            return _among(self.words[0], event[1:2]) and all(_among(word, event[2:]) for word in self.words[1:])
        return all(_among(word, event[1:]) for word in self.words)


def _among(word: str, names: Event) -> bool:
    if word.startswith("!"):
        return not _among(word[1:], names)
    return any(fnmatchcase(name, one) for one in word.split("|") for name in names)


@dataclass(frozen=True)
class Rule:
    """One rule. With ``after`` it forbids from such an event on, else from the beginning of the visit."""

    name: str
    sentence: str
    never: tuple[Pattern, ...]
    until: tuple[Pattern, ...] = ()
    after: tuple[Pattern, ...] = ()
    conditions: tuple[str, ...] = ()


class Passage(NamedTuple):
    """What a move does to the rules, a bit each: lifted, made to forbid, broken if it forbade before, broken anyhow."""

    lifted: int
    forbidden: int
    from_before: int
    from_here: int

    def through(self, bits: int) -> int:
        """The bits after the move."""
        return (bits & ~self.lifted) | self.forbidden

    def broken(self, bits: int) -> int:
        """The rules that the move breaks."""
        return (self.from_before & bits) | self.from_here


@dataclass(frozen=True)
class RuleBook:
    """All rules, the acts that steps may state, and the words in a prompt that call for an act."""

    rules: tuple[Rule, ...]
    acts: Mapping[str, str]
    words: Mapping[str, str]

    @cached_property
    def conditional(self) -> tuple[tuple[int, Rule], ...]:
        """The rules with conditions, by place."""
        return tuple((place, rule) for place, rule in enumerate(self.rules) if rule.conditions)

    @cached_property
    def with_conditions(self) -> int:
        """Their bits."""
        return sum(1 << place for place, _ in self.conditional)

    def start(self) -> int:
        """Which rules forbid something when a visit begins, a bit a rule."""
        bits = sum(1 << place for place, rule in enumerate(self.rules) if not rule.after)
        return self.passage([BEGINS]).through(bits)

    def passage(self, events: Iterable[Event]) -> "Passage":
        """What a run of events does to the rules' bits, whatever they are before it."""
        lifted = forbidden = from_before = from_here = 0
        for event in events:
            broken, lifts, forbids = self.effect(event)
            broken &= ~lifts
            from_before |= broken & ~lifted
            from_here |= broken & forbidden
            forbidden = (forbidden & ~lifts) | forbids
            lifted |= lifts
        return Passage(lifted, forbidden, from_before, from_here)

    @lru_cache(maxsize=20000)  # noqa: B019  a rule book lives as long as the program
    def effect(self, event: Event) -> tuple[int, int, int]:
        """Bits of the rules an event would break if they forbid, those it lifts, and those it makes forbid."""
        if event == CLOSED_BY_OTHERS:
            return 0, (1 << len(self.rules)) - 1, 0
        broken = lifts = forbids = 0
        for place, rule in enumerate(self.rules):
            bit = 1 << place
            broken |= bit if any(p.fits(event) for p in rule.never) else 0
            lifts |= bit if any(p.fits(event) for p in rule.until) else 0
            forbids |= bit if any(p.fits(event) for p in rule.after) else 0
        return broken, lifts, forbids

    def __hash__(self) -> int:
        return id(self)


def read_rules(folder: Path, book: FlowBook, registry: Registry) -> RuleBook:
    """The rules of a folder of flow files; raises FlowError naming the rule and what is wrong with it."""
    try:
        table = tomllib.loads((folder / RULES_FILE).read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise FlowError(RULES_FILE, "", f"can't be read: {error}") from None
    acts, words = (table.pop(name, {}) for name in ("acts", "words"))
    rules: list[Rule] = []
    for name, parts in table.items():
        for part in parts if isinstance(parts, list) else [parts]:
            sentence = parts[0].get("rule") if isinstance(parts, list) else None
            for given in _for_each_step({"rule": sentence, **part} if sentence else part, book):
                rules += _rules(name, given, registry)
    found = RuleBook(tuple(rules), acts, words)
    _check_names(found, book)
    return found


def _for_each_step(part: dict[str, Any], book: FlowBook) -> Iterable[dict[str, Any]]:
    """A part with ``steps`` is one for each of these steps, {step} standing for it; ``but`` leaves some out."""
    if "steps" not in part:
        return [part]
    meant = [
        step.id
        for step in book.steps.values()
        if step.kind not in (ROUTE, REST) and _among("|".join(part["steps"]), (step.id,))
    ]
    return [
        {key: _filled(value, step) for key, value in part.items() if key not in ("steps", "but")}
        for step in meant
        if step not in part.get("but", [])
    ]


def _filled(value: Any, step: str) -> Any:
    return [text.replace("{step}", step) for text in value] if isinstance(value, list) else value


def _rules(name: str, given: Any, registry: Registry) -> Iterable[Rule]:
    """A rule, or one for each thing that must be done first."""
    for key in given:
        if key not in _KEYS:
            raise FlowError(RULES_FILE, name, f"unknown key {key!r}; the keys are {', '.join(_KEYS)}")
    if "rule" not in given or "never" not in given:
        raise FlowError(RULES_FILE, name, "needs rule (a sentence) and never")
    for condition in given.get("while", []):
        if condition.removeprefix("not ") not in registry.conditions:
            raise FlowError(RULES_FILE, name, f"there is no condition {condition!r}")
    never, until, after = (
        tuple(_pattern(name, text) for text in given.get(key, [])) for key in ("never", "until", "after")
    )
    for each in given.get("each", [None]):
        lifted = until if each is None else (*until, _pattern(name, each))
        yield Rule(name, given["rule"], never, lifted, after, tuple(given.get("while", [])))


def _pattern(name: str, text: str) -> Pattern:
    verb, *words = text.split()
    if verb not in VERBS:
        raise FlowError(RULES_FILE, name, f"{text!r} must begin with one of {', '.join(VERBS)}")
    return Pattern(verb, tuple(words))


def _check_names(rules: RuleBook, book: FlowBook) -> None:
    """An act or step that a rule names is one that some step states: a renamed act can't put a rule to sleep."""
    stated = {act for step in book.steps.values() for act in step.acts}
    for step in book.steps.values():
        for act in step.acts:
            if act not in rules.acts:
                raise FlowError(f"{step.flow}.toml", step.id, f"states {act!r}, which is no act of {RULES_FILE}")
    for rule in rules.rules:
        for pattern in (*rule.never, *rule.until, *rule.after):
            if pattern.verb in ("asks", "answers"):
                _check_pattern(rule, pattern.words, stated, book)


def _check_pattern(rule: Rule, words: tuple[str, ...], stated: set[str], book: FlowBook) -> None:
    for word in words[0].removeprefix("!").split("|"):
        flow, _, step = word.partition(".")
        known = word in stated or word in book.steps or (step == "*" and flow in (*book.flows, "*"))
        if not known:
            raise FlowError(RULES_FILE, rule.name, f"{word!r} is no act that a step states, no step and no flow.*")
    meant = [step for step in book.steps.values() if _among(words[0], (step.id, *step.acts))]
    outcomes = {outcome for step in meant for outcome in book.outcomes(step)}
    for outcome in words[1].split("|") if len(words) > 1 else ():
        if outcome not in outcomes:
            raise FlowError(RULES_FILE, rule.name, f"{words[0]} is never answered {outcome!r}")
