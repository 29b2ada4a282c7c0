"""The trainer's board: readable at 80 by 24, alive while pairs text, with keys that act on one pair or on all."""

import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from guide.drill.board import Board, run_board


@pytest.fixture
def six(open_drill):
    """Six pairs with phones; two have joined."""
    pair = open_drill("a_day_of_slips", pairs=6, in_turn=False)
    for name, number in (("A", "+101"), ("B", "+102")):
        pair.name, pair.number = name, number
        pair.text(f"JOIN {pair.session.word(name)}")
    return pair


def screen(board: Board) -> list[str]:
    return [line for _, line in board.text(80)]


def test_the_board_fits_80_by_24_with_twelve_pairs(open_drill):
    pair = open_drill("a_day_of_slips", pairs=12, in_turn=False)
    board = Board(pair.session, lambda: pair.now)
    for key in ("", "s", "?", "h"):
        if key:
            board.press(key)
        lines = screen(board)
        assert len(lines) <= 24
        assert max(map(len, lines)) <= 80


def test_a_row_tells_step_last_text_slips_and_waiting(six):
    board = Board(six.session, lambda: six.now)
    six.text("y")
    board.look()
    row = next(line for line in screen(board) if line.startswith((" B", ">B")))
    assert "bagging" in row
    assert " y " in row
    assert row.rstrip().endswith("0:00")
    waiting = next(line for line in screen(board) if line.startswith(" C"))
    assert f"JOIN {six.session.word('C').upper()}" in waiting


def test_danger_stands_out_on_the_board(six):
    board = Board(six.session, lambda: six.now)
    six.text("DANGER")
    board.look()
    assert [(style, "DANGER" in line) for style, line in board.text(80) if line.startswith(" B")] == [("danger", True)]


def test_keys_choose_a_pair_throw_hint_pause_and_end_a_round(six):
    board = Board(six.session, lambda: six.now)
    for key in ("down", "s", "2"):
        board.press(key)
    thrown = six.session.read().pairs["B"].rounds[0].surprises
    assert [one.name for one in thrown] == [board.surprises()[1].name]
    assert any("?" in line and thrown[0].name in line for line in screen(board))
    board.press("h")
    for char in "Look up.":
        board.press(char)
    board.press("enter")
    assert "hint" in six.kinds()
    board.press("p")
    assert six.session.read().paused
    assert "PAUSED" in screen(board)[0]
    board.press("p")
    board.press("e")
    assert [one.ended for one in six.session.read().pairs["B"].rounds] == [True, False]
    assert board.press("x")
    assert not board.press("y")
    assert six.session.read().ended
    six.whole()


def test_other_keys_do_nothing_and_a_hint_can_be_dropped(six):
    board = Board(six.session, lambda: six.now)
    before = six.kinds()
    for key in ("z", "s", "escape", "h", "a", "backspace", "escape", "x", "n", "up", "down"):
        assert board.press(key)
    assert six.kinds() == before


def test_the_board_runs_on_a_terminal_and_leaves_the_drill_going(six):
    with create_pipe_input() as keys, create_app_session(input=keys, output=DummyOutput()):
        keys.send_text("hHi\rq")
        run_board(six.session, lambda: six.now)
    assert "hint" in six.kinds()
    assert not six.session.read().ended
