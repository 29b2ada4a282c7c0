"""One visit as the desk looks at it: loaded whole from the record, so that checks are plain functions over it."""

import json
import sqlite3
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property, lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from guide.desk.usual import Pool, Usual, read_usual
from guide.errors import SettingsError, WadelineError
from guide.flow.load import settings_text
from guide.flow.read_settings import settings_from
from guide.flow.settings import Settings, Site
from guide.papers.digest import VisitRead
from guide.record.fold import PUT_RIGHT
from guide.record.log import Entry
from guide.record.rivals import Taker, live_rivals
from guide.record.store import DESK, Store, stamp
from guide.record.visit_answers import TOLD_BY, Told, standing, told_of

UNSURE = "unsure"


BY_ITSELF = ("timer", "alarm", "reminder", "kit_disinfected", "undelivered", "not_sent")
"""Entries of a seat that say nothing of its people: a clock or a gateway can make them."""


class VisitError(WadelineError):
    """There is no such visit or sample, or it can't be changed as asked."""


@dataclass(frozen=True)
class Sample:
    """One sample. ``name`` is what the desk calls it where it has no tag: ``s3`` is the third of the visit."""

    uid: str
    name: str
    kind: str
    seat: str
    tag: str | None
    length_mm: float | None
    family: str | None
    sure: bool | None
    gloves: str
    status: str
    void_reason: str | None
    opened_at: datetime | None
    sealed_at: datetime | None
    outer_bagged_at: datetime | None
    iced_at: datetime | None
    frozen_at: datetime | None
    shipped_at: str | None
    flags: tuple[str, ...] = ()

    @property
    def called(self) -> str:
        """The tag, else the name: what a fix command names it by."""
        return self.tag or self.name

    @property
    def larva(self) -> bool:
        """Whether it is a larva that counts."""
        return self.kind == "larva" and self.status == "kept"


@dataclass(frozen=True)
class LogEntry:
    """One entry of the visit's log; ``words`` is None where none were said or they were forgotten."""

    ref: str
    at: datetime
    seat: str
    kind: str
    step: str
    sample: str | None
    data: dict[str, Any]
    supersedes: str | None
    words: str | None


@dataclass(frozen=True)
class Slip:
    """One contamination event."""

    ref: str
    slip: str
    sample: str | None
    what: str
    touched: str | None
    remedy: str | None

    @property
    def counts(self) -> bool:
        """False for what turned out to be no slip, or was taken back."""
        return self.remedy not in ("no_slip", "withdrawn")


@dataclass(frozen=True)
class PoolTag:
    """How the pool holds a tag: its status, and visit and name of the sample that has it."""

    code: str
    status: str
    owner: str | None
    owner_visit: str | None
    site: str | None = None


@dataclass(frozen=True)
class Others:
    """What other visits tell that a check needs.

    ``slips`` and ``samples`` count the other closed visits of the programme; ``days`` are the local dates of kept
    larvae and bottles at this site by sort; ``tags`` are other samples with a tag of this visit.
    """

    slips: int = 0
    samples: int = 0
    visits: int = 0
    larva_days: tuple[str, ...] = ()
    bottle_days: tuple[str, ...] = ()
    tags: dict[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Visit:
    """One visit, whole. ``settings`` are those it began with, else the programme's of now, else None."""

    uid: str
    code: str
    programme: str
    practice: bool
    status: str
    site: str | None
    local_date: str
    group: str | None
    target: int
    opened_at: datetime
    closed_at: datetime | None
    accepted_at: datetime | None
    answers: dict[str, Any]
    settings: Settings | None = None
    samples: tuple[Sample, ...] = ()
    entries: tuple[LogEntry, ...] = ()
    slips: tuple[Slip, ...] = ()
    pool: dict[str, PoolTag] = field(default_factory=dict)
    others: Others = Others()
    rivals: tuple[tuple[Sample, str, tuple[Taker, ...]], ...] = ()
    answer_rivals: tuple[tuple[str, tuple[Told, ...]], ...] = ()
    digest: VisitRead | None = None

    @cached_property
    def by_uid(self) -> dict[str, Sample]:
        """Its samples by uid."""
        return {sample.uid: sample for sample in self.samples}

    @cached_property
    def zone(self) -> ZoneInfo:
        """The site's time zone; UTC where the site isn't known."""
        sites = self.settings.sites if self.settings else ()
        return ZoneInfo(next((site.zone for site in sites if site.code == self.site), "UTC"))

    def local(self, at: datetime) -> datetime:
        """A moment as clocks at the site show it."""
        return at.astimezone(self.zone)

    @property
    def kept(self) -> list[Sample]:
        """Samples of all kinds that count."""
        return [sample for sample in self.samples if sample.status == "kept"]

    @property
    def larvae(self) -> list[Sample]:
        """Larvae that count."""
        return [sample for sample in self.samples if sample.larva]

    def of_kind(self, *kinds: str) -> list[LogEntry]:
        """Its entries of some kinds, in order."""
        return [entry for entry in self.entries if entry.kind in kinds]

    @property
    def put_right(self) -> list[str]:
        """The names of its own answers that the desk put right."""
        return list(self.answers.get(PUT_RIGHT, ()))

    def told_of_itself(self, name: str) -> list[LogEntry]:
        """The entries that told an answer of the visit itself: the opening, the talk's answers, the desk's fixes."""
        return [entry for entry in self.of_kind(*TOLD_BY) if entry.sample is None and name in entry.data]

    def told(self, sample: Sample, name: str) -> list[LogEntry]:
        """The entries that told something of a sample: the answer, and the fixes of it."""
        return [
            entry
            for entry in self.entries
            if entry.sample == sample.uid and entry.kind in ("answer", "fix") and name in entry.data
        ]


# Loading

_VISIT = (
    "SELECT uid, code8, programme, practice, status, site, local_date, group_code, target, opened_at, closed_at, "
    "accepted_at, answers, book_hash FROM visit WHERE uid = ?"
)
_SAMPLES = (
    "SELECT uid, kind, seat, tag, length_mm, family, sure, gloves, status, void_reason, opened_at, sealed_at, "
    "outer_bagged_at, iced_at, frozen_at, shipped_at, "
    "(SELECT json_group_array(flag) FROM sample_flag WHERE sample = uid) FROM sample WHERE visit = ? ORDER BY rowid"
)
_ENTRIES = (
    "SELECT origin.uid || '/' || stream || '/' || seq, at, seat, kind, step, sample_uid, data, supersedes, text "
    "FROM log JOIN origin ON origin.id = log.origin LEFT JOIN words ON words.entry = log.id "
    "WHERE log.origin IN (SELECT id FROM origin) AND stream = ? ORDER BY log.id"
)
_SLIPS = (
    "SELECT origin.uid || '/' || stream || '/' || seq, slip, sample, what, touched, remedy FROM contamination "
    "JOIN log ON log.id = entry JOIN origin ON origin.id = log.origin WHERE visit = ? ORDER BY entry"
)
_POOL = (
    "SELECT tag.code, tag.status, tag.sample, visit.code8, tag.site FROM tag "
    "LEFT JOIN sample ON sample.uid = tag.sample LEFT JOIN visit ON visit.uid = sample.visit "
    "WHERE tag.programme = ? AND tag.practice = ? AND tag.code IN (SELECT tag FROM sample WHERE visit = ?)"
)
_TWICE = (
    "SELECT other.tag, visit.code8, other.uid, other.status FROM sample AS own "
    "JOIN sample AS other ON other.tag = own.tag AND other.uid != own.uid JOIN visit ON visit.uid = other.visit "
    "WHERE own.visit = ? AND other.visit != own.visit AND own.status != 'void' AND programme = ? AND practice = ? "
    "ORDER BY other.rowid"
)


def visit_uid(db: sqlite3.Connection, code: str) -> str:
    """The uid of the visit with this code; raises VisitError naming the last ones."""
    row = db.execute("SELECT uid FROM visit WHERE code8 = ?", (code.strip().upper(),)).fetchone()
    if row is not None:
        return str(row[0])
    last = [one for (one,) in db.execute("SELECT code8 FROM visit ORDER BY opened_at DESC, id DESC LIMIT 3")]
    hint = f"; its last are {', '.join(last)}" if last else ""
    raise VisitError(f"there is no visit {code!r} in this record{hint}")


def load_visit(db: sqlite3.Connection, uid: str, usual: Usual | None = None) -> Visit:
    """A visit with all that its checks need; ``usual`` may be given where many are loaded."""
    row = db.execute(_VISIT, (uid,)).fetchone()
    programme, practice, site, code = row[2], row[3], row[5], row[1]
    entries = tuple(entries_of(db, uid))
    samples = tuple(_sample(uid, *fields) for fields in db.execute(_SAMPLES, (uid,)))
    pool = {found[0]: PoolTag(*found) for found in db.execute(_POOL, (programme, practice, uid))}
    return Visit(
        uid=uid,
        code=code,
        programme=programme,
        practice=bool(practice),
        status=row[4],
        site=site,
        local_date=row[6],
        group=row[7],
        target=row[8],
        opened_at=datetime.fromisoformat(row[9]),
        closed_at=_time(row[10]),
        accepted_at=_time(row[11]),
        answers=json.loads(row[12]),
        settings=_settings(db, row[13], programme, site),
        samples=samples,
        entries=entries,
        slips=tuple(Slip(*fields) for fields in db.execute(_SLIPS, (uid,))),
        pool=pool,
        others=_others(db, uid, (programme, bool(practice)), site, read_usual(db) if usual is None else usual),
        rivals=tuple(_rivals(db, samples, entries)),
        answer_rivals=tuple(_answer_rivals(db, uid, json.loads(row[12]).get(PUT_RIGHT, ()))),
        digest=_digest(db, code),
    )


def _sample(visit: str, uid: str, kind: str, seat: str, *rest: Any) -> Sample:
    tag, length_mm, family, sure, gloves, status, reason, *times, shipped_at, flags = rest
    opened, sealed, outer, iced, frozen = (_time(time) for time in times)
    return Sample(
        uid=uid,
        name=f"s{uid.removeprefix(f'{visit}-')}",
        kind=kind,
        seat=seat,
        tag=tag,
        length_mm=length_mm,
        family=family,
        sure=None if sure is None else bool(sure),
        gloves=gloves,
        status=status,
        void_reason=reason,
        opened_at=opened,
        sealed_at=sealed,
        outer_bagged_at=outer,
        iced_at=iced,
        frozen_at=frozen,
        shipped_at=shipped_at,
        flags=tuple(sorted(json.loads(flags))),
    )


def _time(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def entries_of(db: sqlite3.Connection, uid: str, kinds: Sequence[str] = ()) -> Iterator[LogEntry]:
    """A visit's entries, those of some kinds or all, in the order they were folded."""
    for ref, at, seat, kind, step, sample, data, supersedes, words in db.execute(_ENTRIES, (uid,)):
        if not kinds or kind in kinds:
            told = json.loads(data)
            yield LogEntry(ref, datetime.fromisoformat(at), seat, kind, step, sample, told, supersedes, words)


def _others(db: sqlite3.Connection, uid: str, pool: Pool, site: str | None, usual: Usual) -> Others:
    tags: dict[str, tuple[str, ...]] = {}
    for code, visit, sample, status in db.execute(_TWICE, (uid, *pool)):
        void = ", void" if status == "void" else ""
        tags[code] = (*tags.get(code, ()), f"visit {visit} (sample s{sample.rsplit('-', 1)[-1]}{void})")
    counts = usual.slips_of_others(uid, pool)
    return Others(
        slips=counts.slips,
        samples=counts.samples,
        visits=counts.visits,
        larva_days=usual.days_of_others(uid, pool, site, larvae=True),
        bottle_days=usual.days_of_others(uid, pool, site, larvae=False),
        tags=tags,
    )


def _rivals(
    db: sqlite3.Connection, samples: Sequence[Sample], entries: Sequence[LogEntry]
) -> Iterator[tuple[Sample, str, tuple[Taker, ...]]]:
    taken = Counter(entry.supersedes for entry in entries if entry.supersedes)
    doubtful = {entry.sample for entry in entries if entry.supersedes and taken[entry.supersedes] > 1}
    for sample in samples:
        for name in ("length_mm", "family", "tag") if sample.uid in doubtful else ():
            for takers in live_rivals(db, sample.uid, name):
                yield sample, name, tuple(takers)


def _answer_rivals(db: sqlite3.Connection, uid: str, names: Sequence[str]) -> Iterator[tuple[str, tuple[Told, ...]]]:
    for name in names:
        _, rivals = standing(told_of(db, uid, name), name)
        if rivals:
            yield name, tuple(rivals)


def _settings(db: sqlite3.Connection, book_hash: str, programme: str, site: str | None) -> Settings | None:
    """The settings a visit began with; of a visit whose flow book isn't here, those of the programme now.

    A visit that the desk moved to a site of a later list knows the programme's sites of now as well.
    """
    book = db.execute("SELECT toml FROM flow_book WHERE hash = ?", (book_hash,)).fetchone()
    settings = None
    if book is not None:
        with suppress(SettingsError):  # a book of an earlier version may hold what is no setting any more
            settings = _settings_of(book[0])
    if settings is None:
        return _settings_now(db, programme)
    if site is None or any(one.code == site for one in settings.sites):
        return settings
    return settings._replace(sites=sites_of(db, programme, settings))


def _settings_now(db: sqlite3.Connection, programme: str) -> Settings | None:
    kept = db.execute("SELECT settings FROM programme WHERE uid = ?", (programme,)).fetchone()
    return settings_from(json.loads(kept[0])) if kept else None


def sites_of(db: sqlite3.Connection, programme: str, settings: Settings | None) -> tuple[Site, ...]:
    """The programme's sites of now, and those besides that a visit began with."""
    now = _settings_now(db, programme)
    sites = {site.code: site for one in (settings, now) if one is not None for site in one.sites}
    return tuple(sites.values())


@lru_cache(maxsize=16)
def _settings_of(book: str) -> Settings:
    return settings_from(tomllib.loads(settings_text(book)))


def _digest(db: sqlite3.Connection, code: str) -> VisitRead | None:
    """What digest texts that came in tell of this visit, if any did and they can be read."""
    from guide.papers.digest import read

    texts = [text for (text,) in db.execute("SELECT text FROM digest_text WHERE code8 = ?", (code,))]
    found = [visit for visit in read(texts).visits if visit.digest.code8 == code] if texts else []
    return found[-1] if found else None


# Writing


def append_at_desk(store: Store, uid: str, entries: Sequence[Entry], now: datetime) -> None:
    """Adds the desk's entries to a visit's log, with a turn that keeps where the chain then ends."""
    turn = store.add_turn(gateway="desk", received_at=stamp(now), raw=None)
    store.append(uid, DESK, turn, now, entries)
    store.end_turn(turn, None, uid)
