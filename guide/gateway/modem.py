"""``wadeline serve --modem DIR``: texts through a USB modem or an old phone, over the Gammu daemon's folders.

DIR holds ``inbox`` (the daemon writes, we read), ``outbox`` (we write, the daemon sends), ``sent`` and ``error`` (where
it puts what it sent, and what it couldn't), and two of ours: ``draft``, where a text out is written before it is
renamed into the outbox, and ``unread``, for inbox files that hold no text. A file of the inbox is deleted once its
text is committed: the record holds it, and a second copy would keep numbers and words where nobody looks after them.
"""

import asyncio
import contextlib
import hashlib
import logging
import os
import sqlite3
import stat
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from guide.errors import WadelineError
from guide.flow.model import FlowBook
from guide.gateway.exchange import Exchange, TextIn
from guide.gateway.modem_files import (
    HalfWrittenError,
    Letter,
    Received,
    UnreadableError,
    letters,
    outbox_file,
    outbox_name,
    read_inbox_file,
)
from guide.gateway.numbers import number_of
from guide.gateway.outbox import Waiting
from guide.gateway.sender import Handed
from guide.gateway.serve import bound, build, run_until_told, utc_now, watch_programme
from guide.gateway.serve_record import said_of
from guide.gateway.serve_settings import ServeSettings
from guide.record.store import Store

log = logging.getLogger("wadeline")
FOLDERS = ("inbox", "outbox", "sent", "error")
POLL_S = 0.5
LARGEST_FILE = 512 * 1024
"""A text has at most 255 parts, and the daemon takes about 1.5 KB for each."""
MOST_FILES = 500
WAIT_FOR_PARTS_S = 60.0
"""How long a part waits for others. The daemon has waited by then: 10 minutes unless its MultipartTimeout differs."""
HALF_WRITTEN_S = 10.0
MOST_TRIES = 8
LONGEST_WAIT_S = 60.0
"""How long a text waits at most to be tried again: what says more was noted before the clock was set back."""
LONGEST_IN_OUTBOX_S = 180.0
TIDY_S = 30.0
_INBOX = ""
"""Stands for the inbox itself among the names of its files."""
KEEP_DAYS = 7
"""What the daemon has sent, or couldn't, is kept so long to be looked at."""


def serve_modem(
    settings: ServeSettings, exchange: Exchange, folder: Path, fresh_book: Callable[[], FlowBook | None]
) -> int:
    """Serves until SIGTERM or SIGINT, then ends cleanly; returns the exit code."""
    lacks = [name for name in FOLDERS if not (folder / name).is_dir()]
    if lacks:
        raise WadelineError(
            f"{folder} lacks {', '.join(lacks)}: wadeline serve --check --modem DIR tells how it must be"
        )
    for name in ("draft", "unread"):
        (folder / name).mkdir(mode=0o700, exist_ok=True)
    carrier = ModemCarrier(folder, exchange.store.origin, utc_now)
    parts = build(replace(settings, texts_in=None, texts_out=None), exchange, carrier, utc_now)
    inbox = ModemInbox(folder, parts.writer.take, utc_now, settings.region)
    socket = bound(settings.health, "health")
    what = said_of(settings, exchange.book.settings)
    said = f"{what}; texts come and go through {folder}, health is on {settings.health}"
    beside = [
        inbox.run,
        lambda: keep_tidy(folder, exchange.store),
        lambda: watch_programme(exchange, fresh_book),
    ]
    return run_until_told(parts, parts.health.app, [socket], said, beside)


# Texts in


class ModemInbox:
    """Reads the inbox. ``take`` works a text and returns once it is durable; only then its files are deleted."""

    def __init__(
        self,
        folder: Path,
        take: Callable[[TextIn], Awaitable[object]],
        clock: Callable[[], datetime],
        region: str = "",
    ) -> None:
        self.inbox, self.unread = folder / "inbox", folder / "unread"
        self.take, self.clock, self.region = take, clock, region
        self._read: dict[str, tuple[float, int, Received]] = {}
        self._tries: dict[str, tuple[int, float]] = {}
        self._told: set[str] = set()

    async def run(self) -> None:
        """Reads until cancelled."""
        while True:
            try:
                await self.scan()
                self._told.discard(_INBOX)
            except OSError as error:
                self._say_once(_INBOX, f"the inbox can't be read, it is tried again: {error.strerror}")
            except Exception:
                log.exception("the inbox could not be read; it is tried again")
            await asyncio.sleep(POLL_S)

    async def scan(self) -> None:
        """Works the texts that are there and whole, or have waited for their missing parts long enough."""
        now_s = self.clock().timestamp()
        self._read = self._files(now_s)
        files = {name: received for name, (_, _, received) in self._read.items()}
        ready = [letter for letter in letters(files) if self._is_ready(letter, now_s)]
        await asyncio.gather(*[self._work(letter, now_s) for letter in ready])

    def _files(self, now_s: float) -> dict[str, tuple[float, int, Received]]:
        """What the inbox's files say, those that were read before from memory."""
        found: dict[str, tuple[float, int, Received]] = {}
        for name in sorted(os.listdir(self.inbox))[:MOST_FILES]:
            try:
                at = os.lstat(self.inbox / name)
                before = self._read.get(name)
                if before and before[:2] == (at.st_mtime, at.st_size):
                    found[name] = before
                elif not stat.S_ISDIR(at.st_mode):
                    found[name] = (at.st_mtime, at.st_size, read_inbox_file(name, _data_of(self.inbox / name)))
            except HalfWrittenError as error:
                if abs(now_s - at.st_mtime) > HALF_WRITTEN_S:
                    self._put_away(name, str(error))
            except UnreadableError as error:
                self._put_away(name, str(error))
            except OSError as error:
                self._say_once(name, f"the inbox file {name[:80]!r} can't be read: {error.strerror}")
        return found

    def _is_ready(self, letter: Letter, now_s: float) -> bool:
        if 0 < self._tries.get(letter.files[0], (0, 0.0))[1] - now_s <= LONGEST_WAIT_S:
            return False
        newest_s = max(self._read[name][0] for name in letter.files)
        return not letter.missing or abs(now_s - newest_s) > WAIT_FOR_PARTS_S

    async def _work(self, letter: Letter, now_s: float) -> None:
        number = number_of(letter.sender, self.region)
        if number is None:
            for name in letter.files:
                self._put_away(name, f"its sender {letter.sender[:20]!r} is no phone's number")
            return
        if letter.missing:
            log.warning("a long text came without part %s of %d", letter.missing, letter.total)
        try:
            await self.take(TextIn(number, letter.words, letter.ext_id, letter.sent_at, "number"))
        except sqlite3.Error as error:
            self._later(letter, now_s, str(error))
        except Exception as error:
            log.exception("a text could not be worked; nothing of it was kept")
            if self._later(letter, now_s, str(error)) >= MOST_TRIES:
                for name in letter.files:
                    self._put_away(name, f"it could not be worked: {error}")
        else:
            self._delete(letter, now_s)

    def _delete(self, letter: Letter, now_s: float) -> None:
        """Its text is in the record. If its files stay it is worked again later, and the record knows it."""
        try:
            for name in letter.files:
                (self.inbox / name).unlink(missing_ok=True)
                self._forget(name)
        except OSError as error:
            self._later(letter, now_s, f"its text is kept, but its file can't be deleted: {error.strerror}")

    def _later(self, letter: Letter, now_s: float, why: str) -> int:
        """The text stays in the inbox and is tried again, each time after a longer wait; returns how often it was."""
        tries = self._tries.get(letter.files[0], (0, 0.0))[0] + 1
        self._tries[letter.files[0]] = (tries, now_s + min(2.0**tries, LONGEST_WAIT_S))
        self._say_once(letter.files[0], f"a text waits in the inbox, it is tried again: {why}")
        return tries

    def _put_away(self, name: str, why: str) -> None:
        """Into ``unread``, as it is: a link stays a link."""
        to = self.unread / name
        for number in range(2, 1000):
            if not os.path.lexists(to):
                break
            to = self.unread / f"{name}.{number}"
        try:
            os.rename(self.inbox / name, to)
        except OSError as error:
            self._say_once(name, f"the inbox file {name[:80]!r} can't be put into unread: {error.strerror}")
            return
        self._forget(name)
        log.warning("the inbox file %r was put into unread: %s", name[:80], why)

    def _forget(self, name: str) -> None:
        self._tries.pop(name, None)
        self._told.discard(name)

    def _say_once(self, name: str, line: str) -> None:
        if name not in self._told and len(self._told) < MOST_FILES:
            self._told.add(name)
            log.warning("%s", line)


def _data_of(path: Path) -> bytes:
    """The bytes of a plain file that is not too large; a link is not followed."""
    if not stat.S_ISREG(os.lstat(path).st_mode):
        raise UnreadableError("it is no plain file")
    with open(os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)), "rb") as file:
        data = file.read(LARGEST_FILE + 1)
    if len(data) > LARGEST_FILE:
        raise UnreadableError(f"it is larger than {LARGEST_FILE // 1024} KB")
    return data


# Texts out


class ModemCarrier:
    """Puts a text into the outbox and waits for what becomes of it.

    A text's file has the same name at each try, made of its id, the record's and its words: a text that lies in
    ``outbox`` or ``sent`` already is not written again, whoever was killed in between. Since ``hand`` ends only when
    the daemon is done, the next text to that phone is written after it, and may still turn out to be stale.
    """

    def __init__(self, folder: Path, origin: str, clock: Callable[[], datetime]) -> None:
        self.folder, self.origin, self.clock = folder, origin, clock

    def name_of(self, text: Waiting) -> str:
        """The name of a text's file. News and alarms, which answer nothing, go before answers."""
        words = hashlib.sha256(text.text.encode("utf-8")).hexdigest()[:8]
        mark = f"{self.origin}-{text.id}-{words}"
        return outbox_name(text.number, text.made_at, text.answers is None, mark)

    async def hand(self, text: Waiting) -> Handed:
        """Hands over one text; what the daemon couldn't send may go later: it doesn't tell a wrong number apart."""
        name = self.name_of(text)
        try:
            if not self._is_at(name, "outbox") and not self._is_at(name, "sent"):
                self._put(name, text)
            return await self._end_of(name)
        except OSError as error:
            return Handed("later", f"the modem's folders can't be used: {error.strerror}")

    def _is_at(self, name: str, where: str) -> bool:
        return os.path.lexists(self.folder / where / name)

    def _put(self, name: str, text: Waiting) -> None:
        draft, outbox = self.folder / "draft" / name, self.folder / "outbox" / name
        with open(draft, "wb") as file:
            file.write(outbox_file(text.number, text.text, text.id))
            file.flush()
            _share(file.fileno(), outbox.parent)
            os.fsync(file.fileno())
        (self.folder / "error" / name).unlink(missing_ok=True)
        os.rename(draft, outbox)
        _sync(outbox.parent)

    async def _end_of(self, name: str) -> Handed:
        until = self.clock() + timedelta(seconds=LONGEST_IN_OUTBOX_S)
        gone = False
        while self.clock() < until:
            if self._is_at(name, "sent"):
                return Handed("taken")
            if self._is_at(name, "error"):
                return Handed("later", "the modem could not send it: no network, no credit, or a wrong number")
            if gone:
                log.warning("the modem's daemon took a text and kept no file of it in sent or error; see --check")
                return Handed("taken")
            gone = not self._is_at(name, "outbox")
            await asyncio.sleep(POLL_S)
        return Handed("later", f"the modem's daemon left it in outbox for {LONGEST_IN_OUTBOX_S:g} s: does it run?")

    async def close(self) -> None:
        """Nothing is held open."""


def _share(file: int, folder: Path) -> None:
    """Lets the daemon, often of another user, read a file: through the group of the folder it is for."""
    if os.name == "posix":
        with contextlib.suppress(PermissionError):
            os.chown(file, -1, folder.stat().st_gid)
        os.fchmod(file, 0o660)


def _sync(folder: Path) -> None:
    """A rename is on the disk once its folder is; where folders can't be opened there is nothing to do."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


# Keeping the folders tidy


async def keep_tidy(folder: Path, store: Store) -> None:
    """Tidies until cancelled."""
    while True:
        try:
            tidy(folder, store, utc_now())
        except (OSError, sqlite3.Error) as error:
            log.warning("the modem's folders could not be tidied: %s", error)
        await asyncio.sleep(TIDY_S)


def tidy(folder: Path, store: Store, now: datetime) -> None:
    """Takes texts that were given up or are stale out of the outbox, and deletes old ones of ours elsewhere."""
    for path in _ours(folder / "outbox", store.origin):
        status = _status(store, path.name)
        if status in ("dropped", "failed"):
            path.unlink(missing_ok=True)
            log.warning("text t%d was taken out of the outbox: it is %s", _id_in(path.name), status)
    before_s = (now - timedelta(days=KEEP_DAYS)).timestamp()
    for path in [*_ours(folder / "sent", store.origin), *_ours(folder / "error", store.origin)]:
        if path.lstat().st_mtime < before_s and _status(store, path.name) not in (None, "waiting"):
            path.unlink(missing_ok=True)
    for path in (folder / "draft").iterdir():
        if path.lstat().st_mtime < now.timestamp() - 60:
            path.unlink(missing_ok=True)


def _status(store: Store, name: str) -> str | None:
    row = store.db.execute("SELECT status FROM outgoing WHERE id = ?", (_id_in(name),)).fetchone()
    return row[0] if row else None


def _ours(folder: Path, origin: str) -> list[Path]:
    return [path for path in folder.glob(f"OUT*_{origin}-*.smsbackup") if _id_in(path.name)]


def _id_in(name: str) -> int:
    """The id of our text in a file's name; 0 if there is none."""
    number = name.rpartition("_")[2].split("-")[1:2]
    return int(number[0]) if number and number[0].isdecimal() else 0
