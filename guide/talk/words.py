"""The words that work at any step, and what each does."""

from collections.abc import Callable
from typing import NamedTuple

from guide.flow.model import REST, ROUTE
from guide.flow.replies.clean import plain
from guide.talk import bottles
from guide.talk.daylight import forecast
from guide.talk.fix import fix
from guide.talk.moves import accept, advance, enter, next_larva
from guide.talk.state import PACES
from guide.talk.turn import Turn


class AnywhereWord(NamedTuple):
    """A word that works anywhere: ``spellings``, whether it takes more words, what it does, and its help line."""

    name: str
    spellings: tuple[str, ...]
    takes_words: bool
    act: Callable[[Turn, str], None]
    help: str


class FoundWord(NamedTuple):
    """A word found in a text, with the words behind it."""

    act: Callable[[Turn, str], None]
    rest: str


def find_word(text: str) -> FoundWord | None:
    """The word that works anywhere in this text, if it is one: a bare word counts only as the whole text."""
    first, _, rest = text.strip().partition(" ")
    bare = "?" if first and not first.strip("?") else first.strip(".,!:;").casefold()
    word = _BY_SPELLING.get(bare)
    if word is None:
        return None
    rest = rest.strip().lstrip(":").strip()
    if rest.strip(".!") and not word.takes_words:
        return None
    return FoundWord(word.act, rest)


SAFETY_FLOWS = ("danger", "storm")
"""Flows that BACK never leaves: heads are counted and clocks run out first."""


def _why(turn: Turn, rest: str) -> None:
    if turn.step.why:
        turn.lead(turn.fill(turn.book.in_language(turn.step.why)))
    turn.lead(turn.phrase("at_rest" if turn.step.kind == REST else "why_how", {"how": turn.how()}))
    say_practice_tag(turn)


def say_practice_tag(turn: Turn) -> None:
    """Who practises without slips is told a tag that is free."""
    wants_tag = turn.step.kind in ("tag", "sample") and "tag" in turn.step.asked.fields
    if turn.visit.practice and wants_tag and turn.step.tag_must == "free":
        free = turn.free_tag()
        if free is not None:
            turn.lead(turn.phrase("practice_tag", {"tag": free}))


def _back(turn: Turn, rest: str) -> None:
    state, top = turn.state, turn.state.top
    state.paused = False
    if state.ask is not None:
        state.ask = None
    elif top.trail:
        asked = top.trail.pop()
        top.go(asked)
        state.redo.append(asked)
    elif top.flow in SAFETY_FLOWS:
        turn.lead(turn.phrase("no_way_back_safety"))
        turn.ask_again()
        return
    elif len(state.frames) > 1 and not _holds_sealed_bottle(turn):
        turn.log("withdrawn", {"flow": top.flow})
        if top.flow in ("water", "sediment"):
            bottles.withdraw(turn, top.flow)
        if top.flow == "oops" and "slip" in top.slots:
            data = {"slip": top.slots["slip"], "touched": "not asked", "remedy": "withdrawn"}
            turn.log("remedy", data, sample_uid=turn.state.base.sample)
        state.frames.pop()
        if turn.step.kind == ROUTE:
            advance(turn, "any")
    else:
        turn.lead(turn.phrase("no_way_back"))
        return
    turn.lead(turn.phrase("back"))
    turn.ask_again()


def _holds_sealed_bottle(turn: Turn) -> bool:
    """A bottle whose bags are shut is a sample: BACK never makes it void."""
    return turn.state.top.flow in ("water", "sediment") and "sealed" in turn.state.base.facts


def _pause(turn: Turn, rest: str) -> None:
    turn.state.paused = True
    turn.log("paused")
    turn.lead(turn.phrase("paused"))


def _go(turn: Turn, rest: str) -> None:
    if turn.state.paused:
        turn.log("resumed")
    turn.state.paused = False
    turn.ask_again()


def _where(turn: Turn, rest: str) -> None:
    turn.say(f"{turn.phrase('where')} {forecast(turn)}".strip())
    if turn.state.paused:
        turn.lead(turn.phrase("still_paused"))
    else:
        turn.ask_again()


def _note(turn: Turn, rest: str) -> None:
    if not rest:
        turn.lead(turn.phrase("note_empty"))
        return
    turn.log("note", words=rest, sample_uid=turn.state.base.sample)
    turn.lead(turn.phrase("noted", {"how": turn.how()}))


def _desk(turn: Turn, rest: str) -> None:
    words = rest or turn.state.top.slots.pop("unread", "")
    if not words:
        turn.lead(turn.phrase("desk_empty"))
        return
    turn.log("desk_question", words=words, sample_uid=turn.state.base.sample)
    turn.lead(turn.phrase("desk_kept"))


def _faster(turn: Turn, rest: str) -> None:
    _change_pace(turn, 1)


def _slower(turn: Turn, rest: str) -> None:
    _change_pace(turn, -1)


_BETWEEN_LARVAE = ("larva.look", "larva.steady", "larva.brisk", "larva.pace")


_TROUBLE = (
    "thunder", "lightning", "storm coming", "fell in", "drowning", "hurt", "injured", "bleeding", "broken leg",
    "unconscious", "ambulance", "help me", "help us", "need help", "is missing", "sos", "not moving", "not breathing",
    "cant breathe", "collapsed", "passed out", "fainted", "heart attack", "in trouble", "is gone",
    "stuck in", "cant get out", "shaking", "stung", "sting", "in my eye", "in my eyes", "fumes", "112",
    "911", "999",
)  # fmt: skip


_SLIPS = frozenset("touched dropped torn tore ripped leaks leaking reopened spilled contaminated".split())


def _change_pace(turn: Turn, by: int) -> None:
    state = turn.state
    now = PACES.index(state.pace_next or state.pace)
    wanted = min(max(now + by, 0), len(PACES) - 1)
    if by > 0 and state.clean_run < turn.settings.clean_for_pace:
        turn.lead(turn.phrase("pace_later"))
        return
    set_pace(turn, PACES[wanted])
    turn.lead(turn.phrase(f"pace.{PACES[wanted]}"))
    if turn.step.id in _BETWEEN_LARVAE and turn.sample() is None:
        state.base.facts.append("pace_offered")
        next_larva(turn)
        turn.ask_again()


def set_pace(turn: Turn, pace: str) -> None:
    """Sets the pace: at once with nothing in hand, else from the next sample."""
    state = turn.state
    if turn.sample() is None:
        if pace != state.pace:
            turn.log("pace", {"from": state.pace, "to": pace})
        state.pace, state.pace_next = pace, None
    else:
        state.pace_next = pace


def _people_first(turn: Turn) -> bool:
    """In danger and in shelter nothing takes the place of the question that is asked; words told are kept."""
    if turn.state.top.flow not in SAFETY_FLOWS:
        return False
    turn.lead(turn.phrase("people_first"))
    turn.ask_again()
    return True


def _oops(turn: Turn, rest: str) -> None:
    if _people_first(turn):
        if rest:
            turn.log("note", words=rest, sample_uid=turn.state.base.sample)
        return
    state = turn.state
    state.ask, state.paused = None, False
    flows = [frame.flow for frame in state.frames]
    if "oops" not in flows:
        enter(turn, "oops")
    else:
        again = state.frames.pop(flows.index("oops"))  # one more thing about the same slip: an event, not a frame
        earlier = [*again.slots.get("earlier", []), *([again.slots["slip"]] if "slip" in again.slots else [])]
        again.go("oops.what")
        again.slots.clear()
        again.trail.clear()
        again.slots["earlier"] = earlier
        state.frames.append(again)
    _start_with_words(turn, rest)


def _swap_roles(turn: Turn, rest: str) -> None:
    """Clean and dirty hands change places between two larvae, never over an open bag."""
    if _people_first(turn):
        return
    if turn.sample() is not None or turn.state.base.flow not in ("larva", "net"):
        turn.lead(turn.phrase("swap_later"))
        return
    turn.log("roles_swapped")
    turn.lead(turn.phrase("swap_roles"))
    turn.ask_again()


def is_trouble(text: str) -> bool:
    """True for words that people text when something is badly wrong and they don't think of DANGER."""
    words = plain(text)
    return any(f" {trouble} " in f" {words} " for trouble in _TROUBLE)


def is_slip(text: str) -> bool:
    """True for words that people text when something slipped and they don't think of OOPS."""
    return not _SLIPS.isdisjoint(plain(text).split())


def is_danger(text: str) -> bool:
    """True for a text that calls DANGER."""
    found = find_word(text)
    return (found is not None and found.act is call_danger) or is_trouble(text)


def call_danger(turn: Turn, rest: str) -> None:
    """People first, from wherever the talk is."""
    turn.state.ask, turn.state.paused = None, False
    turn.log("danger", words=rest or None)
    turn.tell_others(turn.phrase("danger_news"))
    flows = [frame.flow for frame in turn.state.frames]
    if "danger" in flows:
        again = turn.state.frames.pop(flows.index("danger"))  # a storm or an oops above it waits beneath
        again.go("danger.out")
        again.trail.clear()
        turn.state.frames.append(again)
    else:
        enter(turn, "danger")
    turn.ask_again()


def _start_with_words(turn: Turn, rest: str) -> None:
    """Words behind OOPS answer its first question if they say plainly what happened; they are kept either way."""
    if rest:
        turn.log("note", words=rest, sample_uid=turn.state.base.sample)
        reading = turn.kind.read(rest, turn.asked)
        if reading.sure:
            accept(turn, reading)
            return
    turn.ask_again()


WORDS = (
    AnywhereWord("?", ("?", "why", "how"), False, _why, "why this step, and how to answer"),
    AnywhereWord("BACK", ("back",), False, _back, "ask the question before again"),
    AnywhereWord("OOPS", ("oops", "ooops", "whoops"), True, _oops, "something touched something: say so, no blame"),
    AnywhereWord("PAUSE", ("pause",), False, _pause, "wait; safety timers run on"),
    AnywhereWord("GO", ("go", "resume"), False, _go, "go on, or hear the question again"),
    AnywhereWord("WHERE", ("where",), False, _where, "where you are and how many are done"),
    AnywhereWord("NOTE", ("note",), True, _note, "NOTE and your words: kept with the visit"),
    AnywhereWord("FIX", ("fix",), True, fix, "FIX 26, or FIX 01428 length 26: put a wrong answer right"),
    AnywhereWord("FASTER", ("faster",), False, _faster, "fewer texts a larva, from the next one"),
    AnywhereWord("SLOWER", ("slower",), False, _slower, "more help a larva, from the next one"),
    AnywhereWord(
        "DANGER", ("danger", "emergency", "sos"), True, call_danger, "people first: out of the water, count, call"
    ),
    AnywhereWord("SWAP", ("swap",), False, _swap_roles, "clean and dirty hands change places, between two larvae"),
    AnywhereWord("DESK", ("desk",), True, _desk, "DESK and your words: a question for the coordinator"),
)
"""JOIN, STOP, START and HELP belong to phones, not to a seat's talk: see ``front``."""

_BY_SPELLING = {spelling: word for word in WORDS for spelling in word.spellings}
