"""The talk on a real terminal: texts scroll above, one line is edited below, a bar tells where the visit stands."""

import asyncio
from collections.abc import Iterable
from contextlib import suppress

from prompt_toolkit import PromptSession
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.history import InMemoryHistory
from prompt_toolkit.patch_stdout import patch_stdout

from guide.chat import TERMINAL, Talker, wrapped
from guide.chat_bar import bar_text, read_bar
from guide.talk.words import WORDS

TICK_S = 1.0
ANYWHERE = (*(word.name for word in WORDS), "JOIN")


class Answers(Completer):
    """This step's answers first, then the words that work anywhere."""

    def __init__(self, talker: Talker) -> None:
        self.talker = talker

    def get_completions(self, document: Document, complete_event: CompleteEvent) -> Iterable[Completion]:
        """Whole answers that begin with what is typed."""
        typed = document.text_before_cursor
        options = self.talker.last.options if self.talker.last else ()
        for words in dict.fromkeys((*options, *ANYWHERE)):
            if words.casefold().startswith(typed.casefold()):
                meta = "works anywhere" if words in ANYWHERE else "answer"
                yield Completion(words, start_position=-len(typed), display_meta=meta)


class Screen:
    """One session at a terminal."""

    def __init__(self, talker: Talker) -> None:
        self.talker = talker
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

    def show(self, texts: Iterable[str]) -> None:
        """Prints above the line that is being typed."""
        for text in texts:
            print(f"{wrapped(text, self.columns)}\n")

    async def talk(self) -> None:
        """Reads lines until Ctrl-D; timers speak while one is being typed."""
        ticking = asyncio.create_task(self._tick())
        try:
            while True:
                try:
                    line = await self.session.prompt_async("> ")
                except KeyboardInterrupt:
                    print("Ctrl-D leaves; everything is kept.\n")
                    continue
                except EOFError:
                    return
                print()
                self.show(self.talker.say(line))
        finally:
            ticking.cancel()
            with suppress(asyncio.CancelledError):
                await ticking

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(TICK_S)
            self.show(self.talker.overdue())


def talk_on_screen(talker: Talker) -> None:
    """Talks on this terminal until Ctrl-D."""
    screen = Screen(talker)
    with patch_stdout():
        asyncio.run(screen.talk())
