"""The desk's commands as a person types them, on a record in a temporary folder."""

import json
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from guide.cli import main
from guide.flow.load import shipped_flows
from guide.record.open import open_record
from guide.record.verify import verify

REAL = (shipped_flows() / "programme.toml").read_text("utf-8").replace("practice = true ", "practice = false ")
COORDINATOR = '\n[[coordinators]]\nname = "Wren"\nnumber = "+353 20 912 0001"\n'


@dataclass
class Desk:
    """A folder with a record; ``said`` runs a command that must work, ``refused`` one that must not."""

    folder: Path

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


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """An empty folder."""
    return Desk(tmp_path)


@pytest.fixture
def circle(desk: Desk) -> Desk:
    """A record with the real programme of the invented circle, and one coordinator."""
    desk.said("programme", desk.file("circle.toml", REAL + COORDINATOR))
    return desk
