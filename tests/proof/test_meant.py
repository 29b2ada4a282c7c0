"""What a text may change: each sentence of the fuzz run is seen to fail where a decision does too much."""

from dataclasses import replace

import pytest

from guide.proof.world import Move, World, after, new_world
from guide.record.log import Entry
from guide.talk.blanks import REGISTRY
from guide.talk.decision import Decision
from guide.talk.turn import Talk
from tests.proof.meant import not_meant

TO_THE_LARVAE = ("hello", "1", "y", "sunny", "3", "0", "n", "1", "1", "40 cm", "22 c", "none", "n", "n", "ok")


@pytest.fixture
def world(book) -> World:
    """A pair with three larvae kept and none in hand."""
    found = new_world(Talk.of(book, REGISTRY), {})
    for text in (*TO_THE_LARVAE, "27 darner 01402; 31 skimmer 01415", "28 darner 01428; 30 skimmer 01431", "slower"):
        found, _ = after(found, Move("text", text))
    assert found.at.top.flow == "larva"
    return found


def moved(world: World, state: str) -> World:
    """The world with the talk put elsewhere."""
    at = world.at.copy()
    at.base.go(state)
    return world._replace(state=at)


def with_void(world: World) -> World:
    """The world with its first larva void."""
    first, *others = world.snapshot.sample_views
    tags = {**world.snapshot.tags, "01402": world.snapshot.tags["01402"]._replace(status="void")}
    views = [first._replace(status="void"), *others]
    return world._replace(snapshot=replace(world.snapshot, sample_views=views, tags=tags))


@pytest.mark.parametrize("text", ["NOTE cut my glove", "?", "hello there", "Y", "FIX 01402 void torn", "BACK"])
def test_what_a_text_really_does_is_meant(world, text):
    now, decision = after(world, Move("text", text))
    assert not_meant(world, text, now, decision) == ""


def test_a_note_that_leads_elsewhere_is_not_meant(world):
    now = moved(world, "net.spot")
    assert "NOTE leaves" in not_meant(world, "NOTE cut my glove", now, Decision(now.at))


def test_a_word_that_writes_what_it_has_no_business_to_write_is_not_meant(world):
    decision = Decision(world.at, (Entry("kept", "larva.look"),))
    assert not_meant(world, "WHERE", world, decision) == "WHERE writes kept"


def test_words_nobody_can_read_that_lead_on_are_not_meant(world):
    now = moved(world, "larva.bag")
    assert "What is not read" in not_meant(world, "blub", now, Decision(now.at))


def test_an_answer_to_a_talk_that_pauses_is_not_meant(world):
    at = world.at.copy()
    at.paused = True
    now = moved(world, "larva.bag")
    assert "pauses" in not_meant(world._replace(state=at), "Y", now, Decision(now.at))


def test_a_larva_made_void_that_nobody_named_is_not_meant(world):
    now = with_void(world)
    assert "no sample that it doesn't name" in not_meant(world, "FIX 01415 void", now, Decision(now.at))
    assert not_meant(world, "FIX 01402 void", now, Decision(now.at)) == ""


def test_a_tag_that_nobody_texted_is_not_meant(world):
    decision = Decision(world.at, (Entry("answer", "larva.tag", {"tag": "01444"}),))
    assert "nobody texted" in not_meant(world, "Y", world, decision)


def test_a_larva_left_open_and_out_of_hand_is_not_meant(world):
    now, decision = after(world, Move("text", "Y"))
    at = now.at.copy()
    at.base.sample = None
    assert "in hand" in not_meant(world, "Y", now._replace(state=at), decision)
