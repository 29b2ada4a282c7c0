"""``desk sites`` and ``desk groups``: lists are loaded whole or not at all, with every row that is wrong named."""

import re
from itertools import combinations

import pytest

from guide.record.store import Store
from tests.desk.set_up_world import REAL, texting
from tests.desk.test_set_up_programme import first_text

SITES = """code,name,words,flows,lat,lon,permit,take_limit
teal,Teal Mere,teal;mere,no,53.40,-8.20,TB-7,8
wren,Wren Beck,beck,yes,,,,
"""
GROUPS = "code,name,word,site,people\nG1,The Early Herons,,quill,6\nG2,Basin School,basin owl,,14\n"


def test_a_loaded_site_is_an_answer_for_new_visits(circle):
    circle.said("sites", circle.file("sites.csv", SITES))
    sites = {site["code"]: site for site in circle.told("sites")}
    assert list(sites) == ["amberwell", "quill", "harrow", "sallow", "teal", "wren"]
    assert (sites["teal"]["take_limit"], sites["teal"]["lat"], sites["wren"]["water"]) == (8, 53.4, "moves")
    assert "or name" in first_text(circle, 1)
    settings = circle.told("programme")["sites"][-1]
    assert (settings["zone"], settings["words"]) == ("Europe/Dublin", ["beck"])
    circle.whole()


def test_a_later_list_changes_its_own_sites_and_a_new_file_keeps_them(circle):
    circle.said("sites", circle.file("sites.csv", SITES))
    circle.said("sites", circle.file("more.csv", "code,name\nteal,Teal Water\n"))
    circle.said("programme", circle.file("b.toml", REAL.replace("target = 12 ", "target = 9 ")))
    told = circle.told("programme")
    assert told["target"] == 9
    assert [site["name"] for site in told["sites"]][-2:] == ["Wren Beck", "Teal Water"]


COMMANDS = {
    "load": ("sites", "teal.csv"),
    "remove": ("sites", "--remove", "wren"),
    "programme": ("programme", "b.toml"),
}


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
def test_what_another_command_loads_in_between_is_kept(circle, monkeypatch, command):
    head, teal, wren = SITES.splitlines()
    files = {"teal.csv": circle.file("teal.csv", f"{head}\n{teal}\n"), "b.toml": circle.file("b.toml", REAL)}
    circle.said("sites", circle.file("wren.csv", f"{head}\n{wren}\n"))
    between = circle.file("between.csv", "code,name\nkite,Kite Pool\n")
    begin = Store.transaction

    def others_first(store):
        monkeypatch.undo()
        circle.said("sites", between)
        return begin(store)

    monkeypatch.setattr(Store, "transaction", others_first)
    circle.said(*(files.get(word, word) for word in command))
    assert "kite" in [site["code"] for site in circle.told("sites")]


def test_every_row_that_is_wrong_is_named_and_none_is_loaded(circle):
    rows = [
        "code,name,words,flows,lat,zone,disinfectant,take_limit",
        "teal,Teal Mere,,maybe,530,Mars,soap,-1",
        "good,Good Pond,,no,,,,",
        "stop,The Very Long Name Of A Pond,,no,,,,",
        "7,Fen \N{SNOWMAN},next,,,,,",
        "good,Quill Brook,pond,,,,,",
        ",,where,,,,,",
    ]
    error = circle.refused("sites", circle.file("bad.csv", "\n".join(rows)))
    assert "nothing was loaded" in error
    for found in (
        "row 2: flows 'maybe'",
        "row 2: lat '530'",
        "row 2: take_limit '-1'",
        "row 2: disinfectant 'soap'",
        "row 2: zone 'Mars'",
        "row 4: 'stop' is a carrier's word",
        "row 4: name 'The Very Long Name Of A Pond' is longer than 20",
        "row 5: code '7'",
        "row 5: name 'Fen \N{SNOWMAN}' has",
        "row 7: name is empty",
        "row 7: 'where' is a word that works anywhere",
    ):
        assert found in error
    assert "row 3" not in error


def test_a_word_that_already_means_a_site_is_refused(circle):
    error = circle.refused(
        "sites", circle.file("bad.csv", "code,name,words\nnew,New Fen,pond\nnew,Old Fen,\nharrow,X,\n")
    )
    assert "row 2: 'pond' already means Amberwell Pond, which the programme has" in error
    assert "row 3: 'new' already means New Fen, row 2" in error
    assert "row 4: 'harrow' already means Long Harrow Lake" in error


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (b"code,nmae\nteal,X\n", "there is no column 'nmae', did you mean name?"),
        (b"code\nteal\n", "the column 'name' is missing"),
        (b"code,name,code\nteal,X,Y\n", "the column 'code' stands there twice"),
        (b"code,name\n", "there is no row below the head"),
        (b"", "the column 'code' is missing"),
        (b"code,name\nteal,X,Y\n", "row 2: has 3 cells, the head has 2 columns"),
        (b'code,name\nteal,"X\n', "line 2: unexpected end of data"),
        ("code,name\nteal,M\xe9re\n".encode("latin-1"), "bad.csv:2: a letter is not UTF-8 (it may be Latin-1)"),
        ("code,name\nteal,Mere\n".encode("utf-16"), "is not UTF-8 text"),
        (b"code,name\nteal,\0\n", "is not UTF-8 text"),
    ],
)
def test_a_table_of_the_wrong_shape_is_one_clear_sentence(circle, data, error):
    assert error in circle.refused("sites", circle.file("bad.csv", data))


@pytest.mark.parametrize(
    "data", ["\ufeff" + SITES, SITES.replace("\n", "\r\n"), SITES.replace(";", "|").replace(",", ";")]
)
def test_a_spreadsheets_ways_to_write_a_list_are_read(circle, data):
    circle.said("sites", circle.file("sites.csv", data))
    assert [site["name"] for site in circle.told("sites")][4:] == ["Teal Mere", "Wren Beck"]
    assert circle.told("programme")["sites"][4]["words"] == ["teal", "mere"]


def test_a_group_gets_a_word_that_its_phones_join_with_and_keeps_it(circle):
    circle.said("groups", circle.file("groups.csv", GROUPS))
    first = {group["code"]: group for group in circle.told("groups")}
    assert re.fullmatch(r"[A-Z]{4,6}[2-9]{3}", first["G1"]["word"])
    assert (first["G2"]["word"], first["G2"]["people"], first["G1"]["site"]) == ("BASINOWL", 14, "quill")
    circle.said("groups", circle.file("again.csv", GROUPS.replace("basin owl", "").replace("Herons", "Owls")))
    again = {group["code"]: group for group in circle.told("groups")}
    assert [again[code]["word"] for code in first] == [group["word"] for group in first.values()]
    assert again["G1"]["name"] == "The Early Owls"


def test_no_digit_misheard_leads_to_another_group(circle):
    rows = "".join(f"G{n},Group {n}\n" for n in range(60))
    circle.said("groups", circle.file("groups.csv", f"code,name\n{rows}"))
    words = [group["word"] for group in circle.told("groups")]
    assert len(set(words)) == 60
    for one, other in combinations(words, 2):
        assert len(one) != len(other) or sum(a != b for a, b in zip(one, other, strict=True)) > 1


def test_a_site_that_was_never_used_is_taken_off_the_list_again(circle):
    circle.said("sites", circle.file("sites.csv", "code,name\nreedmeer,Reedmeer\nreed,Reedmere\n"))
    said = circle.said("sites", "--remove", "ReedMeer")
    assert "Reedmeer" not in said
    assert "Reedmere" in said
    assert [site["code"] for site in circle.told("programme")["sites"]][4:] == ["reed"]
    assert circle.rows("SELECT count(*) FROM site WHERE code = 'reedmeer'") == [(0,)]
    circle.whole()


def test_a_site_that_something_has_to_do_with_stays(circle):
    circle.said("sites", circle.file("sites.csv", "code,name\nreed,Reedmere\nbog,Black Bog\nfar,Far Tarn\n"))
    circle.said("tags", "make", "2", "--site", "reed")
    circle.said("groups", circle.file("groups.csv", "code,name,site\nG1,Herons,bog\n"))
    assert "site reed can't be removed: 2 tags are given to it" in circle.refused("sites", "--remove", "reed")
    assert "site bog can't be removed: group G1 begins there" in circle.refused("sites", "--remove", "bog")
    pond = texting(circle)
    pond.text("hi")
    pond.text("far")
    (code,) = pond.rows("SELECT code8 FROM visit")[0]
    pond.db.close()
    assert f"site far can't be removed: visit {code} was told as at it" in circle.refused("sites", "--remove", "far")
    assert "stands in the programme's own file" in circle.refused("sites", "--remove", "quill")
    assert "there is no site 'pool'" in circle.refused("sites", "--remove", "pool")
    file = circle.file("more.csv", "code,name\n")
    assert "--remove CODE takes no file" in circle.refused("sites", file, "--remove", "bog")


def test_a_site_that_left_the_programmes_file_can_be_removed(circle):
    own = circle.file("own.toml", REAL + '\n[[sites]]\ncode = "bogg"\nname = "Black Bogg"\n')
    circle.said("programme", own)
    circle.said("programme", circle.file("again.toml", REAL))
    assert circle.rows("SELECT count(*) FROM site WHERE code = 'bogg'") == [(1,)]
    circle.said("sites", "--remove", "bogg")
    assert circle.rows("SELECT count(*) FROM site WHERE code = 'bogg'") == [(0,)]


def test_a_group_that_was_never_out_is_taken_off_the_list_again(circle):
    circle.said("groups", circle.file("groups.csv", GROUPS))
    assert "Basin School" not in circle.said("groups", "--remove", "g2")
    assert [group["code"] for group in circle.told("groups")] == ["G1"]
    pond = texting(circle)
    pond.text(f"join {circle.told('groups')[0]['word']}")
    (code,) = pond.rows("SELECT code8 FROM visit")[0]
    pond.db.close()
    refused = circle.refused("groups", "--remove", "G1")
    assert refused.startswith(f"group G1 can't be removed: visit {code} is one of its 1.")
    assert "there is no group 'G9'" in circle.refused("groups", "--remove", "G9")
    circle.whole()


def test_a_groups_word_is_in_no_log(circle):
    circle.said("groups", circle.file("groups.csv", GROUPS))
    assert "basinowl" not in str(circle.rows("SELECT data FROM log")).casefold()
    circle.whole()


def test_groups_that_clash_are_named_by_row(circle):
    circle.said("groups", circle.file("groups.csv", GROUPS))
    rows = [
        "code,name,word,site,people",
        "G3,A,basinowl,,",
        "G4,B,leader stop,nowhere,0",
        "G5,C,newt9,,",
        "G5,D,,,",
        "G6,E,newt 9,,",
        "g1,F,,,",
        "G 7,,42,,",
    ]
    error = circle.refused("groups", circle.file("bad.csv", "\n".join(rows)))
    for found in (
        "row 2: the word 'basinowl' is that of group G2",
        "row 3: word 'leader stop' is a carrier's word",
        "row 3: site 'nowhere' is none of the programme's",
        "row 3: people '0' must be a number",
        "row 5: group 'G5' stands in row 4 already",
        "row 6: the word 'newt9' is that of row 4",
        "row 7: group 'g1' is written 'G1' in the record",
        "row 8: code 'G 7'",
        "row 8: name is empty",
        "row 8: word '42' must be",
    ):
        assert found in error, error


def test_lists_are_shown_when_no_file_is_given_also_empty_ones(circle):
    assert "There are no groups yet" in circle.said("groups")
    assert circle.told("groups") == []
    assert circle.said("sites").startswith("code ")


def test_what_a_later_list_has_no_column_for_stays_and_an_empty_cell_takes_it_away(circle):
    circle.said("sites", circle.file("sites.csv", SITES))
    circle.said("sites", circle.file("names.csv", "code,name\nteal,Teal Water\n"))
    teal = {site["code"]: site for site in circle.told("programme")["sites"]}["teal"]
    assert (teal["name"], teal["permit"], teal["lat"], teal["take_limit"]) == ("Teal Water", "TB-7", 53.4, 8)
    circle.said("sites", circle.file("cells.csv", "code,name,permit\nteal,Teal Water,\n"))
    teal = {site["code"]: site for site in circle.told("programme")["sites"]}["teal"]
    assert (teal["permit"], teal["lat"]) == ("", 53.4)

    circle.said("groups", circle.file("groups.csv", GROUPS))
    circle.said("groups", circle.file("names.csv", "code,name\nG1,Early Herons\n"))
    herons = {group["code"]: group for group in circle.told("groups")}["G1"]
    assert (herons["name"], herons["site"], herons["people"]) == ("Early Herons", "quill", 6)
