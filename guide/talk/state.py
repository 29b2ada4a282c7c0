"""The state of one seat's conversation, as kept between two texts.

Plain classes: a state is read, copied and written for every text, and a start feels what dataclasses would make.
"""

import json
from typing import Any

MOST_FRAMES = 5
"""The visit, a flow it called, an oops, danger, and the storm that danger may call: each of them once."""
MOST_QUEUED = 8
PACES = ("coach", "steady", "brisk")
_as_json = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False).encode


class Frame:
    """One flow being gone through.

    ``sample`` is the uid of the specimen in hand, ``since`` the turn this frame began with, ``slots`` what was
    answered in it, ``facts`` acts that can't be undone (BACK never removes one), ``trail`` the steps answered since
    the last such act, which BACK may ask again.
    """

    def __init__(
        self,
        flow: str,
        step: str,
        sample: str | None = None,
        since: int = 0,
        slots: dict[str, Any] | None = None,
        facts: list[str] | None = None,
        trail: list[str] | None = None,
    ) -> None:
        self.flow, self.step, self.sample, self.since = flow, step, sample, since
        self.slots, self.facts, self.trail = slots or {}, facts or [], trail or []

    @property
    def state(self) -> str:
        """The name of the machine's state."""
        return f"{self.flow}.{self.step}"

    def go(self, state: str) -> None:
        """Moves the frame to ``flow.step``."""
        self.flow, self.step = state.split(".", 1)


class SeatState:
    """A seat's whole state.

    ``ask`` is a question of our own on top of the step's; ``queue`` holds samples of a text that must be asked
    singly; ``last`` is the last text taken as an answer, to know it again when it is sent twice; ``kept`` is the
    sample kept last.
    """

    def __init__(
        self,
        frames: list[Frame],
        v: int = 1,
        pace: str = "coach",
        pace_next: str | None = None,
        clean_run: int = 0,
        misses: int = 0,
        paused: bool = False,
        ask: dict[str, Any] | None = None,
        queue: list[dict[str, Any]] | None = None,
        last: dict[str, Any] | None = None,
        redo: list[str] | None = None,
        kept: str | None = None,
    ) -> None:
        self.frames, self.v = frames, v
        self.pace, self.pace_next, self.clean_run = pace, pace_next, clean_run
        self.misses, self.paused, self.ask = misses, paused, ask
        self.queue, self.last, self.redo, self.kept = queue or [], last, redo or [], kept

    @property
    def top(self) -> Frame:
        """The frame that is talking now."""
        return self.frames[-1]

    @property
    def base(self) -> Frame:
        """The frame of the visit itself."""
        return self.frames[0]

    def copy(self) -> "SeatState":
        """A state that can be changed without changing this one."""
        frames = [
            Frame(f.flow, f.step, f.sample, f.since, dict(f.slots), list(f.facts), list(f.trail)) for f in self.frames
        ]
        return SeatState(**{**vars(self), "frames": frames, "queue": list(self.queue), "redo": list(self.redo)})

    def to_json(self) -> str:
        """As stored with the seat."""
        return _as_json({**vars(self), "frames": [vars(frame) for frame in self.frames]})

    @classmethod
    def from_json(cls, text: str) -> "SeatState":
        """From what was stored; raises ValueError if it is no state of this version."""
        data = json.loads(text)
        if data.get("v") != 1:
            raise ValueError(f"a seat state of version {data.get('v')!r} can't be read")
        data["frames"] = [Frame(**frame) for frame in data["frames"]]
        return cls(**data)
