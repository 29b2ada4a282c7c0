"""The scripted field day over a real ``wadeline pipe``: three pairs, a leader, and everything a day holds."""

import re
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

from guide.record.verify import verify
from tests.docs import ROOT
from tests.gateway.scripted import PipeProcess

SCRIPT = ROOT / "transcripts_demo" / "field_day.txt"
NUMBERS = {"first pair": "+101", "second pair": "+102", "third pair": "+103", "leader": "+104"}
MIDNIGHT = datetime(2026, 7, 18, tzinfo=UTC)


def script() -> list[dict[str, str]]:
    """The phones' lines of the transcript as input lines of the pipe, its waits as ticks."""
    lines: list[dict[str, str]] = []
    now = MIDNIGHT
    for number, line in enumerate(SCRIPT.read_text("utf-8").splitlines()):
        if found := re.fullmatch(r"(\d\d):(\d\d) ([a-z ]+): (.*)", line):
            now = MIDNIGHT + timedelta(hours=int(found[1]), minutes=int(found[2]))
            line_in = {"id": f"m{number}", "from": NUMBERS[found[3]], "text": found[4], "at": now.isoformat()}
            lines.append(line_in)
        elif found := re.fullmatch(r"wait (\d+) min", line):
            now += timedelta(minutes=int(found[1]))
            lines.append({"tick": now.isoformat()})
    return lines


def test_the_record_tells_the_whole_day(tmp_path: Path) -> None:
    db = tmp_path / "record.db"
    with PipeProcess(db, ("--seed", "5")) as pipe:
        for line in script():
            assert "error" not in pipe.send(line)[-1]
    record = sqlite3.connect(db)
    kinds = "SELECT kind, status, count(*) FROM sample GROUP BY kind, status ORDER BY kind, status"
    assert record.execute(kinds).fetchall() == [
        ("larva", "kept", 12),
        ("larva", "void", 1),
        ("sediment", "kept", 1),
        ("water", "kept", 1),
        ("water_blank", "kept", 1),
        ("water_duplicate", "kept", 1),
    ]
    shares = "SELECT seat, count(*) FROM sample WHERE status = 'kept' AND kind = 'larva' GROUP BY seat"
    assert len(record.execute(shares).fetchall()) == 3
    assert record.execute("SELECT what, remedy FROM contamination ORDER BY entry").fetchall() == [
        ("GLOVE", "new_bag"),
        ("SPOON", "renewed"),
    ]
    frozen = "SELECT kind, count(frozen_at) FROM sample WHERE status = 'kept' GROUP BY kind HAVING count(frozen_at) > 0"
    assert record.execute(frozen).fetchall() == [("larva", 12)]
    assert record.execute("SELECT uid, last_site, disinfected_entry IS NOT NULL FROM kit").fetchall() == [
        ("K2", "harrow", 1)
    ]
    told = {kind for (kind,) in record.execute("SELECT DISTINCT kind FROM log")}
    assert {"danger", "thunder_wait", "fix_request", "remeasured", "pair_done", "contact_started", "all_home"} <= told
    assert verify(record).problems == []
    record.close()
