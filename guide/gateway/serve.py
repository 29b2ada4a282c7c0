"""``wadeline serve``: texts through a real gateway, for weeks, unattended. Puts the parts together and runs them."""

import asyncio
import contextlib
import errno
import logging
import signal
import socket
import sqlite3
import sys
from collections.abc import AsyncIterator, Callable, Coroutine, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import uvicorn
from starlette.types import ASGIApp, Receive, Scope, Send

from guide.errors import WadelineError
from guide.flow.model import FlowBook
from guide.gateway.exchange import Exchange
from guide.gateway.health import Health
from guide.gateway.http_in import TextsInApp
from guide.gateway.http_out import HttpCarrier, report_query
from guide.gateway.outbox import Outbox
from guide.gateway.proof import Proof
from guide.gateway.sender import Carrier, Sender
from guide.gateway.serve_record import said_of
from guide.gateway.serve_settings import ServeSettings, host_and_port, read_secret, token_for_url
from guide.gateway.trouble import is_of_the_record
from guide.gateway.writer import Writer
from guide.record.store import Store

log = logging.getLogger("wadeline")
_LONGEST_SLEEP_S = 5.0
_BROKEN_WAITS = timedelta(minutes=1)
Beside = Coroutine[Any, Any, None]


def utc_now() -> datetime:
    """The clock of a real gateway."""
    return datetime.now(UTC)


@dataclass
class Parts:
    """What serves: the exchange behind its writer, the sender, and the applications of the two ports."""

    exchange: Exchange
    writer: Writer
    sender: Sender
    texts_in: TextsInApp | None
    health: Health
    broke: bool = False

    def ends(self, task: "asyncio.Task[None]") -> None:
        """A part that broke must not leave a server that takes texts and answers none: all end, to be started anew."""
        if not task.cancelled() and (error := task.exception()) is not None:
            log.critical("a part of serve broke, and serve ends", exc_info=error)
            self.broke = True
            signal.raise_signal(signal.SIGTERM)


def build(settings: ServeSettings, exchange: Exchange, carrier: Carrier, clock: Callable[[], datetime]) -> Parts:
    """Puts the parts together over an open record."""
    outbox = Outbox(exchange.store)
    sender = Sender(outbox, carrier, clock, Random(), settings.sending)
    writer = Writer(exchange, clock, sender.wake, outbox.trouble)
    texts_in = None
    if settings.texts_in is not None:
        proof = Proof(settings.texts_in, read_secret(settings.texts_in.secret_file))
        texts_in = TextsInApp(settings.texts_in, proof, writer.take, outbox, clock, settings.region)
    health = Health(exchange.store, writer, sender, texts_in.counts.refused if texts_in else {}, clock)
    return Parts(exchange, writer, sender, texts_in, health)


def http_carrier(settings: ServeSettings) -> HttpCarrier:
    """The carrier that the settings describe; raises SettingsError."""
    takes = settings.texts_out
    if takes is None:
        raise WadelineError("[texts_out] is missing: where should answers go?")
    secret = read_secret(takes.secret_file) if takes.secret_file else ""
    query = ""
    if settings.texts_in is not None and settings.texts_in.proof_in == "query" and settings.texts_in.proof == "token":
        token = token_for_url(read_secret(settings.texts_in.secret_file), settings.texts_in.secret_file)
        query = report_query(settings.texts_in.proof_name, token)
    return HttpCarrier(takes, settings.number, secret, settings.report_url, query)


async def run_timers(parts: Parts, clock: Callable[[], datetime]) -> None:
    """Fires timers when they are due, for as long as it runs."""
    while True:
        try:
            due = _fire_due(parts, clock)
            if held := parts.exchange.hold_timers(clock()):
                log.warning("the clock was set back, and %d timers begin their minutes anew", held)
        except sqlite3.Error as error:
            parts.writer.trouble.met(error)
            due = None
        except Exception:
            log.exception("the timers could not be looked at; it is tried again")
            due = None
        wait_s = _LONGEST_SLEEP_S if due is None else (due - clock()).total_seconds()
        await asyncio.sleep(min(max(wait_s, 0.05), _LONGEST_SLEEP_S))


def _fire_due(parts: Parts, clock: Callable[[], datetime]) -> datetime | None:
    """Fires what is due; returns when the next timer is. One that breaks the program holds up no other."""
    exchange = parts.exchange
    while (due := exchange.next_due()) is not None and due <= (now := clock()):
        try:
            exchange.fire_next(now, given_time=False)
        except Exception as error:
            if is_of_the_record(error):
                raise
            log.exception("a timer could not be worked; it is tried again in a minute")
            _put_off_first(exchange.store, now)
        parts.writer.trouble.over()
        parts.sender.wake()
    return due


def _put_off_first(store: Store, now: datetime) -> None:
    timer = store.next_timer()
    if timer is not None:
        with store.transaction():
            store.set_timer(timer[1], timer[2], now + _BROKEN_WAITS)


async def watch_programme(exchange: Exchange, fresh_book: Callable[[], FlowBook | None]) -> None:
    """New visits begin with what the desk loads while this runs."""
    while True:
        await asyncio.sleep(_LONGEST_SLEEP_S)
        try:
            exchange.renew(fresh_book, utc_now())
        except (WadelineError, sqlite3.Error) as error:
            log.error("the programme that the desk loaded can't be used yet: %s", error)


@contextlib.asynccontextmanager
async def running(
    parts: Parts, clock: Callable[[], datetime], beside: Sequence[Callable[[], Beside]] = ()
) -> AsyncIterator[None]:
    """The sender, the timers and what is ``beside`` them at work; at the end what is under way is finished and the
    rest stays in the record."""
    work = [parts.sender.run(), run_timers(parts, clock), *(one() for one in beside)]
    tasks = [asyncio.create_task(one) for one in work]
    for task in tasks:
        task.add_done_callback(parts.ends)
    try:
        yield
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await parts.sender.close()


def two_ports(texts: ASGIApp, health: ASGIApp, health_port: int) -> ASGIApp:
    """One server on two ports: what comes to the health port never reaches the texts, nor the reverse."""

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        port = (scope.get("server") or ("", 0))[1]
        await (health if port == health_port else texts)(scope, receive, send)

    return app


def serve_http(settings: ServeSettings, exchange: Exchange, fresh_book: Callable[[], FlowBook | None]) -> int:
    """Serves until SIGTERM or SIGINT, then ends cleanly; returns the exit code."""
    carrier = http_carrier(settings)
    parts = build(settings, exchange, carrier, utc_now)
    if parts.texts_in is None:
        raise WadelineError("[texts_in] is missing: where do texts come from?")
    sockets = [bound(settings.listen, "listen"), bound(settings.health, "health")]
    app = two_ports(parts.texts_in.app, parts.health.app, sockets[1].getsockname()[1])
    what = said_of(settings, exchange.book.settings)
    said = f"{what}; texts come to {settings.listen}, health is on {settings.health}"
    return run_until_told(parts, app, sockets, said, [lambda: watch_programme(exchange, fresh_book)])


def run_until_told(
    parts: Parts, app: ASGIApp, sockets: list[Any], said: str, beside: Sequence[Callable[[], Beside]] = ()
) -> int:
    """Runs an application on its ports, and the work ``beside`` it, until SIGTERM or SIGINT; returns the exit code."""
    config = uvicorn.Config(
        app,
        lifespan="off",
        log_level="warning",
        access_log=False,
        limit_concurrency=2000,
        timeout_graceful_shutdown=10,
        server_header=False,
    )
    _log_to_stderr()
    log.info("%s", said)
    asyncio.run(_serve(uvicorn.Server(config), sockets, parts, beside))
    parts.exchange.store.db.close()
    return 1 if parts.broke else 0


async def _serve(
    server: uvicorn.Server, sockets: list[Any], parts: Parts, beside: Sequence[Callable[[], Beside]]
) -> None:
    for ends in (signal.SIGTERM, signal.SIGINT):
        signal.signal(ends, signal.SIG_IGN)  # the server raises them again when it is done; then nothing more ends us
    async with running(parts, utc_now, beside):
        await server.serve(sockets=sockets)


def bound(address: str, name: str) -> socket.socket:
    """A socket that listens there; raises WadelineError if another program does."""
    host, port = host_and_port(address, name)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family, backlog=2048)
    except OSError as error:
        taken = error.errno == errno.EADDRINUSE
        why = "another program listens there already" if taken else error.strerror
        raise WadelineError(f"{name} = {address}: {why}") from None


def _log_to_stderr() -> None:
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
    log.addHandler(handler)
    log.setLevel(logging.INFO)
