"""``desk tags``: makes, loads, assigns, makes void and counts tags, by entries of the desk's log folded into the pool.

Practice has a pool of its own, so that no practice tag is ever one of the real ones.
"""

import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from guide.counted import counted
from guide.desk.programme import present
from guide.desk.read_csv import TableError, read_rows
from guide.desk.show import show_rows
from guide.desk.taken_words import why_taken
from guide.errors import WadelineError
from guide.field.tags import block, is_valid, refuse_reason
from guide.flow.replies.clean import quote
from guide.flow.replies.lab_code import LONGEST_CODE, as_code, is_code
from guide.flow.settings import Settings
from guide.record.log import Entry
from guide.record.store import DESK, Store
from guide.text_file import read_text_file

MOST_MADE = 20_000
_LOOKS = str.maketrans({"O": "0", "I": "1", "L": "1"})
_NONE = "There are no tags in this pool yet: wadeline desk tags make COUNT, or load FILE with the lab's list"


class TagsError(WadelineError):
    """Tags can't be made, loaded, assigned or made void as asked."""


@dataclass(frozen=True)
class Pool:
    """The tags of a programme, real or practice, in an open record."""

    store: Store
    settings: Settings
    practice: bool

    @property
    def db(self) -> sqlite3.Connection:
        return self.store.db

    def tags(self) -> dict[str, tuple[str, str | None]]:
        """Status and site of each tag, in order."""
        sql = "SELECT code, status, site FROM tag WHERE programme = ? AND practice = ? ORDER BY code"
        rows = self.db.execute(sql, (self.settings.code, self.practice))
        return {code: (status, site) for code, status, site in rows}

    def write(self, kind: str, data: Mapping[str, Any], words: str | None = None) -> None:
        """Adds an entry about this pool, in a transaction of its own."""
        with self.store.transaction():
            self.add(kind, data, words)

    def add(self, kind: str, data: Mapping[str, Any], words: str | None = None) -> None:
        """Adds an entry about this pool, inside the caller's transaction."""
        whose = {"programme": self.settings.code, "practice": int(self.practice)}
        entry = Entry(kind, "", {**whose, **data}, words=words)
        self.store.append(DESK, DESK, 0, datetime.now(UTC), [entry])


def open_pool(record: Path, practice: bool) -> Pool:
    """The pool of the present programme; one that is practice throughout has practice tags alone."""
    store, settings, _ = present(record)
    return Pool(store, settings, practice or settings.practice)


# Making and loading


def make_tags(pool: Pool, count: int, first: int | None, site: str | None) -> list[str]:
    """Makes ``count`` tags with check digits, from a number or behind the highest there is; returns them."""
    if not pool.settings.tags.check:
        raise TagsError(
            "this programme's tags are the lab's own list (tags.check = false): load it with desk tags load"
        )
    if not 1 <= count <= MOST_MADE:
        raise TagsError(f"{count} tags can't be made at once; 1 to {MOST_MADE:,} can")
    start = _next_number(pool) if first is None else first
    try:
        codes = block(start, count, pool.settings.tags.width)
    except ValueError as error:
        raise TagsError(f"{error}: set tags.width in the programme") from None
    have = pool.tags()
    taken = [code for code in codes if code in have]
    if taken:
        raise TagsError(f"{taken[0]}{_more(taken)} in the pool already; without --first the next free number is taken")
    _check_site(pool, site)
    pool.write("tags_loaded", {"codes": codes, "site": site} if site else {"codes": codes})
    return codes


def _next_number(pool: Pool) -> int:
    """Behind the highest number of either pool: a practice slip never looks like a real one."""
    sql = "SELECT code FROM tag WHERE programme = ?"
    codes = [code for (code,) in pool.db.execute(sql, (pool.settings.code,)) if is_valid(code)]
    return max((int(code[:-1]) + 1 for code in codes), default=pool.settings.tags.first)


def load_tags(pool: Pool, file: Path) -> list[str]:
    """Loads a lab's own list, all or none: a code a line, or CSV with the columns tag and site; returns the codes."""
    listed = list(_listed(file))
    problems = list(_problems(pool, listed))
    if problems:
        raise TableError(file, problems)
    with pool.store.transaction():
        for site in dict.fromkeys(site for _, _, site in listed):
            codes = [code for _, code, at in listed if at == site]
            pool.add("tags_loaded", {"codes": codes, "site": site} if site else {"codes": codes})
    return [code for _, code, _ in listed]


def _listed(file: Path) -> Iterator[tuple[int, str, str]]:
    """Row, code and site of each tag in a file."""
    lines = read_text_file(file).split("\n")
    head = lines[0].strip().casefold()
    if head.startswith("tag") or "," in head or ";" in head:
        for row in read_rows(file, ("tag",), ("site",)):
            yield row.number, as_code(row["tag"]), row["site"].casefold()
        return
    for number, line in enumerate(lines, 1):
        if line.strip():
            yield number, as_code(line), ""


def _problems(pool: Pool, listed: Sequence[tuple[int, str, str]]) -> Iterator[str]:
    have, sites = pool.tags(), [site.code for site in pool.settings.sites]
    rows = {code.translate(_LOOKS): f"{code} is in the pool already" for code in have}
    if not listed:
        yield "there is no tag in it"
    elif pool.settings.tags.check and not any(is_valid(code) for _, code, _ in listed):
        yield "no code has a check digit; for a lab's own list set check = false and count = 0 under [tags]"
        return
    for number, code, site in listed:
        reason = _reason(pool.settings, code) or rows.get(code.translate(_LOOKS), "")
        if reason:
            yield f"row {number}: {quote(code)!r} can't be loaded: {reason}"
        if site and site not in sites:
            yield f"row {number}: site {site!r} is none of the programme's: {', '.join(sites)}"
        rows.setdefault(code.translate(_LOOKS), f"it reads like {code} in row {number}")


def _reason(settings: Settings, code: str) -> str:
    """Why a code can't be a tag of this programme; empty if it can."""
    refused = refuse_reason(code)
    if refused:
        return refused.partition(": ")[2].rstrip(".") or "it is empty"
    if settings.tags.check:
        if len(code) == settings.tags.width and is_valid(code):
            return ""
        return (
            f"tags here have {settings.tags.width} digits with a check digit; a lab's own codes need tags.check = false"
        )
    if not code.isdigit() and (why := why_taken(code)):
        return f"it {why}"
    if not is_code(code):
        return f"a tag has 2 to {LONGEST_CODE} letters, digits and - / . with a digit among them"
    return ""


# Assigning and making void


def assign_tags(pool: Pool, first: str, last: str, site: str | None) -> list[str]:
    """Gives the free tags from one to another to a site's pairs, or (None) to any; returns them."""
    _check_site(pool, site)
    have, first, last = pool.tags(), as_code(first), as_code(last)
    for code in (first, last):
        _check_known(pool, code, have)
    codes = [code for code, (status, _) in have.items() if first <= code <= last and status == "free"]
    if not codes:
        raise TagsError(f"there is no free tag from {first} to {last}")
    pool.write("tags_assigned", {"codes": codes, "site": site})
    return codes


def void_tags(pool: Pool, codes: Sequence[str], reason: str) -> list[str]:
    """Makes free tags void for a reason, as lost or torn slips are; one on a sample is made void with the sample."""
    if not reason.strip():
        raise TagsError("a reason is needed: --reason 'slips got wet'")
    have = pool.tags()
    wanted = list(dict.fromkeys(as_code(code) for code in codes))
    for code in wanted:
        _check_known(pool, code, have)
        if have[code][0] == "used":
            raise TagsError(f"{code} is on a sample: make the sample void with desk fix, its tag goes with it")
        if have[code][0] == "void":
            raise TagsError(f"{code} is void already")
    pool.write("tags_voided", {"codes": wanted}, words=reason.strip())
    return wanted


def _check_known(pool: Pool, code: str, have: Mapping[str, Any]) -> None:
    if code not in have:
        which = "practice" if pool.practice else "real"
        raise TagsError(f"{quote(code)} is not in the pool of {which} tags (--practice chooses the other)")


def _check_site(pool: Pool, site: str | None) -> None:
    codes = [one.code for one in pool.settings.sites]
    if site is not None and site not in codes:
        raise TagsError(f"there is no site {site!r}; the programme has {', '.join(codes) or 'none yet'}")


def _more(codes: Sequence[str]) -> str:
    return f" and {len(codes) - 1} more are" if len(codes) > 1 else " is"


# Showing


def show_tags(pool: Pool, as_json: bool, each: bool) -> int:
    """Prints how many tags are free, used and void by site, or each one with its sample."""
    show_rows(_each(pool) if each else _counts(pool), as_json, _NONE)
    return 0


def _counts(pool: Pool) -> list[dict[str, Any]]:
    sql = (
        "SELECT site, min(code), max(code), count(*), sum(status = 'free'), sum(status = 'used'), "
        "sum(status = 'void') FROM tag WHERE programme = ? AND practice = ? GROUP BY site ORDER BY site"
    )
    names = ("site", "first", "last", "tags", "free", "used", "void")
    rows = pool.db.execute(sql, (pool.settings.code, pool.practice))
    return [dict(zip(names, (row[0] or "any", *row[1:]), strict=True)) for row in rows]


def _each(pool: Pool) -> list[dict[str, Any]]:
    sql = (
        "SELECT code, coalesce(tag.site, 'any'), tag.status, sample.kind, visit.code8, visit.site FROM tag "
        "LEFT JOIN sample ON sample.uid = tag.sample LEFT JOIN visit ON visit.uid = sample.visit "
        "WHERE tag.programme = ? AND tag.practice = ? ORDER BY code"
    )
    names = ("tag", "for", "status", "on", "visit", "at")
    return [dict(zip(names, row, strict=True)) for row in pool.db.execute(sql, (pool.settings.code, pool.practice))]


def were_there(pool: Pool, new: Sequence[str]) -> str:
    """What the pool held before some tags were made, so that nobody makes a second lot unknowingly; empty for none."""
    made = set(new)
    before = {code: status for code, (status, _) in pool.tags().items() if code not in made}
    if not before:
        return ""
    free = [code for code, status in before.items() if status == "free"]
    span = f", {min(free)} to {max(free)}" if len(free) > 1 else ""
    there = f"{counted(len(before), 'tag was', 'tags were')} there before, {len(free)} of them free{span}"
    own = " (the programme's file makes its own: tags.count)" if pool.settings.tags.count else ""
    rest = f"Only the new on paper: desk tags sheet TO --first {new[0]}. Not wanted: desk tags void."
    return f"{there}{own}. Pairs take from both.\n{rest}"


def say_done(codes: Sequence[str], what: str, pool: Pool, as_json: bool) -> int:
    """Prints what was done to which tags."""
    if as_json:
        print(json.dumps({"practice": pool.practice, "done": what, "tags": list(codes)}))
        return 0
    which = "practice tag" if pool.practice else "tag"
    span = codes[0] if len(codes) == 1 else f"{codes[0]} to {codes[-1]}"
    print(f"{counted(len(codes), which)} {what}: {span}")
    return 0
