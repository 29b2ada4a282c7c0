"""The coordinator's path from an empty folder to a hand-over: real commands, pairs over a pipe and on a laptop."""

import atexit
import json
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any

from guide.flow.load import shipped_flows
from tests.gateway.scripted import PipeProcess, ScriptedPair

ROOT = Path(__file__).parents[2]
FRIDAY = datetime(2026, 10, 23, 9, 0, tzinfo=UTC)
"""Before Monday 26 October 2026, a public holiday in Ireland for carrier and lab."""

SITES = """code,name,words,flows,zone,lat,lon
amberwell,Amberwell Pond,pond,no,Europe/Dublin,53.41,-8.24
quill,Quill Brook,brook,yes,Europe/Dublin,53.44,-8.19
sallow,Sallow Fen,fen,no,Europe/Dublin,53.47,-8.27
"""
GROUPS = """code,name,word,site,people
G1,The Early Herons,heron call,amberwell,6
G2,Basin School,basin owl,quill,14
G3,Fen Wardens,fen lantern,sallow,4
G4,Evening Otters,otter dusk,,5
"""
PAIRS = (
    (
        "heron call",
        "amberwell",
        "27 darner, 31 darner, 72 darner, 24 skimmer, 19 skimmer, 22 skimmer, 29 clubtail, 26 darner",
    ),
    (
        "basin owl",
        "quill",
        "28 clubtail, 25 clubtail, 30 clubtail, 21 unsure, 33 darner, 35 darner, 23 skimmer, 18 skimmer",
    ),
    (
        "fen lantern",
        "sallow",
        "26 darner, 38 darner, 20 skimmer, 22 skimmer, 17 skimmer, 24 clubtail, 27 clubtail, 29 darner",
    ),
)
"""What each group's pair finds. 72 mm was 27, a singleton stays at home, and one family is named at the desk."""
STRAY, LOST, WARM, LAST = "03067", "03128", "03051", "04872"
"""A larva not chosen that gets to the box, one the lab misses, one that came thawed, one scanned late."""


def programme() -> str:
    """A real programme's settings: the demo's without its sites and tags, with a coordinator, eight larvae a site."""
    text = (shipped_flows() / "programme.toml").read_text("utf-8")
    text = text[: text.index("[[sites]]")]
    for old, new in (
        ("practice = true ", "practice = false "),
        ("target = 12 ", "target = 8 "),
        ("count = 60", "count = 0"),
        ("[tags]", '[[coordinators]]\nname = "Wren"\nnumber = "+353 20 912 0001"\n\n[tags]'),
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


@dataclass
class Said:
    """A command as it was typed, with its exit code and what it said."""

    words: tuple[str, ...]
    code: int
    out: str
    err: str
    given: str = ""

    @property
    def typed(self) -> str:
        return f"wadeline desk {shlex.join(self.words)}"


@dataclass
class Pair:
    """What a scripted pair finds: length and family of each larva, told when they are asked."""

    group: str
    site: str
    found: Sequence[tuple[str, str]]
    number: str
    tagged: int = 0

    def answer(self, last: dict[str, Any]) -> str:
        """The answer to a text: what the pair has to tell, else the option that carries on."""
        if last["step"] == "arrive.site":
            return self.site
        if last["step"] == "larva.measure":
            return self.found[self.tagged][0]
        if last["step"] == "larva.name":
            return self.found[self.tagged][1]
        if last["step"] == "larva.tag":
            self.tagged += 1
        return str(last["options"][0])


@dataclass
class Folder:
    """An empty folder in which a coordinator types commands; the record is ``record.db`` in it."""

    path: Path
    said: list[Said] = field(default_factory=list)

    def desk(self, *words: str, given: str = "", code: int = 0) -> str:
        """Runs a command in a process of its own; it must end with ``code`` and say nothing on standard error."""
        environment = {**os.environ, "WADELINE_DB": "record.db", "PYTHONPATH": str(ROOT)}
        ran = subprocess.run(
            [sys.executable, "-m", "guide.cli", "desk", *words],
            cwd=self.path, env=environment, input=given, capture_output=True, text=True, timeout=60,
        )  # fmt: skip
        self.said.append(Said(words, ran.returncode, ran.stdout, ran.stderr, given))
        assert ran.returncode == code, f"{self.said[-1].typed}: {ran.stdout}{ran.stderr}"
        return ran.stdout

    def file(self, name: str, text: str) -> str:
        """Writes a file beside the record."""
        (self.path / name).write_text(text, "utf-8")
        return name

    def visit(self, pair: Pair, start: datetime, seed: int, record: str = "record.db") -> tuple[str, str]:
        """A whole visit over ``wadeline pipe``, freezing and gear too; returns the code and mark its pair was told."""
        with PipeProcess(self.path / record, ("--seed", str(seed))) as pipe:
            phone = ScriptedPair(pipe, pair.number, pair.answer, start)
            for words in (f"JOIN {pair.group}", "FREEZE", "GEAR"):
                phone.text(words)
                phone.play()
        found = re.search(r"Visit (\w{8}), mark (\w{8})", " ".join(one["text"] for one in phone.texts))
        assert found is not None
        return found[1], found[2]


@dataclass
class Walk:
    """The whole path, walked once: visits' codes and marks by site, and everything that was said."""

    folder: Folder
    marks: dict[str, str] = field(default_factory=dict)
    code: dict[str, str] = field(default_factory=dict)

    def out(self, start: str, time: int = 0) -> str:
        """What a command said, found by how it began; ``time`` 1 is the second time it was typed."""
        return self.find(start, time).out

    def find(self, start: str, time: int = 0) -> Said:
        found = [one for one in self.folder.said if one.typed.startswith(f"wadeline desk {start}")]
        return found[time]


@cache
def walk() -> Walk:
    """From an empty folder to a hand-over, once a process: nobody changes what it leaves."""
    folder = mkdtemp(prefix="wadeline-path-")
    atexit.register(rmtree, folder)
    path = Walk(Folder(Path(folder)))
    _set_up(path.folder)
    _three_visits(path)
    _review(path)
    _to_the_lab(path)
    _hand_over(path.folder)
    return path


def _set_up(folder: Folder) -> None:
    for name, text in (("circle.toml", programme()), ("sites.csv", SITES), ("groups.csv", GROUPS)):
        folder.file(name, text)
    folder.desk("programme", "circle.toml")
    folder.desk("sites", "sites.csv")
    folder.desk("groups", "groups.csv")
    folder.desk("tags", "make", "200", "--first", "300")
    folder.desk("tags", "assign", "04809", "04993", "--site", "sallow")
    folder.desk("tags", "list")


def _laptop(folder: Folder) -> None:
    """A laptop that goes where no network is: the same lists, and the slips of its own water."""
    record = ("--db", "laptop.db")
    for words in (("programme", "circle.toml"), ("sites", "sites.csv"), ("groups", "groups.csv")):
        folder.desk(*words, *record)
    folder.desk("tags", "make", "20", "--first", "480", "--site", "sallow", *record)


def _three_visits(path: Walk) -> None:
    _laptop(path.folder)
    for place, (group, site, found) in enumerate(PAIRS):
        larvae = [(length, family) for length, family in (one.split() for one in found.split(", "))]
        pair = Pair(group, site, larvae, f"+35320912001{place}")
        record = "laptop.db" if site == "sallow" else "record.db"
        told = path.folder.visit(pair, FRIDAY + timedelta(hours=place), place + 7, record)
        path.code[site], path.marks[site] = told
    path.folder.desk("visit")
    path.folder.desk("merge", "laptop.db")
    path.folder.desk("merge", "laptop.db")


def _review(path: Walk) -> None:
    desk, first, second = path.folder.desk, path.code["amberwell"], path.code["quill"]
    desk("visit")
    desk("visit", first)
    desk("choose", "--site", "amberwell", "--what-if")
    desk("fix", first, "03023", "length", "27", "--reason", "72 was 27: read again in its bag")
    desk("fix", second, "03115", "family", "clubtail", "--reason", "named from its photo")
    desk("visit", first)
    for code in path.code.values():
        desk("accept", code)
    desk("visit", "--state", "accepted")
    desk("choose", "--site", "amberwell", "--what-if", "--most", "5")
    for site in path.code:
        desk("choose", "--site", site)


def _to_the_lab(path: Walk) -> None:
    desk = path.folder.desk
    desk("ship", "plan", "--all", "--from", "2026-10-23", "--days", "6")
    desk("ship", "plan", "--all", "--day", "2026-10-26", code=2)
    desk("ship", "plan", "--all", "--day", "2026-10-27")
    planned = [row["tag"] for row in json.loads(desk("ship", "list", "S1", "--json"))["items"]]
    scanned = [tag for tag in planned if tag != LAST]
    desk("ship", "pack", "S1", given="\n".join([*scanned, STRAY, scanned[0]]) + "\n", code=1)
    desk("ship", "pack", "S1", given=f"{LAST}\n")
    desk("ship", "sent", "S1", "--waybill", "TB 4471 902", "--day", "2026-10-27")
    said = {tag: "thawed" if tag == WARM else "intact" for tag in planned if tag != LOST}
    rows = "".join(f"{int(tag)},{condition}\n" for tag, condition in said.items())
    path.folder.file("lab.csv", f"tag,condition\n{rows}")
    desk("ship", "received", "S1", "lab.csv", "--day", "2026-10-28", code=1)
    desk("ship", "list")


def _hand_over(folder: Folder) -> None:
    folder.desk("export", "--all", "--to", "handover")
    folder.desk("verify")
    folder.desk("verify", "handover/log.jsonl")
