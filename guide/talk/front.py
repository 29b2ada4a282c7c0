"""What is looked at before a seat's talk: the carriers' words, and the word that moves a seat to another phone.

STOP, START and HELP and their usual synonyms keep the meaning that carriers give them; YES is never START.
"""

from enum import Enum

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


def join_word(text: str) -> str | None:
    """The word behind JOIN, in small letters; empty for a bare JOIN, None for any other text."""
    words = clean(text).split()
    if not words or words[0].strip(".,!:").casefold() != "join" or len(words) > 3:
        return None
    return "".join(words[1:]).strip(".,!:\"'").casefold()
