"""Who may talk over a number that anybody can text, and how much at once.

Without a door (the terminal, the pipe) every phone that texts begins a visit. With one, a phone needs a word: its
group's, or that of a visit that is going on.
"""

from dataclasses import dataclass, field
from datetime import datetime

_MOST_KNOWN = 10_000


@dataclass(frozen=True)
class DoorRules:
    """A number's rules. ``same_within_s``: the same words without an id, so soon, are one text sent twice.

    ``texts_a_minute`` of one phone and ``all_a_minute`` of phones without a seat are worked; what is more is kept and
    not worked.
    """

    same_within_s: float = 3.0
    texts_a_minute: int = 40
    all_a_minute: int = 600
    told_every_h: float = 24.0


@dataclass
class _Bucket:
    left: float
    at: datetime
    told: bool = False


@dataclass
class Door:
    """The rules, and how much each phone has texted lately. Time is passed in."""

    rules: DoorRules = field(default_factory=DoorRules)
    _phones: dict[str, _Bucket] = field(default_factory=dict)
    _strangers: _Bucket | None = None

    def lets_in(self, number: str, known: bool, now: datetime) -> bool:
        """Whether a text is worked. Phones without a seat (not ``known``) share one measure beside their own."""
        if len(self._phones) > _MOST_KNOWN:
            self._forget(now)
        most = self.rules.texts_a_minute
        own = _take(self._phones.setdefault(number, _Bucket(most, now)), most, now)
        if known or not own:
            return own
        self._strangers = self._strangers or _Bucket(self.rules.all_a_minute, now)
        return _take(self._strangers, self.rules.all_a_minute, now)

    def says_slow(self, number: str) -> bool:
        """Whether a phone whose texts aren't worked is told so: once, until it has kept quiet for a while."""
        bucket = self._phones[number]
        told, bucket.told = bucket.told, True
        return not told

    def _forget(self, now: datetime) -> None:
        """Phones that were quiet for a minute have their full measure again, and needn't be remembered."""
        self._phones = {n: one for n, one in self._phones.items() if (now - one.at).total_seconds() < 60}


def _take(bucket: _Bucket, most: int, now: datetime) -> bool:
    """Takes one from a bucket that fills by ``most`` a minute, also after a clock went back."""
    passed = max((now - bucket.at).total_seconds(), 0.0)
    bucket.left = min(most, bucket.left + passed * most / 60)
    bucket.at = now
    if bucket.left < 1:
        return False
    bucket.left -= 1
    bucket.told = bucket.told and bucket.left < most / 2
    return True
