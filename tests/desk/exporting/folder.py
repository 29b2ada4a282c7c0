"""An export, and what tests read of its folder."""

import csv
import io
import json
from pathlib import Path

from pypdf import PdfReader

from guide.field.tags import block
from tests.desk.lab_world import World

TAGS = block(140, 60, 5)
WANTED = (
    "visit_id site date pair kind tag length_mm family family_sure status flags opened_at sealed_at outer_bagged_at "
    "iced_at frozen_at shipped_at"
).split()


def export(world: World, *words: str) -> Path:
    to = world.path.parent / "out"
    assert world.desk("export", *words, "--to", str(to)) == 0
    return to


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    text = (folder / name).read_bytes().decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


def words_of(folder: Path) -> str:
    """Everything in a folder that can be read: files as text, PDF as the words on its pages, names too."""
    found = []
    for path in sorted(folder.iterdir()):
        found.append(path.name)
        if path.suffix == ".pdf":
            found += pages(path)
        else:
            found.append(path.read_text("utf-8"))
    return "\n".join(found)


def streams(folder: Path) -> set[str]:
    """The chains whose entries are in the log of an export."""
    lines = (folder / "log.jsonl").read_text("utf-8").splitlines()
    return {json.loads(line)["stream"] for line in lines[:-1]}


def pages(path: Path) -> list[str]:
    return [page.extract_text() for page in PdfReader(path).pages]
