"""The board: who is out, the overdue first; words go from it to a phone. Typed through a pipe, drawn for 80x24."""

import asyncio
import json
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pyte
import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output.vt100 import Vt100_Output
from prompt_toolkit.utils import get_cwidth

from guide.cli import main
from guide.desk.board import (
    ago,
    detail_lines,
    fit,
    head_line,
    moment,
    pad,
    question_line,
    question_lines,
    read_board,
    seat_line,
    wrapped,
)
from guide.desk.board_screen import BoardScreen
from guide.desk.close import close_visit
from guide.desk.questions import waiting_questions
from guide.desk.send import say_to
from guide.desk.show_visit import talk_rows
from guide.desk.visits import VisitError, load_visit
from guide.drill.facts import last_words, texts_of
from guide.gateway.outbox import Outbox


@pytest.fixture
def out(pond):
    """Three pairs of three visits: one at the water, one arriving, one that asked the desk."""
    pond.until("larva.measure", "+101")
    pond.text("amberwell", "+102")
    pond.until("net.spot", "+103")
    pond.text("desk what is this snail?", "+103")
    return pond


def board(field):
    return read_board(field.exchange.store, field.now)


def code(field, number):
    sql = "SELECT code8 FROM phone JOIN seat ON seat.id = current_seat JOIN visit ON visit.uid = visit WHERE number = ?"
    return field.rows(sql, number)[0][0]


def quiet_board(field, minutes):
    """The board after a silence in which nothing ran that fires timers."""
    return read_board(field.exchange.store, field.now + timedelta(minutes=minutes))


def test_each_seat_tells_where_it_is_and_what_it_does(out):
    lines = {seat.to.split("/")[0]: seat for seat in board(out).seats}
    measuring = lines[code(out, "+101")]
    assert (measuring.where, measuring.doing, measuring.in_water, measuring.last_text) == (
        "Amberwell Pond",
        "a larva: measure",
        True,
        "OK",
    )
    assert lines[code(out, "+102")].doing == "arriving: kit"
    assert lines[code(out, "+102")].in_water is False


def test_a_check_in_that_nobody_answered_stands_first(out):
    out.text("ok", "+101", minutes=1)
    out.wait(29)
    first = board(out).seats[0]
    assert (first.to.split("/")[0], first.note) == (code(out, "+103"), "check-in asked")
    out.text("27", "+103")
    assert board(out).seats[0].to.split("/")[0] == code(out, "+101")
    out.wait(11)
    assert board(out).seats[0].note.startswith("ALARM")


def test_a_clock_that_ran_out_while_no_gateway_ran_is_seen(out):
    late = quiet_board(out, 50)
    notes = {seat.to.split("/")[0]: seat.note for seat in late.seats}
    assert notes[code(out, "+103")] == "check-in 20 min late"
    assert notes[code(out, "+102")] == ""


def test_hours_late_are_told_as_since_when(out):
    due = out.now + timedelta(minutes=30)
    notes = {seat.to.split("/")[0]: seat.note for seat in quiet_board(out, 300).seats}
    assert notes[code(out, "+103")] == f"check-in late since {moment(due)}"


def test_a_visit_that_is_silent_for_days_shouts_no_more_and_says_what_to_do(out):
    late = quiet_board(out, 32 * 24 * 60)
    assert head_line(late, 80).endswith("3 seats, 0 at the water, 0 questions, 3 silent")
    seats = {seat.to.split("/")[0]: seat for seat in late.seats}
    wading, arriving = seats[code(out, "+103")], seats[code(out, "+102")]
    assert wading.note == (
        f"silent since {moment(out.now)}: are all home? Ring them, then desk close {code(out, '+103')}"
    )
    assert ": ring them, then desk close" in arriving.note
    assert not any(seat_line(seat, late.at, 80).startswith("!") for seat in late.seats)
    close_visit(out.exchange, code(out, "+103"), "all home that day", False, late.at)
    assert code(out, "+103") not in {seat.to.split("/")[0] for seat in quiet_board(out, 32 * 24 * 60).seats}
    out.whole()


def test_a_closed_visit_whose_all_home_was_never_asked_leaves_the_board_in_time(out):
    out.until("close.end", "+102")
    closed = code(out, "+102")
    assert closed in {seat.to.split("/")[0] for seat in quiet_board(out, 24 * 60).seats}
    assert closed not in {seat.to.split("/")[0] for seat in quiet_board(out, 4 * 24 * 60).seats}


def test_a_planned_visit_is_silent_only_when_its_day_is_long_over(pond):
    pond.text("plan")
    pond.converse("amberwell", "10 July")
    pond.until("plan.ready")
    (seat,) = quiet_board(pond, 6 * 24 * 60).seats
    assert (seat.note, seat.doing) == ("for 2026-07-10", "planning: ready")
    (seat,) = quiet_board(pond, 12 * 24 * 60).seats
    assert seat.note == f"planned for 2026-07-10, nobody came: ask, then desk close {code(pond, '+100')}"
    assert seat_line(seat, pond.now, 80).endswith("  planned for 2026-07-10")


def test_what_is_looked_at_is_told_in_whole_words(out):
    out.text("desk the net has a hole, the spare is wet, may we mend it with the tape from the first aid box?", "+101")
    question = board(out).questions[-1]
    told = question_lines(question, out.now, 80)
    assert " ".join(told).endswith("may we mend it with the tape from the first aid box?")
    assert all(get_cwidth(line) <= 80 for line in told)
    (first, *_) = board(out).seats
    assert "…" not in "".join(detail_lines(first, out.now, 80))


def test_a_site_with_a_long_name_is_whole_at_80_columns(pond):
    pond.text("harrow")
    (seat,) = board(pond).seats
    assert "Long Harrow Lake" in seat_line(seat, pond.now, 80)


@pytest.mark.parametrize("columns", [20, 80])
def test_wrapped_words_lose_nothing_but_what_takes_too_many_lines(columns):
    text = "one two three four five six seven eight nine ten eleven twelve"
    assert " ".join(wrapped(text, columns, 9)) == text
    assert wrapped("x" * 100, columns)[0].endswith("…")
    assert len(wrapped(text * 20, columns)) == 4


def test_danger_stands_before_everything(out):
    out.text("danger", "+102")
    assert board(out).seats[0].doing == "DANGER: out"
    assert seat_line(board(out).seats[0], out.now, 80).startswith("!p ")


def test_somebody_who_closed_stays_until_all_are_home(out):
    out.until("close.end", "+102")
    seats = {seat.to.split("/")[0]: seat for seat in board(out).seats}
    assert seats[code(out, "+102")].note.startswith("'all home?' in")
    out.wait(121)
    assert out.step("+102") == "close.home"
    out.text("3", "+102")
    assert code(out, "+102") not in {seat.to.split("/")[0] for seat in board(out).seats}


def undelivered(field):
    """The phone that was texted last is dead: its text couldn't be delivered."""
    ((text,),) = field.rows("SELECT max(id) FROM outgoing")
    assert Outbox(field.exchange.store).report(text, False, "absent subscriber", field.now)


def test_a_report_that_a_phone_is_dead_is_no_sign_of_life(pond):
    pond.until("larva.bag")
    pond.wait(120)
    undelivered(pond)
    pond.now += timedelta(minutes=1)
    (seat,) = board(pond).seats
    assert (seat.note, seat.last_text) == ("ALARM 81 min ago", "Y")
    assert "undelivered" not in [row["text"] for row in talk_rows(pond.db, visit_of(pond))]
    here = pond.exchange.store.seat(1)
    assert {"undelivered", "OK"} & {text.words for text in texts_of(pond.exchange.store, here, 0)} == {"OK"}
    assert last_words(pond.exchange.store, here.id) == ("Y", seat.last_at)
    pond.now += timedelta(hours=47)
    assert board(pond).seats[0].note.startswith("silent since")


def test_a_closed_visit_of_which_nobody_said_that_all_are_home_stays_with_its_alarm(pond):
    pond.until("close.end")
    pond.wait(240)
    assert pond.rows("SELECT count(*) FROM timer WHERE fired_turn IS NULL AND kind LIKE 'home%'") == [(0,)]
    (seat,) = board(pond).seats
    assert seat.note.startswith("ALARM")
    pond.text("2")
    (seat,) = board(pond).seats
    assert (seat.note, seat_line(seat, pond.now, 80)[0]) == ("not all home, as told last", "!")
    assert quiet_board(pond, 49 * 60).seats == ()
    pond.text("3")
    assert board(pond).seats == ()


def visit_of(field):
    return load_visit(field.db, field.rows("SELECT uid FROM visit")[0][0])


def test_words_go_to_the_phone_and_into_the_log_and_answer_the_question(out):
    asked = waiting_questions(out.db)
    assert [(question.to, question.words) for question in asked] == [(f"{code(out, '+103')}/A", "what is this snail?")]
    sent = say_to(out.exchange, asked[0].to, "Leave it, take a photo.", out.now)
    assert sent.text.endswith("Leave it, take a photo.")
    waiting = out.rows("SELECT number, text, status FROM outgoing JOIN phone ON phone.id = phone ORDER BY outgoing.id")
    assert waiting[-1] == ("+103", sent.text, "waiting")
    assert out.rows("SELECT text FROM words ORDER BY entry DESC LIMIT 1") == [("Leave it, take a photo.",)]
    assert waiting_questions(out.db) == []
    out.whole()


def test_words_to_a_visit_reach_every_phone_of_it(out):
    ((word,),) = out.rows("SELECT word FROM visit WHERE code8 = ?", code(out, "+103"))
    out.text(f"join {word}", "+104")
    sent = say_to(out.exchange, code(out, "+103"), "Thunder is coming, come out.", out.now)
    assert [to.split("/")[1] for to in sent.reached] == ["A", "B"]


@pytest.mark.parametrize(
    ("to", "words", "said"),
    [
        ("K7Q2M3PA", "hello", "there is no visit, seat or group"),
        ("+103", "  \n ", "no words to send"),
        ("+103", "x" * 301, "301 characters, 300 at most"),
    ],
)
def test_words_that_cant_go_are_refused_and_nothing_is_written(out, to, words, said):
    before = out.rows("SELECT count(*) FROM log, turn, outgoing")
    with pytest.raises(VisitError, match=said):
        say_to(out.exchange, to if to[0] != "+" else code(out, to), words, out.now)
    assert out.rows("SELECT count(*) FROM log, turn, outgoing") == before


def test_a_phone_that_has_stopped_gets_nothing_and_the_question_still_waits(out):
    out.text("stop", "+103")
    with pytest.raises(VisitError, match="takes texts here"):
        say_to(out.exchange, code(out, "+103"), "hello", out.now)
    assert len(waiting_questions(out.db)) == 1
    assert "takes no texts (STOP)" in str(board(out).seats)


def test_control_characters_of_a_text_move_no_cursor(out):
    out.text("desk \x1b[2Jgone \x9b31m red\u202e", "+103")
    lines = [question_line(question, out.now, 80) for question in board(out).questions]
    assert lines[-1].endswith("asks: [2Jgone 31m red")
    assert all(line.isprintable() for line in lines)


def test_wide_letters_fit_the_columns():
    assert [get_cwidth(fit("池塘池塘", columns)) for columns in (3, 4, 5, 8)] == [3, 3, 5, 8]
    assert get_cwidth(pad("池塘池塘", 6)) == 6


AGES = {0: "0 s", 59: "59 s", 60: "1 min", 7199: "119 min", 7200: "2 h", 200_000: "2 d"}


@pytest.mark.parametrize(("seconds", "said"), AGES.items())
def test_how_long_ago_is_said_in_one_unit(out, seconds, said):
    assert ago(out.now, out.now + timedelta(seconds=seconds)) == said


# On a screen


class Drawn(StringIO):
    """A terminal of 80 by 24 that remembers what was drawn on it."""

    def __init__(self) -> None:
        super().__init__()
        self.screen = pyte.Screen(80, 24)
        self.stream = pyte.Stream(self.screen)

    def write(self, text: str) -> int:
        self.stream.feed(text)
        return len(text)

    @property
    def lines(self) -> list[str]:
        return [line.rstrip() for line in self.screen.display]


def on_screen(field, *steps: tuple[Any, str]) -> list[list[str]]:
    """Types each step's keys, or lets something happen, until the screen shows its words; returns what was drawn."""
    drawn, seen = Drawn(), []

    async def use(given: Any, shown: BoardScreen) -> None:
        running = asyncio.create_task(shown.app.run_async())
        for keys, words in steps:
            keys() if callable(keys) else given.send_text(keys)
            while words not in "\n".join(drawn.lines):
                await asyncio.sleep(0.01)
            seen.append(drawn.lines)
        given.send_text("\x03")
        await running

    output = Vt100_Output(drawn, lambda: Size(rows=24, columns=80), term="xterm")  # type: ignore[arg-type]
    with create_pipe_input() as given, create_app_session(input=given, output=output):
        shown = BoardScreen(field.exchange, lambda: field.now, refresh_s=0.02)
        asyncio.run(asyncio.wait_for(use(given, shown), 20))
    return seen


def test_the_screen_is_readable_at_80_by_24_without_colours(out):
    (lines,) = on_screen(out, ("", "what is this snail?"))
    assert lines[0].endswith("3 seats, 2 at the water, 1 question")
    assert f" p {code(out, '+101')}/A Amberwell Pond       0/12 IN" in "\n".join(lines)
    assert "Someone in danger: call the local emergency number." in lines[22]
    assert all(len(line) <= 80 for line in lines)


def test_a_question_is_answered_from_the_screen(out):
    down, to = "\x1b[B", f"{code(out, '+103')}/A"
    on_screen(
        out,
        (down * 5 + "\r", f"{to}>"),
        ("Take a photo.", f"{to}> Take a photo."),
        ("\r", f"sent to {to} (1 SMS each)"),
    )
    assert out.rows("SELECT text FROM outgoing ORDER BY id DESC LIMIT 1")[0][0].endswith("Take a photo.")
    assert waiting_questions(out.db) == []


def test_escape_gives_up_what_was_typed(out):
    on_screen(out, ("\r", "Enter sends"), ("half a line", "> half a line"), ("\x1b", "G write to"))
    assert out.rows("SELECT count(*) FROM log WHERE kind = 'desk_answer'") == [(0,)]


def test_words_that_cant_go_stay_in_the_line(out):
    seen = on_screen(out, ("\r", "Enter sends"), ("\r", "not sent: there are no words to send"))
    assert "Enter sends" in seen[-1][23]


def test_what_happens_meanwhile_comes_up_by_itself(out):
    on_screen(out, ("", "1 question"), (lambda: out.text("desk and another?", "+102"), "2 questions"))


def test_in_a_pipe_the_board_is_a_table(out, capsys):
    path = out.db.execute("PRAGMA database_list").fetchone()[2]
    assert main(["desk", "board", "--db", path, "--json"]) == 0
    assert {row["doing"] for row in json.loads(capsys.readouterr().out)} >= {"a larva: measure", "arriving: kit"}
    assert main(["desk", "questions", "--db", path]) == 0
    assert "what is this snail?" in capsys.readouterr().out
    assert main(["desk", "say", f"{code(out, '+103')}/a", "Leave", "it.", "--db", path]) == 0
    assert "(1 SMS each): From the coordinator: Leave it." in capsys.readouterr().out
    assert Path(path).exists()
