"""In whatever order machines fix and merge, they come to the same values once all have seen all."""

import contextlib
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from guide.desk.fix import Wanted, fix_visit
from guide.desk.merge import merge_file
from guide.desk.visits import VisitError
from guide.record.jsonl import held_lines, written
from guide.record.log import Entry
from guide.record.open import open_record
from guide.record.store import Store
from guide.record.verify import verify

NOW = datetime(2026, 7, 6, 8, 0, tzinfo=UTC)
MACHINES = 3
OPENED = {
    "code8": "K7Q2M3PA",
    "programme": "circle",
    "book_hash": "0" * 64,
    "local_date": "2026-07-04",
    "practice": 0,
    "target": 12,
    "word": "heron12",
}
TAGS = {"programme": "circle", "practice": 0, "codes": ["01402", "01415", "01428", "01431"]}
ACTS = st.one_of(
    st.tuples(st.just("length"), st.sampled_from(["9", "20", "30", "40"])),
    st.tuples(st.just("family"), st.sampled_from(["darner", "skimmer", "unsure"])),
    st.tuples(st.just("tag"), st.sampled_from(["01428", "01431"])),
)
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("fix"), st.integers(0, MACHINES - 1), ACTS),
        st.tuples(st.just("merge"), st.integers(0, MACHINES - 1), st.integers(0, MACHINES - 1)),
    ),
    max_size=14,
)


def begun(folder: Path, number: int) -> Store:
    """A machine's record with its tags."""
    store = Store(open_record(folder / f"{number}.db"))
    with store.transaction():
        store.append("desk", "desk", 0, NOW, [Entry("tags_loaded", "", TAGS)])
    return store


def one_visit(store: Store) -> None:
    """A closed visit of one larva, as the first machine took it."""
    uid = f"{store.origin}-v1"
    entries = [
        Entry("visit_opened", "", OPENED),
        Entry("sample_opened", "", {"kind": "larva", "gloves": "yes", "pace": "coach"}, f"{uid}-1"),
        Entry("answer", "", {"length_mm": 27, "family": "Gomphidae", "sure": True, "tag": "01402"}, f"{uid}-1"),
        Entry("kept", "", {}, f"{uid}-1"),
        Entry("visit_closed", "", {"kept": 1}),
    ]
    with store.transaction():
        store.append(uid, "A", 0, NOW, entries)


def give(here: Store, there: Store, folder: Path) -> None:
    """What one machine has of the visit goes to another."""
    path = folder / "log.jsonl"
    path.write_text("".join(written(held_lines(here.db, "stream != 'desk'"), True)), "utf-8")
    merge_file(there, path, NOW)


def values(store: Store) -> list[object]:
    sample = store.db.execute("SELECT tag, length_mm, family, sure, status FROM sample").fetchall()
    flags = store.db.execute("SELECT flag FROM sample_flag ORDER BY flag").fetchall()
    return [sample, flags, store.db.execute("SELECT code, status, sample FROM tag ORDER BY code").fetchall()]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@example(
    [
        ("fix", 1, ("tag", "01428")),
        ("fix", 2, ("tag", "01431")),
        ("merge", 2, 0),
        ("fix", 0, ("tag", "01428")),
        ("fix", 2, ("tag", "01428")),
    ]
)  # rivals of which one has rivals over it
@given(STEPS)
def test_all_machines_come_to_the_same_values(steps):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        stores = [begun(folder, number) for number in range(MACHINES)]
        one_visit(stores[0])
        for store in stores[1:]:
            give(stores[0], store, folder)
        for number, step in enumerate(steps):
            if step[0] == "merge" and step[1] != step[2]:
                give(stores[step[1]], stores[step[2]], folder)
            elif step[0] == "fix":
                wanted = Wanted("K7Q2M3PA", "s1", *step[2], reason="looked again")
                with contextlib.suppress(VisitError):  # the same value again, a tag that is used
                    fix_visit(stores[step[1]], wanted, NOW + timedelta(minutes=number))
        for _ in range(2):
            for here in stores:
                for there in stores:
                    if here is not there:
                        give(here, there, folder)
        told = [values(store) for store in stores]
        problems = [verify(store.db).problems for store in stores]
        for store in stores:
            store.db.close()
        assert problems == [[], [], []]
        assert told[0] == told[1] == told[2]
