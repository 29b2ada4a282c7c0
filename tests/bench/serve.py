"""Texts through HTTP with 1, 50, 64 and 500 phones, beside a bare Starlette application that does the same writes.

Both run in a process of their own with uvicorn, on copies of one record; the load comes from this process over kept
connections, each phone sending its next text when the last is acknowledged. The bare application reads the form, checks
the token, and executes the statements that the same number of texts led to, recorded before, in a group commit. At the
end 10,000 phones with open conversations send one text each: what the process holds then.
"""

import asyncio
import multiprocessing
import random
import resource
import signal
import socket
import sqlite3
import statistics
import sys
import time
from collections import deque
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlencode

from guide.record.open import _settings, open_record
from guide.record.store import Store
from tests.bench.durable import Recording, Trace, copy
from tests.bench.scene import START, Measured, Phones, big_book, folder, new_exchange

TEXTS, WARM_UP, PHONES, ROUNDS = 3000, 64, (1, 50, 64, 500), 3
OPEN, AT_ONCE = 10_000, 500
TOKEN = "bench-token-0123456789"
FIRST = 447_700_900_000


class Discarding:
    """A carrier that takes every text and sends none."""

    async def hand(self, text: Any) -> Any:
        from guide.gateway.sender import Handed

        return Handed("taken")

    async def close(self) -> None:
        """Nothing to let go of."""


def serve(path: Path, port: int, ready: Any, memory: Any) -> None:
    """The real server over a record, until it is killed."""
    from guide.gateway.serve import build, running
    from guide.gateway.serve_settings import ServeSettings, TextsIn

    secret = path.with_name("secret")
    secret.write_text(TOKEN)
    settings = ServeSettings(path, texts_in=TextsIn(secret_file=str(secret)))
    exchange = new_exchange(path, big_book())
    began = time.monotonic()

    def clock() -> datetime:
        """Minutes after the record's last text, so that no check-in of hundreds of pairs is due."""
        return START + timedelta(minutes=5, seconds=time.monotonic() - began)

    parts = build(settings, exchange, Discarding(), clock)  # type: ignore[arg-type]

    async def run() -> None:
        async with running(parts, clock):
            await _uvicorn(parts.texts_in.app, port, ready)  # type: ignore[union-attr]

    signal.signal(signal.SIGTERM, lambda *_: sys.exit())  # uvicorn raises the signal again once it has ended
    try:
        asyncio.run(run())
    finally:
        memory.value = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def bare(path: Path, port: int, ready: Any, trace: list[Trace]) -> None:
    """The floor: the same statements, nothing else."""
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

    db = open_record(path)
    waiting: deque[asyncio.Future[None]] = deque()
    place = 0

    def work() -> None:
        nonlocal place
        batch = [waiting.popleft() for _ in range(min(64, len(waiting)))]
        db.execute("BEGIN IMMEDIATE")
        for _ in batch:
            for sql, values in trace[place]:
                db.execute(sql, values).fetchall()
            place += 1
        db.execute("COMMIT")
        for one in batch:
            one.set_result(None)
        if waiting:
            asyncio.get_running_loop().call_soon(work)

    async def text(request: Request) -> Response:
        body = b"".join([chunk async for chunk in request.stream()])
        dict(parse_qsl(body.decode()))
        if request.headers.get("x-token") != TOKEN:
            return Response(status_code=401)
        loop = asyncio.get_running_loop()
        if not waiting:
            loop.call_soon(work)
        waiting.append(loop.create_future())
        await waiting[-1]
        return Response()

    asyncio.run(_uvicorn(Starlette(routes=[Route("/texts", text, methods=["POST"])]), port, ready))


async def _uvicorn(app: Any, port: int, ready: Any) -> None:
    import uvicorn

    config = uvicorn.Config(app, port=port, lifespan="off", log_level="error", access_log=False)
    server = uvicorn.Server(config)
    task = asyncio.create_task(server.serve())
    while not server.started:
        await asyncio.sleep(0.01)
    ready.set()
    await task


class Phone:
    """One phone on one kept connection."""

    def __init__(self, number: int, said: str) -> None:
        self.number, self.said, self.sent = f"+{number}", said, 0

    async def run(self, port: int, budget: list[int], took: list[float], stamp: str) -> None:
        """Sends texts until the budget is spent."""
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        while budget[0] > 0:
            budget[0] -= 1
            self.sent += 1
            body = urlencode(
                {"id": f"{stamp}{self.number}{self.sent}", "from": self.number, "text": f"NOTE {self.sent}"}
            )
            head = (
                f"POST /texts HTTP/1.1\r\nhost: x\r\nx-token: {TOKEN}\r\n"
                f"content-type: application/x-www-form-urlencoded\r\ncontent-length: {len(body)}\r\n\r\n"
            )
            begun = time.perf_counter()
            writer.write((head + body).encode())
            answer = await reader.readuntil(b"\r\n\r\n")
            took.append(time.perf_counter() - begun)
            if not answer.startswith(b"HTTP/1.1 200"):
                raise RuntimeError(answer.decode())
        writer.close()


async def load(port: int, phones: int, texts: int, stamp: str, first: int = FIRST) -> tuple[float, list[float]]:
    """Texts a second and the time of each, with so many phones at once."""
    took: list[float] = []
    budget = [texts]
    begun = time.perf_counter()
    await asyncio.gather(*(Phone(first + n, "").run(port, budget, took, stamp) for n in range(phones)))
    return len(took) / (time.perf_counter() - begun), took


def record_trace(base: Path) -> list[Trace]:
    """What each of the bench's texts leads to, statement by statement, with the mark that it was sent."""
    path = copy(base)
    exchange = new_exchange(path, big_book())
    exchange.store.db.close()
    db = sqlite3.connect(path, isolation_level=None, factory=Recording)
    db.trace = []
    _settings(db)
    exchange.store = Store(db)
    traces: list[Trace] = []
    phones = Phones(max(PHONES), FIRST - 1000, START + timedelta(minutes=5))
    for number in range(TEXTS + WARM_UP):
        (text,) = phones.next_texts(1)
        db.execute("BEGIN IMMEDIATE")
        db.trace.clear()
        outs = exchange.work(text._replace(text=f"NOTE {number}"), phones.now)
        exchange.store.handed_over([out.id for out in outs])
        traces.append(list(db.trace))
        db.execute("COMMIT")
    db.close()
    return traces


def prepared(base: Path, many: int = max(PHONES), texts: int = 18) -> None:
    """A record in which so many phones have sent so many texts: after 18, all are at the first larva."""
    exchange = new_exchange(base, big_book())
    phones = Phones(many, FIRST - 1000)
    for _ in range(texts):
        for outs in exchange.work_all(phones.next_texts(phones.many), phones.now):
            if isinstance(outs, Exception):
                raise outs
            phones.heard(outs)
    exchange.store.db.execute("UPDATE outgoing SET status = 'sent'")
    exchange.store.db.close()


def memory_of_many(base: Path) -> Measured:
    """What ``serve`` holds after each of 10,000 phones with an open conversation has sent a text."""
    prepared(base, OPEN, 2)

    def all_of_them(port: int) -> tuple[float, list[float]]:
        for first in range(0, OPEN, AT_ONCE):
            asyncio.run(load(port, AT_ONCE, AT_ONCE, "m", FIRST + first))
        return 0.0, []

    _, _, memory_mb = run_server(base, None, all_of_them)
    what = f"memory of wadeline serve, {OPEN:,} open conversations"
    return Measured(what, "MB", [memory_mb], reach="under 150")


def one_run(base: Path, phones: int, trace: list[Trace] | None) -> tuple[float, list[float], float]:
    """One server process under load: texts a second, the times, its memory in MB."""

    def loaded(port: int) -> tuple[float, list[float]]:
        asyncio.run(load(port, min(phones, WARM_UP), WARM_UP, "w"))
        return asyncio.run(load(port, phones, TEXTS, f"m{random.random()}"))

    return run_server(base, trace, loaded)


def run_server(
    base: Path, trace: list[Trace] | None, loaded: Callable[[int], tuple[float, list[float]]]
) -> tuple[float, list[float], float]:
    """A server process of its own on a copy of a record, the real one or the bare one, while ``loaded`` runs."""
    context = multiprocessing.get_context("spawn")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    ready, memory = context.Event(), context.Value("l", 0)
    given = (copy(base), port, ready, memory if trace is None else trace)
    process = context.Process(target=serve if trace is None else bare, args=given)
    process.start()
    ready.wait(60)
    rate, took = loaded(port)
    process.terminate()
    process.join(20)
    return rate, took, memory.value / 1024


def measure() -> list[Measured]:
    """Alternates the real server and the bare one, for each number of phones."""
    lines = []
    with folder() as place:
        base = place / "base.db"
        prepared(base)
        trace = record_trace(base)
        for phones in PHONES:
            rates: dict[str, list[float]] = {"serve": [], "bare": []}
            times: dict[str, list[float]] = {"serve": [], "bare": []}
            held: list[float] = []
            for _ in range(ROUNDS):
                for name, given in (("bare", trace), ("serve", None)):
                    rate, took, memory_mb = one_run(base, phones, given)
                    held += [memory_mb] if given is None else []
                    rates[name].append(rate)
                    times[name] += took
            for name in ("bare", "serve"):
                cut = statistics.quantiles(times[name], n=100)
                what = f"{'wadeline serve' if name == 'serve' else 'bare Starlette, same writes'}, {phones} phones"
                line = Measured(
                    f"{what} (p50 {cut[49] * 1e3:.1f} ms, p99 {cut[98] * 1e3:.1f} ms)", "texts/s", rates[name]
                )
                if name == "serve":
                    line.floor = "bare Starlette"
                    line.ratio = line.median / statistics.median(rates["bare"])
                    line.reach = "at least 0.75" if phones == 64 else ""
                lines.append(line)
        lines.append(Measured(f"memory of wadeline serve, {max(PHONES)} phones", "MB", held))
        lines.append(memory_of_many(place / "many.db"))
    return lines


if __name__ == "__main__":
    for one in measure():
        print(f"{one.what}: {one.median:.0f} {one.unit}", f"x {one.ratio:.2f}" if one.ratio else "", file=sys.stdout)
