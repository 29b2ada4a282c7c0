"""An in-memory form of what a conversation may look up."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from guide.record.log import Entry
from guide.talk.snapshot import KitView, SampleView, SeatFacts, SeatView, TagView, VisitView


@dataclass
class MemorySnapshot:
    """A snapshot held in memory, for tests and for the flow checker."""

    visit_view: VisitView
    sample_views: list[SampleView] = field(default_factory=list)
    tags: dict[str, TagView] = field(default_factory=dict)
    seats: list[SeatView] = field(default_factory=list)
    clean: int = 0
    kits: dict[str, KitView] = field(default_factory=dict)
    times: list[tuple[str, datetime]] = field(default_factory=list)
    bottle_day: str | None = None

    def visit(self) -> VisitView:
        return self.visit_view

    def samples(self) -> list[SampleView]:
        return self.sample_views

    def sample(self, uid: str) -> SampleView | None:
        return next((sample for sample in self.sample_views if sample.uid == uid), None)

    def tag(self, code: str) -> TagView | None:
        return self.tags.get(code)

    def free_tag(self, besides: Sequence[str] = ()) -> str | None:
        sites = (None, self.visit_view.site)
        return next(
            (
                code
                for code, tag in sorted(self.tags.items())
                if tag.status == "free" and tag.site in sites and code not in besides
            ),
            None,
        )

    def new_sample_uid(self, already: int) -> str:
        return f"o1-{len(self.sample_views) + already + 1}"

    def answer_ref(self, name: str, sample_uid: str | None) -> str | None:
        return f"o1/{self.visit_view.uid}/{name}"

    def other_seats(self) -> list[SeatView]:
        return self.seats

    def kit(self, uid: str) -> KitView | None:
        return self.kits.get(uid)

    def kept_times(self) -> list[tuple[str, datetime]]:
        return self.times

    def last_bottle_day(self, site: str) -> str | None:
        return self.bottle_day

    def clean_before(self) -> int:
        return self.clean

    def mark(self, entries: Sequence[Entry], seat: SeatFacts, now: datetime) -> str:
        return "0" * 64
