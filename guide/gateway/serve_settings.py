"""What ``wadeline serve`` is told in its settings file: where texts come from, where they go, and who proves what."""

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from guide.errors import SettingsError
from guide.gateway.door import DoorRules
from guide.gateway.sender import SendRules


@dataclass(frozen=True)
class TextsIn:
    """How the gateway brings texts: ``names`` maps our names (id, from, text, sent_at, status) to its field names.

    ``body`` is query, form or json. ``proof`` is token (in the header or query field ``proof_name``) or signature
    (HMAC-SHA256 in hexadecimal, in the header ``proof_name``, over the header ``time_name``, a full stop and the
    body or query). What is answered when a text is durable: ``answer_status``, ``answer_type``, ``answer_body``.
    """

    preset: str = field(default="form", metadata={"doc": "form or kannel: a set of values for all others"})
    path: str = field(default="/texts", metadata={"doc": "path that texts come to"})
    reports_path: str = field(default="/reports", metadata={"doc": "path that delivery reports come to"})
    method: str = field(default="POST", metadata={"doc": "POST or GET"})
    body: str = field(default="form", metadata={"doc": "where the fields are: query, form or json"})
    names: Mapping[str, str] = field(
        default_factory=lambda: {"id": "id", "from": "from", "text": "text", "sent_at": "sent_at", "status": "status"},
        metadata={"doc": "the gateway's names for id, from, text, sent_at, and a report's id and status"},
    )
    delivered: tuple[str, ...] = field(default=("delivered",), metadata={"doc": "report statuses that mean: arrived"})
    undelivered: tuple[str, ...] = field(
        default=("failed", "rejected", "expired"), metadata={"doc": "report statuses that mean: will not arrive"}
    )
    proof: str = field(default="token", metadata={"doc": "how a request proves itself: token or signature"})
    proof_in: str = field(default="header", metadata={"doc": "where a token is: header or query"})
    proof_name: str = field(default="X-Token", metadata={"doc": "name of the header or field with the proof"})
    time_name: str = field(default="X-Time", metadata={"doc": "header with the time of a signature, Unix seconds"})
    secret_file: str = field(default="", metadata={"doc": "file with the shared secret, readable by its owner only"})
    answer_status: int = field(default=200, metadata={"doc": "status answered once a text is durable"})
    unreadable_status: int = field(
        default=400,
        metadata={"doc": "status for a text that isn't UTF-8; 200 where a gateway would bring it again for ever"},
    )
    answer_type: str = field(default="text/plain", metadata={"doc": "content type of that answer"})
    answer_body: str = field(default="", metadata={"doc": "body of that answer"})


@dataclass(frozen=True)
class TextsOut:
    """How the gateway takes texts. ``fields`` are sent with each; ``{report_url}`` in a value is where reports go."""

    preset: str = field(default="form", metadata={"doc": "form or kannel"})
    url: str = field(default="", metadata={"doc": "address that takes texts"})
    method: str = field(default="POST", metadata={"doc": "POST or GET"})
    body: str = field(default="form", metadata={"doc": "how fields go: query, form or json"})
    names: Mapping[str, str] = field(
        default_factory=lambda: {"id": "id", "from": "from", "to": "to", "text": "text"},
        metadata={"doc": "the gateway's names for id, from, to and text; an empty name leaves one out"},
    )
    fields: Mapping[str, str] = field(default_factory=dict, metadata={"doc": "more fields, the same for each text"})
    wide_fields: Mapping[str, str] = field(
        default_factory=dict, metadata={"doc": "more fields for a text that needs UCS-2"}
    )
    headers: Mapping[str, str] = field(default_factory=dict, metadata={"doc": "more headers"})
    secret_field: str = field(default="", metadata={"doc": "field or header that carries the secret"})
    secret_in: str = field(default="field", metadata={"doc": "where the secret goes: field or header"})
    secret_file: str = field(default="", metadata={"doc": "file with the secret, readable by its owner only"})
    report_url: str = field(
        default="",
        metadata={"doc": "our address for reports, as the gateway reaches it (else listen and reports_path)"},
    )
    wrong_statuses: tuple[int, ...] = field(
        default=(400, 404, 422), metadata={"doc": "statuses that mean: this text can never be sent"}
    )
    timeout_s: float = field(default=10.0, metadata={"doc": "seconds to wait for the gateway"})


@dataclass(frozen=True)
class ServeSettings:
    """All of it. Paths are beside the settings file."""

    record: Path = field(metadata={"doc": "the record"})
    programme: Path | None = field(default=None, metadata={"doc": "programme file (else the one in the record)"})
    flows: Path | None = field(default=None, metadata={"doc": "folder of flow files (else those shipped)"})
    number: str = field(default="", metadata={"doc": "the number that people text, with its country code"})
    region: str = field(default="", metadata={"doc": "country of numbers without a country code, such as IE"})
    listen: str = field(default="127.0.0.1:8090", metadata={"doc": "address and port for the gateway"})
    health: str = field(default="127.0.0.1:8091", metadata={"doc": "address and port for /health and /metrics"})
    texts_in: TextsIn | None = field(default=None, metadata={"doc": "table of what brings texts over HTTP"})
    texts_out: TextsOut | None = field(default=None, metadata={"doc": "table of what takes texts over HTTP"})
    door: DoorRules = field(default_factory=DoorRules, metadata={"doc": "table of who may talk and how much"})
    sending: SendRules = field(default_factory=SendRules, metadata={"doc": "table of retries"})

    @property
    def report_url(self) -> str:
        """Where delivery reports come to, as the gateway reaches us."""
        given = self.texts_out.report_url if self.texts_out else ""
        return given or (f"http://{self.listen}{self.texts_in.reports_path}" if self.texts_in else "")


PRESETS_IN: Mapping[str, Mapping[str, Any]] = {
    "form": {},
    "kannel": {
        "method": "GET",
        "body": "query",
        "names": {"id": "id", "from": "from", "text": "text", "sent_at": "ts", "status": "status"},
        "delivered": ["1"],
        "undelivered": ["2", "16"],
        "proof_in": "query",
        "proof_name": "token",
        "unreadable_status": 200,
    },
}
PRESETS_OUT: Mapping[str, Mapping[str, Any]] = {
    "form": {},
    "kannel": {
        "method": "GET",
        "body": "query",
        "names": {"id": "", "from": "from", "to": "to", "text": "text"},
        "fields": {"charset": "UTF-8", "dlr-mask": "31", "dlr-url": "{report_url}"},
        "wide_fields": {"coding": "2"},
        "secret_field": "password",
        "wrong_statuses": [400],
    },
}
_WORDS = {"method": ("GET", "POST"), "body": ("query", "form", "json"), "proof": ("token", "signature"),
          "proof_in": ("header", "query"), "secret_in": ("field", "header")}  # fmt: skip


def read_serve_settings(path: Path) -> ServeSettings:
    """Reads a settings file; raises SettingsError with the file, the table, the name and what to do."""
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise SettingsError(f"{path} can't be read: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path} is not TOML: {error}") from None
    if "record" not in table:
        raise SettingsError(f'{path}: record is missing, such as record = "record.db"')
    for name in ("texts_in", "texts_out"):
        if name in table:
            presets = PRESETS_IN if name == "texts_in" else PRESETS_OUT
            table[name] = _with_preset(table[name], presets, f"{path}, [{name}]")
    settings: ServeSettings = _read(ServeSettings, table, str(path), path.parent)
    _check(settings, path)
    return settings


def _with_preset(given: Any, presets: Mapping[str, Mapping[str, Any]], where: str) -> dict[str, Any]:
    if not isinstance(given, dict):
        raise SettingsError(f"{where} must be a table")
    preset = given.get("preset", "form")
    if preset not in presets:
        raise SettingsError(f"{where}: preset = {preset!r} must be one of {', '.join(presets)}")
    merged = {**presets[preset], **given}
    for name, value in presets[preset].items():
        if isinstance(value, dict) and isinstance(given.get(name), dict):
            merged[name] = {**value, **given[name]}
    return merged


def _read(kind: Any, table: Mapping[str, Any], where: str, folder: Path) -> Any:
    known = {one.name: one for one in fields(kind)}
    values: dict[str, Any] = {}
    for name, value in table.items():
        if name not in known:
            near = get_close_matches(name, known, 1)
            raise SettingsError(f"{where}: {name} is no setting" + (f". Did you mean {near[0]}?" if near else ""))
        values[name] = _value(name, value, known[name].type, f"{where}: {name}", folder)
    return kind(**values)


def _value(name: str, value: Any, wanted: Any, where: str, folder: Path) -> Any:
    tables = {"texts_in": TextsIn, "texts_out": TextsOut, "door": DoorRules, "sending": SendRules}
    if name in tables:
        if not isinstance(value, dict):
            raise SettingsError(f"{where} must be a table")
        return _read(tables[name], value, where, folder)
    if name in ("record", "programme", "flows") and isinstance(value, str):
        return folder / value
    if name == "secret_file" and isinstance(value, str):
        return str(folder / value)
    if wanted is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    shape = wanted if wanted in (str, int, float) else dict if "Mapping" in str(wanted) else list
    if type(value) is not shape:
        says = {str: "text in quotes", int: "a whole number", float: "a number", dict: "a table", list: "a list"}
        raise SettingsError(f"{where} must be {says[shape]}")
    if name in _WORDS and value not in _WORDS[name]:
        raise SettingsError(f"{where} = {value!r} must be one of {', '.join(_WORDS[name])}")
    return tuple(value) if shape is list else value


def _check(settings: ServeSettings, path: Path) -> None:
    for name in ("listen", "health"):
        host_and_port(getattr(settings, name), f"{path}: {name}")
    brings, takes = settings.texts_in, settings.texts_out
    if brings is not None:
        if not brings.secret_file:
            raise SettingsError(f"{path}, [texts_in]: secret_file is missing: a request must prove itself")
        for needed in ("id", "from", "text"):
            if needed not in brings.names:
                raise SettingsError(f"{path}, [texts_in]: names lacks {needed!r}")
    if takes is not None and not takes.url.startswith(("http://", "https://")):
        raise SettingsError(f"{path}, [texts_out]: url must be an address such as https://gateway.example/send")
    if takes is not None and takes.secret_file and not takes.secret_field:
        raise SettingsError(
            f"{path}, [texts_out]: secret_file is given but no secret_field, and the secret would go nowhere: "
            'name the field or header the gateway expects it in, such as secret_field = "token"'
        )


def host_and_port(address: str, where: str) -> tuple[str, int]:
    """``127.0.0.1:8090`` as host and port; raises SettingsError."""
    host, _, port = address.rpartition(":")
    if not host or not port.isdigit() or not 0 <= int(port) < 65536:
        raise SettingsError(f"{where} = {address!r} must be an address and port, such as 127.0.0.1:8090")
    return host.strip("[]"), int(port)


def read_secret(path: str) -> str:
    """The secret in a file, without the newline at its end; raises SettingsError if there is none."""
    try:
        secret = Path(path).read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not text"
        raise SettingsError(f"the secret file {path} can't be read: {why}") from None
    if len(secret) < 6:
        raise SettingsError(f"the secret in {path} must have at least 6 characters")
    return secret


def token_for_url(secret: str, where: str) -> str:
    """A token that goes into an address as it is; raises SettingsError for one that gateways would rewrite."""
    if not re.fullmatch(r"[A-Za-z0-9_-]+", secret):
        raise SettingsError(f"{where}: a token in an address may have only letters, digits, - and _")
    return secret


def others_can_read(path: str | Path) -> bool:
    """Whether a file can be read by others than its owner and group."""
    return os.name == "posix" and bool(os.stat(path).st_mode & 0o007)
