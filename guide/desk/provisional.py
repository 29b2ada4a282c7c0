"""Visits of which no log has come in yet, only the texts of a digest."""

import json
import sqlite3

from guide.papers.digest import VisitRead, read
from guide.papers.digest_fields import SitePlace
from guide.papers.visit_digest import site_mark


def provisional(db: sqlite3.Connection, code8: str | None = None) -> list[VisitRead]:
    """What digest texts tell of visits whose log isn't here, of one code or of all."""
    rows = db.execute(
        "SELECT text FROM digest_text WHERE code8 NOT IN (SELECT code8 FROM visit) "
        "AND (:code IS NULL OR code8 = :code) ORDER BY code8",
        {"code": code8.strip().upper() if code8 else None},
    )
    return list(read(text for (text,) in rows).visits)


def site_told(db: sqlite3.Connection, site: SitePlace | None) -> str | None:
    """The code of the site a digest names, if a programme here has it in that place of its list."""
    for (settings,) in db.execute("SELECT settings FROM programme") if site is not None else ():
        codes = [one["code"] for one in json.loads(settings).get("sites", [])]
        if site is not None and site.place < len(codes) and site_mark(codes[site.place]) == site.mark:
            return str(codes[site.place])
    return None
