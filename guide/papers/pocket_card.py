"""A card for a group's pocket: how to begin, the words that work anywhere, and what to mind."""

from collections.abc import Sequence
from dataclasses import dataclass

from guide.papers.sheet_base import PAGES, Sheet

CARD_WORDS = {
    "?": "why this step, and how to answer",
    "BACK": "asks the last question again",
    "OOPS": "something touched something; no blame",
    "PAUSE, GO": "wait, go on; safety clocks run on",
    "WHERE": "where you are, how many are done",
    "NOTE ...": "your words, kept with the visit",
    "FIX 26": "puts a wrong answer right",
    "FASTER": "fewer texts a larva; SLOWER: more help",
    "SWAP": "clean and dirty change places",
    "DESK ...": "a question to the coordinator",
    "JOIN ...": "another phone takes the talk over",
    "STOP": "no more texts; START brings them back",
}
"""DANGER stands by itself on the card."""


@dataclass(frozen=True)
class Card:
    """What a group's card says. ``number`` is what it texts to, ``word`` its join word in parts."""

    programme: str
    group: str
    site: str
    number: str
    word: str
    emergency: str
    practice: bool


def pocket_cards(cards: Sequence[Card], page: str = "a4") -> bytes:
    """Cards as PDF, four on a page with lines to cut along."""
    sheet = Sheet(page, "Pocket cards")
    width, height = PAGES[page][0] / 2, PAGES[page][1] / 2
    for place, card in enumerate(cards):
        row, column = divmod(place % 4, 2)
        if place % 4 == 0:
            sheet.add_page()
            sheet.rule(width, 0, width, 2 * height, dashed=True)
            sheet.rule(0, height, 2 * width, height, dashed=True)
        _card(sheet, card, column * width + 7, row * height + 6, width - 14)
    return bytes(sheet.output())


def _card(sheet: Sheet, card: Card, x: float, y: float, width: float) -> None:
    sheet.text_style(8.5)
    sheet.put(x, y, f"{card.programme}{', PRACTICE' if card.practice else ''}", width)
    sheet.text_style(15, bold=True)
    sheet.put(x, y + 4.2, card.group, width)
    if card.site:
        sheet.text_style(8.5)
        sheet.put(x, y + 10.6, card.site, width)
    y = _begin(sheet, card, (x, y + 15.5), width)
    y = _words(sheet, (x, y + 3.5), width)
    _cautions(sheet, card, (x, y + 2.5), width)


def _begin(sheet: Sheet, card: Card, at: tuple[float, float], width: float) -> float:
    x, y = at
    sheet.set_line_width(0.5)
    sheet.rect(x, y, width, 23)
    sheet.set_line_width(0.2)
    sheet.text_style(8.5)
    sheet.put(x + 3, y + 2, "At the water, from one phone, text", width - 6)
    sheet.text_style(16, bold=True)
    sheet.put(x + 3, y + 6, f"JOIN {card.word}", width - 6)
    sheet.text_style(8.5)
    sheet.put(x + 3, y + 14, "to", 5)
    sheet.text_style(13, bold=True)
    sheet.put(x + 8, y + 13.2, card.number, width - 11)
    sheet.text_style(7)
    sheet.put(
        x + 3, y + 19.2, "60 to 120 texts a visit, at your carrier's price. The word is for this group only.", width - 6
    )
    return y + 23


def _words(sheet: Sheet, at: tuple[float, float], width: float) -> float:
    x, y = at
    sheet.text_style(9, bold=True)
    sheet.put(x, y, "These work at any step", width)
    y += 4.6
    for word, meaning in CARD_WORDS.items():
        sheet.text_style(8.5, bold=True)
        sheet.put(x, y, word, 20)
        sheet.text_style(8.5)
        sheet.put(x + 21, y, meaning, width - 21)
        y += 3.9
    return y


CAUTIONS = (
    "Then text DANGER. Nobody watches this number for emergencies. Thunder: out, into a building or a hard-topped car, "
    "30 minutes from the last rumble. Nobody alone in the water; under 18 on the bank, each with their own adult.",
    "Dirty hands holds the phone; clean hands touches spoon, inner bag and larva only. Bleach: gloves, eyes, fresh "
    "air, far from water, never with acids, vinegar or ammonia. Permit, landowner, label and trained people decide.",
)


def _cautions(sheet: Sheet, card: Card, at: tuple[float, float], width: float) -> None:
    x, y = at
    sheet.set_fill_color(0)
    sheet.rect(x, y, width, 6.5, style="F")
    sheet.text_style(10, bold=True)
    sheet.set_text_color(255)
    sheet.put(x + 3, y + 1.4, f"Hurt or in danger? Out of the water, call {card.emergency}.", width - 6)
    sheet.text_style(7.8)
    y += 8.2
    for caution in CAUTIONS:
        y = sheet.put_lines(x, y, caution, width, 1.18) + 0.8
