"""The tables, as SQL. Times are UTC ISO 8601 text; the site's zone stands in ``site``."""

APPLICATION_ID = 0x57414445
"""``WADE``, so that a file of another program is told apart."""

VERSION = 2
"""The newest schema; ``user_version`` of a database holds its own."""

PROJECTIONS = (
    "visit",
    "sample",
    "sample_flag",
    "tag",
    "contamination",
    "safety",
    "kit",
    "choice",
    "shipment",
    "shipment_sample",
)
"""Tables that are only the log folded; ``desk verify`` folds them again and compares."""

TRIGGERS = {
    f"log_no_{act}": f"CREATE TRIGGER log_no_{act} BEFORE {act.upper()} ON log "
    f"BEGIN SELECT RAISE(ABORT, 'the log is append-only'); END"
    for act in ("update", "delete")
}

PROJECTION_TABLES = """
CREATE TABLE visit (
    id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE, code8 TEXT NOT NULL UNIQUE, programme TEXT NOT NULL,
    site TEXT, kit TEXT, book_hash TEXT NOT NULL, local_date TEXT NOT NULL, practice INTEGER NOT NULL,
    target INTEGER NOT NULL, word TEXT NOT NULL, status TEXT NOT NULL CHECK (status IN ('open', 'closed')),
    answers TEXT NOT NULL, opened_at TEXT NOT NULL, closed_at TEXT, group_code TEXT, accepted_at TEXT
) STRICT;
CREATE INDEX visit_open ON visit(word) WHERE status = 'open';
CREATE INDEX visit_site ON visit(programme, practice, site, local_date);
CREATE TABLE sample (
    uid TEXT PRIMARY KEY, visit TEXT NOT NULL REFERENCES visit(uid), seat TEXT NOT NULL, kind TEXT NOT NULL,
    tag TEXT, length_mm REAL, family TEXT, sure INTEGER, gloves TEXT NOT NULL, pace TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('open', 'kept', 'void')), void_reason TEXT, confirmed INTEGER,
    opened_at TEXT, sealed_at TEXT, outer_bagged_at TEXT, iced_at TEXT, frozen_at TEXT, shipped_at TEXT
) STRICT;
CREATE INDEX sample_visit ON sample(visit);
CREATE INDEX sample_tag ON sample(tag);
CREATE TABLE sample_flag (
    sample TEXT NOT NULL REFERENCES sample(uid), flag TEXT NOT NULL, entry INTEGER NOT NULL,
    PRIMARY KEY (sample, flag)
) STRICT, WITHOUT ROWID;
CREATE TABLE tag (
    programme TEXT NOT NULL, practice INTEGER NOT NULL, code TEXT NOT NULL, site TEXT,
    status TEXT NOT NULL CHECK (status IN ('free', 'used', 'void')), sample TEXT,
    PRIMARY KEY (programme, practice, code)
) STRICT, WITHOUT ROWID;
CREATE INDEX tag_free ON tag(programme, practice, site, code) WHERE status = 'free';
CREATE TABLE contamination (
    entry INTEGER PRIMARY KEY, visit TEXT NOT NULL, slip TEXT NOT NULL, sample TEXT, what TEXT, touched TEXT,
    remedy TEXT,
    UNIQUE (visit, slip)
) STRICT;
CREATE TABLE safety (
    entry INTEGER PRIMARY KEY, visit TEXT NOT NULL, question TEXT NOT NULL, answer TEXT NOT NULL
) STRICT;
CREATE INDEX safety_visit ON safety(visit);
CREATE TABLE kit (
    programme TEXT NOT NULL, practice INTEGER NOT NULL, uid TEXT NOT NULL, last_site TEXT, last_visit TEXT,
    disinfected_entry INTEGER,
    PRIMARY KEY (programme, practice, uid)
) STRICT, WITHOUT ROWID;
CREATE TABLE choice (
    sample TEXT PRIMARY KEY, programme TEXT NOT NULL, site TEXT NOT NULL, entry INTEGER NOT NULL, left_out TEXT
) STRICT, WITHOUT ROWID;
CREATE INDEX choice_site ON choice(programme, site);
CREATE TABLE shipment (
    uid TEXT PRIMARY KEY, code TEXT NOT NULL, programme TEXT NOT NULL, day TEXT NOT NULL, arrival TEXT NOT NULL,
    dry_ice_kg INTEGER NOT NULL, waybill TEXT, sent_on TEXT, received_on TEXT, extra TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status IN ('planned', 'sent', 'received', 'dropped'))
) STRICT, WITHOUT ROWID;
CREATE TABLE shipment_sample (
    shipment TEXT NOT NULL, sample TEXT NOT NULL, packed_at TEXT,
    outcome TEXT CHECK (outcome IN ('received', 'damaged', 'remark', 'missing')),
    PRIMARY KEY (shipment, sample)
) STRICT, WITHOUT ROWID;
CREATE INDEX shipment_sample_of ON shipment_sample(sample);
"""

OTHER_TABLES = """
CREATE TABLE origin (id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE, name TEXT NOT NULL) STRICT;
CREATE TABLE programme (
    id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE, settings TEXT NOT NULL, language TEXT NOT NULL,
    toml TEXT, loaded_at TEXT
) STRICT;
CREATE TABLE flow_book (hash TEXT PRIMARY KEY, toml TEXT NOT NULL, ready TEXT) STRICT, WITHOUT ROWID;
CREATE TABLE site (
    id INTEGER PRIMARY KEY, programme TEXT NOT NULL, code TEXT NOT NULL, name TEXT NOT NULL, zone TEXT NOT NULL,
    lat REAL, lon REAL, permit TEXT, UNIQUE (programme, code)
) STRICT;
CREATE TABLE seat (
    id INTEGER PRIMARY KEY, visit TEXT NOT NULL REFERENCES visit(uid), role TEXT NOT NULL, letter TEXT NOT NULL,
    join_word TEXT, phone INTEGER REFERENCES phone(id), state TEXT NOT NULL, rev INTEGER NOT NULL DEFAULT 0,
    last_heard_at TEXT, next_due_at TEXT, UNIQUE (visit, letter)
) STRICT;
CREATE INDEX seat_word ON seat(join_word) WHERE join_word IS NOT NULL;
CREATE INDEX seat_phone ON seat(phone);
CREATE TABLE phone (
    id INTEGER PRIMARY KEY, number TEXT NOT NULL UNIQUE, current_seat INTEGER REFERENCES seat(id), consent TEXT,
    stopped_at TEXT, told_at TEXT
) STRICT;
CREATE INDEX phone_seat ON phone(current_seat) WHERE current_seat IS NOT NULL;
CREATE TABLE coordinator (
    id INTEGER PRIMARY KEY, programme TEXT NOT NULL, name TEXT NOT NULL, phone INTEGER NOT NULL REFERENCES phone(id),
    UNIQUE (programme, name), UNIQUE (phone)
) STRICT;
CREATE TABLE field_group (
    id INTEGER PRIMARY KEY, programme TEXT NOT NULL, code TEXT NOT NULL, name TEXT NOT NULL,
    join_word TEXT NOT NULL UNIQUE, site TEXT, people INTEGER, UNIQUE (programme, code)
) STRICT;
CREATE TABLE turn (
    id INTEGER PRIMARY KEY, gateway TEXT NOT NULL, ext_id TEXT, phone INTEGER REFERENCES phone(id),
    seat INTEGER REFERENCES seat(id), sent_at TEXT, received_at TEXT NOT NULL, raw TEXT, state_before TEXT,
    book_hash TEXT, stream TEXT, head_after TEXT, UNIQUE (gateway, phone, ext_id)
) STRICT;
CREATE INDEX turn_stream ON turn(stream, id);
CREATE TABLE outgoing (
    id INTEGER PRIMARY KEY, turn INTEGER NOT NULL REFERENCES turn(id), phone INTEGER NOT NULL REFERENCES phone(id),
    seat INTEGER REFERENCES seat(id), text TEXT NOT NULL, segments INTEGER NOT NULL, step TEXT, expects TEXT,
    options TEXT NOT NULL, tries INTEGER NOT NULL DEFAULT 0, due_at TEXT NOT NULL, status TEXT NOT NULL,
    supersedes INTEGER, retry_at TEXT, sent_at TEXT, reported_at TEXT, failure TEXT
) STRICT;
CREATE INDEX outgoing_turn ON outgoing(turn);
CREATE INDEX outgoing_waiting ON outgoing(id) WHERE status = 'waiting';
CREATE TABLE digest_text (
    code8 TEXT NOT NULL, text TEXT NOT NULL, turn INTEGER REFERENCES turn(id), PRIMARY KEY (code8, text)
) STRICT, WITHOUT ROWID;
CREATE TABLE log (
    id INTEGER PRIMARY KEY, origin INTEGER NOT NULL REFERENCES origin(id), stream TEXT NOT NULL, seq INTEGER NOT NULL,
    at TEXT NOT NULL, seat TEXT NOT NULL, turn INTEGER NOT NULL, kind TEXT NOT NULL, step TEXT NOT NULL,
    sample_uid TEXT, data TEXT NOT NULL, supersedes TEXT, prev TEXT NOT NULL, hash TEXT NOT NULL,
    UNIQUE (origin, stream, seq)
) STRICT;
CREATE INDEX log_sample ON log(sample_uid) WHERE sample_uid IS NOT NULL;
CREATE TABLE words (
    entry INTEGER PRIMARY KEY REFERENCES log(id), salt TEXT NOT NULL, text TEXT
) STRICT;
CREATE TABLE timer (
    id INTEGER PRIMARY KEY, seat INTEGER NOT NULL REFERENCES seat(id), kind TEXT NOT NULL, due_at TEXT NOT NULL,
    fired_turn INTEGER REFERENCES turn(id)
) STRICT;
CREATE UNIQUE INDEX timer_running ON timer(seat, kind) WHERE fired_turn IS NULL;
CREATE INDEX timer_due ON timer(due_at) WHERE fired_turn IS NULL;
"""
