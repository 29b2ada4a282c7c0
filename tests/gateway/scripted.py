"""A scripted pair: it knows nothing but ``expects`` and ``options``, and talks to a real ``wadeline pipe``."""

import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

START = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)


@dataclass
class PipeProcess:
    """A running ``wadeline pipe``, and the lines that went in and out."""

    db: Path
    args: tuple[str, ...] = ()
    command: tuple[str, ...] = (sys.executable, "-m", "guide.cli", "pipe")
    out: list[dict[str, Any]] = field(default_factory=list)

    def __enter__(self) -> "PipeProcess":
        self.process = subprocess.Popen(
            [*self.command, "--db", str(self.db), *self.args], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )
        return self

    def __exit__(self, *_: object) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        if not self.process.stdin.closed:
            self.process.stdin.close()
        self.process.stdout.close()
        self.process.wait(20)

    def send(self, line: dict[str, Any] | bytes) -> list[dict[str, Any]]:
        """Sends one line; returns all that comes out up to and with its ``handled`` or ``error``."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        raw = line if isinstance(line, bytes) else json.dumps(line).encode()
        self.process.stdin.write(raw + b"\n")
        self.process.stdin.flush()
        got: list[dict[str, Any]] = []
        while True:
            read = self.process.stdout.readline()
            if not read:
                raise EOFError("the pipe ended")
            got.append(json.loads(read))
            self.out.append(got[-1])
            if "handled" in got[-1] or "error" in got[-1]:
                return got


@dataclass
class ScriptedPair:
    """One phone that answers each text with the option that carries on."""

    pipe: PipeProcess
    number: str = "+100"
    choose: Callable[[dict[str, Any]], str] = lambda last: last["options"][0]
    now: datetime = START
    sent: int = 0
    texts: list[dict[str, Any]] = field(default_factory=list)
    talk: list[tuple[str, dict[str, Any]]] = field(default_factory=list)

    def text(self, words: str) -> list[dict[str, Any]]:
        """Sends a text; returns the answers to it."""
        self.sent += 1
        self.now += timedelta(seconds=40)
        line = {"id": f"m{self.sent}", "from": self.number, "text": words, "at": self.now.isoformat()}
        self.talk.append(("in", line))
        got = [one for one in self.pipe.send(line) if one.get("to") == self.number]
        self.talk += [("out", one) for one in got]
        self.texts += got
        return got

    def play(self, most: int = 400) -> None:
        """Plays until nothing is asked any more."""
        if not self.texts:
            self.text("hello")
        while self.texts[-1]["expects"] is not None:
            assert self.sent < most, f"no end: {self.texts[-1]}"
            self.text(self.choose(self.texts[-1]))
