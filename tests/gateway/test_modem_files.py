"""The daemon's files: what one says, what can't be read, and that no phone's words can pass for a file."""

import string

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from guide.gateway.modem_files import (
    GAP,
    HalfWrittenError,
    Received,
    UnreadableError,
    letters,
    outbox_file,
    outbox_name,
    read_inbox_file,
)
from guide.talk.sms import segments
from tests.conftest import START
from tests.gateway.modem_day import utf16_hex, words_in

NAME = "IN20260704_090000_00_+447700900201_00.txt"
NUMBER = "+447700900201"
OTHER_NAME = "IN20260704_090007_00_+447700900201_00.txt"


def section(words, number=NUMBER, header="", coding="Default_No_Compression", index=0, comment=None, pdu="Deliver"):
    """One section as the daemon writes it: its own lines end in CR LF, its comments in LF."""
    hexes = utf16_hex(words)
    shown = (words if comment is None else comment).replace("\n", "\n; ")
    lines = [f"[SMSBackup{index:03d}]\n; {shown}\n" + 'SMSC = ""', "SMSCUnicode = ", f"PDU = {pdu}"]
    lines += ["DateTime = 20260704T090000Z", "State = UnRead", f'Number = "{number}"']
    lines += [f"NumberUnicode = {utf16_hex(number)}", 'Name = ""', "NameUnicode = "]
    lines += [f"UDH = {header}"] if header else []
    lines += [f"Text{i // 200:02d} = {hexes[i : i + 200]}" for i in range(0, max(len(hexes), 1), 200)]
    lines += [f"Coding = {coding}\nFolder = 1\nLength = {len(hexes) // 4}\nClass = -1\nMessageReference = 0\n"]
    return "\r\n".join(lines) + "\n"


def detail(*sections):
    return ("; This file format was designed for Gammu\n\n" + "".join(sections)).encode("utf-8", "replace")


def read(*sections, name=NAME):
    (letter,) = letters({name: read_inbox_file(name, detail(*sections))})
    return letter


def part(words, index, total=2, reference="C3", **more):
    return section(words, header=f"050003{reference}{total:02X}{index:02X}", **more)


@pytest.mark.parametrize("words", ["27 darner 01428", "", "héllo €5 {x}", "жук 👍", "two\nlines", "x" * 160])
def test_a_text_is_read_word_for_word(words):
    letter = read(section(words))
    assert (letter.words, letter.sender, letter.missing) == (words, NUMBER, [])
    assert letter.sent_at == "2026-07-04T09:00:00+00:00"


def test_the_parts_of_a_long_text_are_joined_in_their_order():
    assert read(part("one ", 1), part("two", 2)).words == "one two"
    assert read(part("two", 2), part("one ", 1)).words == "one two"


def test_a_reference_of_two_bytes_numbers_parts_as_well():
    assert read(section("b", header="0608040CC30202"), section("a", header="0608040CC30201")).words == "ab"


def test_half_of_a_surrogate_pair_is_joined_with_the_other_half():
    (high, low) = "\ud83d", "\udc4d"
    files = {}
    for number, half in ((1, high), (2, low)):
        data = part("x", number).replace(utf16_hex("x"), half.encode("utf-16-be", "surrogatepass").hex().upper())
        files[f"IN20260704_09000{number}_00_{NUMBER}_00.txt"] = read_inbox_file(
            f"IN20260704_09000{number}_00_{NUMBER}_00.txt", detail(data)
        )
    (letter,) = letters(files)
    assert letter.words == "👍"


def test_parts_that_come_in_files_of_their_own_are_one_text():
    files = {
        NAME: read_inbox_file(NAME, detail(part("two", 2))),
        OTHER_NAME: read_inbox_file(OTHER_NAME, detail(part("one ", 1))),
    }
    (letter,) = letters(files)
    assert letter.words == "one two"
    assert sorted(letter.files) == [NAME, OTHER_NAME]


def test_a_missing_part_is_known_and_leaves_a_gap():
    letter = read(part("one ", 1, total=3), part("three", 3, total=3))
    assert letter.missing == [2]
    assert letter.words == f"one {GAP}three"


def test_the_same_reference_later_with_other_words_is_another_text():
    files = {
        NAME: read_inbox_file(NAME, detail(part("one", 1))),
        OTHER_NAME: read_inbox_file(OTHER_NAME, detail(part("other", 1))),
    }
    (letter,) = letters(files)
    assert letter.files == [NAME]


def test_a_text_that_the_daemon_writes_again_under_another_name_has_the_same_id():
    again = read(section("27"), name="IN20260704_090000_01_+447700900201_00.txt")
    assert again.ext_id == read(section("27")).ext_id
    assert read(section("27").replace("090000Z", "090001Z")).ext_id != again.ext_id
    assert read(section("28")).ext_id != again.ext_id


@pytest.mark.parametrize(
    ("words", "encoded"),
    [("ok", b"ok"), ("жук 👍", "жук 👍".encode()), ("жук", "\ufeffжук".encode("utf-16-be") + bytes(6))],
)
def test_a_file_of_words_alone_is_read_as_well(words, encoded):
    (letter,) = letters({NAME: read_inbox_file(NAME, encoded)})
    assert (letter.words, letter.sender, letter.sent_at) == (words, NUMBER, None)


@pytest.mark.parametrize(
    ("name", "data", "why"),
    [
        ("notes.txt", b"ok", "its name is not one that the daemon gives"),
        (NAME, b"\xff\xff", "its words are neither UTF-16 nor UTF-8"),
        (NAME, b"x" * 153, "it may be one part of a long text; InboxFormat = detail tells"),
        (NAME, "ж".encode() * 67, "it may be one part of a long text; InboxFormat = detail tells"),
        (NAME.replace("_00.txt", "_01.txt"), b"ok", "it may be one part of a long text; InboxFormat = detail tells"),
        (NAME, detail(section("ok", number="+1")), "the number in it is not the one in its name"),
        (NAME, detail(section("ok"), section("ok", number="+1")), "it holds more than one text"),
        (NAME, detail(section("ok"), section("no")), "it holds a part twice"),
        (NAME, detail(section("ok", coding="8bit")), "it holds data, no words"),
        (NAME, detail(section("ok", pdu="Status_Report")), "it is a report, no text"),
        (NAME, detail(section("ok").replace("006F", "00GG")), "its hexadecimal digits are damaged"),
        (NAME, detail(section("ok").replace("006F", "6F")), "its words are damaged"),
    ],
)
def test_a_file_without_a_text_says_why(name, data, why):
    with pytest.raises(UnreadableError) as refused:
        read_inbox_file(name, data)
    assert str(refused.value) == why


def test_a_file_that_ends_too_early_may_have_more_to_come():
    whole = detail(section("a long text " * 12, comment="short"))
    with pytest.raises(HalfWrittenError):
        read_inbox_file(NAME, whole[: whole.index(b"Coding")])


SPOOFS = (
    'a\n[SMSBackup001]\nPDU = Deliver\nNumber = "+1"\nNumberUnicode = 002B0031\nText00 = 0041\nLength = 1\n',
    "Text00 = 0041\r\nNumberUnicode = 002B0031",
    "; x\n;[SMSBackup000]",
)


@pytest.mark.parametrize("words", SPOOFS)
def test_words_that_look_like_a_file_stay_words(words):
    assert (read(section(words)).words, read(section(words)).sender) == (words, NUMBER)
    try:
        plain = read_inbox_file(NAME, words.encode())
    except UnreadableError:
        return
    assert plain.sender == NUMBER


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=400))
@example("\x85[SMSBackup000]\u2028Number")
def test_any_words_are_read_as_they_are(words):
    assert read(section(words, comment="")).words == words


LINES = st.sampled_from(
    [b"[SMSBackup000]", b"[SMSBackup001]", b"; x", b"UDH = 050003C30201", b"UDH = 0500", b"UDH = FF", b"Length = 2",
     b"Text00 = 006F006B", b"Text00 = 00", b"Text01 = D83D", b"Coding = 8bit", b"PDU = Deliver", b"=", b"",
     b"NumberUnicode = 002B003400340037003700300030003900300030003200300031"]
)  # fmt: skip


@given(st.one_of(st.binary(max_size=300), st.lists(LINES, max_size=12).map(b"\r\n".join)))
def test_any_bytes_are_read_or_refused(data):
    for name in (NAME, "x", "IN.txt"):
        try:
            received = read_inbox_file(name, data)
        except UnreadableError:
            continue
        assert isinstance(received, Received)
        (letter,) = letters({name: received})
        letter.words.encode()
        assert letter.ext_id


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=500), st.integers(0, 10_000))
def test_what_is_written_for_the_outbox_reads_back_in_the_segments_that_were_counted(words, reference):
    file = outbox_file(NUMBER, words, reference)
    assert words_in(file) == (words, segments(words))
    (letter,) = letters({NAME: read_inbox_file(NAME, file)})
    assert (letter.words, letter.missing, letter.sender) == (words, [], NUMBER)


def test_ucs2_is_used_only_where_a_character_needs_it():
    assert b"Coding = Default_No_Compression" in outbox_file(NUMBER, "27 mm, é € {ok}", 1)
    assert b"Coding = Unicode_No_Compression" in outbox_file(NUMBER, "27 mm 👍", 1)


def test_an_outbox_name_is_one_that_the_daemon_takes():
    assert outbox_name(NUMBER, START, False, "ab-1-cd") == "OUTC20260704_090000_00_+447700900201_ab-1-cd.smsbackup"
    assert outbox_name(NUMBER, START, True, "ab-1-cd").startswith("OUTB")
    assert set(outbox_name(NUMBER, START, True, "ab-1-cd")) <= set(string.ascii_letters + string.digits + "+_-.")
