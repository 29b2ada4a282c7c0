"""The papers of an export: the page of a site, field sheets, custody records."""

import hashlib
import re
from html.parser import HTMLParser
from pathlib import Path

from guide.field.tags import block
from tests.desk.exporting.folder import TAGS, export, pages
from tests.desk.lab_world import World, make_world


class Tags(HTMLParser):
    """The tags of a page with their attributes, and its text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.style = ""
        self.inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.inside = tag

    def handle_data(self, data: str) -> None:
        if self.inside == "style":
            self.style += data
            self.inside = ""


def test_the_page_of_a_site_loads_nothing_and_its_policy_fits_its_style(world: World) -> None:
    import base64

    text = (export(world, "--all") / "summary_amberwell.html").read_text("utf-8")
    page = Tags()
    page.feed(text)
    names = {tag for tag, _ in page.tags}
    assert not names & {"script", "link", "img", "iframe", "object", "form", "base"}
    assert not {name for _, attrs in page.tags for name in attrs} & {"src", "href", "style", "onload", "onclick"}
    assert "url(" not in text
    digest = base64.b64encode(hashlib.sha256(page.style.encode()).digest()).decode()
    policy = next(attrs["content"] for tag, attrs in page.tags if tag == "meta" and "http-equiv" in attrs)
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    assert names >= {"svg", "circle", "path"}


def test_names_are_escaped_and_make_safe_file_names(tmp_path: Path) -> None:
    site = {"code": "../<x>", "name": "<script>alert(1)</script>&"}
    world = make_world(tmp_path, sites=[site])
    world.visit("AAAA2222", "../<x>", [{"tag": TAGS[0]}])
    folder = export(world, "--all")
    assert (folder / "summary_x.html").exists()
    text = (folder / "summary_x.html").read_text("utf-8")
    assert "<script" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;&amp;" in text
    assert [path.name for path in tmp_path.iterdir() if not path.name.startswith(("out", "record.db"))] == []


def test_the_page_tells_position_tally_findings_and_timeline(world: World) -> None:
    text = (export(world, "--all") / "summary_amberwell.html").read_text("utf-8")
    plain = re.sub(r"<[^>]+>", " ", text)
    for words in (
        "53.41000 N, 8.24000 W", "Gomphidae (clubtail)", "is flagged: odd length mm", "Fix: ", "pair A",
        "mark at the close", "slip: glove, renewed", "shipped",
    ):  # fmt: skip
        assert words in plain


def test_the_field_sheet_has_each_larva_its_slip_lines_to_sign_and_the_hash(world: World) -> None:
    (page,) = pages(export(world, "--all") / "field_sheet_AAAA2222.pdf")
    (head,) = world.rows("SELECT hash FROM log WHERE stream = ? ORDER BY id DESC LIMIT 1", world.visits["AAAA2222"])[0]
    for words in (
        *TAGS[:5], "26", "Gomphidae (clubtail)", "VOID: damselfly", "odd length mm", "glove", "renewed", "signature",
        head, "Bleach from gear burns", "trained people decide", "Mark texted at the close",
    ):  # fmt: skip
        assert words in page


def test_a_shipments_custody_record_has_what_is_packed_and_hand_overs(world: World, tmp_path: Path) -> None:
    (page,) = pages(export(world, "--all") / "custody_S1.pdf")
    for words in (
        "Shipment S1", *TAGS[:4], "Bittern Lab", "AB 12", "UN 1845, 18 kg net", "the carrier to the lab",
        "taken by: name, signature", "Thick gloves: it burns",
    ):  # fmt: skip
        assert words in page
    assert TAGS[4] not in page
    assert "not in the record" in page
    assert world.desk("fix", "AAAA2222", "frozen", "2026-10-23 18:30", "--reason", "phone died") == 0
    assert world.desk("ship", "sheet", "S1", "--to", str(tmp_path / "s1.pdf")) == 0
    assert "23 Oct 18:30" in pages(tmp_path / "s1.pdf")[0]
    assert f"at {world.rows('SELECT zone FROM site')[0][0]}" in pages(tmp_path / "s1.pdf")[0]
    assert "Bittern Lab, Weir House, 2 Teal Street, Tarrow Bridge" in pages(tmp_path / "s1.pdf")[0]
    assert "Shipment S1" in pages(tmp_path / "s1.pdf")[0]


def test_a_long_visit_runs_over_pages_with_its_head_on_each(tmp_path: Path) -> None:
    world = make_world(tmp_path, tags={"first": 140, "count": 200, "width": 5})
    world.visit("AAAA2222", "amberwell", [{"tag": tag} for tag in block(140, 120, 5)])
    sheet = pages(export(world, "--all") / "field_sheet_AAAA2222.pdf")
    assert len(sheet) >= 3
    for number, page in enumerate(sheet, 1):
        assert "Field sheet" in page
        assert f"page {number} of {len(sheet)}" in page


def test_tables_alone_are_without_papers(world: World) -> None:
    names = {path.name for path in export(world, "--all", "--tables").iterdir()}
    assert names == {"samples.csv", "visits.csv", "events.csv", "shipments.csv", "log.jsonl", "datapackage.json"}
