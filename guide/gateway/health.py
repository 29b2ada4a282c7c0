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
from guide.record.store import Store

UNWELL_AFTER_S = 600


class Health:
    """Counts come from the record itself, so that they survive a restart."""

    def __init__(
        self, store: Store, sender: Sender | None, refused: dict[int, int], clock: Callable[[], datetime]
    ) -> None:
        self.store, self.sender, self.refused, self.clock = store, sender, refused, clock
        self.started_at = clock()
        self._registry = CollectorRegistry()
        self._registry.register(self)
        self.app = Starlette(routes=[Route("/health", self._health), Route("/metrics", self._metrics)])

    async def _health(self, request: Request) -> Response:
        try:
            said = self.state()
        except sqlite3.Error as error:
            return JSONResponse({"ok": False, "why": f"the record can't be read: {error}"}, 503)
        return JSONResponse(said, 200 if said["ok"] else 503)

    def state(self) -> dict[str, object]:
        """How it goes: ok, or why not; texts waiting, since when none could be sent, the next timer."""
        since = self.sender.failing_since if self.sender else None
        failing_s = round((self.clock() - since).total_seconds()) if since else 0
        timer = self.store.next_timer()
        return {
            "ok": failing_s < UNWELL_AFTER_S,
            "why": "" if failing_s < UNWELL_AFTER_S else f"no text could be sent for {failing_s} s",
            "up_s": round((self.clock() - self.started_at).total_seconds()),
            "texts_waiting": self.sender.waiting if self.sender else 0,
            "sending_fails_for_s": failing_s,
            "next_timer_at": timer[3].isoformat() if timer else None,
        }

    async def _metrics(self, request: Request) -> Response:
        return Response(generate_latest(self._registry), media_type=CONTENT_TYPE_LATEST)

    def collect(self) -> Iterator[Metric]:
        """The figures, read when they are asked for."""
        db = self.store.db
        texts_in = CounterMetricFamily("wadeline_texts_in", "Texts kept in the record", labels=["gateway"])
        for gateway, count in db.execute("SELECT gateway, count(*) FROM turn WHERE phone IS NOT NULL GROUP BY 1"):
            texts_in.add_metric([gateway], count)
        yield texts_in
        texts_out = GaugeMetricFamily("wadeline_texts_out", "Texts out by what became of them", labels=["status"])
        for status, count in db.execute("SELECT status, count(*) FROM outgoing GROUP BY 1"):
            texts_out.add_metric([status], count)
        yield texts_out
        refused = CounterMetricFamily("wadeline_refused", "Requests refused since the start", labels=["status"])
        for status_code, count in self.refused.items():
            refused.add_metric([str(status_code)], count)
        yield refused
        (visits,) = db.execute("SELECT count(*) FROM visit WHERE status = 'open'").fetchone()
        yield GaugeMetricFamily("wadeline_visits_open", "Visits that are going on", value=visits)
        fails_s = float(str(self.state()["sending_fails_for_s"]))
        yield GaugeMetricFamily("wadeline_sending_fails_seconds", "Since when no text could be sent", value=fails_s)
