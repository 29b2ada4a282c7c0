"""Words that mean something at any step, and so can name no site, group or tag."""

from guide.flow.replies.agree import ALL
from guide.flow.replies.clean import plain
from guide.talk.front import carrier_word, join_of
from guide.talk.words import find_word

_FIRST_WORDS = frozenset(("plan", "leader", "to"))


def why_taken(word: str) -> str:
    """Why a word can't be a name, as the end of a sentence; empty if it can."""
    if carrier_word(word) is not None:
        return "is a carrier's word, such as STOP"
    if find_word(word) is not None or join_of(word) is not None or plain(word) in _FIRST_WORDS:
        return "is a word that works anywhere in the talk"
    if plain(word) in ALL:
        return "is a way to say yes, no or done"
    if plain(word).isdigit():
        return "is a number, which means a place in the list"
    return ""
