"""The working draft of one text: reads the snapshot, collects what will be written and said. Writes nothing."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from guide.flow.machine import Conversation, TalkMachine
from guide.flow.model import REST, FlowBook, Step
from guide.flow.registry import Registry
from guide.flow.replies.base import Asked, ReplyKind
from guide.flow.settings import Settings, Site
from guide.record.log import Entry
from guide.talk.decision import Say, TimerChange
from guide.talk.snapshot import SampleView, SeatFacts, Snapshot, TagView
from guide.talk.state import SeatState

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

_LIKE = ("text", "distance", "temperature", "duration", "volume")
"""Reply kinds whose example is the step's own: a freezer is not as warm as a pond."""

_TOLD_BY_THE_DAY = ("date", "time")
"""Reply kinds that are read against local time."""


AMONG = {"out_count": "people", "home_count": "people", "floats": "in_water"}
"""Counts of people, each with the answer that it can hardly be above."""


class Talk(NamedTuple):
    """A flow book made ready to talk: its machine built, its names bound."""

    book: FlowBook
    registry: Registry
    machine: TalkMachine

    @classmethod
    def of(cls, book: FlowBook, registry: Registry) -> "Talk":
        """Builds the machine of a book, once."""
        return cls(book, registry, TalkMachine(book, registry))


class Turn:
    """One text being worked on. ``state`` is changed in place: pass a copy."""

    def __init__(self, talk: Talk, state: SeatState, snapshot: Snapshot, seat: SeatFacts, now: datetime) -> None:
        self.talk, self.state, self.snapshot, self.seat, self.now = talk, state, snapshot, seat, now
        self.book = talk.book
        self.conversation = Conversation(self)
        self.entries: list[Entry] = []
        self.says: list[Say] = []
        self.timers: list[TimerChange] = []
        self.leads: list[str] = []
        self.echo = ""
        self.prompting = False
        self.new_visit = False
        self.got: SampleView | None = None
        self.value: Any = None
        self.flags: tuple[str, ...] = ()
        self.text = ""
        self.visit = snapshot.visit()
        self.answers: dict[str, Any] = dict(self.visit.answers)
        self._samples: dict[str, SampleView] | None = None
        self._looked_at: dict[str, SampleView | None] = {}
        self._tags: dict[str, TagView] = {}
        self._new_samples = 0

    @property
    def settings(self) -> Settings:
        """The programme's settings, as the visit began with."""
        return self.book.settings

    @property
    def step(self) -> Step:
        """The step that is being asked."""
        top = self.state.frames[-1]
        return self.book.flows[top.flow].steps[top.step]

    @property
    def kind(self) -> ReplyKind:
        """How a reply to this step is read."""
        return self.book.kind(self.step)

    @property
    def site(self) -> Site | None:
        """The visit's site, once it is known."""
        code = self.answers.get("site")
        return next((site for site in self.settings.sites if site.code == code), None)

    @property
    def zone(self) -> "ZoneInfo":
        """Local time at the site; UTC before the site is known."""
        from zoneinfo import ZoneInfo  # most texts need no local time, and a start-up feels the import

        return ZoneInfo(self.site.zone if self.site else "UTC")

    @property
    def asked(self) -> Asked:
        """What this step asks for, with its options from the settings and the local time filled in."""
        asked, tags = self.step.asked, self.settings.tags
        if (asked.tag_width, asked.tag_check) != (tags.width, tags.check):
            asked = asked._replace(tag_width=tags.width, tag_check=tags.check)
        among = self.answers.get(AMONG.get(self.step.save, ""))
        if isinstance(among, int):
            asked = asked._replace(most=among)
        by_the_day = self.step.kind in _TOLD_BY_THE_DAY
        return asked._replace(now=self.now.astimezone(self.zone)) if by_the_day else asked

    # What is written and said

    def log(self, kind: str, data: dict[str, Any] | None = None, *, words: str | None = None, **at: Any) -> None:
        """Adds an entry; ``sample_uid`` and ``supersedes`` may be given by name."""
        self.entries.append(Entry(kind, self.state.top.state, data or {}, words=words, **at))

    def say(self, text: str, to: str | None = None) -> None:
        """Adds a text out."""
        self.says.append(Say(text, to))

    def lead(self, text: str) -> None:
        """Adds words that go in front of the next prompt."""
        self.leads.append(text)

    def tell_others(self, text: str) -> None:
        """Sends a text to every other seat of the visit."""
        for seat in self.snapshot.other_seats():
            self.say(text, seat.letter)

    def start_timer(self, kind: str, minutes: float) -> None:
        """Starts the seat's timer of this kind anew."""
        self.timers.append(TimerChange(kind, self.now + timedelta(minutes=minutes)))

    def stop_timer(self, kind: str) -> None:
        """Stops the seat's timer of this kind, if it runs."""
        self.timers.append(TimerChange(kind, None))

    def ask_again(self) -> None:
        """Has the step that is being asked said at the end, after the leads."""
        self.prompting = True

    # What is known

    def samples(self) -> dict[str, SampleView]:
        """The visit's samples by uid, with what this text changed."""
        if self._samples is None:
            known = {uid: sample for uid, sample in self._looked_at.items() if sample is not None}
            self._samples = {sample.uid: sample for sample in self.snapshot.samples()} | known
        return self._samples

    def sample_of(self, uid: str | None) -> SampleView | None:
        """One sample of the visit, as this text leaves it; most texts need no other."""
        if uid is None:
            return None
        if self._samples is not None:
            return self._samples.get(uid)
        if uid not in self._looked_at:
            self._looked_at[uid] = self.snapshot.sample(uid)
        return self._looked_at[uid]

    @property
    def target(self) -> int:
        """Larvae wanted here: the programme's number, or fewer where the permit says so."""
        limit = self.site.take_limit if self.site else 0
        return min(self.visit.target, limit) if limit else self.visit.target

    def kept(self) -> list[SampleView]:
        """The larvae that count."""
        return [one for one in self.samples().values() if one.status == "kept" and one.kind == "larva"]

    def sample(self) -> SampleView | None:
        """The specimen in hand, unless another seat has made it void."""
        sample = self.sample_of(self.state.base.sample)
        return sample if sample is not None and sample.status == "open" else None

    def put_sample(self, sample: SampleView) -> None:
        """Remembers a sample as this text leaves it."""
        self._looked_at[sample.uid] = sample
        if self._samples is not None:
            self._samples[sample.uid] = sample

    def new_uid(self) -> str:
        """A uid no sample has."""
        uid = self.snapshot.new_sample_uid(self._new_samples)
        self._new_samples += 1
        return uid

    def tag(self, code: str) -> TagView | None:
        """A tag of the pool as this text leaves it; None if the pool doesn't have it."""
        return self._tags.get(code) or self.snapshot.tag(code)

    def put_tag(self, code: str, status: str, sample: str | None) -> None:
        """Remembers a tag as this text leaves it."""
        self._tags[code] = TagView(code, status, sample, self.visit.uid)

    def free_tag(self) -> str | None:
        """A tag that may be put on the next sample."""
        return self.snapshot.free_tag([code for code, tag in self._tags.items() if tag.status != "free"])

    # Texts

    def phrase(self, name: str, blanks: Mapping[str, str] | None = None) -> str:
        """A phrase in the programme's language with its blanks filled; blanks of the registry need not be given."""
        return self.fill(self.book.in_language(self.book.phrases[name]), blanks)

    def fill(self, text: str, blanks: Mapping[str, str] | None = None) -> str:
        """Fills the blanks of a text, each held to its width."""
        return text.format_map(_Filler(self, blanks or {}))

    def prompt(self) -> str:
        """What the step that is being asked says."""
        return self.fill(self.book.in_language(self.step.say))

    def how(self) -> str:
        """A few words on how to answer the step that is being asked, the answers beside its kind's own too."""
        step = self.step
        codes = [option.code for option in step.asked.options]
        options = ", ".join(codes)
        if step.kind in ("choice", "choices", REST):
            return self.phrase("how_place" if step.save == "site" else "how_options", {"options": options})
        if step.kind in _LIKE and step.carry not in ("", *codes):
            how = self.phrase("how_like", {"example": self.fill(step.carry)})
        elif step.kind == "sample" and "tag" not in step.asked.fields:
            how = self.phrase("how.sample_untagged")
        else:
            how = self.phrase(f"how.{step.kind}")
        return self.phrase("how_or", {"how": how, "options": options}) if codes else how


class _Filler(dict[str, str]):
    """Looks blanks up as they are met, so that a prompt costs only what it uses."""

    def __init__(self, turn: Turn, given: Mapping[str, str]) -> None:
        super().__init__(given)
        self.turn = turn

    def __missing__(self, name: str) -> str:
        blank = self.turn.talk.registry.blanks[name]
        return blank.fill(self.turn)[: blank.width]
