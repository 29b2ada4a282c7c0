"""What a drill is, as plain data: where it begins, which surprises may come, and what answers to them are worth."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from guide.errors import WadelineError

ROLES = ("clean", "dirty", "both")
"""Whose habit a surprise or a step is about. Roles, never people."""

CARRY = "{carry}"
"""In example answers: whatever reply carries on at the step that is asked."""

SPARE_BLANKS = {"slip": "0" * 8, "bad": "0" * 8}
"""Blanks a surprise may hold, each with its longest value: the tag slip in hand, and the same slip misprinted."""

DAMSELFLY = "damselfly"
"""What a simulated specimen may be beside a dragonfly family: it is not wanted."""


class DrillError(WadelineError):
    """A drill can't be played as asked; says what to do instead."""


@dataclass(frozen=True)
class Mark:
    """Something a pair does that tells how it took a surprise.

    ``word`` is a word that works anywhere (OOPS); ``step`` alone is coming to that step; ``step`` with ``answer`` is
    that answer at that step; ``kept`` is a larva told of as bagged, at any pace.
    """

    step: str = ""
    answer: str = ""
    word: str = ""
    kept: bool = False


@dataclass(frozen=True)
class Fixed:
    """A specimen that a surprise puts on the spoon: its true length and family (or a damselfly)."""

    length_mm: int
    family: str


@dataclass(frozen=True)
class Surprise:
    """Something thrown in at a moment the pair does not expect.

    ``say`` and ``because`` are texts by language; ``at`` the steps it may come at; ``who`` the role it is about.
    ``good`` and ``harmful`` are marks, the first that is met decides; neither within ``texts`` texts is missed.
    ``right`` and ``wrong`` are example texts that lead there. ``options`` makes it a question of its own.
    A ``specimen`` may come without words.
    ``danger`` is True for a surprise in which people come first: it can teach nothing but DANGER at once.
    """

    name: str
    say: Mapping[str, str]
    because: Mapping[str, str]
    at: tuple[str, ...]
    who: str
    good: tuple[Mark, ...]
    harmful: tuple[Mark, ...]
    right: tuple[str, ...]
    wrong: tuple[str, ...] = (CARRY,)
    texts: int = 8
    options: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    specimen: Fixed | None = None
    danger: bool = False

    @property
    def step(self) -> str:
        """The step a surprise with options asks its question at."""
        return f"surprise.{self.name}"


@dataclass(frozen=True)
class Coming:
    """That a surprise may come in a drill: its chance, and the round it is kept for (0: any)."""

    surprise: Surprise
    chance: float = 1.0
    round: int = 0


@dataclass(frozen=True)
class Drill:
    """One drill.

    ``begin`` is the step each round begins at, ``before`` how steps are answered where it isn't by what carries on;
    a round ends at the step ``end``, or where there is none after ``larvae`` simulated specimens. At most ``most``
    surprises come in a round, drawn, or in the order they are listed in. ``least_s`` are the seconds below which no
    hand can have done what a step asks. ``target`` is the larvae wanted at the site, in a file that says none as
    many as ``larvae`` (0: the programme's).
    """

    name: str
    title: str
    about: Mapping[str, str]
    minutes: int
    begin: str
    end: str = ""
    before: Mapping[str, str] = field(default_factory=dict)
    larvae: int = 0
    rounds: int = 2
    most: int = 1
    listed: bool = False
    least_s: int = 4
    target: int = 0
    coming: tuple[Coming, ...] = ()

    def surprise(self, name: str) -> Surprise | None:
        """The drill's surprise of this name, if it (still) has one."""
        return next((one.surprise for one in self.coming if one.surprise.name == name), None)
