"""A simulated pair: plays a drill with a given skill, for demos and tests. It never is, and never passes for, people.

It reads what it is asked as a pair would, and errs by chance that comes from the seed alone. What the drill tells it
after a surprise it remembers, and every round it gets a little better.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random

from guide.drill.model import CARRY, Surprise
from guide.drill.plan import seeded
from guide.drill.session import Session
from guide.drill.specimens import COMMON, Specimen
from guide.field.families import everyday
from guide.gateway.exchange import TextIn
from guide.record.store import TextOut

BEGIN = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)
"""When simulated sessions take place: always then, so that the same seed gives the same record."""

WORST = 0.75
"""How often a pair without any skill errs."""

LEARNS = 0.5
"""What is left of its errors after each round, where it learns."""

_MOST_TEXTS = 400


@dataclass
class SimulatedPair:
    """One pair that is no people. ``skill`` 0 to 1; ``taught`` are surprises it was told about."""

    name: str
    skill: float
    random: Random
    learns: bool = True
    rounds: int = 0
    taught: set[str] = field(default_factory=set)
    script: list[str] = field(default_factory=list)
    answered: set[tuple[int, int]] = field(default_factory=set)

    def errs(self, about: str = "") -> bool:
        """Whether it errs now; less about what it was taught."""
        chance = (1 - self.skill) * WORST * (LEARNS**self.rounds if self.learns else 1)
        return self.random.random() < (chance / 3 if about in self.taught else chance)


def play(session: Session, skill: float, now: datetime = BEGIN, learns: bool = True) -> datetime:
    """Plays all rounds of a session with simulated pairs; returns the time at its end."""
    pairs = [SimulatedPair(name, skill, seeded(session.view.seed, name, "pair"), learns) for name in session.view.pairs]
    for _ in range(session.view.rounds):
        for pair in pairs:
            now = _play_round(session, pair, now + timedelta(minutes=2))
    return now


def _play_round(session: Session, pair: SimulatedPair, now: datetime) -> datetime:
    number = session.number(pair.name)
    last = session.begin_round(pair.name, now)[-1]
    for _ in range(_MOST_TEXTS):
        last = _latest(session, number, session.look(now)) or last
        one = session.read().pairs[pair.name].now()
        if one is None:
            break
        words, seconds = _answer(session, pair, last)
        now += timedelta(seconds=seconds)
        while (fired := session.exchange.fire_next(now)) is not None:
            last = _latest(session, number, fired) or last
        outs = session.exchange.receive(TextIn(number, words), now)
        last = _latest(session, number, outs) or last
    else:
        session.end_round(pair.name, "never came to its end", now)
    pair.taught |= {thrown.name for thrown in session.view.pairs[pair.name].rounds[-1].surprises}
    pair.rounds += 1
    pair.script.clear()
    return now


def _latest(session: Session, number: str, outs: list[TextOut]) -> TextOut | None:
    mine = [out for out in outs if out.number == number and out.step is not None]
    return mine[-1] if mine else None


def _answer(session: Session, pair: SimulatedPair, last: TextOut) -> tuple[str, float]:
    """What the pair texts, and after how many seconds."""
    seconds = pair.random.uniform(14, 26) + 25 * (1 - pair.skill) * pair.random.random()
    surprise, blanks = _new_surprise(session, pair)
    if surprise is not None:
        pair.script = list(surprise.wrong if pair.errs(surprise.name) else surprise.right)
    if pair.script:
        words = pair.script.pop(0)
        return (carry_on(session, pair, last) if words == CARRY else words.format_map(blanks)), seconds
    if session.book.step(last.step or "").kind == "done" and pair.errs("hurry") and pair.errs("hurry"):
        seconds = 2.0
    return carry_on(session, pair, last), seconds


def _new_surprise(session: Session, pair: SimulatedPair) -> tuple[Surprise | None, dict[str, str]]:
    one = session.view.pairs[pair.name].now()
    thrown = one.open_surprise() if one else None
    if one is None or thrown is None:
        return None, {}
    blanks = {name: str(thrown.line.data.get(name, "")) for name in ("slip", "bad")}
    if (one.number, thrown.number) in pair.answered:
        return None, blanks
    pair.answered.add((one.number, thrown.number))
    return session.drill.surprise(thrown.name), blanks


def carry_on(session: Session, pair: SimulatedPair, last: TextOut) -> str:
    """What carries on at a step: the specimen read off, well or badly, or the first answer there is."""
    specimen = session.specimen(pair.name)
    if specimen is not None and last.expects in ("length", "family", "tag", "sample"):
        told = _told(pair, specimen, last.expects)
        if last.step == "larva.steady":
            return told.rsplit(" ", 1)[0]
        return told
    return session.drill.before.get(last.step or "") or (last.options[0] if last.options else "OK")


def _told(pair: SimulatedPair, specimen: Specimen, expects: str) -> str:
    mm = specimen.length_mm + (pair.random.choice((-5, 4, 6)) if pair.errs("length") else 0)
    other = pair.random.choice(COMMON)
    family = everyday(other if pair.errs("family") else specimen.family) if specimen.family in COMMON else "darner"
    told = {"length": str(mm), "family": family, "tag": specimen.slip, "sample": f"{mm} {family} {specimen.slip}"}
    return told[expects]
