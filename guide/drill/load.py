"""Drill files (``drills/*.toml`` beside the flow files) to checked drills, written by trainers without code.

A broken one is refused with file, line, surprise, reason and the nearest right name, like a flow file.
"""

import tomllib
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from guide.drill.model import CARRY, DAMSELFLY, ROLES, SPARE_BLANKS, Coming, Drill, Fixed, Mark, Surprise
from guide.errors import FlowError
from guide.field.families import FAMILIES
from guide.flow.load import blanks_in, shipped_flows
from guide.flow.model import REST, ROUTE, FlowBook
from guide.talk.words import WORDS, is_trouble

SHARED = "surprises.toml"
"""The surprises that any drill may name."""

_DRILL_KEYS = {
    "title": str, "about": dict, "minutes": int, "begin": str, "end": str, "before": dict, "larvae": int, "rounds": int,
    "most": int, "listed": bool, "least_s": int, "target": int, "come": list, "surprise": dict,
}  # fmt: skip
_SURPRISE_KEYS = {
    "say": dict, "because": dict, "at": list, "who": str, "good": list, "harmful": list, "right": list, "wrong": list,
    "texts": int, "options": dict, "specimen": dict, "danger": bool,
}  # fmt: skip
_DRILL_NEEDS = ("title", "about", "minutes", "begin", "come")
_SURPRISE_NEEDS = ("because", "at", "who", "good", "harmful", "right")
_COMING_KEYS = {"name": str, "chance": float, "round": int}
_WORDS = {word.name for word in WORDS} - {"?"}


def shipped_drills() -> Path:
    """The folder of drill files that came with the program."""
    return shipped_flows() / "drills"


def drills_beside(flows: Path | None) -> Path:
    """The drills of an edited copy of the flows, if it has some, else those shipped."""
    return flows / "drills" if flows is not None and (flows / "drills").is_dir() else shipped_drills()


def load_drills(book: FlowBook, folder: Path | None = None) -> list[Drill]:
    """All drills of a folder, shortest first; raises FlowError for one that can't be used with this flow book.

    A folder without surprises of its own has the shipped ones.
    """
    folder = folder or shipped_drills()
    texts = {path.name: _read(path) for path in sorted(folder.glob("*.toml"))}
    if not texts:
        raise FlowError(str(folder), "", "there are no drill files (*.toml) in this folder")
    reader = _Reader(SHARED, texts.get(SHARED) or _read(shipped_drills() / SHARED), book)
    shared = reader.surprises(reader.table)
    drills = [_Reader(file, text, book).drill(shared) for file, text in texts.items() if file != SHARED]
    return sorted(drills, key=lambda drill: (drill.minutes, drill.name))


def _read(path: Path) -> str:
    try:
        return path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FlowError(f"drills/{path.name}", "", f"can't be read: {error}") from None


class _Reader:
    """Reads one drill file, knowing where in it each thing stands."""

    def __init__(self, file: str, text: str, book: FlowBook) -> None:
        self.file, self.text, self.book, self.where = file, text, book, ""
        try:
            self.table: dict[str, Any] = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise FlowError(f"drills/{file}", "", f"is not TOML: {error}") from None

    def fail(self, reason: str, given: str = "", valid: Iterable[str] = ()) -> FlowError:
        near = get_close_matches(given, list(valid), 1, 0.5) if given else []
        return FlowError(f"drills/{self.file}", self.where, reason, near[0] if near else "", self.line(given))

    def line(self, given: str) -> int:
        """The line, counted from 1, that ``given`` stands in, in the surprise's own table; 0 when there is none."""
        lines = self.text.splitlines()
        heads = (f"[surprise.{self.where}]", f"[{self.where}]")
        start = next((n for n, text in enumerate(lines) if text.strip() in heads), 0) if self.where else 0
        if given:
            return next((n + 1 for n in range(start, len(lines)) if given in lines[n]), start + 1)
        return start + 1 if self.where else 0

    def check_keys(self, table: dict[str, Any], keys: dict[str, type], needs: Iterable[str]) -> None:
        for key, value in table.items():
            if key not in keys:
                raise self.fail(f"unknown key {key!r}", key, keys)
            wanted = keys[key]
            is_number = wanted is float and isinstance(value, int | float) and not isinstance(value, bool)
            if not is_number and type(value) is not wanted:
                raise self.fail(f"{key} must be {_KINDS_OF_VALUE[wanted]}, not {value!r}", key)
        for key in needs:
            if key not in table:
                raise self.fail(f"needs {key}")

    def drill(self, shared: dict[str, Surprise]) -> Drill:
        table, name = self.table, self.file.removesuffix(".toml")
        self.check_keys(table, _DRILL_KEYS, _DRILL_NEEDS)
        self.texts(table, "about")
        known = {**shared, **self.surprises(table.get("surprise", {}))}
        self.where = ""
        plain = {key: table[key] for key in table if key not in ("about", "before", "come", "surprise")}
        for key in ("begin", "end"):
            if key in table:
                self.step(table[key], key)
        if not table.get("end") and not table.get("larvae"):
            raise self.fail("a round never ends: give larvae = 3, or end = a step")
        for key in ("minutes", "larvae", "rounds", "most", "least_s", "target"):
            if plain.get(key, 1) < (key in ("minutes", "rounds")):
                raise self.fail(f"{key} is too small: {plain[key]}", key)
        plain.setdefault("target", plain.get("larvae", 0))
        before = self.before(table.get("before", {}))
        coming = tuple(self.coming(one, known) for one in table["come"])
        return Drill(name, about=table["about"], before=before, coming=coming, **plain)

    def before(self, table: dict[str, Any]) -> dict[str, str]:
        """Answers to steps before the beginning, each proved to be one that its step understands."""
        for step, answer in table.items():
            self.step(step, "before")
            if not isinstance(answer, str) or not self.understood(step, answer):
                raise self.fail(f"before: {answer!r} is no answer to {step}, text it as a pair would", step)
        return table

    def coming(self, given: Any, known: dict[str, Surprise]) -> Coming:
        table = {"name": given} if isinstance(given, str) else given
        if not isinstance(table, dict):
            raise self.fail(f"come holds names of surprises or {{ name = ..., chance = 0.5 }}, not {given!r}", "come")
        self.check_keys(table, _COMING_KEYS, ("name",))
        if table["name"] not in known:
            raise self.fail(f"there is no surprise {table['name']!r}", table["name"], known)
        if not 0 < table.get("chance", 1.0) <= 1:
            raise self.fail(f"chance is above 0 and at most 1, not {table['chance']}", "chance")
        return Coming(known[table["name"]], table.get("chance", 1.0), table.get("round", 0))

    def surprises(self, tables: dict[str, Any]) -> dict[str, Surprise]:
        found = {}
        for name, table in tables.items():
            self.where = name
            if not isinstance(table, dict):
                raise self.fail(f"{name} must be a table: [{name}]", name)
            found[name] = self.surprise(name, table)
        return found

    def surprise(self, name: str, table: dict[str, Any]) -> Surprise:
        needs = _SURPRISE_NEEDS if "specimen" in table else ("say", *_SURPRISE_NEEDS)
        self.check_keys(table, _SURPRISE_KEYS, needs)
        for key in ("say", "because"):
            if key in table:
                self.texts(table, key)
        if table["who"] not in ROLES:
            raise self.fail(f"who must be one of {', '.join(ROLES)}", table["who"], ROLES)
        for step in table["at"]:
            self.step(step, "at")
        options = table.get("options", {})
        marks = {key: tuple(self.mark(text, name, options) for text in table[key]) for key in ("good", "harmful")}
        surprise = Surprise(
            name, table.get("say", {}), table["because"], tuple(table["at"]), table["who"],
            marks["good"], marks["harmful"], tuple(table["right"]), tuple(table.get("wrong", (CARRY,))),
            table.get("texts", 8),
            {code: tuple(words) for code, words in options.items()}, self.specimen(table.get("specimen")),
            table.get("danger", False),
        )  # fmt: skip
        self.check_danger(surprise)
        return surprise

    def texts(self, table: dict[str, Any], key: str) -> None:
        if not isinstance(table[key], dict) or not isinstance(table[key].get("en"), str):
            raise self.fail(f'{key} needs {key}.en = "..."', key)
        for text in table[key].values():
            try:
                names = blanks_in(text)
            except ValueError as error:
                raise self.fail(f"a stray brace in {text[:30]!r}: {error}", key) from None
            for blank in names:
                if blank not in SPARE_BLANKS:
                    raise self.fail(f"there is no blank {{{blank}}} for a surprise", blank, SPARE_BLANKS)

    def step(self, step: Any, key: str) -> None:
        if step not in self.book.steps:
            raise self.fail(f"{key}: there is no step {step!r}", str(step), self.book.steps)
        if self.book.steps[step].kind == ROUTE:
            raise self.fail(f"{key}: {step} says nothing, nobody ever stands at it", str(step))

    def mark(self, text: Any, name: str, options: dict[str, Any]) -> Mark:
        """``OOPS``, ``kept``, ``oops.renew`` or ``larva.look = N``; a surprise with options has a step of its own."""
        if not isinstance(text, str):
            raise self.fail(f"{text!r} must be a text such as OOPS, oops.renew or larva.look = N")
        if text in _WORDS:
            return Mark(word=text)
        if text == "kept":
            return Mark(kept=True)
        step, _, answer = (part.strip() for part in text.partition("="))
        if step == f"surprise.{name}":
            if answer not in options:
                raise self.fail(f"{answer!r} is none of the options of this surprise", answer, options)
            return Mark(step, answer)
        if "." not in step:
            raise self.fail(
                f"{text!r} is no word that works anywhere and no step", step, [*_WORDS, "kept", *self.book.steps]
            )
        self.step(step, "a good or harmful answer")
        if answer and not blanks_in(answer) and not self.understood(step, answer):
            raise self.fail(f"{answer!r} is no answer to {step}", answer, self.book.outcomes(self.book.step(step)))
        return Mark(step, answer)

    def understood(self, step: str, answer: str) -> bool:
        """True if the step takes this text without a question."""
        asked = self.book.step(step)
        if asked.kind == REST:
            return answer in (option.code for option in asked.asked.options)
        return self.book.kind(asked).read(answer, asked.asked).sure

    def specimen(self, table: dict[str, Any] | None) -> Fixed | None:
        if table is None:
            return None
        self.check_keys(table, {"length_mm": int, "family": str}, ("length_mm", "family"))
        families = [DAMSELFLY, *(family.latin for family in FAMILIES if "/" not in family.latin)]
        if table["family"] not in families:
            raise self.fail(f"there is no family {table['family']!r}", table["family"], families)
        return Fixed(table["length_mm"], table["family"])

    def check_danger(self, surprise: Surprise) -> None:
        """A surprise in which people come first may teach nothing but DANGER at once: no waiting, no finishing."""
        about_danger = any(is_trouble(text) for text in surprise.say.values())
        if about_danger and not surprise.danger:
            raise self.fail("speaks of danger to people: it must have danger = true", "say")
        late = [mark for mark in surprise.good if mark.step.split(".")[0] != "danger" and mark.word != "DANGER"]
        if surprise.danger and late:
            raise self.fail("a surprise about danger can have only danger steps as good: nothing comes before people")
        if surprise.danger and surprise.options:
            raise self.fail("a surprise about danger can't be a question: people text DANGER", "options")


_KINDS_OF_VALUE = {
    str: "a text", int: "a whole number", float: "a number", bool: "true or false", list: "a list", dict: "a table",
}  # fmt: skip
