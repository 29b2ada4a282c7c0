"""OK, yes and no."""

from typing import Any

from guide.flow.replies.agree import DONE, NO, YES
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import plain
from guide.flow.replies.kind import Kind

_DONE_IN_WORDS = frozenset(
    ("all done", "all set", "all good", "got it", "we did", "its done", "it is done", "we are done", "were done",
     "its sealed", "it is sealed", "its in", "it is in")
)  # fmt: skip
_FOLLOWERS = frozenset("it is we are they do all thanks thank you please of course all good fine that now were".split())
_NOT_YET = frozenset("not yet wait no n nope hold later moment minute sec second still nearly almost".split())


def _says(words: list[str], wanted: frozenset[str]) -> bool:
    return bool(words) and words[0] in wanted and all(word in wanted or word in _FOLLOWERS for word in words)


class Done(Kind):
    """Text OK when something is done."""

    name = "done"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text)
        if _says(words.split(), YES | DONE) or words in _DONE_IN_WORDS:
            return Reading(True, sure=True)
        return self.unclear(text, "unclear" if _NOT_YET.isdisjoint(words.split()) else "not_yet")

    def show(self, value: Any) -> str:
        return "OK" if value is True else str(value)

    def _outcomes(self) -> tuple[str, ...]:
        return ("done",)

    def _outcome(self, value: Any) -> str:
        return "done"

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return ("OK",)


class YesNo(Kind):
    """Y or N."""

    name = "yes_no"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text).split()
        if _says(words, YES):
            return Reading(True, sure=True)
        if _says(words, NO):
            return Reading(False, sure=True)
        return self.unclear(text)

    def show(self, value: Any) -> str:
        return {True: "Y", False: "N"}.get(value, str(value))

    def _outcomes(self) -> tuple[str, ...]:
        return ("yes", "no")

    def _outcome(self, value: Any) -> str:
        return "yes" if value else "no"

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return ("Y", "N")
