"""The documents are the program's: generated parts are up to date, nothing is left out, examples run."""

import re
import shlex
import subprocess
import sys

import pytest

from guide.flow.load import shipped_flows
from guide.talk.blanks import BLANKS
from guide.talk.conditions import CONDITIONS
from guide.talk.effects import EFFECTS
from guide.talk.front import CarrierWord
from tests.docs import PARTS, PHONE_WORDS, ROOT, renewed

README = (ROOT / "README.md").read_text("utf-8")


@pytest.mark.parametrize("document", PARTS)
def test_generated_parts_are_up_to_date(document):
    assert (ROOT / document).read_text("utf-8") == renewed(document), "run: python -m tests.docs"


def test_carriers_words_are_documented():
    assert {word.name for word in CarrierWord} <= {word for word, _ in PHONE_WORDS}


@pytest.mark.parametrize("line", re.findall(r"^\.venv/bin/(wadeline flow try .*)$", README, re.M))
def test_examples_of_the_readme_run(line):
    words = shlex.split(line)[1:]
    subprocess.run([sys.executable, "-m", "guide.cli", *words], check=True, capture_output=True)


def test_the_readme_pipe_example_answers_as_written():
    sent = re.search(r"echo '(\{.*\})'", README)
    assert sent is not None
    command = [sys.executable, "-m", "guide.cli", "pipe", "--db", ":memory:"]
    out = subprocess.run(command, input=sent[1].encode(), capture_output=True, check=True).stdout
    assert out.splitlines()[-1] == b'{"handled": "1"}'


@pytest.mark.parametrize("names", [CONDITIONS, EFFECTS, BLANKS], ids=["conditions", "effects", "blanks"])
def test_no_name_is_kept_that_no_flow_uses(names):
    text = "".join(path.read_text("utf-8") for path in shipped_flows().glob("*.toml"))
    unused = [name for name in names if not re.search(rf"\b{name}\b", text)]
    assert unused == []


def test_every_folder_of_the_package_is_in_the_developers_map():
    developers = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for folder in (ROOT / "guide").iterdir():
        if folder.is_dir() and (folder / "__init__.py").exists():
            assert f"`guide/{folder.name}/`" in developers, folder.name
