"""A flow book's ready form: what was read from its text, as JSON. Reading TOML again would take most of a start."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

from guide import __version__
from guide.flow.load import blanks_in
from guide.flow.model import REST, ROUTE, Branch, Flow, FlowBook, Step
from guide.flow.registry import Registry
from guide.flow.replies.base import Asked, Option, ReplyKind
from guide.flow.settings import Settings, Site, TagBlock

_PARTS = (Flow, Step, Branch, Asked, Option, Settings, Site, TagBlock)
_FORM = [__version__, *(list(part._fields) for part in _PARTS)]
_BEGINNING = f'{{"form":{json.dumps(_FORM, separators=(",", ":"))},'
"""A ready form says what it was made of. A program of another version, or with other parts, reads the text instead."""


def to_ready(book: FlowBook) -> str:
    """The ready form of a book that was read and checked."""
    names = {
        "conditions": sorted({c.removeprefix("not ") for s in book.steps.values() for b in s.branches for c in b.when}),
        "effects": sorted({effect for step in book.steps.values() for b in step.branches for effect in b.do}),
        "kinds": sorted({step.kind for step in book.steps.values()} - {ROUTE, REST}),
        "blanks": sorted({blank for step in book.steps.values() for text in _texts(step) for blank in blanks_in(text)}),
    }
    parts = {"flows": book.flows, "phrases": book.phrases, "settings": book.settings}
    return json.dumps({"form": _FORM, "names": names, **parts}, ensure_ascii=False, separators=(",", ":"))


def _texts(step: Step) -> list[str]:
    return [*step.say.values(), *step.why.values(), step.carry]


def is_ready(ready: str | None) -> bool:
    """Whether a ready form was made by a program with the same parts."""
    return ready is not None and ready.startswith(_BEGINNING)


def from_ready(
    book_hash: str, text: str, ready: str | None, registry: Registry, kinds: Mapping[str, ReplyKind]
) -> FlowBook | None:
    """The book of a text from its ready form; None where this program must read the text itself."""
    if ready is None or not is_ready(ready):
        return None
    given = json.loads(ready)
    if not _are_known(given["names"], registry, kinds):
        return None
    flows = {name: _flow(row) for name, row in given["flows"].items()}
    return FlowBook(book_hash, text, flows, given["phrases"], _settings(given["settings"]), kinds)


def _are_known(names: dict[str, list[str]], registry: Registry, kinds: Mapping[str, ReplyKind]) -> bool:
    known: dict[str, Any] = {**registry._asdict(), "kinds": kinds}
    return all(name in known[sort] for sort, given in names.items() for name in given)


def _flow(row: list[Any]) -> Flow:
    *heads, steps = row
    return Flow._make([*heads, _Steps(steps)])


class _Steps(Mapping[str, Step]):
    """A flow's steps, each made when it is first met: one text meets few of them."""

    def __init__(self, rows: Mapping[str, list[Any]]) -> None:
        self._rows = rows
        self._made: dict[str, Step] = {}

    def __getitem__(self, name: str) -> Step:
        if name not in self._made:
            self._made[name] = _step(self._rows[name])
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)


def _step(row: list[Any]) -> Step:
    step = Step(*_tuples(row))
    asked = Asked(*_tuples(step.asked))
    options = tuple(Option(*_tuples(option)) for option in asked.options)
    return step._replace(
        asked=asked._replace(options=options), branches=tuple(Branch(*_tuples(branch)) for branch in step.branches)
    )


def _settings(row: list[Any]) -> Settings:
    settings = Settings(*_tuples(row))
    sites = tuple(Site(*_tuples(site)) for site in settings.sites)
    return settings._replace(tags=TagBlock(*settings.tags), sites=sites)


def _tuples(values: Any) -> list[Any]:
    """JSON has lists where the book has tuples."""
    return [tuple(value) if isinstance(value, list) else value for value in values]
