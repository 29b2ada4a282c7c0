"""OK, yes and no."""

from typing import Any

from guide.flow.replies.agree import DONE, NEGATIONS, NO, YES, YES_SLIPS, agreeing
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import plain, quote
from guide.flow.replies.kind import Kind
from guide.flow.replies.match import near

_DONE_IN_WORDS = frozenset(
    ("all set", "all good", "good to go", "got it", "did it", "we did", "i did", "we did it", "i did it", "its in",
     "it is in", "in the bag", "copy", "copy that", "all right")
)  # fmt: skip
_NO_IN_WORDS = frozenset(("not yet", "not really", "not at all", "of course not", "no way"))
_YES_IN_WORDS = frozenset(
    ("of course", "all right", "it is", "it does", "it did", "we are", "we do", "we did", "we have")
)
_FOLLOWERS = frozenset(
    "i it its is we are they he she do did does have has was were all of us both everyone thanks thank thx you please "
    "course good fine that there now so sir maam and im were bag bags dokey dokie doki".split()
)
_LONGER = frozenset("longer bigger over line".split())
_SHORTER = frozenset("shorter smaller short small too back alive".split())
_NOT_YET = frozenset(
    "not yet wait no n nope hold hang later moment min mins minute sec second still nearly almost doing".split()
)
_DONE_NEAR = {word: word for word in DONE - {"shut"}}
_OTHER_WORDS = frozenset("dont gone one none bone dead close lose steady read rest".split())
"""Words near to DONE and its like that mean something else."""


def _says(words: list[str], wanted: frozenset[str], more: frozenset[str] = frozenset()) -> bool:
    return bool(words) and words[0] in wanted and all(word in wanted | _FOLLOWERS | more for word in words)


class Done(Kind):
    """Text OK when something is done."""

    name = "done"

    def _read(self, text: str, asked: Asked) -> Reading:
        words = agreeing(plain(text))
        said = [word for word in words if word not in _FOLLOWERS]
        if said and YES.union(DONE).issuperset(said):
            return Reading(True, sure=True)
        if " ".join(word for word in words if word not in YES) in _DONE_IN_WORDS:
            return Reading(True, sure=True)
        if len(said) == 1 and said[0] not in _OTHER_WORDS and (said[0] in YES_SLIPS or near(said[0], _DONE_NEAR)):
            return Reading(True, phrase="done.echo", blanks={"said": quote(text)})
        return self.unclear(text, "unclear" if _NOT_YET.isdisjoint(words) else "not_yet")

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
        words = agreeing(plain(text))
        said = " ".join(words)
        if _says(words, YES, _LONGER) or said in _YES_IN_WORDS:
            return Reading(True, sure=True)
        if _says(words, NO, NEGATIONS | _SHORTER) or said in _NO_IN_WORDS:
            return Reading(False, sure=True)
        if said in YES_SLIPS:
            return Reading(True, phrase="yes_no.echo", blanks={"said": quote(text)})
        return self.unclear(text)

    def show(self, value: Any) -> str:
        return {True: "Y", False: "N"}.get(value, str(value))

    def _outcomes(self) -> tuple[str, ...]:
        return ("yes", "no")

    def _outcome(self, value: Any) -> str:
        return "yes" if value else "no"

    def samples(self, asked: Asked) -> tuple[str, ...]:
        return ("Y", "N")
