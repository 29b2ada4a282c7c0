"""What a flow book is: steps, branches, phrases and settings, as plain data. Knows no file format and no database."""

from collections.abc import Mapping
from typing import NamedTuple

from guide.flow.replies.base import Asked, ReplyKind
from guide.flow.settings import Settings

ROUTE = "route"
"""The kind of a step that says nothing: its first branch whose conditions hold is taken at once."""

REST = "rest"
"""The kind of a step that ends a talk: it is said, nothing is asked."""

RETURN = "return"
"""Where a branch goes to leave the flow that was called and go on where it was called from."""


class Branch(NamedTuple):
    """One way on from a step.

    ``on`` names the outcomes of the reply it serves (``any`` is all of them), ``when`` the conditions that must all
    hold (``not x`` for the reverse), ``do`` the effects, ``call`` a flow to go through first, ``go`` the step
    (``flow.step``) or RETURN.
    """

    go: str
    on: tuple[str, ...] = ("any",)
    when: tuple[str, ...] = ()
    do: tuple[str, ...] = ()
    call: str = ""

    def serves(self, outcome: str) -> bool:
        """True if a reply with this outcome may take the branch."""
        return "any" in self.on or outcome in self.on


class Step(NamedTuple):
    """One prompt and the kind of reply it takes.

    ``say`` and ``why`` are texts by language. ``save`` names the answer in the record ("" saves nothing), ``about``
    says what the answer belongs to (``visit`` or ``sample``). ``acts`` state what the prompt has people do, in the
    words of the trade's rules (``rules.toml``). ``carry`` is the reply that carries on, where that isn't the kind's
    first. ``tag_must`` is ``free`` for a new slip, ``kept`` for a bag already in the record.
    """

    flow: str
    name: str
    kind: str
    say: Mapping[str, str] = {}
    why: Mapping[str, str] = {}
    save: str = ""
    about: str = "visit"
    asked: Asked = Asked()
    carry: str = ""
    tag_must: str = "free"
    branches: tuple[Branch, ...] = ()
    acts: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """``flow.step``, the name of its state."""
        return f"{self.flow}.{self.name}"


class Flow(NamedTuple):
    """One ordered piece of talk. ``called`` is True for a flow that is gone into and returned from."""

    name: str
    title: str
    first: str
    called: bool
    steps: Mapping[str, Step]


class FlowBook(NamedTuple):
    """All flows, phrases and settings a visit is led by, with the hash of the text they were read from."""

    hash: str
    text: str
    flows: Mapping[str, Flow]
    phrases: Mapping[str, Mapping[str, str]]
    settings: Settings
    kinds: Mapping[str, ReplyKind]

    @property
    def steps(self) -> Mapping[str, Step]:
        """Every step by ``flow.step``, put together anew each time."""
        return {step.id: step for flow in self.flows.values() for step in flow.steps.values()}

    def step(self, state: str) -> Step:
        """The step of a state name; raises KeyError for one this book doesn't have."""
        flow, _, name = state.partition(".")
        return self.flows[flow].steps[name]

    @property
    def states(self) -> list[str]:
        """``flow.step`` of every step."""
        return [f"{flow.name}.{name}" for flow in self.flows.values() for name in flow.steps]

    def kind(self, step: Step) -> ReplyKind:
        """How replies to a step are read."""
        return self.kinds[step.kind]

    def outcomes(self, step: Step) -> tuple[str, ...]:
        """Every outcome a branch of this step can be taken on."""
        if step.kind in (ROUTE, REST):
            return ("any",) if step.kind == ROUTE else tuple(o.code for o in step.asked.options)
        return self.kind(step).outcomes(step.asked)

    def in_language(self, texts: Mapping[str, str]) -> str:
        """The text in the programme's language, else in English."""
        return texts.get(self.settings.language) or texts["en"]
