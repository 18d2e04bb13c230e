"""The main job through the command line, on the sample logs: import, list, analyze, report, export, edit, remove."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import sample_logs

RIDES = sample_logs.folder() / "rides"
BIKES = sample_logs.folder() / "bikes"


def ridelog(library: Path, *arguments: str | Path, status: int = 0) -> subprocess.CompletedProcess[str]:
    """Run the program as a user does; check its exit status and that it never shows a traceback."""
    command = [sys.executable, "-m", "ridelog", *map(str, arguments), "--library", str(library)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    return done


def document(library: Path, *arguments: str | Path, status: int = 0) -> dict[str, Any]:
    """The one JSON document on stdout."""
    loaded: dict[str, Any] = json.loads(ridelog(library, *arguments, "--json", status=status).stdout)
    assert loaded["schema"] == 1
    return loaded


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with two bikes, a sheet and three rides."""
    folder = tmp_path_factory.mktemp("library")
    ridelog(folder, "bikes", "add", BIKES / "enduro-07.bike.toml")
    ridelog(folder, "advice", "add", sample_logs.folder() / "default.advice.toml")
    document(folder, "import", RIDES / "01-standard-in-sand.csv.gz", "--bike", "enduro-07", "--ambient", "32",
             "--start", "2026-05-09T10:15:00+00:00")  # fmt: skip
    document(folder, "import", RIDES / "02-switched-in-time.csv.gz", "--bike", "enduro-07", "--ambient", "32",
             "--start", "2026-05-10T09:40:00+00:00")  # fmt: skip
    document(folder, "import", RIDES / "09-no-map-channel.csv", "--bike", BIKES / "enduro-21.bike.toml")
    return folder


def _ids(library: Path) -> dict[str, str]:
    rows = document(library, "rides")["rides"]
    return {row["id"]: row["bike"] for row in rows}


def _hot(library: Path) -> str:
    return next(ride for ride in _ids(library) if ride.startswith("20260509"))


def test_rides_lists_what_was_imported_newest_first(library: Path) -> None:
    rows = document(library, "rides", "--all")["rides"]
    dated = [row["start_utc"] for row in rows if row["start_utc"]]
    assert len(rows) == 3
    assert dated == sorted(dated, reverse=True)
    hot = next(row for row in rows if row["id"] == _hot(library))
    assert {"coolant_c", "engine_rpm", "throttle_pct", "map_slot"} <= set(hot["channels"])
    assert [row["bike"] for row in document(library, "rides", "--bike", "enduro-21")["rides"]] == ["enduro-21"]


def test_importing_again_is_recognised(library: Path) -> None:
    again = document(library, "import", RIDES / "01-standard-in-sand.csv.gz", "--bike", "enduro-07")
    assert [ride["status"] for ride in again["rides"]] == ["already_stored"]
    assert again["rides"][0]["id"] == _hot(library)


def test_a_refused_file_does_not_stop_the_others(library: Path, tmp_path: Path) -> None:
    (tmp_path / "page.csv").write_text("<!DOCTYPE html><html><body>log</body></html>")
    done = ridelog(library, "import", tmp_path / "page.csv", RIDES / "02-switched-in-time.csv.gz", "--json", status=1)
    rides = json.loads(done.stdout)["rides"]
    assert [ride["status"] for ride in rides] == ["refused", "already_stored"]
    assert rides[0]["id"] is None
    assert "page.csv" in rides[0]["reason"]
    assert "page.csv" in done.stderr


def test_analyze_answers_the_hot_ride(library: Path) -> None:
    result = document(library, "analyze", _hot(library))
    assert list(result)[1:] == [
        "ride", "basis", "quality", "exposure", "segments", "adherence", "heat", "what_if", "boiling", "facts",
        "summary", "cannot_tell", "notes",
    ]  # fmt: skip
    limit = next(row for row in result["exposure"] if row["name"] == "limit")
    truth_s = 42.8  # seconds the simulated coolant itself spends above 115 C, from the truth file
    assert limit["observed_low_s"] <= truth_s <= limit["observed_high_s"]
    assert {"heavy_drag", "wide_open"} <= {segment["kind"] for segment in result["segments"]}
    advised = [segment for segment in result["segments"] if segment["advised_map"] == "conservative"]
    assert {segment["verdict"] for segment in advised} == {"missed"}
    heat = result["heat"]
    assert (heat["fitted"], heat["reason"], heat["ambient_source"]) == (True, None, "given by hand")
    assert heat["heat_input"]["low"] < heat["heat_input"]["value"] < heat["heat_input"]["high"]
    assert [row["speed_mps"] for row in heat["cooling"]] == [0.0, 2.0, 5.0, 10.0, 20.0]
    assert result["what_if"]["basis"] == "bike"  # the sample's bike file holds its tuner's own figure
    for row, seen in zip(result["what_if"]["exposure"], result["exposure"], strict=True):
        assert row["low_s"] <= row["mid_s"] <= row["high_s"] <= seen["observed_s"]
    assert result["basis"]["advice_version"] == "2026-01"


def test_the_same_call_gives_the_same_digits(library: Path) -> None:
    first = ridelog(library, "analyze", _hot(library), "--json").stdout
    assert ridelog(library, "analyze", _hot(library), "--json").stdout == first


def test_a_ride_without_a_map_channel_accuses_nobody(library: Path) -> None:
    ride = next(ride for ride, bike in _ids(library).items() if bike == "enduro-21")
    result = document(library, "analyze", ride)
    assert {segment["verdict"] for segment in result["segments"]} <= {"unknown", "not_advised"}
    assert result["adherence"]["share"] is None


def test_a_file_is_analyzed_without_being_stored(library: Path) -> None:
    before = _ids(library)
    path = RIDES / "10-no-coolant.csv.gz"
    result = document(library, "analyze", path, "--bike", BIKES / "enduro-07.bike.toml")
    assert result["ride"]["bike"] == "enduro-07"
    assert all(row["observed_s"] == 0 and row["unknown_s"] > 0 for row in result["exposure"])
    assert _ids(library) == before


def test_tables_for_people_have_the_answer_first(library: Path) -> None:
    text = ridelog(library, "analyze", _hot(library)).stdout
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    assert lines[0].startswith("Ride 20260509")
    assert "115 C" in lines[1]
    assert "Deep-drag ground" in text
    assert "nan" not in text.lower().split()


def test_report_is_one_file_that_needs_no_network(library: Path, tmp_path: Path) -> None:
    ridelog(library, "report", _hot(library), "-o", tmp_path / "ride.html")
    text = (tmp_path / "ride.html").read_text(encoding="utf-8")
    assert "hot cooling system" in text.lower()
    ridelog(library, "report", _hot(library), "-o", tmp_path / "ride.pdf", status=2)


@pytest.mark.parametrize("ending", ["csv", "parquet", "geojson", "gpx"])
def test_export_by_extension(library: Path, tmp_path: Path, ending: str) -> None:
    target = tmp_path / f"ride.{ending}"
    ridelog(library, "export", _hot(library), "-o", target)
    assert target.stat().st_size > 1000


def test_export_refuses_an_ending_it_does_not_know(library: Path, tmp_path: Path) -> None:
    done = ridelog(library, "export", _hot(library), "-o", tmp_path / "ride.xlsx", status=2)
    assert ".geojson" in done.stderr


def test_edit_and_remove(library: Path, tmp_path: Path) -> None:
    folder = tmp_path / "own"
    ridelog(folder, "bikes", "add", BIKES / "enduro-12.bike.toml")
    ride = document(folder, "import", RIDES / "09-no-map-channel.csv")["rides"][0]["id"]
    edited = document(folder, "edit", ride, "--bike", "enduro-12", "--ambient", "21", "--condition", "faulty")["rides"][
        0
    ]
    assert (edited["bike"], edited["condition"]) == ("enduro-12", "faulty")
    assert document(folder, "analyze", ride)["ride"]["ambient_c"] == 21.0
    ridelog(folder, "edit", ride, status=2)
    ridelog(folder, "edit", ride, "--bike", "enduro-99", status=2)
    ridelog(folder, "edit", ride, "--start", "2026-05-02T09:00", status=2)
    ridelog(folder, "remove", ride, status=130)
    assert len(document(folder, "rides")["rides"]) == 1
    ridelog(folder, "remove", ride, "--yes")
    assert document(folder, "rides")["rides"] == []


@pytest.mark.parametrize(
    "arguments",
    [
        ("analyze", "no-such-ride"),
        ("analyze", "no/such/file.csv"),
        ("analyze", str(RIDES / "09-no-map-channel.csv"), "--bike", "nobody"),
        ("report", "no-such-ride", "-o", "x.html"),
        ("bikes", "show", "nobody"),
        ("advice", "show", "nothing"),
        ("bikes", "add", "missing.toml"),
        ("import", str(RIDES / "09-no-map-channel.csv"), "--column", "nonsense"),
        ("import", str(RIDES / "09-no-map-channel.csv"), "--ambient", "nan"),
        ("analyze", "x" * 5000),
        ("analyze", "a\x00b".replace("\x00", "%00")),
        ("rides", "--bike", "x" * 5000, "--no-such-option"),
        ("import", str(RIDES / "09-no-map-channel.csv"), "--start", "yesterday"),
        ("import", str(RIDES / "09-no-map-channel.csv"), "--timezone", "Mars/North"),
        ("serve", "--host", "0.0.0.0"),  # noqa: S104 - that this is refused is the point
    ],
)
def test_arguments_that_cannot_be_carried_out(library: Path, arguments: tuple[str, ...]) -> None:
    done = ridelog(library, *arguments, status=2)
    assert done.stderr.strip()


def test_a_drafted_bike_file_can_be_added(tmp_path: Path) -> None:
    target = tmp_path / "x.bike.toml"
    subprocess.run([sys.executable, "-m", "ridelog", "bikes", "new", "enduro-99", "-o", str(target)], check=True)
    ridelog(tmp_path / "library", "bikes", "add", target)
    listed = document(tmp_path / "library", "bikes")["bikes"]
    assert [bike["id"] for bike in listed] == ["enduro-99"]


def test_a_file_that_may_not_be_read_does_not_stop_the_others(library: Path, tmp_path: Path) -> None:
    """A folder stands for the unreadable file: the superuser, as whom tests may run, can read every file."""
    done = ridelog(library, "import", tmp_path, RIDES / "09-no-map-channel.csv", "--json", status=1)
    assert [ride["status"] for ride in json.loads(done.stdout)["rides"]] == ["refused", "already_stored"]


def test_a_library_that_is_not_there_is_not_made_by_reading(tmp_path: Path) -> None:
    ridelog(tmp_path / "typo", "rides", status=2)
    assert not (tmp_path / "typo").exists()


def test_options_that_were_not_applied_are_named(library: Path) -> None:
    done = ridelog(library, "import", RIDES / "09-no-map-channel.csv", "--timezone", "UTC")
    assert "--timezone was not applied" in done.stderr


def test_reading_options_are_for_files(library: Path) -> None:
    ridelog(library, "analyze", _hot(library), "--timezone", "UTC", status=2)
