"""A real Kannel with its fake SMSC, and the phones on the other side of it. Runs in a network namespace of its own."""

import contextlib
import signal
import socket
import subprocess
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote, unquote_to_bytes

CONFIG = """\
group = core
admin-port = 13000
admin-interface = "127.0.0.1"
admin-password = adminpw
smsbox-port = 13001
smsbox-interface = "127.0.0.1"
box-deny-ip = "*.*.*.*"
box-allow-ip = "127.0.0.1"
store-type = spool
store-location = "{folder}/spool"
dlr-storage = internal
sms-combine-concatenated-mo-timeout = 10

group = smsc
smsc = fake
smsc-id = FAKE
host = 127.0.0.1
port = 10000
connect-allow-ip = 127.0.0.1

group = smsbox
bearerbox-host = 127.0.0.1
sendsms-port = 13013
sendsms-interface = "127.0.0.1"
mo-recode = true
max-pending-requests = 1
http-timeout = 10
http-request-retry = 1000
http-queue-delay = 1
reply-couldnotfetch = ""
reply-requestfailed = ""

group = sendsms-user
username = tester
password = foobar
max-messages = 10
concatenation = true

group = sms-service
name = app
keyword = default
catch-all = true
get-url = "http://127.0.0.1:8090/texts?token={token}&id=%I&from=%p&to=%P&text=%b&ts=%T"
max-messages = 10
concatenation = true
omit-empty = true
accept-x-kannel-headers = true
"""
STATUS = "http://127.0.0.1:13000/status.txt?password=adminpw"


def wait_for(what: Callable[[], object], seconds: float, why: str) -> None:
    """Waits until ``what`` is true; fails with ``why``."""
    until = time.monotonic() + seconds
    while not what():
        if time.monotonic() > until:
            raise AssertionError(f"waited {seconds:g} s in vain: {why}")
        time.sleep(0.05)


def fetched(url: str) -> str:
    """What an address answers; nothing if it doesn't."""
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:
            return str(answer.read().decode())
    except (OSError, urllib.error.URLError):
        return ""


@dataclass
class Kannel:
    """The two daemons, started and stopped by their process ids."""

    folder: Path
    token: str
    running: dict[str, "subprocess.Popen[bytes]"] = field(default_factory=dict)

    def start(self) -> None:
        """Starts both and waits until they talk to each other."""
        (self.folder / "spool").mkdir(exist_ok=True)
        (self.folder / "kannel.conf").write_text(CONFIG.format(folder=self.folder, token=self.token))
        self.start_one("bearerbox")
        wait_for(lambda: fetched(STATUS), 10, "bearerbox")
        self.start_one("smsbox")
        self.wait_until_joined()

    def start_one(self, name: str) -> None:
        """Starts bearerbox or smsbox."""
        with (self.folder / f"{name}.log").open("ab") as log:
            self.running[name] = subprocess.Popen(
                [f"/usr/sbin/{name}", str(self.folder / "kannel.conf")],
                stdout=log,
                stderr=log,
                stdin=subprocess.DEVNULL,
            )

    def wait_until_joined(self) -> None:
        """Until smsbox is connected to bearerbox."""
        wait_for(self.joined, 20, "smsbox on-line")

    def kill_bearerbox(self) -> None:
        """kill -9, and a start anew; smsbox, which may panic over it, is started again as its service would be."""
        self.running["bearerbox"].send_signal(signal.SIGKILL)
        self.running["bearerbox"].wait()
        self.start_one("bearerbox")
        wait_for(lambda: fetched(STATUS), 10, "bearerbox")
        wait_for(self._joined_or_restarted, 30, "smsbox on-line after bearerbox was killed")

    def _joined_or_restarted(self) -> bool:
        if self.running["smsbox"].poll() is not None:
            self.start_one("smsbox")
        return self.joined()

    def joined(self) -> bool:
        """Whether smsbox is connected to bearerbox."""
        status = fetched(STATUS)
        return "smsbox" in status and "on-line" in status

    def stop(self) -> None:
        """Ends both."""
        for process in reversed(self.running.values()):
            process.terminate()
        for process in self.running.values():
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()


class Phones:
    """All phones: one connection to the fake SMSC, which has room for one. Long texts go and come in parts."""

    def __init__(self) -> None:
        self.got: dict[str, list[str]] = {}
        self._parts: dict[tuple[str, bytes], dict[int, str]] = {}
        self._reference = 0
        self.connect()

    def connect(self) -> None:
        """Connects, again after a bearerbox was killed."""
        until = time.monotonic() + 15
        while True:
            try:
                self._socket = socket.create_connection(("127.0.0.1", 10000), timeout=5)
                break
            except OSError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.1)
        self._socket.settimeout(None)
        threading.Thread(target=self._listen, args=(self._socket,), daemon=True).start()

    def send(self, number: str, words: str) -> None:
        """One text from a phone, as a phone would send it: GSM, UCS-2 or several parts."""
        if len(words) <= 160 and words.isascii():
            self._write(f"{number} 2020 text {words}")
        elif len(words) <= 70:
            self._write(f"{number} 2020 ucs2 {quote(words.encode('utf-16-be'), safe='')}")
        else:
            self._reference = self._reference % 255 + 1
            parts = [words[at : at + 150] for at in range(0, len(words), 150)]
            for place, part in reversed(list(enumerate(parts, 1))):
                header = bytes((5, 0, 3, self._reference, len(parts), place))
                self._write(f"{number} 2020 udh {quote(header, safe='')} {quote(part, safe='')}")

    def _write(self, line: str) -> None:
        try:
            self._socket.sendall(line.encode() + b"\n")
        except OSError:
            self.connect()
            self._socket.sendall(line.encode() + b"\n")

    def _listen(self, connection: socket.socket) -> None:
        with contextlib.suppress(ConnectionError):
            for raw in connection.makefile("rb"):
                self._take(raw.rstrip(b"\n"))

    def _take(self, line: bytes) -> None:
        _, number, kind, rest = line.split(b" ", 3)
        to = number.decode()
        if kind == b"udh":
            header, kind, rest = rest.split(b" ", 2)
            text = self._joined(to, unquote_to_bytes(header), _decoded(kind, rest))
        else:
            text = _decoded(kind, rest)
        if text is not None:
            self.got.setdefault(to, []).append(text)

    def _joined(self, to: str, header: bytes, part: str) -> str | None:
        """The whole text once its last part is here."""
        held = self._parts.setdefault((to, header[3:5]), {})
        held[header[5]] = part
        if len(held) < header[4]:
            return None
        del self._parts[(to, header[3:5])]
        return "".join(held[place] for place in sorted(held))


def _decoded(kind: bytes, rest: bytes) -> str:
    if kind == b"ucs-2":
        return unquote_to_bytes(rest).decode("utf-16-be")
    if kind == b"data":
        data = unquote_to_bytes(rest.replace(b"+", b" "))
        return data.decode("utf-16-be" if b"\0" in data else "utf-8")
    return rest.decode("utf-8", "replace")
