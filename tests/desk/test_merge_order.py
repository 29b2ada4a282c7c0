"""In whatever order machines fix and merge, they come to the same values once all have seen all."""

import contextlib
import json
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import permutations
from pathlib import Path

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from guide.desk.findings_day import bags_agree
from guide.desk.fix import Wanted, fix_as_said, fix_visit
from guide.desk.merge import merge_file
from guide.desk.programme import keep_text
from guide.desk.show_visit import visit_lines
from guide.desk.visits import Visit, VisitError, append_at_desk, load_visit, visit_uid
from guide.flow.load import shipped_flows
from guide.flow.programme_text import read_programme
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
    st.tuples(st.just("length"), st.sampled_from(["9", "20", "30", "70"])),
    st.tuples(st.just("family"), st.sampled_from(["darner", "skimmer", "unsure"])),
    st.tuples(st.just("tag"), st.sampled_from(["01428", "01431"])),
)
FLAGS = st.sampled_from(["tag_of_other_site", "under_minimum", "odd_length_mm", "late_ice"])
OWN = st.one_of(
    st.tuples(st.just("site"), st.sampled_from(["amberwell", "quill", "sallow"])),
    st.tuples(st.just("day"), st.sampled_from(["2026-07-03", "2026-07-04", "2026-07-05"])),
    st.tuples(st.just("people"), st.sampled_from(["3", "4", "5"])),
    st.tuples(st.just("lots"), st.sampled_from(["gloves 1", "gloves 2"])),
    st.tuples(st.just("s1"), st.sampled_from(["flag", "unflag"]), FLAGS),
)
"""What the desk puts right of the visit itself."""

TALK = st.sampled_from([{"people": 3}, {"people": 4}, {"site": "harrow"}, {"in_water": 1}, {"tub_l": 10.0}, "closes"])
"""What the pair still tells, on its own machine."""

STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("fix"), st.integers(0, MACHINES - 1), ACTS),
        st.tuples(st.just("own"), st.integers(0, MACHINES - 1), OWN),
        st.tuples(st.just("talk"), st.just(0), TALK),
        st.tuples(st.just("close"), st.integers(0, MACHINES - 1), st.just("desk")),
        st.tuples(st.just("merge"), st.integers(0, MACHINES - 1), st.integers(0, MACHINES - 1)),
    ),
    max_size=14,
)


def begun(folder: Path, number: int) -> Store:
    """A machine's record with its tags."""
    store = Store(open_record(folder / f"{number}.db"))
    with store.transaction():
        given = [
            Entry("tags_assigned", "", {**TAGS, "codes": [code], "site": site})
            for code, site in (("01402", "amberwell"), ("01428", "quill"), ("01431", "sallow"))
        ]
        store.append("desk", "desk", 0, NOW, [Entry("tags_loaded", "", TAGS), *given])
        settings = read_programme(shipped_flows() / "programme.toml").text
        keep_text(store, settings.replace('code = "tarrow"', 'code = "circle"'), "programme_loaded")
    return store


def one_visit(store: Store, closed: bool) -> None:
    """A visit of one larva, as the first machine took it."""
    uid = f"{store.origin}-v1"
    entries = [
        Entry("visit_opened", "", OPENED),
        Entry("answer", "arrive.site", {"site": "amberwell"}),
        Entry("answer", "arrive.people", {"people": 4}),
        Entry("kit_used", "", {"kit": "K1", "site": "amberwell"}),
        Entry("sample_opened", "", {"kind": "larva", "gloves": "yes", "pace": "coach"}, f"{uid}-1"),
        Entry("answer", "", {"length_mm": 27, "family": "Gomphidae", "sure": True, "tag": "01402"}, f"{uid}-1"),
        Entry("kept", "", {}, f"{uid}-1"),
        *([Entry("visit_closed", "", {"kept": 1})] if closed else []),
    ]
    with store.transaction():
        store.append(uid, "A", 0, NOW, entries)


def give(here: Store, there: Store, folder: Path) -> None:
    """What one machine has of the visit goes to another."""
    path = folder / "log.jsonl"
    path.write_text("".join(written(held_lines(here.db, "stream != 'desk'"), True)), "utf-8")
    merge_file(there, path, NOW)


def give_all(stores: list[Store], folder: Path) -> None:
    """Every machine comes to have what any has."""
    for here, there in [*permutations(stores, 2)] * 2:
        give(here, there, folder)


def work(stores: list[Store], step: tuple, now: datetime, folder: Path) -> None:
    """One step of a history on one machine."""
    act, number, what = step
    store, (uid,) = stores[number], stores[number].db.execute("SELECT uid FROM visit").fetchone()
    if act == "merge" and number != what:
        give(store, stores[what], folder)
    with contextlib.suppress(VisitError):  # the same value again, a tag that is used
        if act == "fix":
            fix_visit(store, Wanted("K7Q2M3PA", "s1", *what, reason="looked again"), now)
        elif act == "own":
            fix_as_said(store, "K7Q2M3PA", what, "looked again", now)
    if act in ("talk", "close"):
        closes = Entry("visit_closed", "", {"by": "desk"} if act == "close" else {})
        entry = Entry("answer", "", what) if isinstance(what, dict) else closes
        with store.transaction():
            append_at_desk(store, uid, [entry], now)


def values(store: Store) -> list[object]:
    sample = store.db.execute("SELECT tag, length_mm, family, sure, status FROM sample").fetchall()
    flags = store.db.execute("SELECT flag FROM sample_flag ORDER BY flag").fetchall()
    visit = store.db.execute("SELECT site, local_date, status, closed_at, answers FROM visit").fetchone()
    answers = {name: value for name, value in json.loads(visit[4]).items() if name != "words"}
    (uid,) = store.db.execute("SELECT uid FROM visit").fetchone()
    rivals = [(name, [one.ref for one in told]) for name, told in load_visit(store.db, uid).answer_rivals]
    kits = store.db.execute("SELECT uid, last_site FROM kit").fetchall()
    tags = store.db.execute("SELECT code, status, sample FROM tag ORDER BY code").fetchall()
    return [sample, flags, visit[:4], answers, rivals, kits, tags]


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@example(
    [
        ("fix", 1, ("tag", "01428")),
        ("fix", 2, ("tag", "01431")),
        ("merge", 2, 0),
        ("fix", 0, ("tag", "01428")),
        ("fix", 2, ("tag", "01428")),
    ],
    True,
)  # rivals of which one has rivals over it
@example(
    [
        ("own", 1, ("site", "quill")),
        ("own", 2, ("site", "sallow")),
        ("merge", 2, 1),
        ("talk", 0, {"site": "harrow"}),
        ("own", 1, ("site", "quill")),
        ("fix", 2, ("tag", "01428")),
        ("own", 2, ("s1", "unflag", "tag_of_other_site")),
    ],
    True,
)  # rival sites, and a tag that is another site's at one of them
@example(
    [
        ("own", 0, ("s1", "flag", "late_ice")),
        ("merge", 0, 1),
        ("own", 1, ("s1", "unflag", "late_ice")),
        ("own", 0, ("s1", "unflag", "late_ice")),
        ("own", 0, ("s1", "flag", "late_ice")),
    ],
    True,
)  # a flag taken off on one machine while another sets it again
@example(
    [
        ("own", 1, ("s1", "flag", "odd_length_mm")),
        ("fix", 0, ("length", "70")),
        ("merge", 0, 2),
        ("fix", 2, ("length", "30")),
    ],
    True,
)  # a flag set by hand, and brought by an answer that is put right again
@example([("close", 1, "desk"), ("own", 1, ("day", "2026-07-03")), ("talk", 0, "closes"), ("close", 2, "desk")], False)
@given(STEPS, st.booleans())
def test_all_machines_come_to_the_same_values(steps, closed):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        stores = [begun(folder, number) for number in range(MACHINES)]
        one_visit(stores[0], closed)
        for store in stores[1:]:
            give(stores[0], store, folder)
        for number, step in enumerate(steps):
            work(stores, step, NOW + timedelta(minutes=number), folder)
        give_all(stores, folder)
        told = [values(store) for store in stores]
        problems = [verify(store.db).problems for store in stores]
        for store in stores:
            store.db.close()
        assert problems == [[], [], []]
        assert told[0] == told[1] == told[2]


def world(folder: Path) -> list[Store]:
    """Machines that all have the closed visit."""
    stores = [begun(folder, number) for number in range(MACHINES)]
    one_visit(stores[0], True)
    for store in stores[1:]:
        give(stores[0], store, folder)
    return stores


def own_fix(store: Store, *words: str) -> None:
    fix_as_said(store, "K7Q2M3PA", words, "looked again", NOW)


def seen(stores: list[Store]) -> Iterator[tuple[Store, Visit]]:
    """The visit as each machine has it."""
    for store in stores:
        yield store, load_visit(store.db, visit_uid(store.db, "K7Q2M3PA"))
        store.db.close()


def test_of_words_put_right_on_two_machines_those_that_stand_are_shown(tmp_path):
    stores = world(tmp_path)
    own_fix(stores[0], "lots", "gloves ZERO")
    give_all(stores, tmp_path)
    own_fix(stores[1], "lots", "gloves ONE")
    own_fix(stores[1], "lots", "gloves TWO")
    own_fix(stores[2], "lots", "gloves THREE")
    give_all(stores, tmp_path)
    for store, visit in seen(stores):
        (line,) = [line for line in visit_lines(store.db, visit, False) if line.startswith("  lots")]
        assert line.split()[:3] == ["lots", "gloves", "ZERO"]


def test_where_rivals_leave_no_count_of_bags_the_pairs_own_is_told(tmp_path):
    stores = world(tmp_path)
    (uid,) = stores[0].db.execute("SELECT uid FROM visit").fetchone()
    with stores[0].transaction():
        append_at_desk(stores[0], uid, [Entry("bags_differ", "", {"counted": 3, "kept": 1})], NOW)
    own_fix(stores[1], "bags_counted", "2")
    own_fix(stores[2], "bags_counted", "4")
    give_all(stores, tmp_path)
    for _, visit in seen(stores):
        (finding,) = bags_agree(visit)
        assert finding.what == "3 bags were counted, the record keeps 1 larva"
