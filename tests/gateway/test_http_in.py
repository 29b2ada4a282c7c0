"""What comes over HTTP and isn't the gateway's is refused with its status, logged once, and changes nothing."""

import asyncio
import json
import logging
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guide.gateway.door import Door
from guide.gateway.http_in import LARGEST_BODY, MOST_FIELDS, TextsInApp
from guide.gateway.outbox import Outbox
from guide.gateway.proof import Proof, signature
from guide.gateway.serve_settings import PRESETS_IN, TextsIn
from guide.gateway.writer import Writer
from tests.conftest import START, Field

SECRET = "0123456789abcdef"
GOOD = {"id": "a1", "from": "+447700900101", "text": "hello"}


class Client:
    """Calls an application in this process, each request on a loop of its own."""

    def __init__(self, app: Any) -> None:
        self._app = app

    def request(self, method: str, path: str, **given: Any) -> httpx.Response:
        async def call() -> httpx.Response:
            transport = httpx.ASGITransport(self._app)
            async with httpx.AsyncClient(transport=transport, base_url="http://line") as client:
                return await client.request(method, path, **given)

        return asyncio.run(call())

    def get(self, path: str, **given: Any) -> httpx.Response:
        return self.request("GET", path, **given)

    def post(self, path: str, **given: Any) -> httpx.Response:
        return self.request("POST", path, **given)


@dataclass
class Line:
    """An address over a record, and what it has led to."""

    client: Client
    field: Field

    def post(self, fields: dict[str, str] | bytes, token: str = SECRET, **headers: str) -> int:
        data = fields if isinstance(fields, bytes) else urlencode(fields).encode()
        kind = {"content-type": "application/x-www-form-urlencoded"}
        return self.client.post("/texts", content=data, headers={"X-Token": token, **kind, **headers}).status_code

    def everything(self) -> list[tuple[Any, ...]]:
        """All rows that a text can change."""
        tables = ("turn", "outgoing", "log", "seat", "phone", "visit")
        return [row for table in tables for row in self.field.rows(f"SELECT * FROM {table} ORDER BY 1")]


@pytest.fixture
def open_line(pond: Field) -> Callable[..., Line]:
    """Makes an address with given rules."""
    pond.exchange.door = Door()
    pond.db.execute(
        "INSERT INTO field_group (programme, code, name, join_word) VALUES ('tarrow', 'north', 'North', 'lantern7')"
    )

    def make(rules: TextsIn | None = None) -> Line:
        rules = rules or TextsIn(secret_file="-")
        clock = lambda: pond.now  # noqa: E731
        outbox = Outbox(pond.exchange.store)
        writer = Writer(pond.exchange, clock, lambda: None, outbox.trouble)
        app = TextsInApp(rules, Proof(rules, SECRET), writer.take, outbox, clock, "GB")
        return Line(Client(app.app), pond)

    return make


@pytest.fixture
def line(open_line: Callable[..., Line]) -> Line:
    """An address that takes form-encoded texts with a token in a header."""
    return open_line()


def test_a_text_is_durable_when_it_is_acknowledged(line: Line) -> None:
    assert line.post({**GOOD, "text": "JOIN lantern7"}) == 200
    other = sqlite3.connect(line.field.db.execute("PRAGMA database_list").fetchone()[2])
    assert other.execute("SELECT raw FROM turn").fetchall() == [("JOIN lantern7",)]
    assert other.execute("SELECT count(*) FROM outgoing").fetchone() == (2,)
    other.close()


def test_a_text_brought_again_with_its_id_is_answered_from_the_record(line: Line) -> None:
    assert line.post(GOOD) == 200
    before = line.everything()
    line.field.now += timedelta(hours=1)
    assert line.post(GOOD) == 200
    assert line.everything() == before


def test_the_same_id_with_other_words_is_a_conflict_and_changes_nothing(line: Line) -> None:
    line.post(GOOD)
    before = line.everything()
    assert line.post({**GOOD, "text": "bye"}) == 409
    assert line.everything() == before


def test_without_an_id_the_same_words_within_three_seconds_are_one_text(line: Line) -> None:
    text = {"from": "+447700900101", "text": "JOIN lantern7"}
    line.post(text)
    line.field.now += timedelta(seconds=2)
    line.post(text)
    assert line.field.rows("SELECT count(*) FROM turn") == [(1,)]
    line.field.now += timedelta(seconds=2)
    line.post({**text, "text": "ok"})
    line.field.now += timedelta(seconds=4)
    line.post({**text, "text": "ok"})
    assert line.field.rows("SELECT count(*) FROM turn") == [(3,)]


@pytest.mark.parametrize(
    ("what", "status"),
    [
        (lambda line: line.post(GOOD, token="wrong"), 401),
        (lambda line: line.post(GOOD, token=""), 401),
        (lambda line: line.client.get("/texts", params=GOOD, headers={"X-Token": SECRET}).status_code, 405),
        (lambda line: line.client.request("PUT", "/texts", headers={"X-Token": SECRET}).status_code, 405),
        (lambda line: line.client.post("/elsewhere", headers={"X-Token": SECRET}).status_code, 404),
        (lambda line: line.post(b"x" * 5_000_000), 413),
        (lambda line: line.post(b"from=%2B447700900101&text=%ff%fe"), 400),
        (lambda line: line.post(b"from=%2B447700900101&text=\xff"), 400),
        (lambda line: line.post(b"&".join(b"a%d=1" % n for n in range(MOST_FIELDS + 1))), 400),
        (lambda line: line.post(b"from=%2B447700900101&text=a&text=b"), 400),
        (lambda line: line.post({"text": "hello"}), 400),
        (lambda line: line.post({"from": "+447700900101"}), 400),
        (lambda line: line.post({**GOOD, "id": "x" * 1000}), 400),
        (lambda line: line.post(b"(" * LARGEST_BODY), 400),
    ],
)
def test_what_is_wrong_is_refused_logged_once_and_changes_nothing(
    line: Line, caplog: pytest.LogCaptureFixture, what: Callable[[Line], int], status: int
) -> None:
    before = line.everything()
    with caplog.at_level(logging.WARNING, "wadeline"):
        assert what(line) == status
    assert len([one for one in caplog.records if one.name == "wadeline"]) == 1
    assert SECRET not in caplog.text
    assert line.everything() == before


def test_a_sender_that_is_no_phone_is_passed_over_and_acknowledged(line: Line) -> None:
    assert line.post({**GOOD, "from": "PARCELS"}) == 200
    assert line.field.rows("SELECT count(*) FROM turn") == [(0,)]


def test_numbers_are_one_phone_however_they_are_written(line: Line) -> None:
    for number in ("+447700900101", "447700900101", "07700 900101", "+44 7700-900101"):
        line.post({"id": number, "from": number, "text": "hello"})
    assert line.field.rows("SELECT number FROM phone") == [("+447700900101",)]


def test_a_kannel_is_acknowledged_what_is_not_utf8_or_it_would_bring_it_for_ever(
    open_line: Callable[..., Line],
) -> None:
    given = {name: tuple(v) if isinstance(v, list) else v for name, v in PRESETS_IN["kannel"].items()}
    line = open_line(TextsIn(preset="kannel", secret_file="-", **given))
    answer = line.client.get(f"/texts?token={SECRET}&id=1&from=%2B447700900101&text=%ff%fe")
    assert answer.status_code == 200
    assert line.field.rows("SELECT count(*) FROM turn") == [(0,)]


# Signatures

SIGNED = replace(TextsIn(secret_file="-"), proof="signature", proof_name="X-Signature")


def _signed(line: Line, body: bytes, seconds: float = 0, secret: str = SECRET) -> int:
    time = str(int(line.field.now.timestamp() + seconds))
    headers = {
        "X-Signature": signature(secret, time, body),
        "X-Time": time,
        "content-type": "application/x-www-form-urlencoded",
    }
    return line.client.post("/texts", content=body, headers=headers).status_code


def test_a_signed_request_is_taken(open_line: Callable[..., Line]) -> None:
    assert _signed(open_line(SIGNED), urlencode(GOOD).encode()) == 200


def test_a_bad_signature_is_refused(open_line: Callable[..., Line]) -> None:
    line = open_line(SIGNED)
    before = line.everything()
    assert _signed(line, urlencode(GOOD).encode(), secret="another secret") == 401
    assert line.client.post("/texts", content=b"a=b").status_code == 401
    assert line.everything() == before


def test_a_request_replayed_later_is_refused(open_line: Callable[..., Line]) -> None:
    line = open_line(SIGNED)
    before = line.everything()
    assert _signed(line, urlencode(GOOD).encode(), seconds=-301) == 401
    assert _signed(line, urlencode(GOOD).encode(), seconds=301) == 401
    assert line.everything() == before


def test_a_request_without_an_id_replayed_at_once_is_refused(open_line: Callable[..., Line]) -> None:
    line = open_line(SIGNED)
    body = urlencode({"from": "+447700900101", "text": "hello"}).encode()
    assert _signed(line, body) == 200
    before = line.everything()
    assert _signed(line, body) == 409
    assert line.everything() == before


def test_json_fields_are_taken_where_the_settings_say_so(open_line: Callable[..., Line]) -> None:
    line = open_line(replace(TextsIn(secret_file="-"), body="json"))
    answer = line.client.post("/texts", content=json.dumps(GOOD), headers={"X-Token": SECRET})
    assert answer.status_code == 200
    for bad in (b"[" * 50_000, b'["a"]', b"nonsense", b'{"from": {"a": 1}}', b"\xff"):
        assert line.client.post("/texts", content=bad, headers={"X-Token": SECRET}).status_code == 400
    assert line.field.rows("SELECT raw FROM turn") == [("hello",)]


# Reports


def test_a_delivery_report_is_kept_and_what_was_delivered_stays_so(line: Line) -> None:
    line.post({**GOOD, "text": "hello"})
    (text_id,) = line.field.rows("SELECT id FROM outgoing")[0]
    for status in ("delivered", "failed", "buffered"):
        answer = line.client.post("/reports", data={"id": f"t{text_id}", "status": status}, headers={"X-Token": SECRET})
        assert answer.status_code == 200
    assert line.field.rows("SELECT status, failure FROM outgoing") == [("delivered", None)]


def test_a_report_for_a_text_that_is_not_ours_is_refused(line: Line) -> None:
    for text_id, status in (("t99", 404), ("x", 400), ("", 400), ("t1; DROP TABLE log", 400), ("t" + "9" * 40, 400)):
        answer = line.client.post("/reports", data={"id": text_id, "status": "delivered"}, headers={"X-Token": SECRET})
        assert answer.status_code == status
    line.field.whole()


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    body=st.binary(max_size=300), token=st.sampled_from([SECRET, "", "x"]), path=st.sampled_from(["texts", "reports"])
)
def test_any_bytes_are_answered_and_leave_a_whole_record(line: Line, body: bytes, token: str, path: str) -> None:
    headers = {"X-Token": token, "content-type": "application/x-www-form-urlencoded"}
    status = line.client.post(f"/{path}", content=body, headers=headers).status_code
    assert status in (200, 400, 401, 404, 409, 413)
    assert status == 401 or token == SECRET


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(max_size=400), number=st.one_of(st.just("+447700900101"), st.text(max_size=20)))
def test_any_text_in_a_form_is_kept_as_it_came_or_refused(line: Line, text: str, number: str) -> None:
    line.field.now += timedelta(seconds=10)
    body = urlencode({"from": number, "text": text}, errors="surrogatepass").encode()
    before = line.field.rows("SELECT count(*) FROM turn WHERE phone IS NOT NULL")[0][0]
    if line.post(body) == 200:
        rows = line.field.rows("SELECT raw FROM turn WHERE phone IS NOT NULL ORDER BY id")
        assert len(rows) == before or rows[-1] == (text,)


def test_the_whole_record_verifies_after_a_flood_of_rubbish(line: Line, tmp_path: Path) -> None:
    for number in range(60):
        line.post({"id": str(number), "from": "+447700900101", "text": "x" * number})
    assert line.field.rows("SELECT count(*) FROM outgoing") == [(1,)], "a stranger is told how to join once a day"
    assert line.field.now >= START
    line.field.whole()
