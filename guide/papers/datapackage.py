"""``datapackage.json``: what the files of an export are, after the Data Package and Table Schema specifications."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from guide import __version__
from guide.papers.csv_tables import DWC, Column, Table

MADE_BY = "wadeline"
"""By this an earlier export is told from a folder of other files."""


@dataclass(frozen=True)
class Written:
    """A file of an export: its name, size in bytes and SHA-256."""

    name: str
    bytes: int
    sha256: str


def describe(
    name: str,
    title: str,
    made_at: str,
    files: Iterable[tuple[Written, Table | None]],
    still_open: Sequence[str] = (),
) -> dict[str, Any]:
    """The descriptor of an export; a file with a table gets the table's schema. Visits that are open are named."""
    told = f" Not closed when this was made, and may still change: visit {', '.join(still_open)}." if still_open else ""
    return {
        "profile": "data-package",
        "name": name,
        "title": title,
        "created": made_at,
        "generator": {"name": MADE_BY, "version": __version__},
        "description": (
            "Times are UTC, dates are local to the site. Text cells that begin like a formula, or with an apostrophe, "
            "have one apostrophe in front: take it off to have the text. log.jsonl is proved with: wadeline desk "
            f"verify log.jsonl{'.' if told else ''}{told}"
        ),
        "visits_not_closed": list(still_open),
        "resources": [_resource(written, table) for written, table in files],
    }


def _resource(written: Written, table: Table | None) -> dict[str, Any]:
    stem, _, suffix = written.name.rpartition(".")
    resource: dict[str, Any] = {
        "name": "".join(char if char.isalnum() else "-" for char in (stem if table else written.name).casefold()),
        "path": written.name,
        "format": suffix,
        "bytes": written.bytes,
        "hash": f"sha256:{written.sha256}",
    }
    if table is None:
        return {**resource, "type": "file"}
    return {
        **resource,
        "profile": "tabular-data-resource",
        "title": table.title,
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"', "doubleQuote": True, "header": True},
        "schema": _schema(table, "PRACTICE_" if written.name.startswith("PRACTICE_") else ""),
    }


def _schema(table: Table, prefix: str) -> dict[str, Any]:
    schema: dict[str, Any] = {"fields": [_field(column) for column in table.columns], "missingValues": [""]}
    if table.key:
        schema["primaryKey"] = list(table.key)
    if table.points:
        schema["foreignKeys"] = [_points(prefix, *point) for point in table.points]
    return schema


def _points(prefix: str, column: str, table: str, other: str) -> dict[str, Any]:
    return {
        "fields": [column],
        "reference": {"resource": f"{prefix}{table}".casefold().replace("_", "-"), "fields": [other]},
    }


def _field(column: Column) -> dict[str, Any]:
    field: dict[str, Any] = {"name": column.name, "type": column.type, "description": column.meaning}
    if column.type == "boolean":
        field |= {"trueValues": ["true"], "falseValues": ["false"]}
    if column.term:
        field["rdfType"] = f"{DWC}{column.term}"
    constraints: dict[str, Any] = {"required": True} if column.needed else {}
    if column.values:
        constraints["enum"] = list(column.values)
    return {**field, "constraints": constraints} if constraints else field


def names_in(package: Any) -> Sequence[str] | None:
    """The files an earlier export of ours says it has; None for a descriptor that isn't ours."""
    try:
        if package["generator"]["name"] != MADE_BY:
            return None
        return [str(resource["path"]) for resource in package["resources"]]
    except (KeyError, TypeError):
        return None
