"""One or several of a step's named answers."""

import re
from typing import Any

from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import clean, plain
from guide.flow.replies.kind import Kind, roughly, shown
from guide.flow.replies.match import beginning, by_number, listed, spellings

_NONE = frozenset(("none", "no", "n", "0", "nothing", "zero", "nope"))
_PARTS = re.compile(r"[,;+/&\n]|\band\b", re.IGNORECASE)


class Choice(Kind):
    """One of the step's answers: its word, its number, its beginning, or nearly its word."""

    name = "choice"

    def _read(self, text: str, asked: Asked) -> Reading:
        code = by_number(text, asked.options)
        if code is not None:
            return Reading(code, sure=True)
        return roughly(text, asked) or self.unclear(text, options=_offer(asked))

    def _outcomes(self) -> tuple[str, ...]:
        return ()

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return tuple(option.code for option in asked.options) or ("1",)


class Choices(Kind):
    """Several of the step's answers, or none of them; the value lists codes in the step's order."""

    name = "choices"

    def read(self, text: str, asked: Asked) -> Reading:
        """Unlike other kinds, one option alone is a list of one."""
        text = clean(text)
        if plain(text) in _NONE and plain(text) not in spellings(asked.options):
            return Reading([], sure=True)
        found: set[str] = set()
        for part in _PARTS.split(text):
            if plain(part) and not self._take(part, asked, found):
                return self.unclear(part, options=_offer(asked))
        if not found:
            return self.unclear(text, options=_offer(asked))
        return Reading([option.code for option in asked.options if option.code in found], sure=True)

    def _take(self, part: str, asked: Asked, found: set[str]) -> bool:
        """Adds what a part names: the longest run of words that is an option, then the next."""
        names, words = spellings(asked.options), plain(part).split()
        while words:
            for length in range(len(words), 0, -1):
                run = " ".join(words[:length])
                code = names.get(run) or by_number(run, asked.options) or _only(beginning(run, names))
                if code is not None:
                    found.add(code)
                    words = words[length:]
                    break
            else:
                return False
        return True

    def show(self, value: Any) -> str:
        return ", ".join(value) if value else "none"

    def _outcomes(self) -> tuple[str, ...]:
        return ("none", "any")

    def outcomes(self, asked: Asked) -> tuple[str, ...]:
        return self._outcomes()

    def outcome(self, value: Any, asked: Asked) -> str:
        return "any" if value else "none"

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return (*(option.code for option in asked.options), "none")


def _only(codes: list[str]) -> str | None:
    return codes[0] if len(codes) == 1 else None


def _offer(asked: Asked) -> str:
    return listed(shown(option.code) for option in asked.options)
