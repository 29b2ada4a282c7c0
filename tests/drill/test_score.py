"""Same seed same score, skill shows in every drill, and every point is an entry that can be shown."""

from collections.abc import Callable

import pytest

from guide.drill.debrief import explain
from guide.drill.load import load_drills
from guide.drill.score import by_round, points_of, tally
from guide.drill.session import Session
from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.replies.kinds import KINDS
from guide.record.verify import verify
from guide.talk.blanks import REGISTRY

NAMES = [one.name for one in load_drills(load_book(book_text(shipped_flows()), REGISTRY, KINDS))]
LEARNING, SEEDS = 3, (7, 8)
"""Rounds in which a pair learns, and the seeds it is played with: one session alone has too much chance in it."""

Played = Callable[..., Session]


def facts(session: Session) -> list[object]:
    """All a session tells, without what names the record it is in."""
    return [(p.pair, p.round, p.role, p.kind, p.what, p.right, p.line.at) for p in points_of(session.view)]


def share(session: Session) -> float:
    found = tally(points_of(session.view)).share
    assert found is not None
    return found


def test_at_least_eight_drills_ship_from_the_first_larva_to_a_storm_on_the_lake():
    assert len(NAMES) >= 8
    assert (NAMES[0], NAMES[-1]) == ("first_larva", "storm_on_the_lake")


@pytest.mark.parametrize("name", NAMES)
def test_an_unskilled_pair_scores_worse_than_a_skilled_one(played: Played, name: str):
    assert share(played(name, 0.0, SEEDS[0], LEARNING)) < share(played(name, 1.0)) == 1.0


@pytest.mark.parametrize("name", NAMES)
def test_a_pair_that_learns_gets_better_over_rounds(played: Played, name: str):
    rounds = [by_round(one.view, points_of(one.view)) for one in (played(name, 0.0, seed, LEARNING) for seed in SEEDS)]
    first, last = (sum(one[at].share or 0.0 for one in rounds) / len(SEEDS) for at in (0, -1))
    assert first < last


@pytest.mark.parametrize("name", ["first_larva", "tags_and_bags"])
def test_the_same_seed_brings_the_same_surprises_and_the_same_score(played: Played, name: str):
    first, second = played(name, 0.4), played(name, 0.4, again=True)
    assert first is not second
    assert facts(first) == facts(second)
    assert facts(first) != facts(played(name, 0.4, seed=8))


@pytest.mark.parametrize("name", ["storm_on_the_lake", "ruler_and_key"])
def test_every_point_of_a_score_is_an_entry_that_can_be_shown(played: Played, name: str):
    session = played(name, 0.0)
    points = points_of(session.view)
    told = explain(session.store.db, session.view)
    assert points
    for point in points:
        for ref in point.refs:
            uid, stream, seq = ref.split("/")
            (count,) = session.store.db.execute(
                "SELECT count(*) FROM log JOIN origin ON origin.id = origin WHERE uid = ? AND stream = ? AND seq = ?",
                (uid, stream, int(seq)),
            ).fetchone()
            assert count == 1
            assert ref in told
    assert f"{sum(point.right for point in points)} of {len(points)} right" in told
    assert verify(session.store.db).problems == []
