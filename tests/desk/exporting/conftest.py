"""A record with visits to export and much that must not leave."""

from pathlib import Path

import pytest

from guide.record.log import Entry
from tests.desk.exporting.folder import TAGS
from tests.desk.lab_world import World, make_world


@pytest.fixture
def world(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> World:
    """Two real visits at two sites, one shipped, a practice visit, a phone, words and initials."""
    world = make_world(tmp_path)
    larvae = [{"tag": TAGS[i], "length_mm": 20 + i, "family": ("Gomphidae", "Aeshnidae")[i % 2]} for i in range(4)]
    larvae[1] |= {"flag": "odd_length_mm"}
    first = world.visit("AAAA2222", "amberwell", [*larvae, {"tag": TAGS[4], "void": "damselfly"}])
    world.visit("BBBB2222", "quill", [{"tag": TAGS[6]}, {"tag": TAGS[7], "kind": "water"}])
    world.visit("PPPP2222", "amberwell", [{"tag": "09002", "length_mm": 33}], practice=1)
    world.say(
        first,
        Entry("contamination", "oops.what", {"slip": "1", "what": "GLOVE"}, f"{first}-2"),
        Entry("remedy", "oops.renew", {"slip": "1", "touched": "no", "remedy": "renewed"}, f"{first}-2"),
        Entry("note", "", {}, words="a heron stole the sandwich"),
        Entry("custody", "desk.custody", {"custody": "words"}, words="QZ"),
    )
    (ref,) = world.rows(
        "SELECT origin.uid || '/' || stream || '/' || seq FROM log JOIN origin ON origin.id = origin "
        "WHERE sample_uid = ? AND json_extract(data, '$.length_mm') = 20",
        f"{first}-1",
    )[0]
    fixed = Entry("fix", "desk.fix", {"length_mm": 26}, f"{first}-1", ref, words="typed wrong")
    world.say(first, fixed, Entry("accepted", "desk.accept", {}))
    world.store.db.execute("INSERT INTO phone (number) VALUES ('+353209120001')")
    for words in (
        ("choose", "--site", "amberwell"),
        ("ship", "plan", "--site", "amberwell", "--day", "2026-10-27"),
    ):
        assert world.desk(*words) == 0
    (tmp_path / "tags.txt").write_text("\n".join(TAGS[:4]))
    assert world.desk("ship", "pack", "S1", "--tags", str(tmp_path / "tags.txt")) == 0
    assert world.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27") == 0
    capsys.readouterr()
    return world
