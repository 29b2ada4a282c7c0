"""The proof of the flow book: the shipped one holds, and wrong ones are caught, with the conversation that shows it."""

import subprocess
import sys

import pytest

from guide.errors import FlowError
from guide.flow.load import shipped_flows
from guide.proof.explore import broken_by
from guide.proof.key import Keys
from guide.proof.prompts import grade, readings, syllables
from guide.proof.prove import unstated_acts
from guide.proof.rules import BEGINS, Pattern, Rule, RuleBook, read_rules
from guide.proof.world import Move, after
from guide.replay.transcript import parse
from guide.talk.blanks import REGISTRY
from tests.proof.fuzz import fuzz
from tests.proof.mutants import NO_REASON, Court, Mutant, mutants, name_of, read_survivors, write_survivors

EVERY = 149
"""Each so many mutants is judged here; ``python -m tests.proof.mutants`` judges them all."""


@pytest.fixture(scope="module")
def court() -> Court:
    """The shipped book, explored once."""
    return Court()


def made(court: Court, what: str) -> Mutant:
    """The mutant with these words."""
    return next(mutant for mutant in mutants(court.book) if mutant.what == what)


def test_the_shipped_book_breaks_no_rule_and_leads_to_an_end_from_everywhere(court):
    assert court.found.problems == []
    assert court.holding.problems == []
    assert court.ends == []
    assert len(court.found.nodes) > 5000


@pytest.mark.parametrize(
    ("what", "caught_by", "last"),
    [
        ("larva.tag, branch 1 to larva.outer: sent to larva.bag", "rule never_reopened", "014"),
        ("larva.look, branch 2 to larva.bag: sent to larva.measure", "rule sealed_first", "Y"),
        ("larva.name, branch 2 to larva.tag: sent to larva.outer", "walk: A prompt reads back", "darner"),
        ("safety.thunder, branch 1 to safety.in_water: sent to safety.temperature", "rule limits", "N"),
        ("close.out, branch 1 to close.missing: sent to close.tally", "rule counted_out", "0"),
        ("oops.torn, branch 2 to oops.voided: sent to oops.third", "rule slip_right", "WET"),
        ("storm.clear, branch 1 to storm.wait: sent to storm.shelter", "rule thunder_wait", "Y"),
        ("disinfect.soak, branch 1 to disinfect.contact: sent to disinfect.rinse", "rule disinfect_order", "OK"),
        ("disinfect.scrub, branch 4 to disinfect.tub: sent to disinfect.mix", "rule disinfect_order", "OK"),
        ("arrive.kit, branch 1 to arrive.unclean: sent to arrive.look", "rule kit_gate", "NO"),
        ("danger.missing, branch 2 to danger.missing: sent to danger.what", "rule heads_first", "0"),
        ("family.teeth, branch 2 to family.legs: sent to family.groove", "rule key_marks", "Y"),
        ("freeze.ice, branch 1 to freeze.warm: sent to freeze.freezer", "rule cold_chain", "N"),
        ("oops.what, branch 3 to oops.touched: sent to oops.voided", "rule slip_right", "GLOVE"),
        ("close.again, branch 1 to close.measure: sent to close.ice", "rule measured_again", "SKIP"),
        ("danger.missing, branch 1 to danger.what: sent to danger.missing", "rule asked_once", "LEFT"),
    ],
)
def test_a_wrong_way_is_caught_with_the_shortest_conversation_that_shows_it(court, what, caught_by, last):
    verdict = court.judge(made(court, what), walk_only=True)
    assert verdict.caught_by.startswith(caught_by)
    said = [line for line in verdict.shown.splitlines() if " pair: " in line]
    assert last.casefold() in said[-1].casefold()
    assert "broken: " in verdict.shown.splitlines()[-1]


@pytest.mark.parametrize(
    "step", ["larva.bag", "larva.tag", "storm.shelter", "close.bags", "oops.newbag", "safety.floats"]
)
def test_a_dropped_step_is_caught(court, step):
    assert court.judge(made(court, step), walk_only=True).caught_by


def test_what_breaks_a_rule_is_a_transcript_that_can_be_played_again(court):
    verdict = court.judge(made(court, "larva.tag, branch 1 to larva.outer: sent to larva.bag"), walk_only=True)
    conversation = verdict.shown.rsplit("\n\n", 1)[0]
    assert parse(conversation, "shown").items


def test_of_a_fixed_choice_of_wrong_books_all_are_caught_but_those_listed_with_a_reason(court):
    chosen = [mutant for place, mutant in enumerate(mutants(court.book)) if place % EVERY == 7]
    left = [name_of(mutant) for mutant in chosen if not court.judge(mutant).caught_by]
    assert len(chosen) > 20
    assert [name for name in left if name not in read_survivors()] == []


def test_every_listed_survivor_is_a_wrong_book_of_today_with_a_reason_and_they_are_few(court):
    listed, all_names = read_survivors(), {name_of(mutant) for mutant in mutants(court.book)}
    assert set(listed) <= all_names
    assert [name for name, why in listed.items() if why == NO_REASON] == []
    assert 0 < len(listed) <= len(all_names) / 20


def test_a_list_of_survivors_written_anew_keeps_its_reasons(tmp_path):
    file = tmp_path / "survivors.txt"
    file.write_text("# It leads to the\n# same talk.\nswapped: a and b\nswapped: c and d\n", "utf-8")
    write_survivors(["dropped: e", "swapped: a and b"], file)
    assert read_survivors(file) == {"swapped: a and b": "It leads to the same talk.", "dropped: e": NO_REASON}


def test_random_texts_in_explored_states_change_nothing_that_was_not_meant(court):
    told = fuzz(3000, [node.world for node in court.found.nodes])
    assert told.wrong == []
    assert told.not_understood > 1000


@pytest.mark.parametrize(
    ("step", "texts"),
    [
        ("larva.bag", "OOPS/GLOVE/DANGER/OOPS/SPOON/DANGER/3/OTHER/STAY"),
        ("freeze.warm", "DANGER/3/LEAVE/OK/FREEZE/AB/NONE/Y/SHED 2/-18 C"),
        ("close.missing", "DANGER/3/OTHER/STAY/3"),
    ],
)
def test_a_danger_in_between_breaks_no_rule(court, step, texts):
    node = next(place for place, node in enumerate(court.found.nodes) if node.world.at.top.state == step)
    root, moves = court.found.path(node)
    for text in texts.split("/"):
        moves = (*moves, Move("text", text))
        assert broken_by(court.rules, root, moves) == 0, text


def test_a_deep_proof_tells_apart_what_waits_beneath_a_slip(court):
    keys, apart = Keys(court.book), Keys(court.book, deep=True)
    bags, lots = (
        next(node.world for node in court.found.nodes if node.world.at.top.state == step)
        for step in ("close.bags", "close.lots")
    )
    slips = [after(world, Move("text", "OOPS"))[0] for world in (bags, lots)]
    assert len({keys.of(world) for world in slips}) == 1
    assert len({apart.of(world) for world in slips}) == 2


def test_a_prompt_that_has_a_larva_touched_must_state_it(court):
    step = court.book.step("plan.day")
    wrong = step._replace(say={"en": "CLEAN: take the larva on the spoon. Then text OK."})
    flow = court.book.flows["plan"]._replace(steps={**court.book.flows["plan"].steps, "day": wrong})
    book = court.book._replace(flows={**court.book.flows, "plan": flow})
    assert any("doesn't state the act 'touch_larva'" in said for said in unstated_acts(book, court.rules))
    assert list(unstated_acts(court.book, court.rules)) == []


def test_a_rule_lifted_and_broken_by_one_prompt_is_kept():
    rule = Rule("r", "s", (Pattern("asks", ("touch",)),), (Pattern("asks", ("clean",)),))
    rules = RuleBook((rule,), {}, {})
    assert rules.passage([("asks", "x", "clean", "touch")]).broken(rules.start()) == 0
    assert rules.passage([("asks", "x", "touch")]).broken(rules.start()) == 1
    assert rules.passage([BEGINS, ("asks", "x", "clean"), ("asks", "y", "touch")]).broken(rules.start()) == 0


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ('[r]\nrule = "s"\nnever = ["asks nothing_known"]', "no act"),
        ('[r]\nrule = "s"\nnever = ["sings larva.bag"]', "must begin with"),
        ('[r]\nrule = "s"\nnever = ["answers larva.bag maybe"]', "never answered"),
        ('[r]\nrule = "s"\nnever = ["asks larva.bag"]\nwhile = ["raining"]', "no condition"),
        ('[r]\nnever = ["asks larva.bag"]', "needs rule"),
        ('[r]\nrule = "s"\nnever = ["asks larva.bag"]\nuntill = []', "unknown key"),
    ],
)
def test_a_rule_that_can_not_hold_anything_is_refused(court, tmp_path, text, reason):
    acts = "[acts]\n" + "\n".join(f'{act} = "x"' for act in court.rules.acts)
    (tmp_path / "rules.toml").write_text(f"{acts}\n{text}\n", "utf-8")
    with pytest.raises(FlowError, match=reason):
        read_rules(tmp_path, court.book, REGISTRY)


@pytest.mark.parametrize(
    ("word", "count"), [("larva", 2), ("bag", 1), ("Libellulidae", 5), ("tube", 1), ("bottle", 2), ("OK", 1)]
)
def test_syllables_are_counted_by_runs_of_vowels(word, count):
    assert syllables(word) == count


def test_the_grade_is_the_one_worked_by_hand():
    assert grade("We put one larva in a bag.") == pytest.approx(0.39 * 7 + 11.8 * 8 / 7 - 15.59)
    assert grade("") == 0


def test_every_prompt_is_read_by_a_twelve_year_old(court):
    assert [row.step for row in readings(court.book) if row.grade > 7] == []


def test_flow_check_prints_every_prompts_figures_before_it_refuses_a_book(tmp_path):
    for file in shipped_flows().glob("*.toml"):
        text = file.read_text("utf-8")
        longer = text.replace('say.en = "', f'say.en = "{"kit " * 20}', 1) if file.name == "kit.toml" else text
        (tmp_path / file.name).write_text(longer, "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "guide.cli", "flow", "check", "--table", "--flows", str(tmp_path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "too many for 1 SMS" in done.stdout
    assert "larva.bag " in done.stdout
