"""Practice leaks nowhere: a record that had a drill says of the real work what it said before."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from guide.cli import main
from guide.drill.auto import play
from guide.drill.model import Drill
from guide.drill.session import Session, Wanted
from guide.field.tags import block
from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.model import FlowBook
from guide.flow.replies.kinds import KINDS
from guide.talk.blanks import REGISTRY
from tests.desk.lab_world import FRIDAY, World, make_world

TAGS = block(500, 6, 5)
ASKED: tuple[tuple[str, ...], ...] = (
    ("desk", "visit"),
    ("desk", "visit", "AAAA2222"),
    ("desk", "tags", "list"),
    ("desk", "choose", "--site", "amberwell", "--dry-run"),
    ("desk", "ship", "plan", "--site", "amberwell", "--from", "2026-10-25"),
    ("desk", "questions"),
    ("digest",),
)


def real_book() -> FlowBook:
    """The shipped flows under a programme that is no practice."""
    text = book_text(shipped_flows()).replace("practice = true", "practice = false", 1)
    book = load_book(text, REGISTRY, KINDS)
    assert not book.settings.practice
    return book


@pytest.fixture
def world(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> World:
    """A real programme with a closed visit of six larvae, some chosen to go to the lab."""
    world = make_world(tmp_path)
    programme = (shipped_flows() / "programme.toml").read_text("utf-8")
    (tmp_path / "programme.toml").write_text(programme.replace("practice = true", "practice = false", 1), "utf-8")
    assert world.desk("programme", str(tmp_path / "programme.toml")) == 0
    world.visit("AAAA2222", "amberwell", [{"tag": tag, "length_mm": 20 + n} for n, tag in enumerate(TAGS)])
    assert world.desk("choose", "--site", "amberwell") == 0
    capsys.readouterr()
    return world


def drilled(world: World, *drills: Drill) -> None:
    """Simulated pairs play drills on the world's record, the day after its visit."""
    for seed, drill in enumerate(drills):
        now = FRIDAY + timedelta(days=1, hours=seed)
        play(Session.begin(world.store, real_book(), Wanted(drill, 1, 1, seed), now), 0.5, now)


def answers(world: World, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """What the coordinator's commands say."""
    found = {}
    for words in ASKED:
        code = main([*words, "--db", str(world.path)])
        found[" ".join(words)] = (code, capsys.readouterr().out)
    return found


def test_no_list_count_choice_plan_or_digest_of_real_work_changes_by_a_drill(
    world: World, drills: dict[str, Drill], capsys: pytest.CaptureFixture[str]
):
    before = answers(world, capsys)
    drilled(world, drills["first_larva"], drills["tub_and_bleach"])
    after = answers(world, capsys)
    assert [code for code, _ in before.values()] == [0] * len(ASKED)
    assert after == before
    assert world.rows("SELECT count(*) FROM visit WHERE practice = 1") == [(2,)]
    world.whole()


def test_a_drill_takes_no_real_tag_and_its_samples_lie_in_practice_visits(world: World, drills: dict[str, Drill]):
    real = "SELECT code, status, sample FROM tag WHERE practice = 0 ORDER BY code"
    before = world.rows(real)
    drilled(world, drills["first_larva"])
    assert before == world.rows(real)
    kept = "SELECT count(*) FROM sample JOIN visit ON visit.uid = visit WHERE sample.status = 'kept' AND practice = ?"
    assert world.rows(kept, 0) == [(6,)]
    assert world.rows(kept, 1) == [(2,)]


def test_a_drill_changes_no_kit_that_goes_to_real_water(world: World, drills: dict[str, Drill]):
    kits = "SELECT uid, last_site, last_visit, disinfected_entry FROM kit WHERE practice = 0"
    before = world.rows(kits)
    drilled(world, drills["tub_and_bleach"], drills["storm_on_the_lake"])
    assert before == world.rows(kits)


def test_a_tag_of_a_drill_is_refused_for_a_shipment(
    world: World, drills: dict[str, Drill], capsys: pytest.CaptureFixture[str]
):
    drilled(world, drills["first_larva"])
    (tag,) = world.rows(
        "SELECT tag FROM sample JOIN visit ON visit.uid = visit WHERE practice = 1 AND sample.status = 'kept' LIMIT 1"
    )[0]
    assert world.desk("ship", "plan", "--site", "amberwell", "--day", "2026-10-27") == 0
    listed = world.path.parent / "tags.txt"
    listed.write_text(f"{tag}\n")
    capsys.readouterr()
    world.desk("ship", "pack", "S1", "--tags", str(listed))
    assert "PRACTICE" in "".join(capsys.readouterr())


def test_an_export_of_the_real_work_has_nothing_of_a_drill(world: World, drills: dict[str, Drill], tmp_path: Path):
    before, after = tmp_path / "before", tmp_path / "after"
    assert world.desk("export", "--all", "--tables", "--to", str(before)) == 0
    drilled(world, drills["first_larva"])
    assert world.desk("export", "--all", "--tables", "--to", str(after)) == 0
    tables = sorted(path.name for path in before.glob("*.csv"))
    assert tables
    for name in tables:
        assert (before / name).read_bytes() == (after / name).read_bytes(), name
