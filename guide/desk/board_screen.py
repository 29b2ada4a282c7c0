"""The board on a terminal: it renews itself, and words can be sent from it. Understood without colours."""

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from prompt_toolkit.application import Application, get_app
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.filters import Condition
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.layout import ConditionalContainer, HSplit, Layout, VSplit, Window
from prompt_toolkit.layout.controls import BufferControl, FormattedTextControl
from prompt_toolkit.layout.dimension import Dimension

from guide.desk.board import (
    ASKED,
    Board,
    detail_lines,
    head_line,
    question_line,
    question_lines,
    read_board,
    seat_heads,
    seat_line,
)
from guide.desk.send import say_to
from guide.errors import WadelineError
from guide.gateway.exchange import Exchange

REFRESH_S = 2.0
HELP = "Up, Down choose  Enter write  G write to the whole visit  Q leave  p: practice"
WRITING = "Enter sends   Esc gives up"
CAUTION = "A board sees texts only. Someone in danger: call the local emergency number."
_QUESTIONS_SHOWN = 4


@dataclass
class BoardScreen:
    """One board on one terminal. ``chosen`` is the place of what is looked at, seats first, then questions."""

    exchange: Exchange
    clock: Callable[[], datetime]
    refresh_s: float = REFRESH_S
    chosen: int = 0
    writing_to: str = ""
    said: str = ""
    board: Board = field(init=False)

    def __post_init__(self) -> None:
        self.board = read_board(self.exchange.store, self.clock())
        self.words = Buffer(multiline=False)
        self.field = BufferControl(self.words)
        self.list = FormattedTextControl(self._seats, focusable=True, show_cursor=False)
        self.app: Application[None] = Application(
            Layout(self._layout()),
            key_bindings=self._keys(),
            full_screen=True,
            refresh_interval=self.refresh_s,
            before_render=lambda _: self.renew(),
        )
        self.app.ttimeoutlen = 0.1  # Esc gives up at once

    def renew(self) -> None:
        """Reads the record again; what was chosen stays chosen, wherever it now stands."""
        chosen = self._places()[self.chosen] if self._places() else ""
        try:
            self.board = read_board(self.exchange.store, self.clock())
        except sqlite3.OperationalError as error:
            self.said = f"the record can't be read now: {error}"
            return
        places = self._places()
        self.chosen = places.index(chosen) if chosen in places else min(self.chosen, max(0, len(places) - 1))

    def _places(self) -> list[str]:
        """All that can be chosen, each by a name that stays."""
        return [*(seat.to for seat in self.board.seats), *(question.entry for question in self.board.questions)]

    def _to(self) -> str:
        """The seat that is looked at."""
        seats = len(self.board.seats)
        if self.chosen < seats:
            return self.board.seats[self.chosen].to
        return self.board.questions[self.chosen - seats].to if self._places() else ""

    # What is shown

    def _layout(self) -> HSplit:
        writing = Condition(lambda: bool(self.writing_to))
        typed = VSplit([Window(FormattedTextControl(lambda: f"{self.writing_to}> "), dont_extend_width=True),
                        Window(self.field)], height=1)  # fmt: skip
        return HSplit([
            _line(lambda: head_line(self.board, _columns()), "bold"),
            _line(lambda: seat_heads(_columns()), "underline"),
            Window(self.list),
            Window(FormattedTextControl(self._question_text), dont_extend_height=True),
            Window(char="-", height=1),
            Window(FormattedTextControl(self._detail), height=Dimension(min=3, max=6), dont_extend_height=True),
            ConditionalContainer(typed, writing),
            _line(lambda: self.said or CAUTION),
            _line(lambda: WRITING if self.writing_to else HELP, "reverse"),
        ])  # fmt: skip

    def _seats(self) -> StyleAndTextTuples:
        """The seats, the chosen one marked so that the window scrolls to it."""
        shown: StyleAndTextTuples = []
        for place, seat in enumerate(self.board.seats):
            style = "reverse" if place == self.chosen else "bold" if seat.urgent <= ASKED else ""
            if place == self.chosen:
                shown.append(("[SetCursorPosition]", ""))
            shown.append((style, f"{seat_line(seat, self.board.at, _columns())}\n"))
        return shown or [("", "nobody is out\n")]

    def _question_text(self) -> StyleAndTextTuples:
        seats = len(self.board.seats)
        shown: StyleAndTextTuples = []
        first = max(0, self.chosen - seats - _QUESTIONS_SHOWN + 1)
        for place, question in enumerate(self.board.questions[first : first + _QUESTIONS_SHOWN], first):
            style = "reverse" if seats + place == self.chosen else ""
            shown.append((style, f"{question_line(question, self.board.at, _columns())}\n"))
        more = len(self.board.questions) - first - _QUESTIONS_SHOWN
        if more > 0:
            shown.append(("", f"  and {more} more below\n"))
        return [("", "\nquestions\n"), *shown] if shown else [("", "\nno questions wait\n")]

    def _detail(self) -> str:
        to = self._to()
        seat = next((one for one in self.board.seats if one.to == to), None)
        asked = self.chosen - len(self.board.seats)
        if to and asked >= 0:
            told = question_lines(self.board.questions[asked], self.board.at, _columns())
            return "\n".join([*told, *([] if seat else [f"{to} is closed; words still reach its phone"])])
        if seat is not None:
            return "\n".join(detail_lines(seat, self.board.at, _columns()))
        return ""

    # Keys

    def _keys(self) -> KeyBindings:
        keys, writing = KeyBindings(), Condition(lambda: bool(self.writing_to))
        keys.add("up", filter=~writing)(lambda event: self._move(-1))
        keys.add("down", filter=~writing)(lambda event: self._move(1))
        keys.add("pageup", filter=~writing)(lambda event: self._move(-10))
        keys.add("pagedown", filter=~writing)(lambda event: self._move(10))
        keys.add("enter", filter=~writing)(lambda event: self._write(event, self._to()))
        for key in ("g", "G"):
            keys.add(key, filter=~writing)(lambda event: self._write(event, self._to().partition("/")[0]))
        for key in ("q", "Q"):
            keys.add(key, filter=~writing)(lambda event: event.app.exit())
        keys.add("c-c")(lambda event: event.app.exit())
        keys.add("enter", filter=writing)(self._send)
        keys.add("escape", filter=writing, eager=True)(self._give_up)
        return keys

    def _move(self, by: int) -> None:
        self.said = ""
        self.chosen = max(0, min(self.chosen + by, len(self._places()) - 1))

    def _write(self, event: KeyPressEvent, to: str) -> None:
        if to:
            self.writing_to, self.said = to, ""
            event.app.layout.focus(self.field)

    def _give_up(self, event: KeyPressEvent) -> None:
        self.writing_to = ""
        self.words.reset()
        event.app.layout.focus(self.list)

    def _send(self, event: KeyPressEvent) -> None:
        """Sends what was typed; words that can't go stay in the line."""
        try:
            sent = say_to(self.exchange, self.writing_to, self.words.text, self.clock())
        except (WadelineError, sqlite3.OperationalError) as error:
            self.said = f"not sent: {error}"
            return
        self.said = f"sent to {', '.join(sent.reached)} ({sent.segments} SMS each)"
        self._give_up(event)


def _line(text: Callable[[], str], style: str = "") -> Window:
    return Window(FormattedTextControl(text), height=1, dont_extend_height=True, style=style)


def _columns() -> int:
    return get_app().output.get_size().columns


def run_board(exchange: Exchange, clock: Callable[[], datetime]) -> None:
    """Shows the board until Q or Ctrl-C."""
    BoardScreen(exchange, clock).app.run()
