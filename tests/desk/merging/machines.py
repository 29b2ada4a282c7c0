"""What tests of merging do with records, and look at in them."""

from datetime import UTC, datetime
from pathlib import Path

from guide.desk.findings import check_visit
from guide.desk.fix import Wanted, fix_as_said, fix_visit
from guide.desk.merge import Merged, merge_file
from guide.desk.visits import load_visit, visit_uid
from guide.record.jsonl import held_lines, written
from tests.conftest import Field

NOW = datetime(2026, 7, 6, 8, 0, tzinfo=UTC)


def path_of(field: Field) -> Path:
    return Path(field.db.execute("PRAGMA database_list").fetchone()[2])


def code_of(field: Field) -> str:
    return str(field.rows("SELECT code8 FROM visit ORDER BY id LIMIT 1")[0][0])


def merge(into: Field, path: Path) -> Merged:
    merged = merge_file(into.exchange.store, path, NOW)
    into.whole()
    return merged


def export(field: Field, path: Path, with_words: bool = True) -> Path:
    path.write_text("".join(written(held_lines(field.db, "stream != 'desk'"), with_words)), "utf-8")
    return path


def fix(field: Field, code: str, sample: str, act: str, value: str = "", reason: str = "misread") -> str:
    return fix_visit(field.exchange.store, Wanted(code, sample, act, value, reason), NOW)


def findings(field: Field, code: str) -> dict[str, str]:
    """What is found in a visit, by check."""
    visit = load_visit(field.db, visit_uid(field.db, code))
    return {finding.check: finding.what for finding in check_visit(visit)}


def everything(field: Field) -> list[object]:
    tables = [name for (name,) in field.rows("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")]
    return [sorted(map(repr, field.rows(f"SELECT * FROM {table}"))) for table in tables]


def folded(field: Field, code: str) -> list[object]:
    """A visit's samples and answers, without what only this machine numbers."""
    samples = "SELECT tag, length_mm, family, sure, gloves, sample.status, sealed_at, iced_at, frozen_at FROM sample"
    return [
        field.rows("SELECT uid, site, status, answers, closed_at FROM visit WHERE code8 = ?", code),
        field.rows(f"{samples} JOIN visit ON visit.uid = visit WHERE code8 = ? ORDER BY sample.uid", code),
        field.rows("SELECT slip, sample, what, touched, remedy FROM contamination"),
        field.rows("SELECT code, status, sample FROM tag ORDER BY code"),
    ]


def own_fix(field: Field, code: str, *words: str) -> str:
    return fix_as_said(field.exchange.store, code, words, "the leader rang", NOW)
