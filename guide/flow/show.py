"""Prints a flow as a reader wants it, and draws it for a wall: Mermaid text, and SVG where Graphviz is present."""

import shutil
import subprocess
import textwrap
from collections.abc import Iterator
from pathlib import Path

from guide.errors import WadelineError
from guide.flow.model import REST, RETURN, ROUTE, Branch, Flow, FlowBook, Step

WIDTH = 78


def flow_named(book: FlowBook, name: str) -> Flow:
    """A flow of the book; raises WadelineError with the names there are."""
    if name not in book.flows:
        raise WadelineError(f"there is no flow {name!r}; the flows are {', '.join(book.flows)}")
    return book.flows[name]


def show(book: FlowBook, flow: Flow) -> str:
    """A flow in words: what each step says and why, how it is answered, where it leads."""
    head = f"{flow.name}: {flow.title}" + (" (gone into, then back)" if flow.called else "")
    steps = "\n".join("\n".join(_step_lines(book, step)) for step in flow.steps.values())
    return f"{head}\n{'=' * len(head)}\n\n{steps}"


def _step_lines(book: FlowBook, step: Step) -> Iterator[str]:
    kind = {ROUTE: "says nothing", REST: "asks nothing"}.get(step.kind, step.kind)
    saved = f", kept as {step.save}" if step.save else ""
    yield f"{step.name} ({kind}{saved})"
    if step.say:
        yield textwrap.fill(book.in_language(step.say), WIDTH, initial_indent="    ", subsequent_indent="    ")
    if step.why:
        yield textwrap.fill(f"? {book.in_language(step.why)}", WIDTH, initial_indent="    ", subsequent_indent="      ")
    if step.asked.options:
        yield f"    answers: {', '.join(option.code for option in step.asked.options)}"
    for branch in step.branches:
        yield f"    {_branch_words(step, branch)}"
    yield ""


def _branch_words(step: Step, branch: Branch) -> str:
    on = "" if branch.on == ("any",) else " or ".join(branch.on)
    when = " and ".join(name.replace("_", " ") for name in branch.when)
    condition = ", if ".join(part for part in (on, when) if part) or "then"
    if when and not on:
        condition = f"if {condition}"
    through = f"{branch.call}, then " if branch.call else ""
    effects = f"  [{', '.join(name.replace('_', ' ') for name in branch.do)}]" if branch.do else ""
    return f"{condition} -> {through}{_target(step, branch)}{effects}"


def _target(step: Step, branch: Branch) -> str:
    if branch.go == RETURN:
        return "back to where it was"
    return branch.go.removeprefix(f"{step.flow}.")


def mermaid(book: FlowBook, flow: Flow) -> str:
    """A flow as a Mermaid flow chart."""
    lines = ["flowchart TD", f"    begin([{_label(flow.title)}]) --> {_id(flow.first)}"]
    for step in flow.steps.values():
        shape = ("{{", "}}") if step.kind == ROUTE else ("[", "]")
        lines.append(f"    {_id(step.name)}{shape[0]}{_label(_short(book, step))}{shape[1]}")
        lines += [f"    {_id(step.name)} -->|{_label(label)}| {_id(target)}" for label, target in _edges(step)]
    targets = {target for step in flow.steps.values() for _, target in _edges(step)}
    lines += [f"    {_id(target)}([{_label(target)}])" for target in sorted(targets - set(flow.steps))]
    return "\n".join(lines) + "\n"


def _short(book: FlowBook, step: Step) -> str:
    return textwrap.shorten(book.in_language(step.say), 60, placeholder=" ...") if step.say else step.name


def _id(name: str) -> str:
    """A name that means nothing to Mermaid, which has words of its own such as ``end``."""
    return "step_" + name.replace(".", "_").replace(" ", "_")


def _label(text: str) -> str:
    return '"' + text.replace('"', "'") + '"'


def _edges(step: Step) -> Iterator[tuple[str, str]]:
    """A label and a target for each branch."""
    for branch in step.branches:
        words = _branch_words(step, branch).split(" -> ")[0]
        yield (f"{words}, through {branch.call}" if branch.call else words), _target(step, branch)


def dot(book: FlowBook, flow: Flow) -> str:
    """A flow in Graphviz's language."""
    lines = ["digraph flow {", '  node [shape=box, fontname="Helvetica", fontsize=10];', "  edge [fontsize=9];"]
    for step in flow.steps.values():
        words = "\\n".join(textwrap.wrap(_short(book, step).replace('"', "'"), 30))
        lines.append(f'  "{step.name}" [label="{step.name}\\n{words}"];')
        lines += [f'  "{step.name}" -> "{target}" [label={_label(label)}];' for label, target in _edges(step)]
    return "\n".join([*lines, "}"]) + "\n"


def draw(book: FlowBook, flow: Flow, folder: Path) -> list[Path]:
    """Writes ``FLOW.mmd`` and, if Graphviz is installed, ``FLOW.svg`` into a folder; returns what was written."""
    folder.mkdir(parents=True, exist_ok=True)
    written = [folder / f"{flow.name}.mmd"]
    written[0].write_text(mermaid(book, flow), "utf-8")
    if shutil.which("dot"):
        written.append(folder / f"{flow.name}.svg")
        command = ["dot", "-Tsvg", "-o", str(written[1])]
        subprocess.run(command, input=dot(book, flow).encode(), check=True, timeout=60)
    return written
