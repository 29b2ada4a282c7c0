"""What the reply kinds share: a step's named answers first, then the kind's own reading."""

from typing import Any

from guide.flow.replies.agree import ALL
from guide.flow.replies.base import Asked, Reading
from guide.flow.replies.clean import clean, plain, quote
from guide.flow.replies.match import beginning, exact, listed, mentioned, near, spellings


class Kind:
    """One reply kind. Subclasses read with ``_read``; a step's option wins only if the text is exactly it."""

    name = ""

    def read(self, text: str, asked: Asked) -> Reading:
        """Reads a text (any characters at all)."""
        text = clean(text)
        code = exact(text, asked.options)
        if code is not None:
            return Reading(code, sure=True)
        reading = self._read(text, asked)
        if reading.value is None and asked.options:
            return roughly(text, asked) or reading
        return reading

    def _read(self, text: str, asked: Asked) -> Reading:
        raise NotImplementedError

    def show(self, value: Any) -> str:
        """Prints a value back as a person would text it."""
        return str(value)

    def outcomes(self, asked: Asked) -> tuple[str, ...]:
        """Every name a branch can be taken on."""
        return (*self._outcomes(), *(option.code for option in asked.options))

    def outcome(self, value: Any, asked: Asked) -> str:
        """The one of ``outcomes`` that a value takes."""
        if isinstance(value, str) and value in [option.code for option in asked.options]:
            return value
        return self._outcome(value)

    def _outcomes(self) -> tuple[str, ...]:
        return ("any",)

    def _outcome(self, value: Any) -> str:
        return "any"

    def samples(self, asked: Asked) -> tuple[str, ...]:
        """A few texts that would be understood and sure, the most usual first."""
        raise NotImplementedError

    def unclear(self, text: str, why: str = "unclear", **blanks: str) -> Reading:
        """A text of this kind that was not understood."""
        return Reading(phrase=f"{self.name}.{why}", blanks={"said": quote(text), **blanks})

    def ask(self, value: Any, text: str, why: str, **blanks: str) -> Reading:
        """A value that is asked back before it is taken."""
        return Reading(value, ask=True, phrase=f"{self.name}.{why}", blanks={"said": quote(text), **blanks})


def roughly(text: str, asked: Asked, by_place: bool = False) -> Reading | None:
    """An option by its beginning, or by a near miss that is echoed; two that fit are asked."""
    words, names = plain(text), spellings(asked.options)
    if words in ALL:
        return None
    certain = beginning(words, names) or mentioned(text, asked.options, by_place)
    if len(certain) == 1:
        return Reading(certain[0], sure=True)
    found = certain or near(words, names)
    if not found:
        return None
    blanks = {"said": quote(text), "answer": shown(found[0]), "options": listed(map(shown, found), 40)}
    if len(found) == 1:
        return Reading(found[0], phrase="choice.echo", blanks=blanks)
    return Reading(found[0], ask=True, phrase="choice.which", blanks=blanks)


def shown(code: str) -> str:
    """A code as it is offered."""
    return quote(code.upper())
