"""The modem's folders without the daemon: texts leave the inbox only once they are durable, and go out once."""

import asyncio
import os
import sqlite3
import stat
from contextlib import suppress
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guide.cli import main
from guide.flow.load import shipped_flows
from guide.gateway import modem
from guide.gateway.exchange import TextIn
from guide.gateway.modem import ModemCarrier, ModemInbox, tidy
from guide.gateway.modem_check import check_modem
from guide.gateway.outbox import Outbox
from guide.gateway.serve_check import Checked
from tests.conftest import START
from tests.gateway.modem_day import words_in
from tests.gateway.test_modem_files import NAME, NUMBER, detail, part, section


@pytest.fixture
def folder(tmp_path):
    """The daemon's folders, all empty."""
    for name in ("inbox", "outbox", "sent", "error", "draft", "unread"):
        (tmp_path / "modem" / name).mkdir(parents=True)
    (tmp_path / "modem").chmod(0o770)
    return tmp_path / "modem"


@pytest.fixture
def inbox(folder):
    """An inbox whose texts go to a list, at a time that stands until it is moved."""
    one = ModemInbox(folder, None, lambda: one.now, "GB")
    one.now, one.taken, one.trouble = START, [], None

    async def take(text):
        if one.trouble:
            raise one.trouble
        assert any((folder / "inbox").iterdir()), "the file must be there until its text is durable"
        one.taken.append(text)

    one.take = take
    return one


def put(folder, name, data, at=START):
    path = folder / "inbox" / name
    path.write_bytes(data)
    os.utime(path, (at.timestamp(), at.timestamp()))
    return path


def scan(inbox, later_s=0.0):
    inbox.now += timedelta(seconds=later_s)
    asyncio.run(inbox.scan())
    return [text.text for text in inbox.taken]


def left(folder, name="inbox"):
    return sorted(path.name for path in (folder / name).iterdir())


def test_a_text_is_worked_and_then_its_file_is_gone(folder, inbox):
    put(folder, NAME, detail(section("27 darner")))
    assert scan(inbox) == ["27 darner"]
    (text,) = inbox.taken
    assert (text.number, text.sent_at, text.gateway) == (NUMBER, "2026-07-04T09:00:00+00:00", "number")
    assert left(folder) == left(folder, "unread") == []


def test_a_text_that_failed_once_is_worked_though_the_clock_was_set_back(folder, inbox):
    put(folder, NAME, detail(section("27 darner")))
    inbox.trouble = sqlite3.OperationalError("database or disk is full")
    assert scan(inbox) == []
    inbox.trouble = None
    assert scan(inbox, -2 * 86400) == ["27 darner"]


def test_parts_that_came_before_the_clock_was_set_back_are_not_waited_for_until_it_catches_up(folder, inbox):
    name = NAME.replace("_00.txt", "_01.txt")
    put(folder, name, detail(part("two", 2)))
    assert scan(inbox) == []
    (taken,) = scan(inbox, -2 * 86400)
    assert "two" in taken


def test_texts_of_a_phone_are_worked_in_the_order_they_were_sent(folder, inbox):
    for second in (3, 1, 2):
        name = f"IN20260704_09000{second}_00_{NUMBER}_00.txt"
        put(folder, name, detail(section(str(second)).replace("090000Z", f"09000{second}Z")))
    assert scan(inbox) == ["1", "2", "3"]


def test_a_missing_part_is_waited_for_then_what_came_is_taken_with_a_gap(folder, inbox, caplog):
    put(folder, NAME, detail(part("27 darner ", 1)))
    assert scan(inbox) == scan(inbox, 59) == []
    assert scan(inbox, 2) == ["27 darner [...]"]
    assert "a long text came without part [2] of 2" in caplog.text
    assert left(folder) == []


def test_a_part_that_comes_in_time_makes_the_text_whole(folder, inbox):
    put(folder, NAME, detail(part("27 darner ", 1)))
    scan(inbox)
    put(folder, NAME.replace("_090000", "_090100"), detail(part("01428", 2)))
    assert scan(inbox, 30) == ["27 darner 01428"]
    assert left(folder) == []


def test_a_file_that_is_being_written_is_read_when_it_is_whole(folder, inbox):
    whole = detail(section("27 darner"))
    put(folder, NAME, whole[: whole.index(b"Coding")])
    assert scan(inbox) == []
    put(folder, NAME, whole, START + timedelta(seconds=1))
    assert scan(inbox, 1) == ["27 darner"]


def test_a_file_that_stays_half_goes_to_unread(folder, inbox):
    whole = detail(section("27 darner"))
    put(folder, NAME, whole[: whole.index(b"Coding")])
    assert scan(inbox, 11) == []
    assert (left(folder), left(folder, "unread")) == ([], [NAME])


def test_what_holds_no_text_goes_to_unread_with_one_line(folder, inbox, caplog, tmp_path):
    secret = tmp_path / "secret"
    secret.write_bytes(detail(section("secret")))
    (folder / "inbox" / NAME).symlink_to(secret)
    put(folder, "IN20260704_090001_00_CARRIER_00.txt", detail(section("your credit is low", number="CARRIER")))
    put(folder, f"IN20260704_090002_00_{NUMBER}_00.txt", b"x" * (modem.LARGEST_FILE + 1))
    put(folder, "\x1b[2Jnotes", b"ok")
    os.mkfifo(folder / "inbox" / f"IN20260704_090003_00_{NUMBER}_00.txt")
    (folder / "inbox" / "kept").mkdir()
    assert scan(inbox) == []
    assert left(folder) == ["kept"]
    assert len(left(folder, "unread")) == len(caplog.records) == 5
    assert (folder / "unread" / NAME).is_symlink()
    assert "\x1b" not in caplog.text


def test_an_older_unread_file_of_the_same_name_stays(folder, inbox):
    for words in (b"\xff1", b"\xff2"):
        put(folder, NAME, words)
        scan(inbox)
    assert left(folder, "unread") == [NAME, f"{NAME}.2"]


def test_a_record_that_cannot_be_written_keeps_the_text_in_the_inbox(folder, inbox, caplog):
    put(folder, NAME, detail(section("27")))
    inbox.trouble = sqlite3.OperationalError("disk is full")
    for _ in range(20):
        scan(inbox, 61)
    assert left(folder) == [NAME]
    assert caplog.text.count("disk is full") == 1
    inbox.trouble = None
    assert scan(inbox, 61) == ["27"]
    assert left(folder) == []


def test_a_text_that_is_tried_again_waits_and_holds_up_no_other(folder, inbox):
    put(folder, NAME, detail(section("27")))
    inbox.trouble = sqlite3.OperationalError("locked")
    scan(inbox)
    inbox.trouble = None
    put(folder, NAME.replace("_090000", "_090100"), detail(section("28").replace("090000Z", "090100Z")))
    assert scan(inbox, 1) == ["28"]
    assert scan(inbox, 2) == ["28", "27"]


def test_a_text_that_can_never_be_worked_ends_in_unread(folder, inbox):
    put(folder, NAME, detail(section("27")))
    inbox.trouble = ValueError("a fault of ours")
    for _ in range(modem.MOST_TRIES):
        scan(inbox, 61)
    assert (left(folder), left(folder, "unread")) == ([], [NAME])


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.binary(max_size=2000))
def test_any_bytes_are_read_or_put_away(folder, inbox, caplog, data):
    caplog.clear()
    put(folder, NAME, data)
    scan(inbox, 100)
    assert left(folder) == []
    assert all(record.exc_info is None for record in caplog.records)


def test_a_crash_after_the_commit_gives_no_double(folder, inbox, pond):
    """The file is still there at the next start: the record knows its text."""

    async def killed(text: TextIn) -> None:
        pond.exchange.receive(text, pond.now)
        raise KeyboardInterrupt

    async def work(text: TextIn) -> None:
        pond.exchange.receive(text, pond.now)

    put(folder, NAME, detail(section("hello")))
    inbox.take = killed
    with suppress(KeyboardInterrupt):
        scan(inbox)
    assert left(folder) == [NAME]
    again = ModemInbox(folder, work, lambda: START, "GB")
    asyncio.run(again.scan())
    assert left(folder) == []
    assert pond.rows("SELECT count(*) FROM turn") == [(1,)]


# Texts out


@pytest.fixture
def carrier(folder, monkeypatch):
    monkeypatch.setattr(modem, "POLL_S", 0.005)
    one = ModemCarrier(folder, "0a1b2c3d", lambda: one.now)
    one.now = START
    return one


def waiting(pond):
    """The first text out of a record."""
    if not pond.rows("SELECT 1 FROM outgoing"):
        pond.text("hello", NUMBER)
    return Outbox(pond.exchange.store).waiting()[0]


async def daemon(folder, to, seen):
    """Moves what comes into the outbox to a folder, as the daemon does; keeps what it saw."""
    while True:
        for path in (folder / "outbox").iterdir():
            seen.append((path.name, path.read_bytes(), stat.S_IMODE(path.stat().st_mode)))
            path.rename(folder / to / path.name) if to else path.unlink()
        await asyncio.sleep(0.002)


def handed(carrier, folder, text, to):
    """What the carrier says, and what the daemon saw."""
    seen = []

    async def both():
        moves = asyncio.create_task(daemon(folder, to, seen))
        said = await carrier.hand(text)
        moves.cancel()
        return said

    return asyncio.run(both()), seen


def test_a_text_is_taken_once_the_daemon_has_sent_it(folder, carrier, pond):
    text = waiting(pond)
    said, [(name, file, mode)] = handed(carrier, folder, text, "sent")
    assert said.how == "taken"
    assert name == carrier.name_of(text)
    assert words_in(file)[0] == text.text
    assert mode == 0o660
    assert left(folder, "draft") == []


def test_a_text_that_was_sent_or_lies_in_the_outbox_is_not_written_again(folder, carrier, pond):
    text = waiting(pond)
    name = carrier.name_of(text)
    (folder / "sent" / name).write_bytes(b"as sent")
    assert handed(carrier, folder, text, "sent") == (("taken", ""), [])
    (folder / "sent" / name).rename(folder / "outbox" / name)
    assert handed(carrier, folder, text, "sent")[1] == [(name, b"as sent", 0o644)]


def test_the_same_id_in_another_record_is_another_text(folder, carrier, pond):
    text = waiting(pond)
    (folder / "sent" / carrier.name_of(text)).write_bytes(b"")
    other = ModemCarrier(folder, "ffffffff", lambda: START)
    assert len(handed(other, folder, text, "sent")[1]) == 1
    assert len(handed(carrier, folder, text._replace(text="other words"), "sent")[1]) == 1


def test_what_the_modem_could_not_send_is_tried_again_later(folder, carrier, pond):
    text = waiting(pond)
    said, seen = handed(carrier, folder, text, "error")
    assert (said.how, len(seen)) == ("later", 1)
    assert "could not send" in said.why
    said, seen = handed(carrier, folder, text, "sent")
    assert (said.how, len(seen)) == ("taken", 1)
    assert left(folder, "error") == []


def test_a_text_that_the_daemon_leaves_lying_is_said_and_stays(folder, carrier, pond):
    text = waiting(pond)

    async def time_passes():
        said = asyncio.create_task(carrier.hand(text))
        await asyncio.sleep(0.01)
        carrier.now += timedelta(seconds=modem.LONGEST_IN_OUTBOX_S)
        return await said

    said = asyncio.run(time_passes())
    assert (said.how, left(folder, "outbox")) == ("later", [carrier.name_of(text)])
    assert "does it run?" in said.why


def test_a_daemon_that_keeps_no_sent_files_gets_no_text_twice(folder, carrier, pond, caplog):
    said, seen = handed(carrier, folder, waiting(pond), None)
    assert (said.how, len(seen)) == ("taken", 1)
    assert "kept no file" in caplog.text


def test_folders_that_are_gone_are_a_reason_to_wait(folder, carrier, pond):
    (folder / "outbox").rmdir()
    assert asyncio.run(carrier.hand(waiting(pond))).how == "later"


def test_an_alarm_goes_before_an_answer(carrier, pond):
    answer = waiting(pond)
    assert sorted([carrier.name_of(answer), carrier.name_of(answer._replace(answers=None))])[0].startswith("OUTB")


@pytest.mark.parametrize("status", ["failed", "dropped"])
def test_a_text_that_is_not_to_go_is_taken_out_of_the_outbox_and_old_files_go(folder, pond, status):
    store = pond.exchange.store
    ours = ModemCarrier(folder, store.origin, lambda: START)
    name = ours.name_of(waiting(pond))
    other = "OUTC20260704_090000_00_+447700900299_by-hand.smsbackup"
    for where in ("outbox", "sent"):
        for one in (name, other):
            (folder / where / one).write_bytes(b"")
            os.utime(folder / where / one, (START.timestamp(), START.timestamp()))
    late = START + timedelta(days=8)
    tidy(folder, store, late)
    assert name in left(folder, "outbox")
    assert name in left(folder, "sent")  # it waits still: this file is what keeps it from being sent again
    pond.db.execute("UPDATE outgoing SET status = ?", (status,))
    tidy(folder, store, late)
    assert left(folder, "outbox") == left(folder, "sent") == [other]


# The check, in words


def test_the_check_says_what_is_wrong_and_what_the_daemon_needs(folder):
    found = Checked()
    check_modem(folder, found)
    (lines,) = [line for line in found.look if "InboxFormat = detail" in line]
    assert f"OutboxPath = {folder}/outbox/" in lines
    assert any("has inbox, outbox, sent, error" in line for line in found.good)
    folder.chmod(0o755)
    (folder / "error").rmdir()
    found = Checked()
    check_modem(folder, found)
    assert any(f"lacks error: mkdir -p {folder}/error" in line for line in found.wrong)


def test_the_check_sees_open_folders_and_texts_that_nobody_takes(folder):
    folder.chmod(0o755)
    (folder / "outbox" / "OUT1.txt").write_bytes(b"")
    os.utime(folder / "outbox" / "OUT1.txt", (0, 0))
    (folder / "unread" / "x").write_bytes(b"")
    found = Checked()
    check_modem(folder, found)
    assert any("can be read by everybody" in line for line in found.wrong)
    assert any("in outbox for more than 5 minutes: 1 text;" in line for line in found.wrong)
    assert any("no text that could be read: 1 file;" in line for line in found.look)


def test_serving_a_folder_that_is_none_is_one_sentence(tmp_path, capsys):
    record = str(tmp_path / "record.db")
    assert main(["desk", "programme", str(shipped_flows() / "programme.toml"), "--db", record]) == 0
    code = main(["serve", "--modem", str(tmp_path), "--db", record])
    assert code == 2
    assert "lacks inbox, outbox, sent, error: wadeline serve --check --modem DIR" in capsys.readouterr().err


def test_the_unit_may_write_the_modems_folder(folder, tmp_path, capsys):
    assert main(["serve", "--unit", "--modem", str(folder), "--db", str(tmp_path / "record.db")]) == 0
    unit = capsys.readouterr().out
    assert f"serve --modem {folder} --db" in unit
    assert f"ReadWritePaths={tmp_path} {folder}" in unit
