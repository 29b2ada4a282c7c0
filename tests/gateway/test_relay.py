"""A number that anybody can text: who may talk, what coordinators hear and answer, and what carriers' words do."""

import itertools
from datetime import timedelta
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guide.gateway.door import Door, DoorRules
from guide.gateway.exchange import TextIn
from guide.gateway.relay import LONGEST_WORDS, passed_on, to_of
from guide.papers.digest import write
from guide.papers.visit_digest import visit_digest
from guide.talk.blanks import REGISTRY
from guide.talk.sms import segments
from tests.conftest import Field

WREN, TERN = "+447700900501", "+447700900502"
PAIR, SECOND, STRANGER = "+447700900503", "+447700900504", "+447700900505"
WORD = "lantern7"
NUMBERS = itertools.count()


class Hall:
    """A record behind a door, with two coordinators and two groups; hears what each phone gets."""

    def __init__(self, pond: Field) -> None:
        self.pond = pond
        pond.exchange.door = Door(DoorRules(texts_a_minute=600))
        for number, name in ((WREN, "Wren"), (TERN, "Tern")):
            with pond.exchange.store.transaction():
                phone = pond.exchange.store.phone(number)
            pond.db.execute(
                "INSERT INTO coordinator (programme, name, phone) VALUES ('tarrow', ?, ?)", (name, phone.id)
            )
        for code, name, word in (("north", "North", WORD), ("south", "South", "kettle8")):
            row = ("tarrow", code, name, word)
            pond.db.execute("INSERT INTO field_group (programme, code, name, join_word) VALUES (?, ?, ?, ?)", row)

    def text(self, words: str, number: str = PAIR, minutes: float = 1) -> dict[str, list[str]]:
        """One text; returns what each phone got for it, its own and others'."""
        before = {one: len(texts) for one, texts in self.pond.last.items()}
        self.pond.text(words, number, minutes)
        return {one: [out.text for out in outs[before.get(one, 0) :]] for one, outs in self.pond.last.items()}

    def join(self, number: str = PAIR, word: str = WORD) -> list[str]:
        return self.text(f"JOIN {word}", number)[number]

    def until(self, step: str, number: str = PAIR) -> None:
        self.pond.until(step, number)

    def rows(self, sql: str, *values: object) -> list:
        return self.pond.rows(sql, *values)


@pytest.fixture
def hall(pond):
    one = Hall(pond)
    yield one
    pond.whole()


# Who may talk


def test_an_unknown_number_is_told_how_to_join_once_a_day(hall):
    told = hall.text("hello", STRANGER)[STRANGER]
    assert len(told) == 1
    assert "JOIN" in told[0]
    assert segments(told[0]) == 1
    assert hall.text("hello?", STRANGER)[STRANGER] == []
    assert hall.text("JOIN heron99", STRANGER, minutes=600)[STRANGER] == []
    assert hall.text("hello", STRANGER, minutes=60 * 14)[STRANGER] == told
    assert hall.rows("SELECT count(*) FROM visit") == [(0,)]


def test_join_with_a_groups_word_begins_its_visit_and_greets_once(hall):
    first = hall.join()
    assert first[0].startswith("Texts by Tarrow Basin Lakes Circle")
    assert "STOP" in first[0]
    assert hall.rows("SELECT group_code FROM visit") == [("north",)]
    assert not any("STOP ends them" in text for text in hall.text("1")[PAIR])
    hall.text(f"JOIN {WORD}", PAIR)
    assert sum("Texts by Tarrow" in out.text for out in hall.pond.last[PAIR]) == 1


def test_a_groups_visit_begins_at_its_own_water_and_another_can_be_named(hall):
    hall.rows("UPDATE field_group SET site = 'quill' WHERE code = 'north'")
    said = hall.join()
    assert "Practice, nothing counts. Your group's water: Quill Brook. Another one today? BACK" in said
    assert said[-1].startswith("BOTH: nets, waders, trays")
    assert hall.rows("SELECT site FROM visit") == [("quill",)]
    hall.text("back")
    hall.text("Amberwell")
    assert hall.rows("SELECT site FROM visit") == [("amberwell",)]
    assert hall.pond.step(PAIR) == "arrive.kit"


@pytest.mark.parametrize(
    ("words", "first", "site"),
    [("NEW", "arrive.kit", "quill"), ("amberwell", "arrive.kit", "amberwell"), ("plan", "plan.site", None)],
)
def test_a_groups_next_visit_is_at_the_water_that_the_pair_texts_else_at_the_groups(hall, words, first, site):
    hall.rows("UPDATE field_group SET site = 'quill' WHERE code = 'north'")
    hall.join()
    hall.until("close.end")
    hall.text(words)
    assert hall.rows("SELECT site FROM visit WHERE group_code = 'north' ORDER BY id DESC LIMIT 1") == [(site,)]
    assert hall.pond.step(PAIR) == first


def test_practice_at_a_groups_water_is_said_in_the_words_of_the_talk(hall, monkeypatch):
    """One place says them."""
    words = REGISTRY.blanks["practice"]._replace(fill=lambda turn: "Nur zur Probe. ")
    monkeypatch.setitem(REGISTRY.blanks, "practice", words)
    hall.rows("UPDATE field_group SET site = 'quill' WHERE code = 'north'")
    assert any(said.startswith("Nur zur Probe. Your group's water: Quill Brook") for said in hall.join())


def test_a_groups_water_that_the_programme_has_no_more_is_asked_for(hall):
    hall.rows("UPDATE field_group SET site = 'gone' WHERE code = 'north'")
    hall.join()
    assert hall.pond.step(PAIR) == "arrive.site"


def test_join_with_a_groups_word_joins_its_open_visit(hall):
    hall.join()
    hall.until("larva.look")
    hall.join(SECOND)
    assert hall.rows("SELECT count(*) FROM visit") == [(1,)]
    assert hall.rows("SELECT letter FROM seat ORDER BY id") == [("A",), ("B",)]
    assert hall.join(SECOND)[0].startswith("You hold this talk already")


def test_another_groups_word_begins_another_visit(hall):
    hall.join()
    hall.join(SECOND, "KETTLE8")
    assert hall.rows("SELECT group_code FROM visit ORDER BY id") == [("north",), ("south",)]


def test_a_groups_visit_of_yesterday_is_not_joined(hall):
    hall.join()
    hall.pond.now += timedelta(hours=20)
    hall.join(SECOND)
    assert hall.rows("SELECT count(*) FROM visit") == [(2,)]


def test_help_answers_anybody_and_a_flood_of_it_is_not_answered_without_end(hall):
    hall.pond.exchange.door = Door(DoorRules(texts_a_minute=10))
    answers = [hall.text(f"HELP{'!' * n}", STRANGER, minutes=0)[STRANGER] for n in range(50)]
    assert answers[0][0].startswith("Tarrow Basin Lakes Circle")
    assert sum(map(len, answers)) <= 10


def test_danger_is_heard_however_fast_a_pair_texts(hall):
    hall.join()
    hall.until("larva.look")
    hall.pond.exchange.door = Door(DoorRules(texts_a_minute=5))
    for number in range(30):
        hall.text(f"what {number}", minutes=0)
    heard = hall.text("DANGER", minutes=0)
    assert heard[PAIR][0].startswith("ALL: out of the water now")
    assert heard[WREN]


def test_a_flood_is_kept_told_once_and_not_worked(hall):
    hall.join()
    hall.pond.exchange.door = Door(DoorRules(texts_a_minute=5))
    before = hall.rows("SELECT count(*) FROM log")
    heard = [text for n in range(40) for text in hall.text(f"zzz{n}", minutes=0)[PAIR]]
    assert sum(text.startswith("Too many texts at once") for text in heard) == 1
    assert len(heard) <= 7
    assert hall.rows("SELECT count(*) FROM turn WHERE raw LIKE 'zzz%'") == [(40,)]
    assert hall.rows("SELECT count(*) FROM log") == before


def test_the_same_words_without_an_id_within_three_seconds_are_one_text(hall):
    hall.join()
    hall.text("1")
    hall.text("y", minutes=0)
    assert hall.text("y", minutes=0.04)[PAIR] == hall.text("y", minutes=0)[PAIR]
    assert hall.rows("SELECT count(*) FROM turn WHERE raw = 'y'") == [(1,)]
    hall.text("y", minutes=0.1)
    assert hall.rows("SELECT count(*) FROM turn WHERE raw = 'y'") == [(2,)]


# What coordinators hear and answer


def test_desk_words_reach_every_coordinator_with_who_and_where(hall):
    hall.join()
    hall.until("larva.look")
    heard = hall.text("DESK we are out of tags")
    assert heard[WREN] == heard[TERN] == [heard[WREN][0]]
    for part in ("pair A", "Amberwell Pond", "larva", "TO ", "we are out of tags"):
        assert part in heard[WREN][0]
    assert heard[WREN][0].startswith("(Practice)")
    assert any("Kept for the coordinator" in text for text in heard[PAIR])


def test_a_coordinators_answer_reaches_the_seat_by_its_word(hall):
    hall.join()
    hall.until("larva.look")
    asked = hall.text("DESK which freezer?")[WREN][0]
    word = asked.partition("TO ")[2].split()[0]
    heard = hall.text(f"to {word}: the one in the barn", TERN)
    assert heard[PAIR] == ["From the coordinator: the one in the barn"]
    assert heard[TERN] == ["Sent to pair A, Amberwell Pond."]
    assert heard[WREN] == []
    (entry,) = hall.rows("SELECT words.text FROM log JOIN words ON entry = log.id WHERE kind = 'desk_answer'")
    assert entry == ("the one in the barn",)
    assert hall.pond.step(PAIR) == "larva.look"


@pytest.mark.parametrize("called", ["amberwell", "north", WORD, "NORTH"])
def test_words_to_a_site_or_group_reach_each_of_its_seats(hall, called):
    hall.join()
    hall.until("larva.look")
    hall.join(SECOND)
    hall.join(STRANGER, "kettle8")
    heard = hall.text(f"TO {called} come up for tea", WREN)
    assert heard[PAIR] == heard[SECOND] == ["From the coordinator: come up for tea"]
    assert heard[STRANGER] == []
    assert "pair A" in heard[WREN][0]
    assert "pair B" in heard[WREN][0]


def test_words_to_nobody_are_said_with_who_is_out(hall):
    hall.join()
    hall.until("larva.look")
    (answer,) = hall.text("TO herne stay out", WREN)[WREN]
    assert answer.startswith("Nobody is out under 'herne'")
    assert "pair A, Amberwell Pond" in answer
    (how,) = hall.text("good morning", WREN)[WREN]
    assert how.startswith("TO, their word, your words")


def test_words_to_a_phone_that_takes_no_texts_are_said_not_to_have_gone(hall):
    hall.join()
    hall.until("larva.look")
    hall.text("STOP")
    heard = hall.text(f"TO {WORD} come home", WREN)
    assert heard[PAIR] == []
    assert heard[WREN][0].startswith("Not sent to pair A")


def test_danger_goes_to_all_coordinators_at_once_and_the_counts_follow(hall):
    hall.join()
    hall.until("larva.look")
    heard = hall.text("DANGER")
    assert "DANGER called: pair A, Amberwell Pond" in heard[WREN][0]
    assert heard[WREN] == heard[TERN]
    heard = hall.text("2")
    assert "2 of 3 people counted out of the water" in heard[TERN][0]
    hall.text("3")
    heard = hall.text("thunder")
    assert "it is " in heard[WREN][0]


def test_a_coordinator_that_stopped_hears_nothing(hall):
    hall.text("STOP", WREN)
    hall.join()
    hall.until("larva.look")
    heard = hall.text("DESK hello?")
    assert heard.get(WREN, []) == []
    assert heard[TERN]


def test_a_coordinator_may_hold_a_seat_and_still_answer(hall):
    hall.join()
    hall.until("larva.look")
    hall.join(WREN)
    assert hall.text(f"TO {WORD} all well?", WREN)[PAIR] == ["From the coordinator: all well?"]
    assert hall.text("where", WREN)[WREN][0].startswith("Amberwell Pond, pair B")


def test_no_pair_can_send_words_as_a_coordinator(hall):
    hall.join()
    hall.until("larva.look")
    hall.join(SECOND)
    heard = hall.text(f"TO {WORD} go home all of you", SECOND)
    assert heard[PAIR] == []


def test_a_check_in_alarm_reaches_the_coordinators(hall):
    hall.join()
    hall.until("larva.look")
    before = len(hall.pond.last.get(WREN, []))
    hall.pond.wait(60)
    news = [out.text for out in hall.pond.last[WREN][before:]]
    assert any("ALARM: no answer from pair A, Amberwell Pond" in text for text in news)


# Carriers' words


def test_stop_is_confirmed_once_then_silence_and_start_goes_on(hall):
    hall.join()
    hall.until("larva.look")
    hall.join(SECOND)
    heard = hall.text("Stop.")
    assert heard[PAIR][0].startswith(("You get no more texts", "Stopped: I text no more"))
    assert len(heard[PAIR]) == 1
    assert "takes no more texts" in heard[SECOND][0]
    assert "STOP" in heard[WREN][0]
    for words in ("STOP", "y", "DANGER", "HELP", "JOIN heron1"):
        assert hall.text(words)[PAIR] == []
    heard = hall.text("START")
    assert heard[PAIR][0].startswith("You get texts again")
    assert "rinse gloves and spoon" in heard[PAIR][-1]


def test_stop_parks_the_timers_that_ask_the_seat_until_start(hall):
    hall.join()
    hall.until("net.spot")
    assert "spot" in [kind for kind, _ in hall.pond.exchange.store.running_timers(PAIR)]
    hall.text("STOP")
    hall.pond.wait(180)
    assert "spot" in [kind for kind, _ in hall.pond.exchange.store.running_timers(PAIR)]
    assert hall.pond.last[PAIR][-1].text.startswith(("You get no more texts", "Stopped: I text no more"))
    hall.text("START", minutes=0)
    hall.pond.wait(1)
    assert "spot" not in [kind for kind, _ in hall.pond.exchange.store.running_timers(PAIR)]


def test_stop_never_parks_the_watch_over_people_in_the_water(hall):
    hall.join()
    hall.until("larva.look")
    hall.text("STOP")
    hall.pond.wait(180)
    assert any("ALARM" in out.text for out in hall.pond.last[WREN])


def test_a_timer_that_fires_late_says_when_it_was_due(hall):
    hall.join()
    hall.until("larva.look")
    due = hall.pond.exchange.next_due()
    late = due + timedelta(hours=1)
    (text, *_) = hall.pond.exchange.fire_next(late, given_time=False)
    local = due + timedelta(hours=1)  # the site's summer time
    assert text.text.startswith(f"(Late, it was due at {local:%H:%M}.)")


def test_a_timer_in_time_says_nothing_of_lateness(hall):
    hall.join()
    hall.until("larva.look")
    due = hall.pond.exchange.next_due()
    (text, *_) = hall.pond.exchange.fire_next(due + timedelta(seconds=5), given_time=False)
    assert "Late" not in text.text


# Digests


@pytest.fixture
def far(open_field):
    """A record far from any signal."""
    one = open_field("far.db")
    one.exchange.random = Random(99)
    return one


def test_a_digests_texts_are_read_in_from_a_phone_of_the_visit_but_not_from_a_stranger(far, hall):
    far.until("larva.look")
    far.converse("y", "ok", "27", "darner", "01428", "ok")
    texts = write(visit_digest(far.db))
    hall.join()
    answers = [hall.text(text.lower())[PAIR] for text in texts]
    assert "is whole: 1 larvae kept" in answers[-1][0]
    assert hall.rows("SELECT count(*) FROM digest_text") == [(len(texts),)]
    hall.text(texts[0], STRANGER)
    assert hall.rows("SELECT count(*) FROM digest_text") == [(len(texts),)]


def test_a_slip_of_the_thumb_in_a_digest_is_noticed(far, hall):
    far.until("larva.look")
    (text, *_) = write(visit_digest(far.db))
    hall.join()
    wrong = text[:-3] + ("A" if text[-3] != "A" else "B") + text[-2:]
    (answer,) = hall.text(wrong)[PAIR]
    assert answer.startswith("That digest text")
    assert hall.rows("SELECT count(*) FROM digest_text") == [(0,)]


# Words are data


def test_to_is_read_as_people_type_it():
    assert to_of("To: HERON42, bring the blank") == ("heron42", "bring the blank")
    assert to_of("to heron42") == ("heron42", "")
    assert to_of("tomorrow") is None


@given(st.text(max_size=600))
def test_words_that_are_passed_on_are_one_safe_line(words):
    line = passed_on(words)
    assert len(line) <= LONGEST_WORDS
    assert line.isprintable() or all(char.isprintable() or char.isspace() for char in line)
    assert "\n" not in line
    assert "\x1b" not in line


WORDS = st.one_of(
    st.text(max_size=60),
    st.builds("TO {} {}".format, st.sampled_from(["amberwell", WORD, "{x}", "%s"]), st.text(max_size=20)),
    st.sampled_from(["STOP", "START", "HELP", "DANGER", "DESK {programme}", "JOIN " + WORD, "JOIN", "2", "ok"]),
)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.tuples(st.sampled_from([WREN, PAIR, STRANGER]), WORDS), max_size=8))
def test_any_texts_from_anybody_leave_a_whole_record(open_field, texts):
    one = Hall(open_field(f"any{next(NUMBERS)}.db"))
    one.join()
    for number, words in texts:
        one.pond.now += timedelta(minutes=1)
        safe = words.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
        one.pond.exchange.receive(TextIn(number, safe), one.pond.now)
    one.pond.whole()
