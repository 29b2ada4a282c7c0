"""``desk programme``: checked, kept, and what new visits begin with."""

import json
import subprocess
import sys
from datetime import date, timedelta
from importlib.metadata import PackageNotFoundError

import pytest

from guide.lacking import lacking, packages_of
from tests.desk.set_up_world import COORDINATOR, REAL, Desk, texting

HELLO = b'{"id": "%d", "from": "+10%d", "text": "hello", "at": "2026-07-04T09:00:00Z"}\n'


def first_text(desk: Desk, phone: int, *options: str) -> str:
    """What a new phone is told over the pipe."""
    command = [sys.executable, "-m", "guide.cli", "pipe", "--db", str(desk.record), *options]
    done = subprocess.run(command, input=HELLO % (phone, phone), capture_output=True, check=True)
    return str(json.loads(done.stdout.splitlines()[0])["text"])


def test_a_new_visit_begins_with_the_programme_loaded_last(circle):
    assert "Tarrow Basin Lakes Circle." in first_text(circle, 1)
    circle.said("programme", circle.file("b.toml", REAL.replace("Sallow Fen", "Sedge Fen")))
    assert "4 Sedge Fen" in first_text(circle, 2)
    books = circle.rows("SELECT book_hash FROM visit ORDER BY id")
    assert books[0] != books[1]


def test_a_file_given_by_option_goes_before_the_programme_that_is_kept(circle):
    other = circle.file("other.toml", REAL.replace("Sallow Fen", "Other Fen"))
    assert "Other Fen" in first_text(circle, 1, "--programme", other)
    assert "Sallow Fen" in first_text(circle, 2)


def test_without_a_programme_visits_are_practice_ones_of_the_demo(desk):
    assert first_text(desk, 1).startswith("Practice, nothing counts.")


def test_what_is_kept_is_shown_for_people_and_for_scripts(circle):
    said = circle.said("programme")
    assert "Tarrow Basin Lakes Circle (tarrow), loaded 20" in said
    assert "not on holidays of IE" in said
    assert "coordinators  Wren" in said
    told = circle.told("programme")
    assert (told["target"], told["coordinators"], len(told["sites"])) == (12, ["Wren"], 4)


def test_a_coordinators_number_stands_in_the_table_of_phones_alone(circle):
    first_text(circle, 1)
    rows = circle.everything()
    assert ("+353209120001",) in circle.rows("SELECT number FROM phone")
    others = [str(rows[table]) for table in rows if table != "phone"]
    assert not any("912" in text and "0001" in text.split("912", 1)[1][:6] for text in others)
    first_text(circle, 3, "--programme", circle.file("again.toml", REAL + COORDINATOR))
    assert "20 912" not in str(circle.rows("SELECT toml FROM flow_book"))


def test_the_log_says_that_a_programme_was_loaded_but_not_its_waiver_word(circle):
    ((data,),) = circle.rows("SELECT data FROM log WHERE kind = 'programme_loaded'")
    settings = json.loads(data)["settings"]
    assert settings["target"] == 12
    assert "waiver_word" not in settings
    circle.whole()


@pytest.mark.parametrize(
    ("old", "new", "error"),
    [
        (
            "minimum_mm = 13",
            "minimun_mm = 13",
            "there is no setting 'minimun_mm'. Did you mean minimum_mm?",
        ),
        ("knee_cm = 50", "knee_cm = 150", "knee_cm = 150 is more than 80"),
        ("flows = true", "flow = true", "a site has no 'flow'. Did you mean flows?"),
        ('lab_holidays = ["IE"]', 'lab_holidays = ["EI"]', "no list of holidays for 'EI'"),
        ('lab_holidays = ["IE"]', 'lab_holidays = ["US-XX"]', "US has US-AK"),
        ("lab_closed = []", 'lab_closed = ["24.12."]', "'24.12.' is no date like 2026-12-24"),
        ("lab_closed = []", "lab_closed = 5", "must be a list"),
        ('name = "Quill Brook"', 'name = "The Great Quill Brook Reach"', "must be plain SMS letters, 20 at most"),
        ('code = "quill"', 'code = "harrow"', "two sites have the code 'harrow'"),
        ('name = "Wren"', 'nmae = "Wren"', "[[coordinators]] 1 needs name"),
        ("+353 20 912 0001", "020 912 0001", "is no phone number with its country"),
        ("width = 5", "width = 5\ncheck = false", "set count = 0 and load its list"),
        ("practice = false", "practice = [", "bad.toml: is not TOML"),
    ],
)
def test_a_programme_that_cant_be_used_is_refused_with_file_place_and_nearest_name(desk, old, new, error):
    text = REAL + COORDINATOR
    assert text.count(old) >= 1
    refused = desk.refused("programme", desk.file("bad.toml", text.replace(old, new, 1)))
    assert error in refused
    assert "bad.toml" in refused
    assert refused.count("\n") == 0
    assert not desk.record.exists()


def test_the_line_of_a_wrong_setting_is_told(desk):
    error = desk.refused("programme", desk.file("bad.toml", REAL.replace("knee_cm = 50", "knee_cm = 150")))
    line = int(error.split("bad.toml:")[1].split(":")[0])
    assert REAL.splitlines()[line - 1].startswith("knee_cm")


def test_the_line_of_a_wrong_site_is_that_of_its_table(desk):
    error = desk.refused(
        "programme", desk.file("bad.toml", REAL.replace('\nzone = "Europe/Dublin"', '\nzone = "Mars"', 1))
    )
    line = int(error.split("bad.toml:")[1].split(":")[0])
    assert REAL.splitlines()[line - 1] == "[[sites]]"
    assert REAL.splitlines()[line] == 'code = "amberwell"'


def test_a_programme_without_sites_is_kept_and_a_visit_says_what_is_missing(desk):
    bare = REAL[: REAL.index("[[sites]]")]
    assert "none yet: desk sites FILE.csv" in desk.said("programme", desk.file("bare.toml", bare))
    command = [sys.executable, "-m", "guide.cli", "pipe", "--db", str(desk.record)]
    done = subprocess.run(command, input=HELLO % (1, 1), capture_output=True, check=False)
    assert done.returncode == 2
    assert b"there are no sites" in done.stderr
    desk.said("sites", desk.file("sites.csv", "code,name\nteal,Teal Mere\n"))
    assert "1 Teal Mere" in first_text(desk, 1)


def test_showing_where_nothing_was_loaded_says_what_to_do(desk):
    assert desk.refused("programme") == f"there is no record at {desk.record}"
    first_text(desk, 1)
    assert "load one with wadeline desk programme FILE.toml" in desk.refused("programme")


def test_a_coordinator_of_the_file_gets_the_new_number(circle):
    circle.said("programme", circle.file("b.toml", REAL + COORDINATOR.replace("0001", "0002")))
    assert circle.told("coordinators", "list") == [{"name": "Wren", "number": "+353209120002", "takes_texts": True}]


def test_a_plan_knows_the_public_holidays_that_the_desk_looked_up(circle, desk):
    days = [date.fromisoformat(day) for day in circle.told("programme")["lab_rests"]]
    assert len(days) >= 5 * 9
    before = next(d - timedelta(days=1) for d in days if d.isoweekday() in (3, 4) and d - timedelta(days=1) not in days)
    steps = []
    for holidays in ('["IE"]', "[]"):
        text = REAL.replace('_holidays = ["IE"]', f"_holidays = {holidays}")
        circle.said("programme", circle.file("b.toml", text))
        pond = texting(circle)
        pond.converse("plan", "amberwell", before.isoformat(), "y", number=f"+20{len(steps)}")
        steps.append(pond.step(f"+20{len(steps)}"))
        pond.db.close()
    assert steps == ["plan.larvae_only", "plan.lab"]


def test_a_missing_extra_is_named_and_what_needs_none_works(circle):
    blocked = "import sys; sys.modules.update(dict.fromkeys(('holidays', 'phonenumbers', 'fpdf', 'segno')));"
    command = [sys.executable, "-c", f"{blocked} from guide.cli import main; sys.exit(main(sys.argv[1:]))", "desk"]
    done = subprocess.run([*command, "tags", "list", "--db", str(circle.record)], capture_output=True, check=True)
    assert b"01402" in done.stdout
    file = circle.file("b.toml", REAL)
    done = subprocess.run([*command, "programme", file, "--db", str(circle.record)], capture_output=True, check=False)
    assert done.returncode == 2
    assert done.stderr.startswith(b"wadeline: this needs the package holidays of the extra 'desk'. Install it with: ")
    assert b" -m pip install " in done.stderr


def test_what_a_missing_extra_brings_is_named_package_by_package(monkeypatch):
    listed = ["prompt-toolkit>=3", "fpdf2>=2.8; extra == 'desk'", 'uvicorn[standard]>=0.3; extra == "gateway"']
    monkeypatch.setattr("guide.lacking.requires", lambda name: [*listed, "holidays>=0.8 ; extra == 'desk'"])
    assert packages_of("desk") == ["fpdf2>=2.8", "holidays>=0.8"]
    assert lacking("uvicorn", "serve").endswith(" -m pip install 'uvicorn[standard]>=0.3'")
    assert lacking("fpdf", "desk").endswith(" -m pip install 'fpdf2>=2.8' 'holidays>=0.8'")


def test_a_program_that_was_never_installed_is_told_to_install_its_folder(monkeypatch):
    def none(name):
        raise PackageNotFoundError(name)

    monkeypatch.setattr("guide.lacking.requires", none)
    assert lacking("holidays", "desk").endswith(" -m pip install -e '.[desk]'")
