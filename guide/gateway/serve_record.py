"""What ``serve`` answers from: a record in which the desk loaded a programme, or a programme that its settings name."""

from guide.errors import SettingsError
from guide.flow.programme_text import parse, read_programme
from guide.flow.read_settings import settings_from
from guide.flow.settings import Settings
from guide.gateway.serve_settings import ServeSettings
from guide.record.open import open_record
from guide.record.programme import stored_programme


def programme_of(settings: ServeSettings) -> Settings:
    """The programme that new visits begin with; raises WadelineError where volunteers would hear the demo's by mistake.

    A path with a slip in it must not begin an empty record that answers everybody.
    """
    if settings.programme is not None:
        given = read_programme(settings.programme)
        return settings_from(parse(given.text, str(settings.programme)), str(settings.programme), given.text)
    load = f"load one with wadeline desk programme FILE.toml --db {settings.record}"
    if not settings.record.exists():
        raise SettingsError(f"there is no record at {settings.record}: correct record in the settings, or {load}")
    db = open_record(settings.record, create=False)
    text = stored_programme(db)
    db.close()
    if text is None:
        raise SettingsError(f"no programme was loaded in the record {settings.record}: {load}")
    return settings_from(parse(text, "the stored programme"), "the stored programme", text)


def said_of(settings: ServeSettings, programme: Settings) -> str:
    """The record and the programme in words."""
    kind = "PRACTICE, nothing counts" if programme.practice else "real visits"
    return f"record {settings.record}, programme {programme.name} ({programme.code}), {kind}"
