"""Three phones run a whole visit through a real Kannel, and nothing is lost or doubled whatever is killed."""

import json
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from guide.record.verify import verify
from tests.gateway.kannel_scenario import (
    ADVICE,
    COORDINATOR,
    LONG_NOTE,
    MORE_NOTES,
    NOTER,
    NOTES,
    PAIRS,
    STRANGER,
    WIDE_NOTE,
)

MISSING = [one for one in ("/usr/sbin/bearerbox", "/usr/sbin/smsbox") if not Path(one).exists()]


def _network_of_its_own() -> bool:
    """Whether a command can be given one: Kannel's fake SMSC listens on every address."""
    if shutil.which("unshare") is None or shutil.which("ip") is None:
        return False
    command = ["unshare", "--net", "ip", "link", "set", "lo", "up"]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


pytestmark = [
    pytest.mark.skipif(bool(MISSING), reason="Kannel is not here; on Debian: apt-get install kannel"),
    pytest.mark.skipif(
        not MISSING and not _network_of_its_own(),
        reason="a network of its own for Kannel's fake SMSC needs root, util-linux and iproute2",
    ),
]


class Seen(NamedTuple):
    """What the phones sent and got, the server's exit code, and the record."""

    sent: dict[str, list[str]]
    got: dict[str, list[str]]
    exit: int
    db: sqlite3.Connection

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        return self.db.execute(sql, values).fetchall()

    def kept(self, number: str) -> list[str]:
        """The texts of a phone in the record, in order."""
        rows = self.rows(
            "SELECT raw FROM turn JOIN phone ON phone.id = phone WHERE number = ? ORDER BY turn.id", number
        )
        return [raw for (raw,) in rows]


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Seen:
    """One day through Kannel, played once."""
    folder = tmp_path_factory.mktemp("kannel")
    command = f"ip link set lo up && exec '{sys.executable}' -m tests.gateway.kannel_scenario '{folder}'"
    done = subprocess.run(
        ["unshare", "--net", "sh", "-c", command], capture_output=True, text=True, timeout=240, check=False
    )
    assert done.returncode == 0, done.stderr + (folder / "serve.log").read_text()
    seen = json.loads((folder / "seen.json").read_text())
    return Seen(seen["sent"], seen["got"], seen["exit"], sqlite3.connect(folder / "record.db"))


def test_every_text_is_in_the_record_once_though_the_server_was_killed(day: Seen) -> None:
    for number in (*PAIRS, COORDINATOR, STRANGER):
        assert day.kept(number) == day.sent[number]
    notes = [f"NOTE count {number}" for number in range(NOTES)]
    assert sorted(text for text in day.kept(NOTER) if text.startswith("NOTE count")) == sorted(notes)


def test_what_bearerbox_handed_over_before_it_was_killed_is_in_the_record_once(day: Seen) -> None:
    kept = [text for text in day.kept(NOTER) if text.startswith("NOTE more")]
    assert len(set(kept)) == len(kept)
    assert set(kept) <= {f"NOTE more {number}" for number in range(MORE_NOTES)}
    assert len(kept) > MORE_NOTES // 3


def test_every_reply_arrived_once_and_is_reported_as_delivered(day: Seen) -> None:
    assert day.rows("SELECT status, count(*) FROM outgoing WHERE status != 'delivered' GROUP BY 1") == []
    for number in (*PAIRS, NOTER, COORDINATOR, STRANGER):
        out = day.rows("SELECT text FROM outgoing JOIN phone ON phone.id = phone WHERE number = ?", number)
        assert sorted(set(day.got[number])) == sorted({text for (text,) in out})


def test_a_text_is_sent_twice_only_where_a_kill_fell_between_sending_and_noting_it(day: Seen) -> None:
    got = sum(len(texts) for texts in day.got.values())
    (out,) = day.rows("SELECT count(*) FROM outgoing")[0]
    assert out <= got <= out + 2 * 16


def test_long_and_wide_texts_go_both_ways(day: Seen) -> None:
    assert LONG_NOTE in day.kept(NOTER)
    assert WIDE_NOTE in day.kept(NOTER)
    assert any("\U0001f40c" in text and "pair A" in text for text in day.got[COORDINATOR])
    assert f"From the coordinator: {ADVICE}" in day.got[PAIRS[0]]


def test_the_coordinator_answers_and_the_stranger_is_told_how_to_join(day: Seen) -> None:
    assert "Sent to pair A, Amberwell Pond." in day.got[COORDINATOR]
    assert len(day.got[STRANGER]) == 1
    assert "JOIN" in day.got[STRANGER][0]


def test_the_table_of_samples_is_right_and_the_record_is_whole(day: Seen) -> None:
    larvae = day.rows("SELECT tag, length_mm, family FROM sample WHERE status = 'kept' AND kind = 'larva'")
    assert 12 <= len(larvae) <= 14, "at the last specimen each other pair may have one in hand"
    assert len({tag for tag, _, _ in larvae}) == len(larvae)
    used = day.rows("SELECT code FROM tag WHERE status = 'used' ORDER BY code")
    assert used == sorted((tag,) for tag, _, _ in larvae)
    assert day.rows("SELECT status, group_code FROM visit") == [("closed", "north")]
    assert verify(day.db).problems == []


def test_the_server_ends_cleanly_when_it_is_told_to(day: Seen) -> None:
    assert day.exit == 0
