"""The desk's commands as a person types them, on a record in a temporary folder."""

import json
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import Any

from guide.cli import main
from guide.flow.load import book_text, load_book, shipped_flows
from guide.flow.replies.kinds import KINDS
from guide.gateway.exchange import Exchange
from guide.record.open import open_record
from guide.record.programme import stored_programme
from guide.record.store import Store
from guide.record.verify import verify
from guide.talk.blanks import REGISTRY
from tests.conftest import Field, load

REAL = (shipped_flows() / "programme.toml").read_text("utf-8").replace("practice = true ", "practice = false ")
NOTE = "Bram saw an otter by the big willow"
COORDINATOR = '\n[[coordinators]]\nname = "Wren"\nnumber = "+353 20 912 0001"\n'


@dataclass
class Desk:
    """A folder with a record; ``said`` runs a command that must work, ``refused`` one that must not.

    ``code`` is that of the record's visit, where it begins with one.
    """

    folder: Path
    code: str = ""

    @property
    def record(self) -> Path:
        return self.folder / "record.db"

    def run(self, *words: str) -> tuple[int, str, str]:
        out, err = StringIO(), StringIO()
        with redirect_stdout(out), redirect_stderr(err):
            code = main(["desk", *words, "--db", str(self.record)])
        return code, out.getvalue(), err.getvalue()

    def said(self, *words: str) -> str:
        code, out, err = self.run(*words)
        assert (code, err) == (0, ""), err
        return out

    def told(self, *words: str) -> Any:
        """What a command prints as JSON."""
        return json.loads(self.said(*words, "--json"))

    def refused(self, *words: str) -> str:
        """The error of a command that changes nothing."""
        before = self.everything()
        code, out, err = self.run(*words)
        assert (code, out) == (2, ""), out
        assert err.startswith("wadeline: ")
        assert self.everything() == before
        return err.removeprefix("wadeline: ").rstrip("\n")

    def file(self, name: str, text: str | bytes) -> str:
        path = self.folder / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return str(path)

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        db = open_record(self.record, create=False)
        try:
            return db.execute(sql, values).fetchall()
        finally:
            db.close()

    def everything(self) -> dict[str, list[tuple[Any, ...]]]:
        """Every row of every table."""
        if not self.record.exists():
            return {}
        tables = [name for (name,) in self.rows("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {table: self.rows(f"SELECT * FROM {table}") for table in tables}

    def whole(self) -> None:
        """The record verifies."""
        db = open_record(self.record, create=False)
        assert verify(db).problems == []
        db.close()


def texting(desk: Desk) -> Field:
    """A phone that texts to the desk's record, with the programme that the desk loaded."""
    store = Store(open_record(desk.record))
    book = load_book(book_text(shipped_flows(), stored_programme(store.db)), REGISTRY, KINDS)
    exchange = Exchange(store, book, load, 7)
    exchange.set_up(datetime(2026, 7, 4, tzinfo=UTC))
    return Field(exchange)


def to_the_freezer(desk: Desk) -> str:
    """A visit that was closed, and frozen by whoever has the initials QXZ; returns its code."""
    pond = texting(desk)
    pond.until("larva.tag")
    pond.converse("01428", "ok", f"NOTE {NOTE}", "CLOSE")
    pond.until("close.end")
    pond.converse("freeze", "QXZ", "S-123", "y", "GARAGE 7", "-18")
    ((code,),) = pond.rows("SELECT code8 FROM visit")
    pond.db.close()
    return str(code)
