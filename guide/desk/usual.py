"""What other visits tell that checks of one visit need: slips of the programme, days of samples at each site."""

import sqlite3
from collections import defaultdict
from dataclasses import dataclass, field
from typing import NamedTuple

Pool = tuple[str, bool]
"""A programme, and whether it is practice: visits of one pool are compared with each other."""

_SLIPS = (
    "WITH touched AS (SELECT DISTINCT sample FROM contamination "
    " WHERE sample IS NOT NULL AND coalesce(remedy, '') NOT IN ('no_slip', 'withdrawn')) "
    "SELECT visit.uid, programme, practice, count(*), count(touched.sample) FROM visit "
    "JOIN sample ON sample.visit = visit.uid LEFT JOIN touched ON touched.sample = sample.uid "
    "WHERE visit.status = 'closed' GROUP BY visit.uid"
)
_DAYS = (
    "SELECT DISTINCT visit.uid, programme, practice, visit.site, kind = 'larva', local_date FROM visit "
    "JOIN sample ON sample.visit = visit.uid WHERE visit.site IS NOT NULL AND sample.status = 'kept' "
    "AND kind IN ('larva', 'water', 'sediment') ORDER BY local_date"
)


class SlipCount(NamedTuple):
    """Visits, samples opened in them, and how many of those had a slip."""

    visits: int = 0
    samples: int = 0
    slips: int = 0


@dataclass
class Usual:
    """Counts of every closed visit and of each pool, and the days of kept samples at each site of a pool."""

    visits: dict[str, SlipCount] = field(default_factory=dict)
    pools: dict[Pool, SlipCount] = field(default_factory=dict)
    days: dict[tuple[Pool, str], list[tuple[str, bool, str]]] = field(default_factory=dict)

    def slips_of_others(self, uid: str, pool: Pool) -> SlipCount:
        """The pool's closed visits without this one."""
        every, own = self.pools.get(pool, SlipCount()), self.visits.get(uid, SlipCount())
        return SlipCount(*(a - b for a, b in zip(every, own, strict=True)))

    def days_of_others(self, uid: str, pool: Pool, site: str | None, larvae: bool) -> tuple[str, ...]:
        """Local dates on which other visits kept larvae, or water and sediment, at a site."""
        found = self.days.get((pool, site or ""), [])
        return tuple(dict.fromkeys(day for visit, larva, day in found if visit != uid and larva == larvae))


def read_usual(db: sqlite3.Connection) -> Usual:
    """Reads what is usual, once for any number of visits."""
    usual = Usual()
    for uid, programme, practice, samples, slips in db.execute(_SLIPS):
        pool, own = (programme, bool(practice)), SlipCount(1, samples, slips)
        usual.visits[uid] = own
        every = usual.pools.get(pool, SlipCount())
        usual.pools[pool] = SlipCount(*(a + b for a, b in zip(every, own, strict=True)))
    days = defaultdict(list)
    for uid, programme, practice, site, larva, day in db.execute(_DAYS):
        days[(programme, bool(practice)), site].append((uid, bool(larva), day))
    usual.days = dict(days)
    return usual
