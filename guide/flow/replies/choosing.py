"""One or several of a step's named answers."""

import re
from typing import Any

from guide.flow.replies.agree import ALL
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import clean, plain, quote
from guide.flow.replies.kind import Kind, roughly, shown
from guide.flow.replies.match import beginning, by_number, exact, listed, near, spellings

_NONE = frozenset(("none", "no", "n", "0", "nothing", "zero", "nope"))
_PARTS = re.compile(r"[,;+/&\n]|\band\b", re.IGNORECASE)


class Choice(Kind):
    """One of the step's answers: its word, its number, its beginning, or nearly its word."""

    name = "choice"

    def read(self, text: str, asked: Asked) -> Reading:
        """A question (``home?``) is asked back, not taken as an answer."""
        reading = super().read(text, asked)
        if reading.value is None or reading.ask or not clean(text).endswith("?"):
            return reading
        return self.ask(reading.value, text, "asked", answer=shown(reading.value))

    def _read(self, text: str, asked: Asked) -> Reading:
        code = by_number(text, asked.options)
        if code is not None:
            return Reading(code, sure=True)
        return roughly(text, asked, by_place=True) or self.unclear(text, options=_offer(asked))

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
        whole = exact(text, asked.options)
        if whole is not None:
            return Reading([whole], sure=True)
        if plain(text) in _NONE:
            return Reading([], sure=True)
        found: dict[str, bool] = {}
        for part in _PARTS.split(text):
            if plain(part) and not self._take(part, asked, found):
                return self.unclear(part, options=_offer(asked))
        if not found:
            return self.unclear(text, options=_offer(asked))
        codes = [option.code for option in asked.options if option.code in found]
        if all(found.values()):
            return Reading(codes, sure=True)
        blanks = {"said": quote(text), "options": listed(map(shown, codes))}
        return Reading(codes, phrase="choices.echo", blanks=blanks)

    def _take(self, part: str, asked: Asked, found: dict[str, bool]) -> bool:
        """Adds what a part names, and if surely: the longest run of words that is an option, then the next."""
        words = plain(part).split()
        longest = max((name.count(" ") + 1 for name in spellings(asked.options)), default=1)
        while words:
            length = next((n for n in range(min(longest, len(words)), 0, -1) if _named(" ".join(words[:n]), asked)), 0)
            code = _named(" ".join(words[:length]), asked)
            if code is None:
                length, code = len(words), _only(near(" ".join(words), spellings(asked.options)))
                if code is None or " ".join(words) in ALL:
                    return False
                found.setdefault(code, False)
            else:
                found[code] = True
            words = words[length:]
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


def _named(words: str, asked: Asked) -> str | None:
    """The option that words surely name."""
    names = spellings(asked.options)
    return names.get(words) or by_number(words, asked.options) or _only(beginning(words, names))


def _only(codes: list[str]) -> str | None:
    return codes[0] if len(codes) == 1 else None


def _offer(asked: Asked) -> str:
    return listed(shown(option.code) for option in asked.options)
