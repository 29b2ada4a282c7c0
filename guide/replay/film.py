"""Shows a conversation as it is played, text after text. Plain lines without colour, so that any terminal can."""

import shutil
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TextIO

from guide.flow.replies.clean import clean
from guide.replay.transcript import Beat, GuideLine, Remark, Transcript, clock

GUIDE = "guide"
_WIDEST = 100
_NARROWEST = 40


@dataclass
class Film:
    """Prints beats to ``out``; before each text after the first it waits ``pace`` seconds, through ``sleep``."""

    out: TextIO
    sleep: Callable[[float], None]
    pace: float = 0.0
    shown: int = field(default=0, init=False)

    def title(self, transcript: Transcript) -> None:
        """The title, and the remarks above the first text."""
        self._print(transcript.title)
        for item in transcript.items:
            if isinstance(item, Beat):
                break
            if isinstance(item, Remark) and item.raw:
                self._print(item.raw.lstrip("# "))
        self.out.write("\n")

    def beat(self, beat: Beat) -> None:
        """What happens, then what the guide says to it."""
        if beat.act == "wait":
            self._line(f"... {beat.minutes} min later ...")
        elif beat.act == "restart":
            self._line("... the program was stopped and starts again ...")
        else:
            again = " (again)" if beat.act == "again" else ""
            self._line(f"{clock(beat.at)} {beat.phone}{again}: {beat.words}".rstrip(": "))
        for line in beat.guide:
            self._line(self._guide(line), indent=6)

    def _guide(self, line: GuideLine) -> str:
        when = f"{clock(line.at)} " if line.at else ""
        whom = f"{GUIDE} to {line.to}" if line.to else GUIDE
        return f"{when}{whom}: {line.text}"

    def _line(self, text: str, indent: int = 0) -> None:
        if self.shown and self.pace:
            self.sleep(self.pace)
        self.shown += 1
        self._print(text, indent)

    def _print(self, text: str, indent: int = 0) -> None:
        """Wraps a line to the terminal; what its alphabet lacks is shown as a question mark."""
        width = min(max(shutil.get_terminal_size().columns, _NARROWEST), _WIDEST) - 1
        left = " " * indent
        for part in clean(text).split("\n"):
            lines = textwrap.wrap(part, width, initial_indent=left, subsequent_indent=left + "  ") or [left]
            for line in lines:
                code = self.out.encoding or "utf-8"
                self.out.write(line.encode(code, "replace").decode(code) + "\n")
        self.out.flush()
