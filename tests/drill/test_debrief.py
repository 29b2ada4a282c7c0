"""The debrief: what went well, three habits, the moments with their words, the way so far; terminal and page."""

from html.parser import HTMLParser

import pytest

from guide.drill.debrief import HABITS, as_text, debrief
from guide.drill.page import as_page, chart
from guide.drill.score import by_round, points_of
from guide.drill.specimens import LOOKS, Specimen, drawing, words
from guide.drill.view import find_session

VOID = {"meta", "rect", "line", "br"}


class Page(HTMLParser):
    """Reads a page, noting what is open, its text, and anything that would be fetched."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.said = ""
        self.fetched: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.fetched += [value for name, value in attrs if name in ("src", "href", "srcset", "action")]
        self.fetched += [tag] if tag in ("script", "link", "iframe", "img") else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        self.said += data


def slip_with(open_drill, note: str):
    """A pair that keeps quiet about a spoon on the grass and measures wrong."""
    pair = open_drill("first_larva", "spoon", rounds=1, group="BOATHOUSE")
    pair.begin()
    for _ in range(2):
        pair.texts(note, "y", "ok")
        specimen = pair.session.specimen("A")
        pair.texts(str(specimen.length_mm + 5), specimen.family, specimen.slip, "ok")
    return pair


def test_habits_are_three_at_most_the_most_frequent_first(played, drills):
    session = played("a_day_of_slips", 0.0)
    told = debrief(session.store.db, session.view, drills)
    assert len(told.habits) == HABITS
    counts = [int(words.rsplit(": ", 1)[1].split()[0].replace("once", "1")) for words in told.habits]
    assert counts == sorted(counts, reverse=True)


def test_a_moment_has_the_words_of_both_sides_and_the_reason(open_drill, drills):
    pair = slip_with(open_drill, "NOTE fine")
    told = debrief(pair.session.store.db, pair.session.read(), drills)
    moment = told.moments[0]
    assert moment.point.what == "spoon: a harmful answer"
    assert moment.lines[0][1].startswith("PRACTICE: The spoon drops")
    assert ("pair", "y") in moment.lines
    assert moment.because.startswith("Ground is the dirtiest")
    text = as_text(told, 79)
    assert max(map(len, text.splitlines())) <= 79
    for words_ in ("What went well", "Habits to work on", "Pair A", "The way so far", "group BOATHOUSE"):
        assert words_ in text


def test_who_makes_no_slip_has_no_habit_to_work_on(played, drills):
    session = played("first_larva", 1.0)
    told = debrief(session.store.db, session.view, drills)
    assert told.habits == ()
    assert "none: nothing went wrong" in as_text(told)
    assert "Every surprise was seen" in as_text(told)


def test_a_simulated_session_says_so_on_paper_too(played, drills):
    session = played("first_larva", 0.4)
    told = debrief(session.store.db, session.view, drills)
    assert "SIMULATED: a program played this, no people did." in as_text(told)
    assert "SIMULATED: a program played this, no people did." in Page(as_page(told)).said


def test_the_page_stands_alone_and_keeps_peoples_words_as_words(open_drill, drills):
    pair = slip_with(open_drill, "NOTE <script>alert('&')</script>")
    told = debrief(pair.session.store.db, pair.session.read(), drills)
    page = as_page(told)
    read = Page(page)
    assert read.open == []
    assert read.fetched == []
    assert "<script" not in page
    assert "url(" not in page
    assert "http" not in page
    assert "The moments" in read.said


@pytest.mark.parametrize("evil", ["<script>x</script>", '"><img src=x onerror=1>', "a & b"])
def test_a_text_in_a_moment_is_escaped(open_drill, drills, evil):
    pair = open_drill("first_larva", "hair", rounds=1)
    pair.begin()
    while not pair.text("y")[-1].startswith("PRACTICE"):
        pair.text("ok")
        specimen = pair.session.specimen("A")
        pair.texts(str(specimen.length_mm), specimen.family, specimen.slip, "ok")
    pair.texts(evil, "ok")
    page = as_page(debrief(pair.session.store.db, pair.session.read(), drills))
    assert evil in Page(page).said
    assert Page(page).fetched == []


def test_the_way_of_a_group_is_its_own_sessions_and_no_simulated_ones(open_drill, book, drills):
    from guide.drill.auto import play
    from guide.drill.session import Session, Wanted

    pair = slip_with(open_drill, "NOTE fine")
    store, drill = pair.session.store, drills["first_larva"]
    for group, simulated in (("BOATHOUSE", True), ("OTHERS", False), ("BOATHOUSE", False)):
        wanted = Wanted(drill, rounds=1, seed=9, group=group, simulated=simulated)
        play(Session.begin(store, book, wanted, pair.now), 1.0, pair.now)
    told = debrief(store.db, find_session(store.db, None), drills)
    assert [step.label.split("drill ")[1] for step in told.way] == ["1 round 1", "4 round 1"]
    assert told.verdict.startswith("Getting better: ")


def test_each_round_is_told_for_each_pair(played):
    session = played("brisk_hands", 0.0)
    points = points_of(session.view)
    assert [one.of for one in by_round(session.view, points, "A")] == [one.of for one in by_round(session.view, points)]
    assert by_round(session.view, points, "B")[0].of == 0


def test_an_empty_way_is_no_chart():
    assert "No round has been played yet" in chart(())


@pytest.mark.parametrize("family", LOOKS)
@pytest.mark.parametrize("mm", [9, 42])
def test_a_drawn_specimen_is_as_long_on_its_ruler_as_it_is(family, mm):
    specimen = Specimen(mm, family, 7, "01402")
    body, marks = next(
        (line, lines[place + 1])
        for lines in [drawing(specimen).splitlines()]
        for place, line in enumerate(lines)
        if line.strip().startswith("(o") and lines[place + 1].startswith("|")
    )
    assert len(body.rstrip(".")) - (len(body) - len(body.lstrip())) == mm
    assert len(body) <= len(marks) <= 79
    assert f"head at 7, tail tip {7 + mm}," in words(specimen)
    assert str(mm) not in words(specimen).replace(f"tip {7 + mm}", "").split("feet")[0]


def test_families_look_unlike_each_other():
    assert len({look.words for look in LOOKS.values()}) == len(LOOKS)
    assert len({(look.lip, look.head) for look in LOOKS.values()}) == len(LOOKS)


def test_a_drill_left_in_the_middle_of_a_larva_is_told_about_what_was_done(open_drill, drills):
    pair = open_drill("first_larva", rounds=2)
    pair.begin()
    specimen = pair.session.specimen("A")
    pair.texts("y", "ok", str(specimen.length_mm), "unsure")
    pair.session.end(pair.now)
    told = debrief(pair.session.store.db, pair.session.read(), drills)
    assert [(point.kind, point.right) for point in told.points] == [("length", True)]
    assert told.early == "LEFT EARLY: 0 of 2 rounds were played to the end. This is about what was done."
    assert [step.label for step in told.way] == ["04 Jul drill 1 round 1, left early"]
    assert told.early in as_text(told)
    assert told.early in Page(as_page(told)).said
    pair.whole()


def test_a_drill_left_at_its_first_text_has_nothing_to_judge_and_no_praise_for_it(open_drill, drills):
    pair = open_drill("first_larva")
    pair.begin()
    pair.session.end(pair.now)
    told = debrief(pair.session.store.db, pair.session.read(), drills)
    assert told.points == ()
    assert "nothing went wrong" not in as_text(told)
    assert "none yet: nothing was there to judge" in as_text(told)


def test_a_drill_that_is_going_on_says_so_and_one_played_whole_says_nothing(open_drill, played, drills):
    pair = open_drill("first_larva")
    pair.begin()
    assert debrief(pair.session.store.db, pair.session.read(), drills).early.startswith("NOT OVER YET")
    whole = played("first_larva", 1.0)
    assert debrief(whole.store.db, whole.view, drills).early == ""


def test_a_pair_that_packs_up_has_its_round_ended_and_is_told_that_it_was_early(open_drill, drills):
    pair = open_drill("first_larva", rounds=1)
    pair.begin()
    pair.texts("pack", "3", "ok", "y", "0", "none", "none", "ok")
    assert pair.session.read().ended
    assert debrief(pair.session.store.db, pair.session.view, drills).early.startswith("LEFT EARLY: 0 of 1")
