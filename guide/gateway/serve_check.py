"""``wadeline serve --check``: says in words what is reachable, what is missing and what is unsafe; ``--unit``."""

import asyncio
import os
import shutil
import socket
import sys
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from urllib.parse import urlsplit

from guide.errors import WadelineError
from guide.gateway.outbox import Waiting
from guide.gateway.serve_record import programme_of, said_of
from guide.gateway.serve_settings import ServeSettings, host_and_port, others_can_read, read_secret
from guide.lacking import lacking

PACKAGES = ("httpx", "phonenumbers", "prometheus_client", "starlette", "uvicorn")
"""What ``serve`` imports beyond what every command needs."""
TEST_WORDS = "This is a test of the sampling guide. Nothing to answer."
_LOOPBACK = ("127.0.0.1", "::1", "localhost")


@dataclass
class Checked:
    """Lines for people: what is good, what should be looked at, what is wrong."""

    good: list[str] = field(default_factory=list)
    look: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def as_text(self) -> str:
        """All lines, what is wrong last."""
        lines = [("ok    ", self.good), ("look  ", self.look), ("WRONG ", self.wrong)]
        return "\n".join(mark + line for mark, found in lines for line in found)


def check(settings: ServeSettings) -> Checked:
    """Looks at everything that can be looked at without a text."""
    found = Checked()
    _check_packages(found)
    _check_record(settings, found)
    _check_secrets(settings, found)
    _check_addresses(settings, found)
    _check_numbers(settings, found)
    return found


def _check_packages(found: Checked) -> None:
    found.wrong += [lacking(name, "serve") for name in PACKAGES if find_spec(name) is None]


def _check_record(settings: ServeSettings, found: Checked) -> None:
    record = settings.record
    try:
        found.good.append(said_of(settings, programme_of(settings)))
    except WadelineError as error:
        found.wrong.append(str(error))
    if not record.exists():
        if settings.programme is not None:
            found.look.append(f"there is no record yet at {record}: serve will begin one")
    elif others_can_read(record):
        found.wrong.append(f"{record} can be read by everybody on this machine: chmod o-rwx {record}")


def _check_numbers(settings: ServeSettings, found: Checked) -> None:
    if not settings.number:
        found.look.append("number is not set: pocket cards and answers can't say which number to text")
    if find_spec("phonenumbers") is None:
        return
    from guide.gateway.numbers import check_numbers

    try:
        check_numbers(settings.number, settings.region)
    except WadelineError as error:
        found.wrong.append(str(error))


def _check_secrets(settings: ServeSettings, found: Checked) -> None:
    named = ((settings.texts_in, "texts_in"), (settings.texts_out, "texts_out"))
    for path, table in ((part.secret_file, table) for part, table in named if part is not None and part.secret_file):
        try:
            secret = read_secret(path)
        except WadelineError as error:
            found.wrong.append(f"[{table}]: {error}")
            continue
        if others_can_read(path):
            found.wrong.append(f"the secret {path} can be read by everybody on this machine: chmod 600 {path}")
        if len(secret) < 16:
            found.look.append(f"the secret in {path} is short: 16 characters or more are hard to guess")


def _check_addresses(settings: ServeSettings, found: Checked) -> None:
    for name in ("listen", "health"):
        host, port = host_and_port(getattr(settings, name), name)
        if host not in _LOOPBACK:
            why = "health and figures are for this machine only" if name == "health" else _PLAIN
            found.wrong.append(f"{name} = {host}:{port} is open to the network: {why}")
        taken = _answers(host, port)
        (found.look if taken else found.good).append(
            f"{name}: something answers at {host}:{port} already" if taken else f"{name}: {host}:{port} is free"
        )
    if settings.texts_out is None:
        return
    url = urlsplit(settings.texts_out.url)
    port = url.port or (443 if url.scheme == "https" else 80)
    if url.scheme == "http" and url.hostname not in _LOOPBACK:
        found.wrong.append(f"[texts_out]: {url.scheme}://{url.hostname} is plain HTTP off this machine: use https")
    if _answers(url.hostname or "", port):
        found.good.append(f"[texts_out]: {url.hostname}:{port} answers")
    else:
        found.wrong.append(f"[texts_out]: nothing answers at {url.hostname}:{port}; is the gateway running?")


_PLAIN = "texts and token would cross it in plain HTTP; put a proxy with TLS in front and listen on 127.0.0.1"


def _answers(host: str, port: int) -> bool:
    try:
        with socket.create_connection((host, port), timeout=3):
            return True
    except OSError:
        return False


def send_test(settings: ServeSettings, to: str) -> Checked:
    """Sends one test text to a number."""
    from guide.gateway.numbers import number_of
    from guide.gateway.serve import http_carrier

    number = number_of(to, settings.region)
    if number is None:
        raise WadelineError(f"{to!r} is no phone number; write it with its country code, such as +353...")
    now = datetime.now(UTC)
    text = Waiting(0, 0, number, TEST_WORDS, 0, now, now, None, None)

    async def send() -> Checked:
        carrier = http_carrier(settings)
        handed = await carrier.hand(text)
        await carrier.close()
        if handed.how == "taken":
            return Checked(good=[f"the gateway took a test text to {number}: look at that phone"])
        return Checked(wrong=[f"the test text was not taken: {handed.why}"])

    return asyncio.run(send())


UNIT = """\
[Unit]
Description=Wadeline, the sampling guide by text
After=network.target

[Service]
ExecStart={command}
WorkingDirectory={folder}
User={user}
Restart=always
RestartSec=5
TimeoutStopSec=30
UMask=0077
NoNewPrivileges=true
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={writes}
PrivateTmp=true

[Install]
WantedBy=multi-user.target
"""


def unit(settings: ServeSettings, arguments: list[str], modem: Path | None = None) -> str:
    """A systemd unit that runs this same command; it may write the record's folder, and the ``modem``'s."""
    program = shutil.which(sys.argv[0]) or sys.argv[0]
    words = [str(Path(program).resolve()), "serve", *arguments]
    folder = settings.record.resolve().parent
    user = os.environ.get("SUDO_USER") or os.environ.get("USER") or "wadeline"
    writes = " ".join(_quoted(str(path.resolve())) for path in (folder, modem) if path is not None)
    return UNIT.format(command=" ".join(_quoted(word) for word in words), folder=folder, user=user, writes=writes)


def _quoted(word: str) -> str:
    """As systemd reads words: percent signs doubled, quotes around spaces."""
    word = word.replace("%", "%%")
    return f'"{word}"' if " " in word else word
