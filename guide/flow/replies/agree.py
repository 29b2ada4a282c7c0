"""The words for OK, yes and no, which are never taken for a slip of the thumb in another word."""

import re

YES = frozenset(
    "y yes yep yeah yup ya yea ye yeh yas ok okay okey oki okie 0k okeydokey k kk kay sure true correct right alright "
    "aye affirmative roger absolutely definitely yessir".split()
)
NO = frozenset("n no nope nop nah naw nay negative false wrong never none".split())
DONE = frozenset("done ready finished complete completed sealed shut closed bagged".split())
NEGATIONS = NO | frozenset(
    "not dont didnt doesnt isnt arent wasnt werent havent hasnt wont cant cannot without neither nor".split()
)
ALL = YES | NO | DONE
YES_SLIPS = frozenset("yse eys ues tes yed yez yws yrs yex yeas".split())
"""YES as a hurried thumb types it."""

_STRETCHED = re.compile(r"(.)\1+")


def agreeing(words: str) -> list[str]:
    """The words, with spelled-out ones joined (``O.K.``) and stretched ones short (``yesss``, ``nooo``)."""
    parts = words.split()
    if len(parts) > 1 and all(len(part) == 1 for part in parts) and "".join(parts) in ALL:
        return ["".join(parts)]
    return [part if part in ALL else _short(part) for part in parts]


def _short(word: str) -> str:
    short = _STRETCHED.sub(r"\1", word)
    return short if short in ALL else word
