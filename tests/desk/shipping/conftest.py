"""Larvae of a Friday before a bank holiday: chosen, packed, sent."""

from pathlib import Path
from typing import Any

import pytest

from tests.desk.lab_world import World, make_world
from tests.desk.shipping.box import KEPT, TAGS, pack


@pytest.fixture
def world(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> World:
    """Four chosen larvae of a Friday before a bank holiday, one that was not chosen, one void, two bottles."""
    world = make_world(tmp_path)
    larvae: list[dict[str, Any]] = [{"tag": tag, "length_mm": 20 + i} for i, tag in enumerate(TAGS[:4])]
    larvae += [{"tag": TAGS[4], "length_mm": 11}, {"tag": TAGS[5], "void": "torn"}]
    larvae += [{"tag": TAGS[6], "kind": "water"}, {"tag": TAGS[7], "kind": "water_blank"}]
    world.visit("AAAA2222", "amberwell", larvae)
    world.visit("PPPP2222", "amberwell", [{"tag": "09002"}], practice=1)
    world.desk("choose", "--site", "amberwell")
    capsys.readouterr()
    return world


@pytest.fixture
def packed(world: World, capsys: pytest.CaptureFixture[str]) -> World:
    """The same, planned and packed."""
    world.desk(*KEPT)
    pack(world, capsys, *TAGS[:4])
    return world


@pytest.fixture
def sent(packed: World) -> World:
    """The same, sent."""
    packed.desk("ship", "sent", "S1", "--waybill", "AB 12", "--day", "2026-10-27")
    return packed
