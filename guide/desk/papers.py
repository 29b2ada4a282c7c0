"""``desk tags sheet`` and ``desk card``: what is printed before a season."""

import re
from pathlib import Path

from guide.counted import counted
from guide.desk.groups import Group, groups_of
from guide.desk.numbers import e164
from guide.desk.programme import present
from guide.desk.tags import Pool
from guide.errors import WadelineError
from guide.flow.settings import Settings
from guide.papers.pocket_card import Card, pocket_cards
from guide.papers.sheet_base import write_new
from guide.papers.tag_sheet import Heading, Layout, Slip, tag_sheet


def print_tags(pool: Pool, to: Path, layout: Layout, site: str | None, span: tuple[str | None, str | None]) -> int:
    """Writes the sheet of a pool's free tags, of one site or from one to another."""
    names = {one.code: one.name for one in pool.settings.sites}
    if site is not None and site not in names:
        raise WadelineError(f"there is no site {site!r}; the programme has {', '.join(names) or 'none yet'}")
    first, last = span
    slips = [
        Slip(code, names.get(at or "", ""))
        for code, (status, at) in pool.tags().items()
        if status == "free" and (site is None or at == site) and (first or code) <= code <= (last or code)
    ]
    if not slips:
        raise WadelineError("there is no free tag to print; see wadeline desk tags list")
    settings = pool.settings
    heading = Heading(settings.name, settings.tag_label or settings.name, pool.practice, settings.tags.check)
    write_new(to, tag_sheet(slips, heading, layout))
    print(f"{to}: {counted(len(slips), 'tag')}, {slips[0].code} to {slips[-1].code}")
    return 0


def print_cards(record: Path, to: Path, number: str, code: str | None, page: str) -> int:
    """Writes the cards of all groups, one each, or a page of one group's."""
    store, settings, _ = present(record)
    groups = groups_of(store.db, settings.code)
    wanted = groups if code is None else [group for group in groups if group.code.casefold() == code.casefold()]
    if not wanted:
        names = ", ".join(group.code for group in groups)
        raise WadelineError(
            f"there is no group {code!r}: {names}" if groups else "there are no groups: desk groups FILE"
        )
    shown = _spaced(e164(number))
    cards = [_card(group, settings, shown) for group in wanted for _ in range(1 if code is None else 4)]
    write_new(to, pocket_cards(cards, page))
    print(f"{to}: {counted(len(cards), 'card')}, {', '.join(group.name for group in wanted[:6])}")
    return 0


def _card(group: Group, settings: Settings, number: str) -> Card:
    site = next((site.name for site in settings.sites if site.code == group.site), "")
    word = _parted(group.word, settings.join_words)
    return Card(settings.name, group.name, site, number, word, settings.emergency, settings.practice)


def _parted(word: str, known: tuple[str, ...]) -> str:
    """``OTTER 472`` for a word made of a plain word, or of two; easier to say and type, and JOIN reads it the same."""
    for first in known:
        if word.startswith(first) and word[len(first) :].isdigit():
            return f"{first} {word[len(first) :]}".upper()
        if word.startswith(first):
            found = re.fullmatch(r"([a-z]+)(\d*)", word[len(first) :])
            if found and found[1] in known:
                return " ".join(filter(None, (first, found[1], found[2]))).upper()
    return word.upper()


def _spaced(number: str) -> str:
    """A number as its country writes it, with the country code in front."""
    import phonenumbers

    parsed = phonenumbers.parse(number, None)
    return str(phonenumbers.format_number(parsed, phonenumbers.PhoneNumberFormat.INTERNATIONAL))
