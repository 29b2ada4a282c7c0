"""``wadeline digest``: prints a visit's texts, and reads texts that came in."""

import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path

from guide.errors import WadelineError
from guide.field.families import FAMILIES
from guide.flow.settings import Site
from guide.papers.digest import DigestRead, VisitRead, read, write
from guide.papers.digest_fields import LarvaDigest, SitePlace, VisitDigest
from guide.papers.visit_digest import has_visit, site_mark, visit_digest
from guide.record.open import open_record

_EVERYDAY = {family.latin: family.everyday for family in FAMILIES}
_HEADINGS = ("tag", "mm", "family", "sure", "status", "flags")


def print_digest(path: Path, code8: str | None) -> int:
    """Prints the texts of a visit on standard output, with what to do with them on standard error."""
    db = open_record(path, create=False)
    digest = visit_digest(db, code8)
    db.close()
    texts = write(digest)
    what = "1 text; type or send it" if len(texts) == 1 else f"{len(texts)} texts; type or send them, in any order,"
    print(
        f"Visit {digest.code8}{', practice' if digest.practice else ''}, {_tally(digest)}. {what} to your coordinator "
        "from any phone. Small letters will do, spaces don't matter. Keep this record: the log itself must follow.",
        file=sys.stderr,
    )
    for text in texts:
        print(_folded(text) if sys.stdout.isatty() else text)
    return 0


def _folded(text: str) -> str:
    """A text in lines that a narrow screen shows without breaking a group."""
    width = max(24, min(shutil.get_terminal_size().columns, 60))
    return textwrap.fill(text, width, subsequent_indent="  ", break_long_words=False)


def read_digest(file: str, path: Path, sites: Sequence[Site]) -> int:
    """Prints what texts say, one a line, from a file or ``-`` for standard input; 1 if any is damaged or missing."""
    found = read(_unfolded(_lines(file)))
    if not found.visits and not found.problems:
        raise WadelineError("there is no text to read; give them one a line, in a file or on standard input")
    merged = _merged(found, path)
    for visit in found.visits:
        print("\n".join(_shown(visit, sites, visit.digest.code8 in merged)), end="\n\n")
    for problem in found.problems:
        print(problem)
    return 1 if found.problems else 0


def _lines(file: str) -> list[str]:
    if file == "-":
        return sys.stdin.read().splitlines()
    try:
        return Path(file).read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise WadelineError(f"{file} can't be read: {error}") from None


def _unfolded(lines: Iterable[str]) -> list[str]:
    """A line that begins with a space goes on the one before, as ``digest`` shows it on a screen."""
    texts: list[str] = []
    for line in lines:
        if line[:1] in (" ", "\t") and texts and texts[-1].strip():
            texts[-1] += line
        else:
            texts.append(line)
    return texts


def _merged(found: DigestRead, path: Path) -> set[str]:
    """The visits whose log is in this record; reading digests makes no record where there is none."""
    if not found.visits or not path.exists():
        return set()
    db = open_record(path, create=False)
    try:
        return {visit.digest.code8 for visit in found.visits if has_visit(db, visit.digest.code8)}
    finally:
        db.close()


def _shown(visit: VisitRead, sites: Sequence[Site], merged: bool) -> list[str]:
    digest = visit.digest
    day = digest.local_date.isoformat()
    practice = " PRACTICE: it counts nowhere." if digest.practice else ""
    so_far = ", as far as its texts have come" if visit.missing else ""
    lines = [
        f"Visit {digest.code8}, {_site(digest.site, sites)}, {day}, {'closed' if digest.closed else 'not closed yet'}."
        f"{practice}",
        f"{_tally(digest)}{so_far}. Empty spots: {digest.empty_spots}. Water and sediment kept, in the log only: "
        f"{digest.others}.",
    ]
    if digest.larvae:
        lines += ["", *_table([_HEADINGS, *(_row(larva) for larva in digest.larvae)]), ""]
    if merged:
        return [*lines, "The log of this visit is in this record: the log counts, this digest no longer does."]
    return [*lines, "Provisional: only until the log of this visit itself is merged."]


def _tally(digest: VisitDigest) -> str:
    statuses = [larva.status for larva in digest.larvae]
    rest = [f"{statuses.count(one)} {said}" for one, said in (("void", "void"), ("open", "in hand")) if one in statuses]
    kept = statuses.count("kept")
    return ", ".join([f"{kept} larva{'' if kept == 1 else 'e'} kept", *rest])


def _site(site: SitePlace | None, sites: Sequence[Site]) -> str:
    if site is None:
        return "no site told"
    if site.place < len(sites) and site_mark(sites[site.place].code) == site.mark:
        return sites[site.place].name
    return f"site {site.place + 1} of a list of sites that isn't this one (see --programme)"


def _row(larva: LarvaDigest) -> tuple[str, ...]:
    family = larva.family or "-"
    everyday = _EVERYDAY.get(family)
    return (
        larva.tag or "-",
        "-" if larva.length_mm is None else f"{larva.length_mm:.12g}",
        f"{family} ({everyday})" if everyday else family,
        {True: "sure", False: "unsure", None: "-"}[larva.sure],
        larva.status,
        " ".join(sorted(larva.flags)),
    )


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            cell.rjust(width) if place == 1 else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
