"""What tests of shipping say to the desk."""

import json
from typing import Any

import pytest

from guide.field.tags import block
from tests.desk.lab_world import World

TAGS = block(140, 60, 5)
PLAN = ("ship", "plan", "--site", "amberwell", "--only", "larva", "--from", "2026-10-23")
KEPT = (*PLAN, "--day", "2026-10-27")


def answer(world: World, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    capsys.readouterr()
    assert world.desk(*words, "--json") in (0, 1)
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def pack(world: World, capsys: pytest.CaptureFixture[str], *lines: str) -> dict[str, str]:
    """What each line was answered."""
    file = world.path.with_name("tags.txt")
    file.write_text("\n".join(lines))
    found = answer(world, capsys, "ship", "pack", "S1", "--tags", str(file))
    return {line["tag"]: line["verdict"] for line in found["lines"]}
