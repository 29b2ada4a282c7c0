"""Flow files (TOML) to a checked flow book. A broken one is refused with file, line, step, reason, nearest name."""

import os
from collections.abc import Iterable, Mapping
from string import Formatter
from typing import TYPE_CHECKING, Any

from guide.errors import FlowError, SettingsError
from guide.flow.model import REST, RETURN, ROUTE, Branch, Flow, FlowBook, Step
from guide.flow.registry import Registry
from guide.flow.replies.base import Asked, Option, ReplyKind
from guide.flow.settings import Settings
from guide.sha import sha256_of

if TYPE_CHECKING:
    from pathlib import Path  # a start-up feels the import

FILE_MARK = "#= file "
"""Starts each file in the one text a book is stored as."""

RULES = "rules.toml"
"""The trade's rules stand beside the flows and are no part of the book: they are held against it."""

PHRASES = ("phrases.toml", "replies.toml")
SPECIAL = ("programme.toml", *PHRASES)
UNSURE_WORDS = ("idk", "dunno", "no idea", "not sure", "dont know", "cant tell", "i dont know", "unsure")
"""Ways to say UNSURE, at every step that offers it."""

_STEP_KEYS = (
    "say",
    "why",
    "kind",
    "save",
    "about",
    "options",
    "options_from",
    "least",
    "most",
    "never_over",
    "carry",
    "tag_must",
    "fields",
    "acts",
    "then",
)
_BRANCH_KEYS = ("on", "if", "do", "call", "go")


def shipped_flows() -> "Path":
    """The folder of flow files that came with the program."""
    from pathlib import Path

    return Path(shipped_folder())


def shipped_folder() -> str:
    """The same as a plain path."""
    package = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    inside = os.path.join(package, "flows")
    return inside if os.path.isdir(inside) else os.path.join(os.path.dirname(package), "flows")


def book_text(folder: "str | Path", programme: str | None = None) -> str:
    """All flow files of a folder as one text; the text ``programme`` stands in for its settings file."""
    listed = os.listdir(folder) if os.path.isdir(folder) else []
    files = {name for name in listed if name.endswith(".toml") and name != RULES}
    if not files:
        raise FlowError(str(folder), "", "there are no flow files (*.toml) in this folder")
    parts = []
    for name in sorted({*files, "programme.toml"} if programme is not None else files):
        given = programme if name == "programme.toml" else None
        body = _read(os.path.join(folder, name)) if given is None else given
        parts.append(f"{FILE_MARK}{name}\n{body.rstrip()}\n")
    return "".join(parts)


def _read(path: str) -> str:
    try:
        with open(path, encoding="utf-8") as file:
            return file.read()
    except (OSError, UnicodeDecodeError) as error:
        raise FlowError(path, "", f"can't be read: {error}") from None


def load_book(
    text: str, registry: Registry, kinds: Mapping[str, ReplyKind], settings_file: str = "programme.toml"
) -> FlowBook:
    """A flow book from the text of all its files; raises FlowError or SettingsError, naming the place.

    ``settings_file`` is what the settings' file is called in errors.
    """
    from guide.flow.read_settings import settings_from  # like tomllib, not needed where a book has its ready form

    files = _split(text)
    for name in SPECIAL:
        if name not in files:
            raise FlowError(name, "", "is missing from the flow files")
    tables = {name: _parse(settings_file if name == "programme.toml" else name, body) for name, body in files.items()}
    settings = settings_from(tables["programme.toml"], settings_file, files["programme.toml"])
    if not settings.sites:
        raise SettingsError(
            f"{settings_file}: there are no sites: add [[sites]] tables or load a list, desk sites FILE.csv"
        )
    phrases: dict[str, Mapping[str, str]] = {}
    for name in PHRASES:
        phrases.update(_phrases(name, tables[name]))
    reader = _Reader(files, registry, kinds, settings)
    flows = {}
    for name, table in tables.items():
        if name not in SPECIAL:
            flow = reader.flow(name, table)
            flows[flow.name] = flow
    book = FlowBook(sha256_of(text.encode()), text, flows, phrases, settings, kinds)
    reader.check_targets(book)
    return book


def check_phrases(book: FlowBook) -> None:
    """Holds a folder of somebody's own against what this program says; raises FlowError for phrases it lacks.

    A copy made before an update lacks those the program has learned since. A visit that began with it goes on.
    """
    folder = shipped_folder()
    for name in PHRASES:
        shipped = os.path.join(folder, name)
        missing = [phrase for phrase in _phrases(name, _parse(name, _read(shipped))) if phrase not in book.phrases]
        if missing:
            raise FlowError(
                name, "", f"this program says more than is here, take it from {shipped}: {', '.join(missing)}"
            )


def settings_text(book: str) -> str:
    """The settings file in the text of a stored book."""
    return _split(book)["programme.toml"]


def _split(text: str) -> dict[str, str]:
    files: dict[str, str] = {}
    for part in ("\n" + text).split("\n" + FILE_MARK)[1:]:
        name, _, body = part.partition("\n")
        files[name] = body
    return files


def _parse(name: str, body: str) -> dict[str, Any]:
    import tomllib

    try:
        return tomllib.loads(body)
    except tomllib.TOMLDecodeError as error:
        raise FlowError(name, "", f"is not TOML: {error}") from None


def _phrases(file: str, table: dict[str, Any]) -> dict[str, Mapping[str, str]]:
    found: dict[str, Mapping[str, str]] = {}
    for name, texts in table.items():
        if not isinstance(texts, dict):
            raise FlowError(file, name, 'must be a table of texts by language, such as en = "..."')
        if "en" in texts and isinstance(texts["en"], str):
            found[name] = texts
        else:
            found.update(_phrases(file, {f"{name}.{key}": value for key, value in texts.items()}))
    return found


def blanks_in(text: str) -> list[str]:
    """The names of the ``{blanks}`` in a text; raises ValueError for a stray brace."""
    return [name for _, name, _, _ in Formatter().parse(text) if name is not None]


class _Reader:
    """Reads flow tables, knowing where in which file each thing stands."""

    def __init__(
        self, files: Mapping[str, str], registry: Registry, kinds: Mapping[str, ReplyKind], settings: Settings
    ) -> None:
        self.files, self.registry, self.kinds, self.settings = files, registry, kinds, settings

    def fail(self, flow: str, step: str, reason: str, given: str = "", valid: Iterable[str] = ()) -> FlowError:
        file = f"{flow}.toml"
        lines = self.files.get(file, "").splitlines()
        line = next((n for n, text in enumerate(lines, 1) if text.strip().startswith(f"[{step}]")), 0) if step else 0
        from difflib import get_close_matches  # costs a start-up what only a broken file needs

        near = get_close_matches(given, list(valid), 1, 0.5) if given else []
        return FlowError(file, f"{flow}.{step}" if step else "", reason, near[0] if near else "", line)

    def flow(self, file: str, table: dict[str, Any]) -> Flow:
        name = file.removesuffix(".toml")
        heads = {key: value for key, value in table.items() if not isinstance(value, dict)}
        for key in heads:
            if key not in ("title", "first", "called"):
                raise self.fail(name, "", f"unknown key {key!r}", key, ("title", "first", "called"))
        for key in ("title", "first"):
            if key not in heads:
                raise self.fail(name, "", f'needs {key} = "..." at its top')
        steps = {key: self.step(name, key, value) for key, value in table.items() if isinstance(value, dict)}
        if heads["first"] not in steps:
            raise self.fail(name, "", f"first names no step: {heads['first']!r}", heads["first"], steps)
        return Flow(name, heads["title"], heads["first"], bool(heads.get("called", False)), steps)

    def step(self, flow: str, name: str, table: dict[str, Any]) -> Step:
        for key in table:
            if key not in _STEP_KEYS:
                raise self.fail(flow, name, f"unknown key {key!r}", key, _STEP_KEYS)
        kind = table.get("kind", "")
        if kind not in self.kinds and kind not in (ROUTE, REST):
            raise self.fail(flow, name, f"there is no reply kind {kind!r}", kind, [*self.kinds, ROUTE, REST])
        if kind != ROUTE and "en" not in table.get("say", {}):
            raise self.fail(flow, name, "says nothing: it needs say.en")
        self.check_blanks(flow, name, table)
        options = self.options(flow, name, table)
        asked = Asked(
            options,
            table.get("least"),
            table.get("most"),
            fields=tuple(table.get("fields", Asked().fields)),
            never_over=table.get("never_over"),
        )
        step = Step(
            flow,
            name,
            kind,
            table.get("say", {}),
            table.get("why", {}),
            table.get("save", ""),
            table.get("about", "visit"),
            asked,
            table.get("carry", ""),
            table.get("tag_must", "free"),
            tuple(self.branch(flow, name, branch) for branch in table.get("then", [])),
            _names(table.get("acts", [])),
        )
        for word, valid in ((step.about, ("visit", "sample")), (step.tag_must, ("free", "kept"))):
            if word not in valid:
                raise self.fail(flow, name, f"{word!r} must be one of {', '.join(valid)}", word, valid)
        return step

    def options(self, flow: str, name: str, table: dict[str, Any]) -> tuple[Option, ...]:
        source = table.get("options_from")
        if source is None:
            given = table.get("options", {}).items()
            return tuple(
                Option(code, (*words, *UNSURE_WORDS) if code == "UNSURE" else tuple(words)) for code, words in given
            )
        if source != "sites":
            raise self.fail(flow, name, f"options_from {source!r} must be sites", source, ("sites",))
        return tuple(Option(site.code, (site.name, *site.words)) for site in self.settings.sites)

    def check_blanks(self, flow: str, name: str, table: dict[str, Any]) -> None:
        texts = [*table.get("say", {}).values(), *table.get("why", {}).values(), table.get("carry", "")]
        for text in texts:
            try:
                found = blanks_in(text)
            except ValueError as error:
                raise self.fail(flow, name, f"a stray brace in {text[:30]!r}: {error}") from None
            for blank in found:
                if blank not in self.registry.blanks:
                    raise self.fail(flow, name, f"there is no blank {{{blank}}}", blank, self.registry.blanks)

    def branch(self, flow: str, name: str, table: dict[str, Any]) -> Branch:
        for key in table:
            if key not in _BRANCH_KEYS:
                raise self.fail(flow, name, f"unknown key {key!r} in a branch", key, _BRANCH_KEYS)
        if "go" not in table:
            raise self.fail(flow, name, "a branch has no go")
        go = table["go"]
        when, do = _names(table.get("if", [])), _names(table.get("do", []))
        for condition in when:
            bare = condition.removeprefix("not ")
            if bare not in self.registry.conditions:
                raise self.fail(flow, name, f"there is no condition {bare!r}", bare, self.registry.conditions)
        for effect in do:
            if effect not in self.registry.effects:
                raise self.fail(flow, name, f"there is no effect {effect!r}", effect, self.registry.effects)
        target = go if go == RETURN or "." in go else f"{flow}.{go}"
        return Branch(target, _names(table.get("on", "any")), when, do, table.get("call", ""))

    def check_targets(self, book: FlowBook) -> None:
        steps = book.steps
        for step in steps.values():
            outcomes = book.outcomes(step)
            for branch in step.branches:
                self.check_branch(book, steps, step, branch, outcomes)
            for outcome in outcomes:
                served = [branch for branch in step.branches if branch.serves(outcome)]
                if not any(not branch.when for branch in served):
                    raise self.fail(
                        step.flow,
                        step.name,
                        f"no branch without a condition serves the reply {outcome!r}: a dead end",
                    )

    def check_branch(
        self, book: FlowBook, steps: Mapping[str, Step], step: Step, branch: Branch, outcomes: tuple[str, ...]
    ) -> None:
        if branch.go != RETURN and branch.go not in steps:
            near = [name.removeprefix(f"{step.flow}.") for name in steps]
            given = branch.go.removeprefix(f"{step.flow}.")
            raise self.fail(step.flow, step.name, f"goes to {given!r}, which is no step", given, near)
        if branch.go == RETURN and not book.flows[step.flow].called:
            raise self.fail(step.flow, step.name, "goes to return, but this flow is not called = true")
        if branch.call and not (branch.call in book.flows and book.flows[branch.call].called):
            callable_flows = [flow.name for flow in book.flows.values() if flow.called]
            raise self.fail(
                step.flow,
                step.name,
                f"calls {branch.call!r}, which is no called flow",
                branch.call,
                callable_flows,
            )
        for outcome in branch.on:
            if outcome != "any" and outcome not in outcomes:
                raise self.fail(
                    step.flow,
                    step.name,
                    f"waits for {outcome!r}, which a {step.kind} reply can't be",
                    outcome,
                    outcomes,
                )


def check_targets(book: FlowBook, registry: Registry) -> None:
    """Raises FlowError for a branch of a book that leads nowhere, or a reply that no branch serves."""
    _Reader({}, registry, book.kinds, book.settings).check_targets(book)


def _names(given: str | list[str]) -> tuple[str, ...]:
    return (given,) if isinstance(given, str) else tuple(given)
