"""A pair texts through a real Gammu daemon with its dummy phone; both are killed, and nothing is lost or doubled."""

import re
import shutil
import sqlite3
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from guide.record.verify import verify
from guide.talk.sms import is_gsm7, segments
from tests.gateway.kannel import wait_for
from tests.gateway.modem_day import GROUP_WORD, ModemDay, free_port, words_in

pytestmark = pytest.mark.skipif(
    not (shutil.which("gammu-smsd") and shutil.which("gammu")),
    reason="the Gammu daemon is not here; on Debian: apt-get install gammu gammu-smsd",
)
PAIR, FIRST_PAIR, COORDINATOR = "+447700900201", "+447700900202", "+447700900203"
LONG_NOTE = ("NOTE the bank by the alder has slipped, so we moved both trays two metres up the shore and " * 2)[:153]
WIDE_NOTE = ("NOTE water 14° 👍, жук under the stone, " + "ил " * 9)[:67]
ADVICE = "TO north leave it where it is, photo with the ruler beside it, rinse the net there and here, "
ADVICE_ENDS = "then tell the next group as well 👍"


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ModemDay]:
    """The day is played once; the tests look at what it left."""
    one = ModemDay(tmp_path_factory.mktemp("modem"), free_port())
    one.prepare(COORDINATOR, FIRST_PAIR)
    one.start_server()
    one.start_daemon()
    db = one.open_record()
    try:
        play(one, db)
        yield one
    finally:
        db.close()
        for process in (one.server, one.daemon):
            if process.poll() is None:
                one.kill(process)


def play(day: ModemDay, db: sqlite3.Connection) -> None:
    """A pair joins by its group's word, takes a larva, has an oops; around it everything falls over."""
    day.ask(db, PAIR, f"JOIN {GROUP_WORD.upper()}")
    day.play(db, PAIR, "larva.look")
    day.ask(db, PAIR, "y", "ok", "27")
    day.kill(day.server)
    day.text(PAIR, "darner")
    day.text(PAIR, LONG_NOTE, " wrote it down")
    day.text(COORDINATOR, ADVICE, ADVICE_ENDS)
    wait_for(lambda: len(day.files("inbox")) == 3, 20, "the daemon's files")
    day.start_server()
    wait_for(lambda: day.in_record(db, PAIR) == day.sent[PAIR], 20, "what came while the server was down")
    day.play(db, PAIR, "larva.look")
    day.text(PAIR, "OOPS spoon touched my sleeve")
    day.kill(day.daemon)
    day.text(PAIR, WIDE_NOTE, " and more below")
    day.start_daemon()
    wait_for(lambda: day.in_record(db, PAIR) == day.sent[PAIR], 20, "what came while the daemon was down")
    day.play(db, PAIR, "larva.look")
    day.server.terminate()
    assert day.server.wait(20) == 0
    day.start_server()
    wait_for(lambda: day.is_quiet(db), 60, "the last text")
    assert day.end() == 0


def sent_files(day: ModemDay) -> list[tuple[str, str]]:
    """Number and words of each text in ``sent``."""
    return [(path.name.split("_")[3], words_in(path.read_bytes())[0]) for path in day.files("sent")]


def rows(day: ModemDay, sql: str) -> list[tuple]:
    db = day.open_record()
    try:
        return db.execute(sql).fetchall()
    finally:
        db.close()


OUT = (
    "SELECT number, text FROM outgoing JOIN phone ON phone.id = outgoing.phone JOIN turn ON turn.id = outgoing.turn "
    "WHERE coalesce(ext_id, '') NOT LIKE 'before%' ORDER BY outgoing.id"
)


def test_every_text_that_came_is_in_the_record_once_and_in_order(day):
    db = day.open_record()
    for number in (PAIR, COORDINATOR):
        assert day.in_record(db, number) == day.sent[number]
    db.close()


def test_every_answer_is_in_sent_once_word_for_word(day):
    told = rows(day, OUT)
    assert Counter(sent_files(day)) == Counter(told)
    assert rows(day, "SELECT DISTINCT status FROM outgoing") == [("sent",)]
    assert day.files("error") == []


def test_the_daemon_sent_each_phones_texts_in_order_and_none_twice(day):
    names = re.findall(r"Transmitted (OUT\S+) \(total", day.log.read_text("utf-8", "replace"))
    again = [name for name, count in Counter(names).items() if count > 1]
    assert len(again) <= 1  # the one it was sending when it was killed: it can't know better
    for number in (PAIR, FIRST_PAIR, COORDINATOR):
        ids = [int(name.rsplit("-", 2)[1]) for name in dict.fromkeys(names) if f"_{number}_" in name]
        assert ids == sorted(ids)


def test_a_text_goes_out_in_the_parts_and_the_alphabet_it_needs(day):
    log = day.log.read_text("utf-8", "replace")
    wide = [words for _, words in sent_files(day) if not is_gsm7(words)]
    assert any(words.startswith("From the coordinator: leave it") and "👍" in words for words in wide)
    for path in day.files("sent"):
        words, parts = words_in(path.read_bytes())
        assert parts == segments(words)
        assert f"Transmitted {path.name} (total: {parts})" in log
    codings = Counter(re.findall(r"Found \d+ sms to .* cod (\d)", log))
    assert codings["1"] >= len(wide) > 0  # 1 is UCS-2 and 3 the GSM alphabet, in the daemon's own words
    assert codings["3"] > 0


def test_the_samples_are_those_that_were_told(day):
    (tag,) = [words for words in day.sent[PAIR] if re.fullmatch(r"\d{5}", words)]
    assert rows(day, "SELECT tag, length_mm, family, status FROM sample WHERE seat = 'B' AND status = 'kept'") == [
        (tag, 27.0, "Aeshnidae", "kept")
    ]
    assert rows(day, "SELECT count(*) FROM contamination") == [(1,)]
    db = day.open_record()
    assert verify(db).problems == []
    db.close()
    command = [sys.executable, "-m", "guide.cli", "desk", "verify", "--db", str(day.folder / "record.db")]
    assert subprocess.run(command, capture_output=True).returncode == 0


def test_the_inbox_is_empty_and_nothing_was_unreadable(day):
    assert day.files("inbox") == day.files("unread") == day.files("draft") == []
    assert "Traceback" not in Path(day.folder / "serve.log").read_text()
