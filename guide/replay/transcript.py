r"""A transcript: a whole conversation in plain text, for people to read and for the program to play again.

It reads like a conversation in a book::

    A larva that was too short                     the title: the first line

    # What to notice: nobody argues with the line. a remark, on a line of its own
    seed 1                                         the head: makes words and codes the same each time
    start 2026-07-04T09:00Z                        when it begins; clock times below are in this zone
    phones pair, second phone                      who texts, by role; left out, it is one phone, the pair
    lossy                                          only if the channel loses texts

    09:00 pair: hello                              a text: the clock, who, the words
          BOTH: which water is it? ...             what the guide answers, a line a text, indented
    09:05:10 pair: 01428 27 darner\n01431 31 skimmer
          to second phone: ALL: ...                a text to another phone than the one that texted last
          09:11 ALL: 6 minutes at this spot. ...   a text that a timer sent later, with its clock
    wait 30 min                                    nobody texts; timers go on
    09:45 pair again                               the phone's last text comes a second time, with its message id
    restart                                        the program was killed; the record is opened again
    2026-07-05 08:00 pair: 3                       past midnight, the day stands before the clock

    expect kept 12                                 what must stand in the record at the end: see ``expect.py``

In a text ``\n`` is a line's end, ``\s`` a space at either end, and a backslash before any other character means that
character. The mark that closes a visit is the head of a chain of hashes with random salts, another one each time;
where it stands in a text of the guide it is written ``********``, and held against the record before it is.
"""

import re
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from guide.errors import WadelineError
from guide.replay.expect import PatternError, read_expect

INDENT = " " * 6
"""As wide as a clock, so that the guide's lines stand under the words of who texted."""

_CLOCK = r"\d\d:\d\d(?::\d\d)?"
_TEXT = re.compile(rf"(?:(\d{{4}}-\d\d-\d\d) )?({_CLOCK}) ([^:]+?)(?:( again)|:(?: (.*))?)")
_LATER = re.compile(rf"({_CLOCK}) ")
_WAIT = re.compile(r"wait (\d{1,5}) min")
_EXAMPLE = "09:00 pair: hello"


class TranscriptError(WadelineError):
    """A line of a transcript can't be read. ``file`` and ``line`` say where."""

    def __init__(self, file: str, line: int, reason: str) -> None:
        self.file, self.line, self.reason = file, line, reason
        super().__init__(f"{file}:{line}: {reason}")


@dataclass(frozen=True)
class Remark:
    """A remark or an empty line, kept as it is."""

    raw: str


@dataclass(frozen=True)
class Head:
    """A line of the head, kept as it is."""

    raw: str


@dataclass(frozen=True)
class Expect:
    """What must stand in the record at the end; its line is never rewritten."""

    raw: str
    line: int = field(default=0, compare=False)

    @property
    def words(self) -> list[str]:
        """The words behind ``expect``."""
        return self.raw.split()[1:]


@dataclass(frozen=True)
class GuideLine:
    """A text of the guide. ``to`` is None for the phone that texted last; ``at`` is None unless a timer sent it."""

    text: str
    to: str | None = None
    at: datetime | None = None
    line: int = field(default=0, compare=False)


@dataclass(frozen=True)
class Beat:
    """Something that happens at ``at``, and what the guide says until the next.

    ``act`` is text, again, wait or restart; the first two have a ``phone``, a text its ``words``, a wait ``minutes``.
    """

    act: str
    at: datetime
    phone: str = ""
    words: str = ""
    minutes: int = 0
    guide: tuple[GuideLine, ...] = ()
    line: int = field(default=0, compare=False)


Item = Remark | Head | Beat | Expect


@dataclass(frozen=True)
class Transcript:
    """A whole conversation, item by item as the lines stand in the file."""

    title: str
    seed: int
    start: datetime
    phones: tuple[str, ...]
    lossy: bool
    items: tuple[Item, ...]

    @property
    def beats(self) -> list[Beat]:
        """What happens, in order."""
        return [item for item in self.items if isinstance(item, Beat)]

    @property
    def expects(self) -> list[Expect]:
        """What must stand in the record at the end."""
        return [item for item in self.items if isinstance(item, Expect)]

    def with_guide(self, said: list[tuple[GuideLine, ...]]) -> "Transcript":
        """The same conversation with other lines of the guide, a tuple for each beat; nothing else changes."""
        lines = iter(said)
        items = tuple(replace(i, guide=next(lines)) if isinstance(i, Beat) else i for i in self.items)
        return replace(self, items=items)


# Print


def show(transcript: Transcript) -> str:
    """A transcript as its file's text; parsing it again gives the same transcript."""
    lines, day = [transcript.title], transcript.start.date()
    for item in transcript.items:
        if isinstance(item, Beat):
            lines.append(_show_beat(item, "" if item.at.date() == day else f"{item.at:%Y-%m-%d} "))
            lines += [INDENT + _show_guide(line, transcript.phones) for line in item.guide]
            day = item.at.date()
        else:
            lines.append(item.raw)
    return "\n".join(lines) + "\n"


def clock(at: datetime) -> str:
    """The time of day, with seconds only where there are some."""
    return at.strftime("%H:%M:%S" if at.second else "%H:%M")


def _show_beat(beat: Beat, day: str) -> str:
    if beat.act == "wait":
        return f"wait {beat.minutes} min"
    if beat.act == "restart":
        return "restart"
    who = f"{day}{clock(beat.at)} {beat.phone}"
    return f"{who} again" if beat.act == "again" else f"{who}: {_escape(beat.words)}".rstrip(" ")


def _show_guide(line: GuideLine, phones: tuple[str, ...]) -> str:
    when = f"{clock(line.at)} " if line.at else ""
    whom = f"to {line.to}: " if line.to else ""
    text = _escape(line.text)
    if not whom and ((not when and _LATER.match(text)) or any(text.startswith(f"to {p}: ") for p in phones)):
        text = "\\" + text
    return f"{when}{whom}{text}"


def _escape(text: str) -> str:
    text = text.replace("\\", "\\\\").replace("\n", "\\n")
    if text.startswith(" "):
        text = "\\s" + text[1:]
    return text[:-1] + "\\s" if text.endswith(" ") else text


def _unescape(text: str) -> str:
    return re.sub(r"\\(.)", lambda found: {"n": "\n", "s": " "}.get(found[1], found[1]), text)


# Parse


def parse(text: str, file: str = "transcript") -> Transcript:
    """Reads a transcript; raises TranscriptError with the file, the line and what to write instead."""
    return _Parser(file).parse(text)


class _Parser:
    """Reads line after line and knows what time it is."""

    def __init__(self, file: str) -> None:
        self.file, self.line = file, 0
        self.seed = 1
        self.start: datetime | None = None
        self.now = datetime.min.replace(tzinfo=UTC)
        self.phones: tuple[str, ...] = ("pair",)
        self.lossy = False
        self.items: list[Item] = []

    def parse(self, text: str) -> Transcript:
        title, *lines = text.removeprefix("\ufeff").removesuffix("\n").split("\n")
        self.line = 1
        if not title.strip() or title.startswith(("#", " ")):
            raise self._error("the first line must be the title")
        for self.line, raw in enumerate(lines, 2):
            self._take(raw.rstrip(" \t\r"))
        if self.start is None:
            raise self._error("the head must say when it begins: start 2026-07-04T09:00Z")
        return Transcript(title.rstrip(), self.seed, self.start, self.phones, self.lossy, tuple(self.items))

    def _error(self, reason: str) -> TranscriptError:
        return TranscriptError(self.file, self.line, reason)

    def _take(self, raw: str) -> None:
        word = raw.split(" ", 1)[0]
        if not raw or raw.startswith("#"):
            self.items.append(Remark(raw))
        elif raw[0] in " \t":
            self._guide(raw.strip(" \t"))
        elif word in ("seed", "start", "phones", "lossy"):
            self._head(word, raw[len(word) :].strip())
            self.items.append(Head(raw))
        elif word == "expect":
            self._expect(raw)
        else:
            self._beat(raw)

    def _head(self, word: str, value: str) -> None:
        if any(isinstance(item, Beat) for item in self.items):
            raise self._error(f"{word} belongs to the head, before the first text")
        if word == "seed":
            if not re.fullmatch(r"\d{1,9}", value):
                raise self._error("seed takes a whole number: seed 1")
            self.seed = int(value)
        elif word == "start":
            self.start = self.now = self._time(value)
        elif word == "phones":
            self.phones = self._names(value)
        else:
            self.lossy = True

    def _time(self, value: str) -> datetime:
        try:
            at = datetime.fromisoformat(value)
        except ValueError:
            raise self._error(f"{value!r} is no time; write it like 2026-07-04T09:00Z") from None
        return at if at.tzinfo else at.replace(tzinfo=UTC)

    def _names(self, value: str) -> tuple[str, ...]:
        names = tuple(name.strip() for name in value.split(","))
        if not all(re.fullmatch(r"[a-z][a-z ]*", n) and not n.endswith(" again") for n in names):
            raise self._error("phones takes roles in small letters: phones pair, second phone")
        return names

    def _expect(self, raw: str) -> None:
        try:
            read_expect(raw.split()[1:])
        except PatternError as error:
            raise self._error(str(error)) from None
        self.items.append(Expect(raw, self.line))

    def _beat(self, raw: str) -> None:
        if self.start is None:
            raise self._error("the head must say when it begins, before the first text: start 2026-07-04T09:00Z")
        if any(isinstance(item, Expect) for item in self.items):
            raise self._error("expect lines come last; move this line above them")
        if found := _WAIT.fullmatch(raw):
            self.now += timedelta(minutes=int(found[1]))
            beat = Beat("wait", self.now, minutes=int(found[1]), line=self.line)
        elif raw == "restart":
            beat = Beat("restart", self.now, line=self.line)
        elif found := _TEXT.fullmatch(raw):
            beat = self._text(found)
        else:
            raise self._error(f"this line can't be read; write a text like '{_EXAMPLE}', or wait 30 min, or restart")
        self.items.append(beat)

    def _text(self, found: re.Match[str]) -> Beat:
        day, hour, phone, again, words = found.groups()
        if phone not in self.phones:
            raise self._error(
                f"no phone is called {phone!r}; name it in the head: phones {', '.join(self.phones)}, ..."
            )
        at = self._at(hour, day)
        if at < self.now:
            later = f"{at + timedelta(days=1):%Y-%m-%d} {hour}"
            raise self._error(f"{hour} is before {clock(self.now)}, the line above; past midnight, write {later}")
        self.now = at
        if not again:
            return Beat("text", at, phone, _unescape(words or ""), line=self.line)
        if not any(beat.act == "text" and beat.phone == phone for beat in self.items if isinstance(beat, Beat)):
            raise self._error(f"{phone} has sent no text yet that could come again")
        return Beat("again", at, phone, line=self.line)

    def _at(self, hour: str, day: str | None = None) -> datetime:
        """A clock's time, on the day that it is now or on another."""
        try:
            return datetime.fromisoformat(f"{day or self.now.date()}T{hour}").replace(tzinfo=self.now.tzinfo)
        except ValueError:
            raise self._error(f"{day or ''} {hour} is no time of a day".replace("  ", " ")) from None

    def _guide(self, words: str) -> None:
        beat = next((item for item in reversed(self.items) if not isinstance(item, Remark)), None)
        if not isinstance(beat, Beat):
            raise self._error(f"an indented line is the guide's answer to a text above it, such as '{_EXAMPLE}'")
        at = None
        if found := _LATER.match(words):
            begun = beat.at - timedelta(minutes=beat.minutes)
            at, words = self._at(found[1], str(begun.date())), words[found.end() :]
            at += timedelta(days=1 if at < begun else 0)
        to = next((phone for phone in self.phones if words.startswith(f"to {phone}: ")), None)
        words = words.removeprefix(f"to {to}: ")
        line = GuideLine(_unescape(words), to, at, self.line)
        self.items[self.items.index(beat)] = replace(beat, guide=(*beat.guide, line))
