"""The visit that the proof holds in memory is the one that the record holds."""

from datetime import timedelta
from random import Random

import pytest

from guide.proof.world import Move, World, after, new_world
from guide.record.look import RecordSnapshot
from guide.talk.blanks import REGISTRY
from guide.talk.memory import MemorySnapshot
from guide.talk.turn import Talk

DAY = tuple(
    "hello/1/y/sunny/3/0/n/1/1/40 cm/22 c/none/n/n/ok/y/ok/27/darner/01402/FIX 28/ok/y/ok/9/9/key/n/flat/club/y/01415/"
    "FIX 01402/oops/6/ok/y/ok/oops/glove/y/ok/ok/31/skimmer/01428/ok/01431 28 darner; 27/skip/FIX 01428 swap 01402/"
    "FIX 01428 void/move/water/y/ok/ok/oops/glove/y/ok/ok/ok/ok/ok/01444/ok/back/ok/danger/3/thunder/ok/pack/3/ok/y/3/"
    "3/none/none/ok/gear/y/ok/20 l/6/n/ok/ok/over".split("/")
)


def views(snapshot: MemorySnapshot | RecordSnapshot) -> tuple[object, ...]:
    """What a snapshot shows, without the names that only a record gives."""
    visit, samples = snapshot.visit(), snapshot.samples()
    places = {sample.uid: place for place, sample in enumerate(samples)}
    shown = [(s.kind, s.status, s.tag, s.length_mm, s.family, s.sure, s.seat, s.gloves, s.sealed) for s in samples]
    flags = [sorted(sample.flags) for sample in samples]
    tags = [snapshot.tag(code) for code in ("01402", "01415", "01428", "01431", "01444")]
    held = [(tag.status, places.get(tag.sample or "")) for tag in tags if tag is not None]
    kit = snapshot.kit("K1")
    answers = {name: value for name, value in visit.answers.items() if name != "words"}
    return visit.status, visit.site, answers, shown, flags, held, kit and (kit.last_site, kit.disinfected)


def play(pond, talk: Talk, texts: tuple[str, ...]) -> None:
    """Texts to the record and to the memory, the same minute; after each they show the same."""
    world: World = new_world(talk, {})
    for text in texts:
        pond.text(text)
        while due := [kind for kind, at in world.timers.items() if at <= world.now + timedelta(minutes=1)]:
            first = min(due, key=lambda kind: world.timers[kind])
            world, _ = after(world, Move("timer", first))
        world, _ = after(world, Move("text", text))
        ((seat, visit),) = pond.rows("SELECT id, visit FROM seat")
        record = RecordSnapshot(pond.exchange.store, visit, seat, 1)
        assert views(record) == views(world.snapshot), text
        assert pond.step() == world.at.top.state


def test_a_day_with_slips_bottles_fixes_and_bleach_is_the_same_in_memory_and_on_disk(pond, book):
    play(pond, Talk.of(book, REGISTRY), DAY)


@pytest.mark.parametrize("seed", range(4))
def test_texts_in_any_order_are_the_same_in_memory_and_on_disk(open_field, book, seed):
    random = Random(seed)
    texts = (*DAY[:16], *(random.choice(DAY[1:]) for _ in range(60)))
    play(open_field(f"{seed}.db"), Talk.of(book, REGISTRY), texts)
