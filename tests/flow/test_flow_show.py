"""``flow show`` prints a flow in words; ``flow draw`` writes Mermaid and, with Graphviz, SVG."""

import re
import shutil
import subprocess
import sys
from xml.etree import ElementTree

import pytest

from guide.flow.show import draw, mermaid, show


def run(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "guide.cli", *args], capture_output=True, text=True, check=False)


def test_show_prints_what_is_said_why_the_answers_and_the_ways_on(book):
    words = " ".join(show(book, book.flows["larva"]).split())
    assert "bag (done) BOTH: read all, phone away." in words
    assert "? The bag is open for seconds only." in words
    assert "answers: MOVE, PACK" in words
    assert "yes, if tally full -> next" in words
    assert "key -> family, then keyed" in words


@pytest.mark.parametrize("flow", ["arrive", "safety", "storm", "larva", "family", "oops", "danger", "close"])
def test_a_drawing_has_every_step_and_every_way(book, flow):
    drawn = mermaid(book, book.flows[flow])
    for step in book.flows[flow].steps.values():
        assert f"    step_{step.name}" in drawn
    ways = sum(len(step.branches) for step in book.flows[flow].steps.values())
    assert len(re.findall(r"-->\|", drawn)) == ways
    assert '""' not in drawn


def test_an_unknown_flow_names_the_flows_there_are():
    refused = run("flow", "show", "larvae")
    assert refused.returncode == 2
    assert "there is no flow 'larvae'; the flows are arrive" in refused.stderr


def test_draw_writes_mermaid_for_every_flow(book, tmp_path):
    done = run("flow", "draw", "--to", str(tmp_path))
    assert done.returncode == 0
    assert {path.stem for path in tmp_path.glob("*.mmd")} == set(book.flows)


@pytest.mark.skipif(shutil.which("dot") is None, reason="Graphviz is not installed (Debian: apt-get install graphviz)")
def test_with_graphviz_a_drawing_is_svg(book, tmp_path):
    _, svg = draw(book, book.flows["oops"], tmp_path)
    words = " ".join(ElementTree.parse(svg).getroot().itertext())
    assert "newbag" in words
    assert "back to where it was" in words
