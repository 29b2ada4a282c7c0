"""What can be answered at a step, the reply that carries on first."""

from guide.flow.model import REST
from guide.talk.turn import Turn

_TYPICAL_MM = 27
_TYPICAL_FAMILY = "Aeshnidae"


def options_of(turn: Turn) -> tuple[str, ...]:
    """Texts the seat could send now that would be understood; empty where nothing is asked."""
    step = turn.step
    if step.kind == REST:
        return ()
    ask = turn.state.ask
    if ask is not None and ask["step"] == step.id:
        return (turn.kind.show(ask["value"]), "N")
    codes = tuple(option.code for option in turn.step.asked.options)
    first: tuple[str, ...] = (turn.fill(step.carry),) if step.carry else ()
    usual = _usual(turn)
    return tuple(dict.fromkeys((*first, *usual, *codes)))


def _usual(turn: Turn) -> tuple[str, ...]:
    step = turn.step
    if step.kind == "tag":
        tag = turn.free_tag() if step.tag_must == "free" else _kept_tag(turn)
        return (tag,) if tag else ()
    if step.kind == "sample":
        given = {"length_mm": _TYPICAL_MM, "family": _TYPICAL_FAMILY, "tag": turn.free_tag()}
        wanted = {name: given[name] for name in step.asked.fields}
        return (turn.kind.show(wanted),) if None not in wanted.values() else ()
    return turn.kind.samples(turn.asked)


def _kept_tag(turn: Turn) -> str | None:
    return next((sample.tag for sample in turn.kept() if sample.tag), None)
