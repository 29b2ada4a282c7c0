"""What a text means now and what follows. Writes nothing: all it returns is a Decision.

The order in which a text is looked at: a phone's reaction; a word that works anywhere; a paused talk; a question of our
own that is waiting; the step's reply kind.
"""

import re
from datetime import datetime, timedelta

from guide.flow.model import REST
from guide.flow.replies.base import Reading
from guide.flow.replies.clean import clean, plain, quote
from guide.talk import bottles, samples
from guide.talk.conditions import number
from guide.talk.decision import Decision
from guide.talk.moves import accept, advance, next_larva, settle
from guide.talk.options import options_of
from guide.talk.sms import segments
from guide.talk.snapshot import SeatFacts, Snapshot
from guide.talk.state import Frame, SeatState
from guide.talk.turn import AMONG, Talk, Turn
from guide.talk.words import SAFETY_FLOWS, call_danger, find_word, is_danger, is_slip, is_trouble, say_practice_tag

MISSES_BEFORE_DESK = 3
A_SENTENCE = 3
"""Words from which on a text that can't be read may tell of something bad."""

_REACTION = (
    r"(?i)^(liked|loved|emphasized|laughed at|disliked|questioned|reacted \S+ to|\W+ to)\s+[\"\u201c](.+?)[\"\u201d]?$"
)
_AGREES = ("liked", "loved", "emphasized")
_SAME_BEGINNING = 20
PLAN = "plan"
"""A first text that begins a plan for another day instead of a visit here and now."""

SILENT_H = 20
"""So long without an answer, a text of another day is told which visit it falls into."""
BEFORE_THE_DAY = (PLAN, "arrive")
AFTER_CLOSE = ("close", "pairs", "disinfect", "freeze")
_READ_BACK = ("{length}", "{family}", "{tag}", "{got}")
_COUNTED_OUT = ("danger.what", "danger.hurt", "danger.lost", "danger.bleach", "danger.leave", "danger.again")


def decide(talk: Talk, state: SeatState, snapshot: Snapshot, seat: SeatFacts, text: str, now: datetime) -> Decision:
    """What follows from a text that reaches a seat at ``now`` (UTC)."""
    turn = Turn(talk, state.copy(), snapshot, seat, now)
    turn.text = clean(text)
    if _is_of_an_old_day(turn):
        turn.say(turn.phrase("old_day"))
    if _is_stale_reaction(turn):
        turn.lead(turn.phrase("old_reaction"))
    else:
        _understand(turn)
    _watch_over(turn)
    return finish(turn)


def _is_of_an_old_day(turn: Turn) -> bool:
    """A phone that was left in a visit that nobody closed: its people may think that they begin a new one."""
    since = turn.state.last["at"] if turn.state.last is not None else turn.visit.opened_at
    if not since or turn.visit.status == "closed" or turn.state.base.flow in BEFORE_THE_DAY or is_danger(turn.text):
        return False
    heard = datetime.fromisoformat(since)
    if turn.now - heard <= timedelta(hours=SILENT_H):
        return False
    return heard.astimezone(turn.zone).date() != turn.now.astimezone(turn.zone).date()


def _watch_over(turn: Turn) -> None:
    """With people in the water, silence is asked about: each text starts the wait anew."""
    facts = turn.state.base.facts
    if turn.state.top.flow == "storm" or turn.state.top.state in _COUNTED_OUT:
        turn.stop_timer("check_in")
        turn.stop_timer("check_in_alarm")
        return
    if (
        turn.visit.status == "closed"
        or turn.seat.role == "leader"
        or "safety" not in facts
        or "dry" in facts
        or not turn.answers.get("in_water")
    ):
        return
    cold = number(turn, "water_c", 99) < turn.settings.cold_c
    turn.stop_timer("check_in_alarm")
    turn.start_timer("check_in", turn.settings.short_turn_min if cold else turn.settings.check_in_min)


def begin(talk: Talk, snapshot: Snapshot, seat: SeatFacts, text: str, now: datetime) -> Decision:
    """The first text of a visit: it is an answer if it can be one without doubt, else the first question follows."""
    first = talk.book.flows["plan" if plain(text) == PLAN else "arrive"]
    state = SeatState(frames=[Frame(first.name, first.first, since=seat.turn)])
    turn = Turn(talk, state, snapshot, seat, now)
    if snapshot.clean_before() >= turn.settings.clean_for_pace:
        turn.state.clean_run = snapshot.clean_before()
    turn.text = clean(text)
    reading = turn.kind.read(turn.text, turn.asked)
    if reading.sure and turn.kind.name == "choice" and len(turn.text) > 2:
        accept(turn, reading)
    else:
        turn.ask_again()
    return finish(turn)


def begin_joined(talk: Talk, snapshot: Snapshot, seat: SeatFacts, now: datetime) -> Decision:
    """The first words to a seat that joins a visit which is going on."""
    flow = talk.book.flows["lead" if seat.role == "leader" else "pairs"]
    state = SeatState(frames=[Frame(flow.name, flow.first, since=seat.turn)])
    turn = Turn(talk, state, snapshot, seat, now)
    turn.lead(turn.phrase("joined"))
    advance(turn, "any")
    turn.ask_again()
    return finish(turn)


def finish(turn: Turn) -> Decision:
    """Puts leads and prompt together and says what can be answered now."""
    said = turn.book.in_language(turn.step.say)
    if turn.echo and not any(blank in said for blank in _READ_BACK):
        turn.leads.insert(0, turn.echo)
    if turn.got is not None and "{got}" not in said:
        turn.lead(turn.phrase("got_whole").strip())
    lead = " ".join(turn.leads)
    if turn.prompting:
        prompt = turn.prompt()
        both = f"{lead} {prompt}" if lead else prompt
        for text in (both,) if segments(both) == 1 else (lead, prompt):
            turn.say(text)
    elif lead:
        turn.say(lead)
    step = turn.step
    return Decision(
        turn.state,
        tuple(turn.entries),
        tuple(turn.says),
        tuple(turn.timers),
        turn.new_visit,
        None if step.kind == REST else step.kind,
        options_of(turn),
    )


def _understand(turn: Turn) -> None:
    word = find_word(turn.text)
    if turn.visit.status == "closed" and turn.step.kind != REST and _is_at_work(turn):
        _closed_by_another(turn)
    elif word is not None:
        word.act(turn, word.rest)
    elif turn.state.base.sample and turn.sample() is None:
        _lost_sample(turn)
    elif _gate_passed_elsewhere(turn):
        turn.state.base.go("pairs.start")
        advance(turn, "any")
        turn.ask_again()
    elif turn.state.paused and turn.state.top.flow not in SAFETY_FLOWS:
        _still_paused(turn)
    elif turn.step.kind == REST:
        _at_rest(turn)
    elif _is_lossy_repeat(turn):
        assert turn.state.last is not None
        turn.state.last = {**turn.state.last, "read_back": True}
        turn.lead(turn.phrase("got_already", {"answer": turn.state.last["show"]}))
        turn.ask_again()
    elif samples.has_several(turn):
        samples.take_several(turn)
        settle(turn, None)
        if turn.sample() is None:
            next_larva(turn)
    else:
        _read(turn)


def _still_paused(turn: Turn) -> None:
    """A pause takes no answer, but hears of trouble."""
    if is_trouble(turn.text):
        call_danger(turn, turn.text)
    else:
        turn.lead(turn.phrase("still_paused"))


def _is_at_work(turn: Turn) -> bool:
    """Before closing; a pair that waits for the safety questions waits no longer when the visit is over."""
    return turn.state.base.flow not in AFTER_CLOSE or turn.state.base.state == "pairs.wait"


def _read(turn: Turn) -> None:
    reading = turn.kind.read(turn.text, turn.asked)
    ask = turn.state.ask
    if ask is not None and ask["step"] == turn.step.id:
        turn.state.ask = None
        if reading.value == ask["value"] or (reading.value is None and _says(turn, True)):
            accept(turn, Reading(ask["value"], sure=True), flags=tuple(ask["flags"]))
            return
        if reading.value is None and _says(turn, False):
            turn.ask_again()
            return
    if turn.step.kind == "sample" and reading.value is None:
        reading = samples.joined(turn) or reading
    if reading.value is None and _plans_instead(turn):
        turn.state.base.go(f"{PLAN}.{turn.book.flows[PLAN].first}")
        turn.ask_again()
        return
    if reading.value is None and turn.state.top.flow not in SAFETY_FLOWS and is_trouble(turn.text):
        call_danger(turn, turn.text)
    elif reading.value is None:
        _not_understood(turn, reading)
    elif reading.ask:
        flags = [f"odd_{turn.step.save or 'length_mm'}"] if samples.is_odd(reading.value, turn.asked) else []
        turn.state.ask = {"step": turn.step.id, "value": reading.value, "flags": flags}
        over = AMONG.get(turn.step.save) if reading.phrase == "count.odd" else None
        turn.lead(turn.phrase(f"over.{over}" if over else reading.phrase, reading.blanks))
    else:
        if turn.step.kind == "text" and _is_at_work(turn) and is_trouble(turn.text):
            turn.lead(turn.phrase("danger_hint"))
        accept(turn, reading)


def _plans_instead(turn: Turn) -> bool:
    """PLAN at the very first question, for those whose first text was no text, as in a terminal."""
    return turn.step.id == "arrive.site" and "site" not in turn.answers and plain(turn.text) == PLAN


def _says(turn: Turn, wanted: bool) -> bool:
    return turn.book.kinds["yes_no"].read(turn.text, turn.asked).value is wanted


def _gate_passed_elsewhere(turn: Turn) -> bool:
    """The leader answered the safety questions while this pair was still at them."""
    state, passed = turn.state, turn.answers.get("gate") == "safety"
    passed = passed and "left_early" not in state.base.facts
    return passed and state.top is state.base and state.base.flow == "safety" and turn.seat.role == "pair"


def _lost_sample(turn: Turn) -> None:
    """What is in hand was made void from another seat: a new one is begun."""
    samples.let_go_of(turn)
    turn.lead(turn.phrase("void_by_another"))
    if bottles.at_bottle(turn):
        bottles.again(turn)
    elif turn.state.base.flow == "larva":
        next_larva(turn)
    turn.ask_again()


def _closed_by_another(turn: Turn) -> None:
    """The visit was closed from another seat while this one was at work."""
    sample = turn.sample()
    if sample is not None:
        samples.void(turn, sample, "closed")
    turn.state.base.facts.append("dry")
    del turn.state.frames[1:]
    turn.state.base.go("close.end")
    turn.state.paused = False
    turn.lead(turn.phrase("closed_by_another"))
    turn.ask_again()


def _at_rest(turn: Turn) -> None:
    reading = turn.book.kinds["choice"].read(turn.text, turn.asked)
    if _names_a_site(turn) and "NEW" in [option.code for option in turn.asked.options]:
        reading = Reading("NEW", sure=True)
    if reading.value is None or not reading.sure:
        turn.lead(turn.phrase("at_rest", {"how": turn.how()}))
        return
    turn.value = reading.value
    advance(turn, reading.value)
    if not turn.new_visit:
        turn.ask_again()


def _names_a_site(turn: Turn) -> bool:
    """A pair that knows us texts the next water's name: the next visit begins with it."""
    first = turn.book.step("arrive.site")
    return len(turn.text) > 2 and turn.book.kind(first).read(turn.text, first.asked).sure


def _not_understood(turn: Turn, reading: Reading) -> None:
    last = turn.state.last
    if last is not None and last["text"] == turn.text.casefold() and turn.text:
        turn.lead(turn.phrase("got_already", {"answer": last["show"]}))
        turn.ask_again()
        return
    turn.state.misses += 1
    if turn.step.kind == "sample":
        samples.keep_part(turn)
    turn.lead(turn.phrase(reading.phrase or "not_understood", {"said": quote(turn.text), **reading.blanks}))
    if is_slip(turn.text) and turn.state.top.flow not in (*SAFETY_FLOWS, "oops"):
        turn.lead(turn.phrase("oops_hint"))
    elif len(turn.text.split()) >= A_SENTENCE and not any(map(str.isdecimal, turn.text)):
        turn.lead(turn.phrase("danger_hint"))
    if "phone" in plain(turn.text).split():
        turn.lead(turn.phrase("other_phone"))
    say_practice_tag(turn)
    if turn.state.misses >= MISSES_BEFORE_DESK:
        turn.state.top.slots["unread"] = turn.text[:160]
        turn.lead(turn.phrase("offer_desk"))


def _is_lossy_repeat(turn: Turn) -> bool:
    """A bare OK again, on a channel that loses texts, so soon that our answer to the first may not have arrived."""
    last = turn.state.last
    if not turn.seat.lossy or last is None or last["read_back"] or last["text"] != turn.text.casefold():
        return False
    if turn.book.kinds["done"].read(turn.text, turn.asked).value is not True:
        return False
    return turn.now - datetime.fromisoformat(last["at"]) <= timedelta(seconds=turn.settings.lossy_repeat_s)


def _is_stale_reaction(turn: Turn) -> bool:
    """True for a phone's reaction to an older text; one to the current prompt becomes the OK or N it stands for."""
    if '"' not in turn.text and "\u201c" not in turn.text:
        return False
    found = re.match(_REACTION, turn.text)
    if found is None:
        return False
    quoted = found[2].rstrip("\u2026. ").casefold()
    if len(quoted) < _SAME_BEGINNING or quoted[:140] not in clean(turn.prompt()).casefold():
        return True
    how = found[1].casefold()
    turn.text = "ok" if how.startswith(_AGREES) or "\U0001f44d" in how else "no"
    return False
