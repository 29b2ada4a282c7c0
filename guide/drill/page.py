"""The debrief as a page to keep: one HTML file that needs nothing else, every word of people escaped."""

from collections.abc import Iterable, Sequence
from html import escape

from guide.drill.debrief import HEAD, SIMULATED, Debrief, Moment, PairTable, Step

_STYLE = """
body { font: 16px/1.5 Georgia, serif; color: #1d2a2a; background: #f6f4ee; max-width: 46em; margin: 2em auto; padding: 0 1em }
h1, h2 { font-weight: normal; border-bottom: 2px solid #5b7f6b } h1 { font-size: 1.6em } h2 { font-size: 1.2em }
table { border-collapse: collapse } td, th { text-align: left; padding: .1em 1em .1em 0; font-weight: normal }
th { color: #5b6b66 } .no { color: #9a3412 } .yes { color: #2f6b3c } .sim { background: #f3d9a4; padding: .3em .6em }
dl { margin: .4em 0 .4em 1em } dt { float: left; clear: left; width: 4em; color: #5b6b66 } dd { margin-left: 4.5em }
@media print { body { background: none; margin: 0 } h2 { break-after: avoid } section { break-inside: avoid } }
"""  # noqa: E501


def as_page(told: Debrief) -> str:
    """The whole page."""
    simulated = f'<p class="sim">{escape(SIMULATED)}</p>' if told.simulated else ""
    none = "None: nothing went wrong." if told.points else "None yet: nothing was there to judge."
    habits = _list("ol", told.habits) if told.habits else f"<p>{none}</p>"
    parts = [
        f"<h1>Debrief: {escape(told.title)}</h1>",
        f"<p>{told.at:%Y-%m-%d %H:%M} UTC, {escape(told.facts)}. Practice: nothing here counts.</p>",
        f"<p><strong>{escape(told.early)}</strong></p>" if told.early else "",
        simulated,
        "<h2>What went well</h2>",
        _list("ul", told.well),
        "<h2>Habits to work on</h2>",
        habits,
        *map(_table, told.tables),
        "<h2>The moments</h2>" if told.moments else "",
        *map(_moment, told.moments),
        "<h2>The way so far</h2>",
        chart(told.way),
        f"<p>{escape(told.verdict)}</p>",
    ]
    head = f'<meta charset="utf-8"><title>Debrief: {escape(told.title)}</title><style>{_STYLE}</style>'
    body = "\n".join(part for part in parts if part)
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>\n{body}\n</body></html>\n'


def _list(kind: str, words: Iterable[str]) -> str:
    return f"<{kind}>{''.join(f'<li>{escape(one)}</li>' for one in words)}</{kind}>"


def _table(table: PairTable) -> str:
    rows = [_row("th", HEAD), *(_row("td", row) for row in table.rounds)]
    roles = ", ".join(f"{escape(role)} {one.right} of {one.of}" for role, one in table.roles)
    told = f"<p>Right by role: {roles}.</p>" if roles else ""
    return f"<section><h2>Pair {escape(table.pair)}</h2><table>{''.join(rows)}</table>{told}</section>"


def _row(cell: str, words: Sequence[str]) -> str:
    return f"<tr>{''.join(f'<{cell}>{escape(word)}</{cell}>' for word in words)}</tr>"


def _moment(moment: Moment) -> str:
    point = moment.point
    mark = '<span class="yes">seen</span>' if point.right else '<span class="no">slip</span>'
    said = "".join(f"<dt>{escape(who) or '&nbsp;'}</dt><dd>{escape(words)}</dd>" for who, words in moment.lines)
    because = f"<p><em>{escape(moment.because)}</em></p>" if moment.because else ""
    head = f"<p>{mark} Pair {escape(point.pair)}, round {point.round}, {escape(point.role)}: {escape(point.what)}</p>"
    return f"<section>{head}<dl>{said}</dl>{because}</section>"


def chart(way: Sequence[Step]) -> str:
    """The shares of all rounds as bars, drawn in the page itself."""
    if not way:
        return "<p>No round has been played yet.</p>"
    height, step, left = 120, 26, 40
    width = left + step * len(way) + 10
    bars = []
    for place, one in enumerate(way):
        share = one.tally.share or 0.0
        tall = round(share * 100, 1)
        label = escape(f"{one.label}: {share:.0%}, {one.tally.right} of {one.tally.of}")
        bars.append(
            f'<rect x="{left + place * step}" y="{height - tall}" width="{step - 8}" height="{tall}" fill="#5b7f6b">'
            f"<title>{label}</title></rect>"
        )
    lines = "".join(
        f'<text x="0" y="{height - level + 4}" font-size="11">{level} %</text>'
        f'<line x1="{left}" x2="{width}" y1="{height - level}" y2="{height - level}" stroke="#b9c2bb"/>'
        for level in (0, 50, 100)
    )
    title = "Part that was right, round by round"
    return (
        f'<svg role="img" aria-label="{title}" width="{width}" height="{height + 10}" '
        f'viewBox="0 0 {width} {height + 10}">{lines}{"".join(bars)}</svg>'
    )
