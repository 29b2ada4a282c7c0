"""OK, yes and no."""

from typing import Any

from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import plain
from guide.flow.replies.kind import Kind

_YES = frozenset(
    "y yes yep yeah yup ya yea ye ok okay okey oki k kk okk sure true correct right aye affirmative".split()
)
_NO = frozenset("n no nope nah nay negative false wrong never none".split())
_DONE = frozenset("done ready finished complete completed sealed shut closed bagged all set got in did".split())
_FOLLOWERS = frozenset("it is we are they do all thanks thank you please of course all good fine that now were".split())
_NOT_YET = frozenset("not yet wait no n nope hold on later moment minute a one sec second still working".split())


def _says(words: list[str], wanted: frozenset[str]) -> bool:
    return bool(words) and words[0] in wanted and all(word in wanted or word in _FOLLOWERS for word in words)


class Done(Kind):
    """Text OK when something is done."""

    name = "done"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = plain(text).split()
        if _says(words, _YES | _DONE):
            return Reading(True, sure=True)
        if words and all(word in _NOT_YET for word in words):
            return self.unclear(text, "not_yet")
        return self.unclear(text)

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
        if _says(words, _YES):
            return Reading(True, sure=True)
        if _says(words, _NO):
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
