"""What watches ``serve``: ``/health`` in JSON for people and restarters, ``/metrics`` in Prometheus text format."""

import sqlite3
from collections.abc import Callable, Iterator
from datetime import datetime

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from guide.gateway.sender import Sender
from guide.gateway.writer import Writer
from guide.record.store import Store

UNWELL_AFTER_S = 600


class Health:
    """Counts begin anew with each start, as Prometheus expects of counters; nothing here walks through a table."""

    def __init__(
        self, store: Store, writer: Writer, sender: Sender, refused: dict[int, int], clock: Callable[[], datetime]
    ) -> None:
        self.store, self.writer, self.sender, self.refused, self.clock = store, writer, sender, refused, clock
        self.started_at = clock()
        self._registry = CollectorRegistry()
        self._registry.register(self)
        self.app = Starlette(routes=[Route("/health", self._health), Route("/metrics", self._metrics)])

    async def _health(self, request: Request) -> Response:
        try:
            said = self.state()
        except sqlite3.Error as error:
            self.writer.trouble.met(error)
            return JSONResponse({"ok": False, "why": self.writer.trouble.why}, 503)
        return JSONResponse(said, 200 if said["ok"] else 503)

    def state(self) -> dict[str, object]:
        """How it goes: ok, or why not; texts waiting, since when none could be sent, the next timer."""
        failing_s = self._failing_s()
        why = self.writer.trouble.why
        if not why and failing_s >= UNWELL_AFTER_S:
            why = f"no text could be sent for {failing_s} s"
        timer = self.store.next_timer()
        return {
            "ok": not why,
            "why": why,
            "up_s": round((self.clock() - self.started_at).total_seconds()),
            "texts_waiting": self.sender.waiting,
            "sending_fails_for_s": failing_s,
            "next_timer_at": timer[3].isoformat() if timer else None,
        }

    def _failing_s(self) -> int:
        since = self.sender.failing_since
        return round((self.clock() - since).total_seconds()) if since else 0

    async def _metrics(self, request: Request) -> Response:
        return Response(generate_latest(self._registry), media_type=CONTENT_TYPE_LATEST)

    def collect(self) -> Iterator[Metric]:
        """The figures, read when they are asked for."""
        yield CounterMetricFamily("wadeline_texts_in", "Texts worked since the start", value=self.writer.worked)
        texts_out = CounterMetricFamily("wadeline_texts_out", "What became of texts out", labels=["status"])
        for status, count in self.sender.outbox.counts.items():
            texts_out.add_metric([status], count)
        yield texts_out
        yield GaugeMetricFamily("wadeline_texts_waiting", "Texts that wait to be sent", value=self.sender.waiting)
        refused = CounterMetricFamily("wadeline_refused", "Requests refused since the start", labels=["status"])
        for status_code, count in self.refused.items():
            refused.add_metric([str(status_code)], count)
        yield refused
        fails_s = self._failing_s()
        yield GaugeMetricFamily("wadeline_sending_fails_seconds", "Since when no text could be sent", value=fails_s)
        try:
            (visits,) = self.store.db.execute("SELECT count(*) FROM visit WHERE status = 'open'").fetchone()
            yield GaugeMetricFamily("wadeline_visits_open", "Visits that are going on", value=visits)
        except sqlite3.Error as error:
            self.writer.trouble.met(error)
        is_ok = int(not self.writer.trouble.why)
        yield GaugeMetricFamily("wadeline_record_ok", "1 while the record can be used, else 0", value=is_ok)
