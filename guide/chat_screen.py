"""The talk on a real terminal: texts scroll above, one line is edited below, a bar tells where the visit stands."""

import asyncio
from collections.abc import Iterable
from contextlib import suppress
from functools import partial

from prompt_toolkit import PromptSession
from prompt_toolkit.application import run_in_terminal
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.history import InMemoryHistory

from guide.chat import TERMINAL, TICK_S, Talker, wrapped
from guide.chat_bar import bar_text, read_bar
from guide.field.families import FAMILIES
from guide.record.store import TextOut
from guide.talk.words import WORDS

ANYWHERE = (*(word.name for word in WORDS), "JOIN")
INTERRUPTED = "Ctrl-D leaves; everything is kept. The up arrow brings a line back."
_CHOSEN = ("done", "yes_no", "choice", "choices", "family")
"""Reply kinds answered with one of a few words."""


def answers(last: TextOut | None) -> tuple[str, ...]:
    """What may be completed at this step: words to choose from, never an example of a length, a tag or a count,
    which would be one key away from standing in the record."""
    options = last.options if last else ()
    if last is not None and last.expects == "family":
        options += tuple(family.everyday.upper() for family in FAMILIES)  # a few would draw people to those few
    if last is not None and last.expects in _CHOSEN:
        return options
    return tuple(word for word in options if word.isalpha() and word.isupper())


class Answers(Completer):
    """This step's answers first, then the words that work anywhere."""

    def __init__(self, talker: Talker) -> None:
        self.talker = talker

    def get_completions(self, document: Document, complete_event: CompleteEvent) -> Iterable[Completion]:
        """Whole answers that begin with what is typed."""
        typed = document.text_before_cursor
        for words in dict.fromkeys((*answers(self.talker.last), *ANYWHERE)):
            if words.casefold().startswith(typed.casefold()):
                meta = "works anywhere" if words in ANYWHERE else "answer"
                yield Completion(words, start_position=-len(typed), display_meta=meta)


class Screen:
    """One session at a terminal."""

    def __init__(self, talker: Talker, tick_s: float = TICK_S) -> None:
        self.talker, self.tick_s = talker, tick_s
        self.session: PromptSession[str] = PromptSession(
            history=InMemoryHistory(),
            completer=Answers(talker),
            complete_while_typing=False,
            bottom_toolbar=self.bar,
            refresh_interval=TICK_S,
            reserve_space_for_menu=4,
        )

    @property
    def columns(self) -> int:
        """The terminal's width now."""
        return self.session.output.get_size().columns

    def bar(self) -> str:
        """The line at the bottom."""
        return bar_text(read_bar(self.talker.exchange, TERMINAL, self.talker.clock()), self.columns)

    def show(self, texts: Iterable[str], before: str = "") -> None:
        """Prints texts where the line is, which moves below them."""
        print(before + "".join(f"{wrapped(text, self.columns)}\n\n" for text in texts), end="", flush=True)

    async def talk(self) -> None:
        """Reads lines until Ctrl-D; timers speak while one is being typed."""
        ticking = asyncio.create_task(self._tick())
        try:
            # Raw between two lines too: a key typed there would else be echoed at once, and Ctrl-D lost.
            with self.session.input.raw_mode():
                while await self._line():
                    pass
        finally:
            ticking.cancel()
            with suppress(asyncio.CancelledError):
                await ticking

    async def _line(self) -> bool:
        """Reads and answers one line; False at Ctrl-D."""
        try:
            line = await self.session.prompt_async("> ")
        except KeyboardInterrupt:
            self._keep_line()
            self.show([INTERRUPTED], before="\n")
        except EOFError:
            return False
        else:
            self.show(self.talker.say(line), before="\n")
        return True

    def _keep_line(self) -> None:
        typed = self.session.default_buffer.text
        if typed.strip():
            self.session.history.append_string(typed)

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(self.tick_s)
            if texts := self.talker.overdue():
                await run_in_terminal(partial(self.show, texts))


def talk_on_screen(talker: Talker) -> None:
    """Talks on this terminal until Ctrl-D, or an interrupt that comes while nothing is typed."""
    screen = Screen(talker)
    with suppress(KeyboardInterrupt):
        asyncio.run(screen.talk())
