"""``decide`` alone, without a database: it writes nothing, and the same input gives the same decision."""

from datetime import UTC, datetime

import pytest

from guide.flow.model import FlowBook
from guide.talk.blanks import REGISTRY
from guide.talk.decide import decide
from guide.talk.memory import MemorySnapshot
from guide.talk.snapshot import SampleView, SeatFacts, TagView, VisitView
from guide.talk.state import Frame, SeatState
from guide.talk.turn import Talk

NOW = datetime(2026, 7, 4, 10, 0, tzinfo=UTC)
SEAT = SeatFacts("A", "heron42", now=NOW)


@pytest.fixture(scope="module")
def talk(book: FlowBook) -> Talk:
    return Talk.of(book, REGISTRY)


@pytest.fixture
def snapshot() -> MemorySnapshot:
    visit = VisitView("v1", "ABCD2345", True, 12, answers={"site": "amberwell", "people": 3, "in_water": 1})
    tags = {code: TagView(code, "free") for code in ("01428", "01431")}
    return MemorySnapshot(visit, [SampleView("o1-1", "open", sealed=True)], tags)


def at(step: str, **slots: object) -> SeatState:
    flow, name = step.split(".")
    facts = ["safety", "sealed"] if name not in ("look", "bag") else ["safety"]
    return SeatState([Frame(flow, name, sample="o1-1", slots=dict(slots), facts=facts)])


def test_an_answer_is_an_entry_a_new_step_and_a_text(talk, snapshot):
    decision = decide(talk, at("larva.measure"), snapshot, SEAT, "27 mm", NOW)
    (entry,) = decision.entries
    assert (entry.kind, entry.data, entry.sample_uid) == ("answer", {"length_mm": 27}, "o1-1")
    assert decision.state.top.state == "larva.name"
    assert decision.says[0].text.startswith("Got 27 mm.")
    assert (decision.expects, decision.options[0]) == ("family", "DARNER")


def test_the_state_that_was_passed_in_is_not_changed(talk, snapshot):
    state = at("larva.measure")
    before = state.to_json()
    decide(talk, state, snapshot, SEAT, "27 mm", NOW)
    decide(talk, state, snapshot, SEAT, "OOPS", NOW)
    assert state.to_json() == before


def test_the_same_text_gives_the_same_decision(talk, snapshot):
    once = decide(talk, at("larva.tag"), snapshot, SEAT, "01428", NOW)
    again = decide(talk, at("larva.tag"), snapshot, SEAT, "01428", NOW)
    assert again.state.to_json() == once.state.to_json()
    assert again._replace(state=once.state) == once


def test_a_tag_taken_in_this_text_is_not_free_for_the_next_sample_of_it(talk, snapshot):
    state = SeatState([Frame("larva", "brisk", facts=["safety"])], pace="brisk")
    decision = decide(talk, state, snapshot, SEAT, "27 darner 01428; 31 skimmer 01428", NOW)
    assert [entry.kind for entry in decision.entries].count("kept") == 1
    assert decision.state.queue[0]["problem"] == "tag_used"
    assert decision.options[0] == "27 DARNER 01431"


def test_a_queue_holds_at_most_eight(talk, snapshot):
    state = SeatState([Frame("larva", "brisk", facts=["safety"])], pace="brisk")
    words = "27 darner 01428;" + ";".join(f"{20 + n} darner 01429" for n in range(12))
    decision = decide(talk, state, snapshot, SEAT, words, NOW)
    assert len(decision.state.queue) == 8


def test_a_state_reads_back_from_what_is_stored():
    state = at("larva.measure", length_mm=27)
    state.ask = {"step": "larva.measure", "value": 70, "flags": ["odd_length_mm"]}
    again = SeatState.from_json(state.to_json())
    assert {**vars(again), "frames": vars(again.top)} == {**vars(state), "frames": vars(state.top)}


def test_a_state_of_another_version_is_refused():
    with pytest.raises(ValueError, match="version 2"):
        SeatState.from_json('{"v": 2, "frames": []}')


@pytest.mark.parametrize("word", ["?", "BACK", "OOPS", "PAUSE", "GO", "WHERE", "NOTE x", "FIX 26", "DANGER", "DESK x"])
def test_words_that_work_anywhere_work_at_every_step(talk, snapshot, book, word):
    for step in book.steps.values():
        if step.kind == "route":
            continue
        flow = book.flows[step.flow]
        frames = [Frame("larva", "look", facts=["safety"])] if flow.called else []
        slots = {"what": "GLOVE", "slip": "A1"} if step.flow == "oops" else {}
        state = SeatState([*frames, Frame(step.flow, step.name, slots=slots)])
        decision = decide(talk, state, snapshot, SEAT, word, NOW)
        assert decision.says, (step.id, word)
        assert decision.state.top.state in book.steps
