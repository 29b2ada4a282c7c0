"""Keeps a programme in the record: its settings, sites and tags."""

from datetime import datetime

from guide.field.tags import block
from guide.flow.settings import Settings
from guide.record.log import Entry, to_json
from guide.record.store import DESK, Store


def keep_programme(store: Store, settings: Settings, now: datetime) -> None:
    """Writes the programme's settings, its sites, and the tags of its block that the pool lacks."""
    db = store.db
    db.execute(
        "INSERT INTO programme (uid, settings, language) VALUES (?, ?, ?) "
        "ON CONFLICT (uid) DO UPDATE SET settings = excluded.settings, language = excluded.language",
        (settings.code, to_json(settings.as_tables()), settings.language),
    )
    for site in settings.sites:
        db.execute(
            "INSERT INTO site (programme, code, name, zone, lat, lon, permit) VALUES (?, ?, ?, ?, ?, ?, ?) "
            "ON CONFLICT (programme, code) DO UPDATE SET name = excluded.name, zone = excluded.zone, "
            "lat = excluded.lat, lon = excluded.lon, permit = excluded.permit",
            (settings.code, site.code, site.name, site.zone, site.lat, site.lon, site.permit),
        )
    _load_tags(store, settings, now)


def _load_tags(store: Store, settings: Settings, now: datetime) -> None:
    """Practice has a pool of its own, so that no practice tag is ever one of the real ones."""
    tags, practice = settings.tags, int(settings.practice)
    have = {
        code
        for (code,) in store.db.execute(
            "SELECT code FROM tag WHERE programme = ? AND practice = ?", (settings.code, practice)
        )
    }
    new = [code for code in block(tags.first, tags.count, tags.width) if code not in have]
    if new:
        data = {"programme": settings.code, "practice": practice, "codes": new}
        store.append(DESK, "desk", 0, now, [Entry("tags_loaded", "", data)])
