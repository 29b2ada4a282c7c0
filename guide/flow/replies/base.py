"""What every reply kind shares: what a step asks for, and what a text was read as."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, NamedTuple, Protocol


class Option(NamedTuple):
    """One answer a step offers. ``code`` is stored; ``words`` are other ways people text it."""

    code: str
    words: tuple[str, ...] = ()


class Asked(NamedTuple):
    """What a step asks for.

    ``options`` are the step's named answers (for choice and choices, or beside any other kind, such as MOVE
    beside a yes_no). ``least`` and ``most`` bound plausible numbers, in the unit the kind stores; a count above
    ``never_over`` is refused.
    ``tag_width`` is digits a tag, check digit included; without ``tag_check`` tags are a lab's own codes.
    ``fields`` are what a ``sample`` reply must hold, of ``length_mm``, ``family``, ``tag``. ``now`` is local time
    at the site, for dates such as "today".
    """

    options: tuple[Option, ...] = ()
    least: float | None = None
    most: float | None = None
    tag_width: int = 5
    tag_check: bool = True
    fields: tuple[str, ...] = ("length_mm", "family", "tag")
    now: datetime | None = None
    never_over: float | None = None


class Reading(NamedTuple):
    """How a text was read.

    ``value`` is None when the text was not understood; then ``phrase`` says what was not understood. With a
    value and ``sure``, take it. With a value and not ``sure``: if ``ask``, hold the value and ask ``phrase``
    back (a number out of line, a missing unit, two candidates: the first is the value); otherwise take it and
    echo ``phrase`` in the next prompt. ``phrase`` names an entry of ``replies.toml``, ``blanks`` fill it.
    """

    value: Any = None
    sure: bool = False
    ask: bool = False
    phrase: str = ""
    blanks: Mapping[str, str] = {}


class ReplyKind(Protocol):
    """One kind of reply: recognise, parse, print back."""

    name: str

    def read(self, text: str, asked: Asked) -> Reading:
        """Reads ``text`` (any characters at all) for a step that asks for this kind."""

    def show(self, value: Any) -> str:
        """Prints a value back as a person would text it, e.g. ``27 mm``; reading it again gives the value."""

    def outcomes(self, asked: Asked) -> tuple[str, ...]:
        """Every name a branch can be taken on, the step's options included."""

    def outcome(self, value: Any, asked: Asked) -> str:
        """The one of ``outcomes`` that a value takes."""

    def samples(self, asked: Asked) -> tuple[str, ...]:
        """A few texts that would be understood and sure, the most usual first; never empty."""
