"""What is looked at before a seat's talk: the carriers' words, and the word that moves a seat to another phone.

STOP, START and HELP and their usual synonyms keep the meaning that carriers give them; YES is never START.
"""

from enum import Enum
from typing import NamedTuple

from guide.flow.replies.clean import clean


class CarrierWord(Enum):
    """What a carrier's word asks for."""

    STOP = (
        "stop",
        "stopall",
        "stop all",
        "end",
        "quit",
        "cancel",
        "unsubscribe",
        "revoke",
        "optout",
        "opt out",
    )
    START = ("start", "unstop", "restart")
    HELP = ("help", "info")


_BY_SPELLING = {spelling: word for word in CarrierWord for spelling in word.value}


def carrier_word(text: str) -> CarrierWord | None:
    """The carrier's word a text is, if it is nothing else."""
    return _BY_SPELLING.get(clean(text).strip(".,!?\"' ").casefold())


class Join(NamedTuple):
    """What a JOIN asks for: a word in small letters (empty for a bare JOIN), and to be the leader."""

    word: str
    leader: bool = False


def join_of(text: str) -> Join | None:
    """The JOIN a text is, if it is one."""
    words = [word.strip(".,!:\"'").casefold() for word in clean(text).split()]
    if not words or words[0] != "join" or len(words) > 4:
        return None
    leader = words[-1] == "leader"
    return Join("".join(word for word in words[1:] if word not in ("leader", "as", "pair")), leader)
