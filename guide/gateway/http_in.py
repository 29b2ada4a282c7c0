"""Texts in over HTTP: a request is proved, read, worked, and answered only when its text is durable."""

import json
import logging
import sqlite3
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qsl

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from guide.gateway.exchange import OtherWordsError, TextIn
from guide.gateway.numbers import number_of
from guide.gateway.outbox import Outbox
from guide.gateway.proof import Proof, ProofError
from guide.gateway.serve_settings import TextsIn

log = logging.getLogger("wadeline")
LARGEST_BODY = 64 * 1024
MOST_FIELDS = 64
LONGEST_ID = 200


@dataclass
class Counts:
    """What was refused, by status, for ``/metrics``."""

    refused: dict[int, int]


class RefusedError(Exception):
    """A request that is refused: the HTTP status, and why, in words for the log."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status = status


class TextsInApp:
    """The address that the gateway calls. ``take`` works a text and returns once it is durable."""

    def __init__(
        self,
        rules: TextsIn,
        proof: Proof,
        take: Callable[[TextIn], Awaitable[object]],
        outbox: Outbox,
        clock: Callable[[], datetime],
        region: str = "",
    ) -> None:
        self.rules, self.proof, self.take, self.outbox, self.clock = rules, proof, take, outbox, clock
        self.region = region
        self.counts = Counts({})
        methods = [rules.method]
        self.app = Starlette(
            routes=[
                Route(rules.path, self._text, methods=methods),
                Route(rules.reports_path, self._report, methods=["GET", "POST"]),
            ],
            exception_handlers={HTTPException: self._http_error},  # type: ignore[dict-item]
        )

    async def _http_error(self, request: Request, error: HTTPException) -> Response:
        return self._refuse(request, RefusedError(error.status_code, f"{request.method} is not what this path takes"
                            if error.status_code == 405 else "there is no such path"), error.headers)  # fmt: skip

    def _refuse(self, request: Request, error: RefusedError, headers: Mapping[str, str] | None = None) -> Response:
        """One line in the log, a status and one word to the sender."""
        self.counts.refused[error.status] = self.counts.refused.get(error.status, 0) + 1
        sender = request.client.host if request.client else "?"
        log.warning("refused %d from %s on %r: %s", error.status, sender, request.url.path[:80], error)
        return PlainTextResponse("refused\n", error.status, headers)

    def _not_now(self) -> Response:
        """The gateway must bring it again. Whoever met the trouble with the record said so, once for all requests."""
        self.counts.refused[503] = self.counts.refused.get(503, 0) + 1
        return PlainTextResponse("refused\n", 503)

    async def _text(self, request: Request) -> Response:
        try:
            fields, used = await self._fields(request, self.rules.body)
            text = self._text_of(fields)
            if used and text.ext_id is None and self.proof.used_before(used, self.clock()):
                raise RefusedError(409, "a request without a message id was replayed")
            if text.number:
                await self.take(text)
        except RefusedError as error:
            return self._refuse(request, error)
        except OtherWordsError as error:
            return self._refuse(request, RefusedError(409, str(error)))
        except sqlite3.Error:
            return self._not_now()
        except Exception:
            log.exception("a text could not be worked; nothing of it was kept, the gateway will bring it again")
            return self._refuse(request, RefusedError(500, "a text could not be worked"))
        return Response(self.rules.answer_body, self.rules.answer_status, media_type=self.rules.answer_type)

    async def _report(self, request: Request) -> Response:
        try:
            fields, _ = await self._fields(request, "query" if request.method == "GET" else self.rules.body)
            text_id, status = fields.get(self.rules.names.get("id", "id"), ""), _status(fields, self.rules)
            if not text_id.removeprefix("t").isdecimal() or not text_id.isascii() or len(text_id) > 18:
                raise RefusedError(400, "a report needs the id of one of our texts")
            known = self.rules.delivered + self.rules.undelivered
            if status in known:
                delivered = status in self.rules.delivered
                why = f"the gateway reports that it did not arrive (status {status[:20]})"
                if not self.outbox.report(int(text_id.removeprefix("t")), delivered, why, self.clock()):
                    raise RefusedError(404, "a report for a text that isn't ours")
        except RefusedError as error:
            return self._refuse(request, error)
        except sqlite3.Error:
            return self._not_now()
        return Response(status_code=200)

    async def _fields(self, request: Request, body: str) -> tuple[dict[str, str], str]:
        """The fields of a request that has proved itself, and its signature."""
        signed = request.url.query.encode() if body == "query" else await _body(request)
        query = _parsed(request.scope["query_string"], "replace")
        try:
            used = self.proof.check(request.headers, query, signed, self.clock())
        except ProofError as error:
            raise RefusedError(401, str(error)) from None
        try:
            return (_from_json(signed) if body == "json" else _parsed(signed)), used
        except UnicodeDecodeError:
            raise RefusedError(self.rules.unreadable_status, "it is not UTF-8") from None

    def _text_of(self, fields: Mapping[str, str]) -> TextIn:
        names = self.rules.names
        if names["from"] not in fields or names["text"] not in fields:
            raise RefusedError(400, f"a text needs the fields {names['from']} and {names['text']}")
        ext_id = fields.get(names["id"]) or None
        if ext_id is not None and len(ext_id) > LONGEST_ID:
            raise RefusedError(400, f"a message id has at most {LONGEST_ID} characters")
        number = number_of(fields[names["from"]], self.region)
        if number is None:
            log.warning("a text from %r was passed over: that is no phone's number", fields[names["from"]][:30])
        sent_at = _time(fields.get(names.get("sent_at", ""), ""))
        return TextIn(number or "", fields[names["text"]], ext_id, sent_at, "number")


async def _body(request: Request) -> bytes:
    """The body, never more of it than is taken."""
    body = bytearray()
    try:
        async for chunk in request.stream():
            body += chunk
            if len(body) > LARGEST_BODY:
                raise RefusedError(413, f"the body is larger than {LARGEST_BODY} bytes")
    except ClientDisconnect:
        raise RefusedError(400, "the sender hung up") from None
    return bytes(body)


def _parsed(form: bytes, errors: str = "strict") -> dict[str, str]:
    if len(form) > LARGEST_BODY:
        raise RefusedError(413, f"the query is larger than {LARGEST_BODY} bytes")
    try:
        pairs = parse_qsl(
            form.decode("utf-8", errors), keep_blank_values=True, errors=errors, max_num_fields=MOST_FIELDS
        )
    except UnicodeDecodeError:
        raise
    except ValueError:
        raise RefusedError(400, f"it has more than {MOST_FIELDS} fields") from None
    fields = dict(pairs)
    if len(fields) != len(pairs):
        raise RefusedError(400, "it has a field twice")
    return fields


def _from_json(body: bytes) -> dict[str, str]:
    try:
        data: Any = json.loads(body.decode("utf-8"))
    except UnicodeDecodeError:
        raise
    except (ValueError, RecursionError):
        raise RefusedError(400, "its body is not JSON") from None
    if not isinstance(data, dict) or len(data) > MOST_FIELDS:
        raise RefusedError(400, "its body is not an object of a few fields")
    fields = {name: value for name, value in data.items() if isinstance(value, (str, int)) and value is not True}
    return {name: _whole(str(value)) for name, value in fields.items()}


def _whole(text: str) -> str:
    """JSON can hold half of a surrogate pair, which no database takes."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _status(fields: Mapping[str, str], rules: TextsIn) -> str:
    return fields.get(rules.names.get("status", "status"), "")


def _time(given: str) -> str | None:
    """The time a gateway gives, ISO 8601 or Unix seconds, as UTC ISO 8601; None if it gives none that can be read."""
    try:
        if given.isascii() and given.isdigit() and 9 <= len(given) <= 10:
            return datetime.fromtimestamp(int(given), UTC).isoformat()
        at = datetime.fromisoformat(given.strip())
        return (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(UTC).isoformat()
    except (ValueError, OverflowError):
        return None
