"""``wadeline serve`` as its operator meets it: the check in words, the unit, health, and a clean end."""

import argparse
import json
import os
import queue
import signal
import socket
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlencode

import pytest

from guide.cli import open_exchange
from guide.errors import SettingsError
from guide.flow.load import shipped_flows
from guide.gateway import serve_check
from guide.gateway.exchange import TextIn
from guide.gateway.serve_check import check
from guide.gateway.serve_command import _fresh_book
from guide.gateway.serve_settings import read_serve_settings
from guide.record.open import open_record
from guide.record.verify import verify
from tests.gateway.kannel import fetched, wait_for

SECRET = "0123456789abcdef"
PHONE = "+447700900101"
DEMO = (shipped_flows() / "programme.toml").as_posix()


class Gateway:
    """A form-encoded gateway: takes texts out, and keeps them."""

    def __init__(self) -> None:
        self.texts: queue.Queue[dict[str, str]] = queue.Queue()
        self.status = 200
        gateway = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"])).decode()
                if gateway.status == 200:
                    gateway.texts.put({name: values[0] for name, values in parse_qs(body).items()})
                self.send_response(gateway.status)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """Nothing on the screen."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@dataclass
class Office:
    """A laptop with a gateway and a settings file."""

    folder: Path
    gateway: Gateway
    listen: int = field(default_factory=free_port)
    health: int = field(default_factory=free_port)
    server: "subprocess.Popen[bytes] | None" = None

    def __post_init__(self) -> None:
        (self.folder / "secret").write_text(SECRET)
        (self.folder / "secret").chmod(0o600)
        self.settings.write_text(
            f'record = "record.db"\nprogramme = "{DEMO}"\nregion = "GB"\nnumber = "+447700900000"\n'
            f'listen = "127.0.0.1:{self.listen}"\n'
            f'health = "127.0.0.1:{self.health}"\n[texts_in]\npreset = "form"\nsecret_file = "secret"\n'
            f'[texts_out]\npreset = "form"\nurl = "http://127.0.0.1:{self.gateway.port}/send"\n'
            'secret_field = "X-Key"\nsecret_in = "header"\nsecret_file = "secret"\n'
            "[sending]\nfirst_wait_s = 0.1\nlongest_wait_s = 0.2\n"
        )
        self.settings.chmod(0o600)

    @property
    def settings(self) -> Path:
        return self.folder / "serve.toml"

    def command(self, *words: str) -> list[str]:
        return [sys.executable, "-m", "guide.cli", "serve", *words, str(self.settings)]

    def run(self, *words: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(self.command(*words), capture_output=True, text=True, timeout=60, check=False)

    def start(self) -> None:
        with (self.folder / "log").open("ab") as log:
            self.server = subprocess.Popen(self.command(), stderr=log)
        wait_for(lambda: fetched(f"http://127.0.0.1:{self.health}/health"), 20, "serve")

    def stop(self) -> int:
        assert self.server is not None
        self.server.send_signal(signal.SIGTERM)
        return self.server.wait(20)

    def text(self, words: str, text_id: str) -> int:
        data = urlencode({"id": text_id, "from": PHONE, "text": words}).encode()
        request = urllib.request.Request(f"http://127.0.0.1:{self.listen}/texts", data, {"X-Token": SECRET})
        try:
            with urllib.request.urlopen(request, timeout=10) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code

    def got(self) -> dict[str, str]:
        return self.gateway.texts.get(timeout=10)


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Office]:
    """A laptop; whatever serves on it is stopped at the end."""
    one = Office(tmp_path, Gateway())
    yield one
    if one.server is not None and one.server.poll() is None:
        one.server.kill()
        one.server.wait()
    one.gateway.server.shutdown()
    one.gateway.server.server_close()


def _invite(office: Office) -> None:
    db = open_record(office.folder / "record.db")
    db.execute("INSERT INTO field_group (programme, code, name, join_word) VALUES ('tarrow', 'n', 'North', 'lantern7')")
    db.close()


def test_texts_come_and_go_and_the_end_is_clean(office: Office) -> None:
    office.start()
    _invite(office)
    assert office.text("hello", "1") == 200
    assert "JOIN" in office.got()["text"]
    assert office.text("JOIN lantern7", "2") == 200
    greeting, prompt = office.got(), office.got()
    assert "STOP" in greeting["text"]
    assert prompt["to"] == PHONE
    assert office.stop() == 0
    db = open_record(office.folder / "record.db")
    assert db.execute("SELECT DISTINCT status FROM outgoing").fetchall() == [("sent",)]
    assert verify(db).problems == []
    db.close()


def test_health_says_that_texts_cannot_be_sent_and_they_go_out_when_they_can(office: Office) -> None:
    office.start()
    _invite(office)
    office.gateway.status = 503
    office.text("JOIN lantern7", "1")

    def waiting() -> bool:
        said = json.loads(fetched(f"http://127.0.0.1:{office.health}/health"))
        return bool(said["texts_waiting"] == 2 and said["ok"])

    wait_for(waiting, 10, "two texts that wait")
    figures = fetched(f"http://127.0.0.1:{office.health}/metrics")
    assert "wadeline_texts_waiting 2.0" in figures
    assert "wadeline_texts_in_total 1.0" in figures
    office.gateway.status = 200
    assert {office.got()["id"], office.got()["id"]} == {"t1", "t2"}
    sent = 'wadeline_texts_out_total{status="sent"} 2.0'
    wait_for(lambda: sent in fetched(f"http://127.0.0.1:{office.health}/metrics"), 10, "both counted as sent")


def test_texts_never_come_to_the_health_port_nor_figures_to_the_other(office: Office) -> None:
    office.start()
    assert fetched(f"http://127.0.0.1:{office.listen}/health") == ""
    assert fetched(f"http://127.0.0.1:{office.listen}/metrics") == ""
    assert fetched(f"http://127.0.0.1:{office.health}/texts") == ""


def test_the_check_says_what_is_good_and_what_is_missing(office: Office) -> None:
    done = office.run("--check")
    assert done.returncode == 0, done.stdout
    assert "serve will begin one" in done.stdout
    office.gateway.server.shutdown()
    office.gateway.server.server_close()
    done = office.run("--check")
    assert done.returncode == 1
    assert f"WRONG [texts_out]: nothing answers at 127.0.0.1:{office.gateway.port}" in done.stdout


def test_a_record_that_is_not_there_or_has_no_programme_is_refused_and_nothing_is_made(office: Office) -> None:
    text = office.settings.read_text().replace(f'programme = "{DEMO}"\n', "")
    office.settings.write_text(text.replace("record.db", "spring/sesaon.db"))
    for words, shown in (((), "stderr"), (("--check",), "stdout")):
        done = office.run(*words)
        assert done.returncode == (1 if words else 2)
        assert f"there is no record at {office.folder / 'spring' / 'sesaon.db'}" in getattr(done, shown)
        assert "wadeline desk programme FILE.toml --db" in getattr(done, shown)
    assert not (office.folder / "spring").exists()
    office.settings.write_text(text)
    open_record(office.folder / "record.db").close()
    for words, shown in (((), "stderr"), (("--check",), "stdout")):
        assert "no programme was loaded in the record" in getattr(office.run(*words), shown)


def test_the_start_and_the_check_name_record_and_programme(office: Office) -> None:
    says = f"record {office.folder / 'record.db'}, programme Tarrow Basin Lakes Circle (tarrow), PRACTICE"
    assert says in office.run("--check").stdout
    office.start()
    office.stop()
    assert says in (office.folder / "log").read_text()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('region = "GB"', 'region = "USA"'), "region = 'USA' is no country in two capital letters"),
        (('"+447700900000"', '"6125550199"'), "number = '6125550199' is no phone number with its country code"),
        (('"+447700900000"', '"call me"'), "number = 'call me' is no phone number"),
    ],
)
def test_a_region_or_number_of_no_country_is_refused(office: Office, change: tuple[str, str], says: str) -> None:
    office.settings.write_text(office.settings.read_text().replace(*change))
    assert says in office.run("--check").stdout
    done = office.run()
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert says in done.stderr


def test_the_check_says_which_package_is_missing(office: Office, monkeypatch: pytest.MonkeyPatch) -> None:
    found_spec = serve_check.find_spec
    monkeypatch.setattr(serve_check, "find_spec", lambda name: None if name == "uvicorn" else found_spec(name))
    (line,) = [line for line in check(read_serve_settings(office.settings)).wrong if "package" in line]
    assert line.startswith("this needs the package uvicorn of the extra 'gateway'. Install it with:")


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX")
def test_the_check_says_what_is_unsafe(office: Office) -> None:
    (office.folder / "secret").chmod(0o644)
    text = office.settings.read_text()
    office.settings.write_text(
        text.replace(f'listen = "127.0.0.1:{office.listen}"', f'listen = "0.0.0.0:{office.listen}"').replace(
            "http://127.0.0.1", "http://gateway.invalid"
        )
    )
    done = office.run("--check")
    assert done.returncode == 1
    assert f"the secret {office.folder / 'secret'} can be read by everybody on this machine: chmod 600" in done.stdout
    assert "is open to the network" in done.stdout
    assert "plain HTTP off this machine: use https" in done.stdout


def test_the_check_sends_one_test_text_if_asked_to(office: Office) -> None:
    assert office.run("--check", "--send-to", PHONE).returncode == 0
    assert office.got()["to"] == PHONE
    assert office.gateway.texts.empty()
    assert "is no phone number" in office.run("--check", "--send-to", "mum").stderr


def test_the_unit_runs_this_same_command(office: Office) -> None:
    unit = office.run("--unit").stdout
    assert f"serve {office.settings}" in unit
    assert "Restart=always" in unit
    assert f"ReadWritePaths={office.folder}" in unit


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('record = "record.db"\n', ""), "record is missing"),
        (("listen", "lisen"), "lisen is no setting. Did you mean listen?"),
        (('preset = "form"\nsecret', 'preset = "kannle"\nsecret'), "preset = 'kannle' must be one of form, kannel"),
        (("secret_file", "sekret_file"), "sekret_file is no setting. Did you mean secret_file?"),
        (('"127.0.0.1:', '"somewhere:port'), "must be an address and port"),
        (("first_wait_s = 0.1", 'first_wait_s = "soon"'), "must be a number"),
        (("http://", "gopher://"), "url must be an address"),
        (("[sending]", "[sending"), "is not TOML"),
        (('secret_field = "X-Key"\n', ""), "secret_file is given but no secret_field"),
    ],
)
def test_a_setting_that_is_wrong_is_named(office: Office, change: tuple[str, str], says: str) -> None:
    office.settings.write_text(office.settings.read_text().replace(*change))
    with pytest.raises(SettingsError, match=r"serve\.toml") as error:
        read_serve_settings(office.settings)
    assert says in str(error.value)


def test_a_port_that_is_taken_is_one_sentence(office: Office) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", office.listen))
        taken.listen()
        done = office.run()
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "another program listens there already" in done.stderr


def test_new_visits_begin_with_what_the_desk_loads_while_it_serves(tmp_path: Path) -> None:
    record = tmp_path / "record.db"
    where = argparse.Namespace(db=record, programme=None, flows=None, seed=1)
    exchange = open_exchange(where)
    fresh_book = _fresh_book(where, exchange)
    now = datetime(2026, 7, 4, 9, 0, tzinfo=UTC)
    exchange.renew(fresh_book, now)
    assert exchange.book.settings.name == "Tarrow Basin Lakes Circle"
    programme = (shipped_flows() / "programme.toml").read_text().replace("Tarrow Basin Lakes", "Tarrow Upper Lakes")
    (tmp_path / "upper.toml").write_text(programme)
    command = [
        sys.executable,
        "-m",
        "guide.cli",
        "desk",
        "programme",
        str(tmp_path / "upper.toml"),
        "--db",
        str(record),
    ]
    subprocess.run(command, check=True, capture_output=True)
    exchange.renew(fresh_book, now)
    assert exchange.book.settings.name == "Tarrow Upper Lakes Circle"
    exchange.receive(TextIn("+447700900101", "hello"), now)
    (kept,) = exchange.store.db.execute("SELECT toml FROM flow_book JOIN visit ON book_hash = hash").fetchone()
    assert "Tarrow Upper Lakes" in kept
    exchange.store.db.close()
