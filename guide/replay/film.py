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
    """Prints a transcript's beats to ``out``; before each text after the first it waits ``pace`` seconds, by ``sleep``.

    Remarks stand above the beat they stand above in the file.
    """

    transcript: Transcript
    out: TextIO
    sleep: Callable[[float], None]
    pace: float = 0.0
    shown: int = field(default=0, init=False)

    def __post_init__(self) -> None:
        self._items = iter(self.transcript.items)
        self._print(self.transcript.title)

    def beat(self, beat: Beat) -> None:
        """What happens, then what the guide says to it."""
        for remark in self._remarks():
            self._print(remark, "# ", "# ")
        if beat.act == "wait":
            self._line(f"... {beat.minutes} min later ...")
        elif beat.act == "restart":
            self._line("... the program was stopped and starts again ...")
        else:
            again = " (again)" if beat.act == "again" else ""
            self._line(f"{clock(beat.at)} {beat.phone}{again}: {beat.words}".rstrip(": "))
        for line in beat.guide:
            self._line(self._guide(line), " " * 6)

    def _remarks(self) -> list[str]:
        """The remarks down to the next beat, a paragraph each; an empty line parts them."""
        paragraphs = [""]
        for item in self._items:
            if isinstance(item, Beat):
                break
            if isinstance(item, Remark) and item.raw.strip("# "):
                paragraphs[-1] += f" {item.raw.lstrip('# ')}"
            elif paragraphs[-1]:
                paragraphs.append("")
        return [paragraph.strip() for paragraph in paragraphs if paragraph]

    def _guide(self, line: GuideLine) -> str:
        when = f"{clock(line.at)} " if line.at else ""
        whom = f"{GUIDE} to {line.to}" if line.to else GUIDE
        return f"{when}{whom}: {line.text}"

    def _line(self, text: str, left: str = "") -> None:
        if self.shown and self.pace:
            self.sleep(self.pace)
        self.shown += 1
        self._print(text, left, left + "  ")

    def _print(self, text: str, first: str = "", others: str = "  ") -> None:
        """Wraps a line to the terminal; what its alphabet lacks is shown as a question mark."""
        width = min(max(shutil.get_terminal_size().columns, _NARROWEST), _WIDEST) - 1
        code = self.out.encoding or "utf-8"
        for part in clean(text).split("\n"):
            for line in textwrap.wrap(part, width, initial_indent=first, subsequent_indent=others):
                self.out.write(line.encode(code, "replace").decode(code) + "\n")
        self.out.flush()
