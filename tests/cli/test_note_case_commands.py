"""`ridelog note` and `ridelog case` as a user types them."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

import sample_logs
from ridelog.cli.notes import ABOUT
from ridelog.ingest import ImportOptions, import_files
from ridelog.store.casebook import ABOUTS
from ridelog.store.library import Library

SOURCE = sample_logs.folder()
RIDE = "20260524"
"""A ride of 24 min 48 s from 10:00:00 by its own clock."""


def ridelog(library: Path, *arguments: str, status: int = 0) -> subprocess.CompletedProcess[str]:
    """Run the program as a user does; check its exit status and that it never shows a traceback."""
    command = [sys.executable, "-m", "ridelog", *arguments, "--library", str(library)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert "\x1b" not in done.stderr + done.stdout
    return done


def document(library: Path, *arguments: str) -> dict[str, Any]:
    """The one JSON document on stdout."""
    loaded: dict[str, Any] = json.loads(ridelog(library, *arguments, "--json").stdout)
    assert loaded["schema"] == 1
    return loaded


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One ride of one bike, one of another."""
    library = Library.open(tmp_path_factory.mktemp("filled") / "library")
    for name, bike_id, zone in (
        ("05-first-mud.csv.gz", "enduro-12", "+02:00"),
        ("11-dropouts.csv.gz", "enduro-21", None),
    ):
        bike = library.add_bike(SOURCE / "bikes" / f"{bike_id}.bike.toml")
        options = ImportOptions(bike=bike, bike_id=bike.id, timezone=zone)
        (outcome,) = import_files(library, [SOURCE / "rides" / name], options)
        assert outcome.status == "stored", outcome.reason
    return library.root


@pytest.fixture
def library(filled: Path, tmp_path: Path) -> Path:
    """A copy that a test may change."""
    return Path(shutil.copytree(filled, tmp_path / "library"))


def test_the_option_names_what_the_store_takes() -> None:
    assert ABOUT == ABOUTS


def test_a_note_from_writing_to_removing(library: Path) -> None:
    assert "no notes on this ride yet" in ridelog(library, "note", RIDE).stdout
    said = ridelog(library, "note", RIDE, "--at", "0:08:30", "coolant", "at", "the", "overflow").stdout
    assert "“coolant at the overflow”" in said
    assert "counts as: coolant lost (by its words)" in said
    told = document(library, "note", RIDE, "--at", "T10:05", "--about", "map-standard", "pressed the button")
    assert (told["added"], told["about_by"]) == (2, "told")
    assert [(one["number"], one["at_s"], one["about"]) for one in told["notes"]] == [
        (2, 300.0, "map_standard"), (1, 510.0, "coolant_lost"),
    ]  # fmt: skip
    listed = ridelog(library, "note", RIDE).stdout
    assert "10:05:00+02:00" in listed
    assert "on the standard map from here" in listed
    changed = document(library, "note", RIDE, "--correct", "2", "--at", "+6:00")
    assert changed["notes"][0] | {"written_utc": ""} == {
        "number": 2, "at_s": 360.0, "about": "map_standard", "text": "pressed the button", "written_utc": "",
    }  # fmt: skip
    # What somebody said a note is about stays with another text; what was read from the words is read anew.
    again = document(library, "note", RIDE, "--correct", "2", "stopped at the gate")["notes"][0]
    assert (again["about"], again["text"]) == ("map_standard", "stopped at the gate")
    ridelog(library, "note", RIDE, "--correct", "1", "no coolant lost after all")
    assert document(library, "note", RIDE)["notes"][1]["about"] == "other"
    ridelog(library, "note", RIDE, "--correct", "1", "coolant at the overflow")
    assert "removed" in document(library, "note", RIDE, "--remove", "2")
    assert [one["number"] for one in document(library, "note", RIDE)["notes"]] == [1]
    analysis = document(library, "analyze", RIDE)
    assert analysis["notes"] == [{"at_s": 510.0, "about": "coolant_lost", "text": "coolant at the overflow"}]
    assert "0:08:30 (coolant lost): “coolant at the overflow”" in ridelog(library, "analyze", RIDE).stdout
    cap = next(one for one in document(library, "diagnose", RIDE)["ranked"] if one["cause"] == "cap_leaking")
    assert "notes of this ride speak of lost coolant" in " ".join(cap["for"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--at", "30:00", "x"], "runs from 0:00:00 to 0:24:48 (10:00:00 to 10:24:48 on 2026-05-24, +02:00)"),
        (["--at", "10:10", "x"], "--at +0:10:10 or --at 2026-05-24T10:10:00+02:00"),
        (["--at", "soon", "x"], "is no time"),
        (["--at", "-5", "x"], "is no time"),
        (["--at", "60"], "a note needs its text"),
        (["x"], "a note needs its time"),
        (["--remove", "7"], "it has no note 7"),
        (["--remove", "1", "x"], "--remove goes alone"),
        (["--correct", "1"], "nothing to change"),
        (["--at", "60", "--about", "weather", "x"], "is not one of"),
        (["--at", "60", "x" * 1001], "has 1,001 characters"),
        (["--at", "60", " "], "is empty"),
    ],
)
def test_what_a_note_lacks_is_said(filled: Path, arguments: list[str], said: str) -> None:
    done = ridelog(filled, "note", RIDE, *arguments, status=2)
    assert said in done.stderr
    assert done.stdout == ""
    assert Library.open(filled).notes_of(Library.open(filled).resolve(RIDE)) == []


def test_removing_a_ride_tells_of_its_notes_first(library: Path) -> None:
    assert "note" not in ridelog(library, "remove", RIDE, status=130).stderr
    ridelog(library, "note", RIDE, "--at", "60", "gate")
    assert "; 1 note with it)?" in ridelog(library, "remove", RIDE, status=130).stderr


def test_hostile_words_act_on_nothing(library: Path) -> None:
    typed = "\x1b[31mred\x1b]0;title\x07 <script>alert(1)</script> \u202etxt"
    ridelog(library, "note", RIDE, "--at", "60", typed)
    ridelog(library, "case", "open", "--bike", "enduro-12", "--said", typed)
    ridelog(library, "case", "close", "20", "--found", typed)
    for arguments in (["note", RIDE], ["analyze", RIDE], ["case", "list"], ["case", "show", "20"]):
        shown = ridelog(library, *arguments).stdout
        assert "\\x1b[31mred" in shown
        assert "\u202e" not in shown
    text = document(library, "note", RIDE)["notes"][0]["text"]
    assert text == "\\x1b[31mred\\x1b]0;title\\x07 <script>alert(1)</script> \\u202etxt"


def test_a_case_from_opening_to_the_record(library: Path) -> None:
    made = document(library, "case", "open", "--bike", "enduro-12", "--said", "it boils", "--date", "2026-06-20",
                    "--ride", RIDE)  # fmt: skip
    assert (made["id"], made["rides"], made["closed_utc"]) == ("2026-06-20-1", [made["rides"][0]], None)
    assert made["rides"][0].startswith(RIDE)
    shown = document(library, "case", "show", "2026-06")
    (one,) = shown["rides"]
    diagnosed = document(library, "diagnose", RIDE)
    assert one["findings"]["diagnosis"] == diagnosed
    assert one["today"] == {
        "same": True, "state": "same", "changed": [], "conclusion": diagnosed["conclusion"],
        "probability": diagnosed["ranked"][0]["probability"], "reason": None,
    }  # fmt: skip
    ridelog(library, "edit", RIDE, "--ambient", "5")
    later = document(library, "case", "show", "2026-06")
    assert later["rides"][0]["findings"] == one["findings"]
    assert (later["rides"][0]["today"]["same"], later["rides"][0]["today"]["changed"]) == (False, ["ambient"])
    assert "Changed since: the air temperature given for the ride." in ridelog(library, "case", "show", "2026").stdout
    ridelog(library, "remove", RIDE, "--yes")
    gone = ridelog(library, "case", "show", "2026").stdout
    assert "no longer in the library" in gone
    assert "Coolant peaked at 111 C" in gone
    cause = one["findings"]["diagnosis"]["conclusion"]
    cause = "airflow-blocked" if cause == "not_enough_evidence" else cause
    closed = ridelog(library, "case", "close", "2026", "--found", "fins packed", "--cause", cause).stdout
    assert "Case 2026-06-20-1 closed" in closed
    record = document(library, "case", "list")["record"]
    assert (record["closed"], record["first_right"] + record["not_enough_evidence"]) == (1, 1)
    assert "1 closed case" in ridelog(library, "case", "list").stdout
    assert document(library, "review")["cases"] == {**record, "left_out": []}
    assert document(library, "review", "--since", "2026-06-21")["cases"]["closed"] == 0
    again = document(library, "case", "reopen", "2026")
    assert (again["found"], again["found_before"][0]["found"]) == (None, "fins packed")
    assert "The workshop had first found: “fins packed”" in ridelog(library, "case", "show", "2026").stdout
    assert document(library, "case", "drop", "2026", made["rides"][0], "--yes")["rides"] == []
    assert "No ride is attached yet" in ridelog(library, "case", "show", "2026").stdout
    assert "nothing removed" not in ridelog(library, "case", "drop", "2026", "--yes").stderr
    assert document(library, "case", "list")["cases"] == []
    assert "no cases yet" in ridelog(library, "case", "list").stdout


def test_cases_of_an_unknown_bike_are_refused_as_elsewhere(library: Path) -> None:
    for as_json in ((), ("--json",)):
        error = ridelog(library, "case", "list", "--bike", "enduro-99", *as_json, status=2).stderr
        assert "no bike 'enduro-99'" in error
        assert "enduro-12" in error
    assert "no cases yet" in ridelog(library, "case", "list", "--bike", "enduro-12").stdout


def test_a_damaged_case_takes_neither_the_list_nor_a_review_with_it(library: Path) -> None:
    for said in ("it boils", "it boils again"):
        ridelog(library, "case", "open", "--bike", "enduro-12", "--said", said, "--date", "2026-06-20", "--ride", RIDE)
    with closing(sqlite3.connect(library / "library.sqlite")) as db, db:
        db.execute("UPDATE complaint_ride SET findings = '{}' WHERE complaint_seq = 1")
    closed = ridelog(library, "case", "close", "2026-06-20-1", "--found", "fins", "--cause", "airflow-blocked").stdout
    assert "Case 2026-06-20-1 closed" in closed
    assert "Left out: case 2026-06-20-1, ride " in closed
    listed = ridelog(library, "case", "list")
    assert "2026-06-20-2" in listed.stdout
    assert "Left out: case 2026-06-20-1" in listed.stderr
    assert [one["case"] for one in document(library, "case", "list")["left_out"]] == ["2026-06-20-1"]
    reviewed = ridelog(library, "review").stdout
    assert "Left out: case 2026-06-20-1, ride " in " ".join(reviewed.split())
    assert document(library, "review")["cases"]["left_out"][0]["case"] == "2026-06-20-1"
    assert "case drop 2026-06-20-1" in ridelog(library, "case", "show", "2026-06-20-1", status=3).stderr
    ridelog(library, "case", "show", "2026-06-20-2")
    ridelog(library, "case", "drop", "2026-06-20-1", "--yes")
    assert document(library, "review")["cases"]["left_out"] == []


def test_what_a_case_does_not_take_is_said(library: Path) -> None:
    other = next(row.id for row in Library.open(library).list_rides() if row.bike == "enduro-21")
    for arguments, said in (
        (["open", "--bike", "enduro-13", "--said", "x"], "enduro-1"),
        (["open", "--bike", "enduro-12", "--said", ""], "what the rider said is empty"),
        (["open", "--bike", "enduro-12", "--said", "x", "--date", "20.6.2026"], "is no date"),
        (["open", "--bike", "enduro-12", "--said", "x", "--date", "2999-01-01"], "no day a complaint can be of"),
        (["open", "--bike", "enduro-12", "--said", "x", "--ride", other], "belongs to bike enduro-21"),
        (["add", "2026", RIDE], "no case"),
        (["show", "x"], "no case"),
        (["close", "x", "--found", "y"], "no case"),
    ):
        assert said in ridelog(library, "case", *arguments, status=2).stderr
    assert document(library, "case", "list")["cases"] == []
    name = document(library, "case", "open", "--bike", "enduro-12", "--said", "x")["id"]
    assert (
        "perhaps airflow-blocked"
        in ridelog(library, "case", "close", name, "--found", "y", "--cause", "airflo", status=2).stderr
    )
    assert "belongs to bike enduro-21" in ridelog(library, "case", "add", name, RIDE, other, status=2).stderr
    assert document(library, "case", "show", name)["rides"] == []
    # Nobody is there to be asked.
    assert "stopped" in ridelog(library, "case", "drop", name, status=130).stderr
    assert len(document(library, "case", "list")["cases"]) == 1


def test_a_library_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    for arguments in (["note", RIDE], ["case", "list"], ["case", "open", "--bike", "a", "--said", "b"]):
        assert "no such folder" in ridelog(tmp_path / "none", *arguments, status=2).stderr
    assert list(tmp_path.iterdir()) == []
