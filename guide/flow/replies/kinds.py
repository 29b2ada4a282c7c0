"""All reply kinds by name."""

from collections.abc import Iterator, Mapping
from importlib import import_module

from guide.flow.replies.base import ReplyKind

_WHERE = {
    "done": ("yes", "Done"),
    "yes_no": ("yes", "YesNo"),
    "choice": ("choosing", "Choice"),
    "choices": ("choosing", "Choices"),
    "count": ("numbers", "Count"),
    "length": ("numbers", "Length"),
    "distance": ("numbers", "Distance"),
    "family": ("names", "FamilyKind"),
    "tag": ("names", "Tag"),
    "sample": ("sample", "Sample"),
    "text": ("names", "Text"),
    "temperature": ("numbers", "Temperature"),
    "volume": ("measures", "Volume"),
    "percent": ("measures", "Percent"),
    "duration": ("numbers", "Duration"),
    "date": ("when", "Date"),
    "time": ("when", "Time"),
}
"""The module and class of each kind."""


class _Kinds(Mapping[str, ReplyKind]):
    """Makes each kind when it is first asked for: a start of the program pays only for the kinds it meets."""

    def __init__(self) -> None:
        self._made: dict[str, ReplyKind] = {}

    def __getitem__(self, name: str) -> ReplyKind:
        if name not in self._made:
            module, kind = _WHERE[name]
            self._made[name] = getattr(import_module(f"guide.flow.replies.{module}"), kind)()
        return self._made[name]

    def __contains__(self, name: object) -> bool:
        return name in _WHERE

    def __iter__(self) -> Iterator[str]:
        return iter(_WHERE)

    def __len__(self) -> int:
        return len(_WHERE)


KINDS: Mapping[str, ReplyKind] = _Kinds()
