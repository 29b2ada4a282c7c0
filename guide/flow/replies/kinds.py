"""All reply kinds by name."""

from collections.abc import Mapping

from guide.flow.replies.base import ReplyKind
from guide.flow.replies.choosing import Choice, Choices
from guide.flow.replies.measures import Percent, Volume
from guide.flow.replies.names import FamilyKind, Tag, Text
from guide.flow.replies.numbers import Count, Distance, Duration, Length, Temperature
from guide.flow.replies.sample import Sample
from guide.flow.replies.when import Date, Time
from guide.flow.replies.yes import Done, YesNo

KINDS: Mapping[str, ReplyKind] = {
    kind.name: kind
    for kind in (
        Done(), YesNo(), Choice(), Choices(), Count(), Length(), Distance(), FamilyKind(), Tag(), Sample(), Text(),
        Temperature(), Volume(), Percent(), Duration(), Date(), Time(),
    )
}  # fmt: skip
