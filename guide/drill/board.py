"""The trainer's board: every pair of a session on one screen, live while they text, with keys to act on them."""

import asyncio
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime

from prompt_toolkit.application import Application
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.layout import HSplit, Layout, Window
from prompt_toolkit.layout.controls import FormattedTextControl
from prompt_toolkit.styles import Style

from guide.drill.model import Surprise
from guide.drill.rows import LEGEND, Row, lines_of, rows_of
from guide.drill.session import Session
from guide.errors import WadelineError

EVERY_S = 0.5
"""How often the record is looked at."""

LONGEST_HINT = 140
_KEYS = "1234567890abcdefghijklmnopqrstuvwxyz"
_STYLE = Style.from_dict(
    {"head": "reverse", "dim": "#888888", "row": "", "chosen": "bold", "slow": "#b8860b bold", "danger": "reverse bold"}
)


class Board:
    """The board's state between two keys: which pair is chosen, and what is being typed or picked."""

    def __init__(self, session: Session, clock: Callable[[], datetime]) -> None:
        self.session, self.clock = session, clock
        self.chosen = 0
        self.mode = "rows"
        self.typed = ""
        self.told = ""
        self.rows: list[Row] = []
        self.look()

    def look(self) -> None:
        """Does what is due in the session and reads the board anew."""
        now = self.clock()
        self.session.look(now)
        self.rows = rows_of(self.session, now)

    @property
    def pair(self) -> str:
        """The pair that keys act on."""
        return self.rows[self.chosen].pair

    def surprises(self) -> list[Surprise]:
        """What can be thrown."""
        return [one.surprise for one in self.session.drill.coming]

    def text(self, width: int) -> list[tuple[str, str]]:
        """The whole screen as styled lines."""
        lines = lines_of(self.session, self.rows, self.chosen, self.clock(), width)
        lines += [("", ""), *(("", line) for line in self._below())]
        return [(style, line[: width - 1] if style != "head" else line) for style, line in lines]

    def _below(self) -> list[str]:
        if self.mode == "surprise":
            listed = zip(_KEYS, self.surprises(), strict=False)
            return [f" Throw at pair {self.pair} (any other key: none):", *(f"  {k}  {s.name}" for k, s in listed)]
        if self.mode == "hint":
            return [f" Hint to pair {self.pair}, Enter sends, Esc drops:", f" > {self.typed}_"]
        if self.mode == "end":
            return [" End the drill for all pairs? Y ends it, any other key goes on."]
        what = self.told or "A surprise comes at the next step that fits it; ? waits for its answer."
        return [f" {what}", "", *(f" {line}" for line in LEGEND)]

    # Keys

    def press(self, key: str) -> bool:
        """One key; False leaves the board."""
        mode, self.told = self.mode, ""
        if mode == "hint":
            self._type(key)
        elif mode == "surprise":
            self.mode = "rows"
            self._throw(key)
        elif mode == "end":
            self.mode = "rows"
            if key == "y":
                self.session.end(self.clock())
                return False
        elif key == "q":
            return False
        else:
            self._act(key)
        self.look()
        return True

    def _act(self, key: str) -> None:
        if key in ("up", "k"):
            self.chosen = max(0, self.chosen - 1)
        elif key in ("down", "j"):
            self.chosen = min(len(self.rows) - 1, self.chosen + 1)
        elif key in ("s", "h", "x"):
            self.mode = {"s": "surprise", "h": "hint", "x": "end"}[key]
        elif key == "p":
            self.session.pause(not self.session.view.paused, self.clock())
            self.told = "All pairs are paused; P lets them go on." if self.session.view.paused else "All go on."
        elif key == "e":
            self.session.end_round(self.pair, "ended by the trainer", self.clock())
            self.told = f"The round of pair {self.pair} is over."

    def _throw(self, key: str) -> None:
        listed = self.surprises()
        place = _KEYS.find(key) if len(key) == 1 else -1
        if 0 <= place < len(listed):
            self.session.ask_for(self.pair, listed[place].name, self.clock())
            steps = ", ".join(listed[place].at)
            self.told = f"{listed[place].name} for pair {self.pair}: at {steps}"

    def _type(self, key: str) -> None:
        if key == "enter":
            if self.typed.strip():
                self.session.hint(self.pair, self.typed.strip(), self.clock())
                self.told = f"Told pair {self.pair}."
            self.mode, self.typed = "rows", ""
        elif key == "escape":
            self.mode, self.typed = "rows", ""
        elif key == "backspace":
            self.typed = self.typed[:-1]
        elif len(key) == 1 and len(self.typed) < LONGEST_HINT:
            self.typed += key


def _application(board: Board) -> Application[None]:
    keys = KeyBindings()

    def press(event: KeyPressEvent, key: str) -> None:
        try:
            if not board.press(key):
                event.app.exit()
        except WadelineError as error:
            board.told = str(error)

    for name in ("up", "down", "enter", "escape", "backspace"):
        keys.add(name, eager=name == "escape")(lambda event, name=name: press(event, name))
    keys.add("c-c")(lambda event: event.app.exit())
    keys.add("c-d")(lambda event: event.app.exit())

    @keys.add("<any>")
    def _any(event: KeyPressEvent) -> None:
        typed = event.data
        press(event, typed if board.mode == "hint" else typed.casefold())

    def shown() -> StyleAndTextTuples:
        width = app.output.get_size().columns
        return [(f"class:{style}" if style else "", f"{line}\n") for style, line in board.text(width)]

    window = Window(FormattedTextControl(shown, show_cursor=False), wrap_lines=False)
    app: Application[None] = Application(
        Layout(HSplit([window])), key_bindings=keys, style=_STYLE, full_screen=True, refresh_interval=EVERY_S
    )
    return app


async def _run(board: Board) -> None:
    app = _application(board)

    async def watch() -> None:
        while True:
            await asyncio.sleep(EVERY_S)
            board.look()
            app.invalidate()

    watching = asyncio.create_task(watch())
    try:
        await app.run_async()
    finally:
        watching.cancel()
        with suppress(asyncio.CancelledError):
            await watching


def run_board(session: Session, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
    """Shows the board until the trainer leaves it; the drill goes on without it, and waits for the next look."""
    with suppress(KeyboardInterrupt):
        asyncio.run(_run(Board(session, clock)))
