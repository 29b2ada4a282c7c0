"""Checks drill files: every text fits its SMS, and every surprise is played, answered well and badly.

Playing goes over the same exchange as real texts, on records that are thrown away.
"""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from guide.drill.auto import BEGIN, SimulatedPair, carry_on
from guide.drill.judge import GOOD, HARMFUL
from guide.drill.load import load_drills
from guide.drill.model import CARRY, SPARE_BLANKS, Coming, Drill, Surprise
from guide.drill.session import Session, Wanted
from guide.drill.specimens import LARGEST_MM, LATEST_HEAD_MM, LOOKS, Specimen, words
from guide.errors import FlowError, WadelineError
from guide.flow.model import FlowBook
from guide.gateway.exchange import TextIn
from guide.record.open import open_record
from guide.record.store import Store, TextOut
from guide.talk.blanks import BLANKS
from guide.talk.sms import SINGLE_SEPTETS, septets

_MOST_TEXTS = 160
_LEADS = {"surprise": ("drill.surprise", "drill.danger"), "because": ("drill.good", "drill.harmful", "drill.missed")}


def check_drills(book: FlowBook, folder: Path | None = None) -> list[str]:
    """What is wrong with the drills of a folder (else those shipped), a line each; empty if nothing is."""
    try:
        drills = load_drills(book, folder)
    except FlowError as error:
        return [str(error)]
    found = _specimens(book)
    for surprise in {one.surprise.name: one.surprise for drill in drills for one in drill.coming}.values():
        found += _texts(book, surprise)
    return found or [problem for drill in drills for problem in prove_drill(book, drill)]


def _texts(book: FlowBook, surprise: Surprise) -> list[str]:
    """Texts of a surprise that don't fit one SMS with the words that stand in front of them."""
    found: list[str] = []
    for key, leads in _LEADS.items():
        names = (leads[surprise.danger],) if key == "surprise" else leads
        texts = surprise.say if key == "surprise" else surprise.because
        for language, text in texts.items():
            lead = max((_lead(book, name, language) for name in names), key=len)
            where = f"surprise {surprise.name}, {'say' if key == 'surprise' else key}.{language}"
            found += _fits(where, f"{lead} {text.format_map(SPARE_BLANKS)}")
    return found


def _lead(book: FlowBook, phrase: str, language: str) -> str:
    texts = book.phrases[phrase]
    return texts.get(language, texts["en"]).format_map({"emergency": BLANKS["emergency"].widest})


def _fits(where: str, text: str) -> list[str]:
    count = septets(text)
    if count is None:
        odd = next(char for char in text if septets(char) is None)
        return [f"{where}: {odd!r} is not in the SMS alphabet (GSM-7); write it another way"]
    over = count - SINGLE_SEPTETS
    return (
        [f"{where}: {count} septets with what stands in front of it, {over} too many for one SMS"] if over > 0 else []
    )


def _specimens(book: FlowBook) -> list[str]:
    slip = "0" * max(book.settings.tags.width, 5)
    longest = (Specimen(LARGEST_MM, family, LATEST_HEAD_MM, slip) for family in LOOKS)
    return [problem for one in longest for problem in _fits(f"specimen {one.family}", words(one))]


def prove_drill(book: FlowBook, drill: Drill) -> list[str]:
    """Plays each surprise of a drill twice: its ``right`` texts must be good, its ``wrong`` ones harmful."""
    found: list[str] = []
    for coming in drill.coming:
        for wanted, script in ((GOOD, coming.surprise.right), (HARMFUL, coming.surprise.wrong)):
            try:
                came = played(book, drill, coming.surprise, script)
            except WadelineError as error:
                return [*found, str(error)]
            if came != wanted:
                how = f"its {'right' if wanted == GOOD else 'wrong'} texts ({', '.join(script)})"
                what = f"{how} are {came}, not {wanted}" if came else f"never comes at {', '.join(coming.surprise.at)}"
                found.append(f"drills/{drill.name}.toml, surprise {coming.surprise.name}: {what}")
    return found


def played(book: FlowBook, drill: Drill, surprise: Surprise, script: tuple[str, ...]) -> str:
    """The verdict on a surprise answered with these texts; empty if it never came."""
    alone = replace(drill, coming=(Coming(surprise),), most=1, listed=True)
    with TemporaryDirectory(prefix="wadeline-drill-") as folder:
        store = Store(open_record(Path(folder) / "record.db"))
        store.db.execute("PRAGMA synchronous = OFF")
        try:
            return _play(Session.begin(store, book, Wanted(alone, rounds=1, simulated=True), BEGIN), script)
        finally:
            store.db.close()


def _play(session: Session, script: tuple[str, ...]) -> str:
    (name,), now, left = session.view.pairs, BEGIN, list(script)
    pair = SimulatedPair(name, 1.0, Random(0))
    number = session.number(name)
    outs = session.begin_round(name, now)
    for _ in range(_MOST_TEXTS):
        outs += session.look(now)
        one = session.read().pairs[name].rounds[-1]
        if one.surprises and (one.surprises[0].verdict or one.ended):
            return one.surprises[0].verdict
        if one.ended:
            return ""
        last = [out for out in outs if out.number == number and out.step is not None][-1:]
        answer = _next(session, pair, last, left if one.surprises else [])
        now += timedelta(seconds=20)
        while (fired := session.exchange.fire_next(now)) is not None:
            outs += fired
        outs += session.exchange.receive(TextIn(number, answer), now)
    return ""


def _next(session: Session, pair: SimulatedPair, last: list[TextOut], left: list[str]) -> str:
    if not left or left[0] == CARRY:
        del left[:1]
        return carry_on(session, pair, last[0])
    one = session.view.pairs[pair.name].rounds[-1]
    data = one.surprises[0].line.data
    return left.pop(0).format_map({blank: data.get(blank, "") for blank in SPARE_BLANKS})
