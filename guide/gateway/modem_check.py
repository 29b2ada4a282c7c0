"""``wadeline serve --check --modem DIR``: whether the folders are as they must be, and the lines the daemon needs."""

import asyncio
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

from guide.counted import counted
from guide.errors import WadelineError
from guide.gateway.modem import FOLDERS, ModemCarrier
from guide.gateway.numbers import number_of
from guide.gateway.outbox import Waiting
from guide.gateway.serve_check import TEST_WORDS, Checked
from guide.gateway.serve_settings import others_can_read

_WAITS_LONG_S = 300

DAEMON_SETTINGS = """\
the daemon's settings file (gammu-smsdrc) needs these lines; [gammu] above them says which modem:
       [smsd]
       Service = files
       InboxPath = {folder}/inbox/
       OutboxPath = {folder}/outbox/
       SentSMSPath = {folder}/sent/
       ErrorSMSPath = {folder}/error/
       InboxFormat = detail
       DeliveryReport = no
       LoopSleep = 1
       ReceiveFrequency = 1"""


def check_modem(folder: Path, found: Checked) -> None:
    """Adds what can be known of the folders and the daemon without a text."""
    folder = folder.resolve()
    lacks = [name for name in FOLDERS if not (folder / name).is_dir()]
    if lacks:
        names = " ".join(str(folder / name) for name in lacks)
        found.wrong.append(f"{folder} lacks {', '.join(lacks)}: mkdir -p {names}, then give both users a common group")
    else:
        _check_folders(folder, found)
    _check_daemon(folder, found)
    found.look.append(DAEMON_SETTINGS.format(folder=folder))


def _check_folders(folder: Path, found: Checked) -> None:
    closed = [name for name in FOLDERS if not os.access(folder / name, os.R_OK | os.W_OK | os.X_OK)]
    if closed or not os.access(folder, os.W_OK | os.X_OK):
        names = ", ".join(closed) or "it"
        found.wrong.append(f"{folder}: we can't read and write {names}: chgrp it to a group of both, chmod 2770")
    if len({(folder / name).stat().st_dev for name in FOLDERS}) > 1:
        found.wrong.append(f"{folder}: its folders are on different disks, so that no file can be renamed across them")
    if others_can_read(folder):
        found.wrong.append(f"{folder} can be read by everybody on this machine, numbers and all: chmod o-rwx {folder}")
    if not closed:
        found.good.append(f"{folder} has {', '.join(FOLDERS)}")


def _check_daemon(folder: Path, found: Checked) -> None:
    if shutil.which("gammu-smsd") is None:
        found.wrong.append("gammu-smsd is not installed here: apt-get install gammu gammu-smsd")
    running = _running("gammu-smsd")
    if running is not None:
        words = "gammu-smsd runs" if running else "no gammu-smsd runs on this machine: texts stay where they are"
        (found.good if running else found.wrong).append(words)
    waits = _older(folder / "outbox", _WAITS_LONG_S)
    if waits:
        found.wrong.append(f"in outbox for more than 5 minutes: {counted(waits, 'text')}; the daemon takes none")
    if unread := _older(folder / "unread", 0):
        found.look.append(
            f"in {folder / 'unread'}, with no text that could be read: {counted(unread, 'file')}; look there"
        )


def _running(program: str) -> bool | None:
    """Whether a program runs; None where that can't be known."""
    names = list(Path("/proc").glob("[0-9]*/comm"))
    if not names:
        return None
    for name in names:
        try:
            if name.read_text().strip() == program:
                return True
        except OSError:  # it ended meanwhile
            continue
    return False


def _older(folder: Path, age_s: float) -> int:
    now_s = datetime.now(UTC).timestamp()
    return sum(now_s - path.lstat().st_mtime >= age_s for path in folder.glob("*")) if folder.is_dir() else 0


def send_test_by_modem(folder: Path, to: str, region: str) -> Checked:
    """Sends one test text to a number through the daemon, and waits for what becomes of it."""
    number = number_of(to, region)
    if number is None:
        raise WadelineError(f"{to!r} is no phone number; write it with its country code, such as +353...")
    now = datetime.now(UTC)
    text = Waiting(0, 0, number, TEST_WORDS, 0, now, now, None, None)
    (folder / "draft").mkdir(mode=0o700, exist_ok=True)
    carrier = ModemCarrier(folder, "check", lambda: datetime.now(UTC))
    handed = asyncio.run(carrier.hand(text))
    if handed.how == "taken":
        return Checked(good=[f"the modem sent a test text to {number}: look at that phone"])
    return Checked(wrong=[f"the test text was not sent: {handed.why}"])
