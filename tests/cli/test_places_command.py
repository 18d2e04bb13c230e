"""`ridelog places` on sample logs: a loop by one bike with clean radiators and with clogged ones."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import sample_logs

SAMPLES = sample_logs.folder()
CLEAN, BLOCKED, TRACKLESS = "04-clean-radiators", "06-more-mud", "no-track"


def ridelog(library: Path, *arguments: str | Path, status: int = 0) -> subprocess.CompletedProcess[str]:
    """Run the program as a user does; check its exit status and that it never shows a traceback."""
    command = [sys.executable, "-m", "ridelog", *map(str, arguments), "--library", str(library)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    return done


@pytest.fixture(scope="module")
def rides(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A library with two rides of the loop before and after a muddy week, and one without positions."""
    folder = tmp_path_factory.mktemp("library")
    ridelog(folder, "bikes", "add", SAMPLES / "bikes" / "enduro-12.bike.toml")
    found = {}
    for name, ambient, day in ((CLEAN, "29", "2026-05-09"), (BLOCKED, "18", "2026-06-06")):
        (file,) = (SAMPLES / "rides").glob(f"{name}*")
        told = ridelog(
            folder, "import", file, "--bike", "enduro-12", "--ambient", ambient, "--start", f"{day}T10:00:00Z", "--json"
        )
        found[name] = json.loads(told.stdout)["rides"][0]["id"]
    bare = folder.parent / "bare.csv"
    rows = "\n".join(f"{t},{80 + t % 7},4000" for t in range(400))
    bare.write_text(f"Time (s),Coolant (C),RPM\n{rows}\n", encoding="utf-8")
    told = ridelog(folder, "import", bare, "--bike", "enduro-12", "--json")
    found[TRACKLESS] = json.loads(told.stdout)["rides"][0]["id"]
    return folder, found


def told(library: Path, *arguments: str) -> dict[str, Any]:
    """The JSON document."""
    document: dict[str, Any] = json.loads(ridelog(library, "places", *arguments, "--json").stdout)
    return document


def test_laps_of_one_ride(rides: tuple[Path, dict[str, str]]) -> None:
    """The course is 7.95 km and was ridden twice, as the script that made the log knows."""
    library, names = rides
    found = told(library, names[CLEAN])
    assert found["schema"] == 1
    (loop,) = found["stretches"]
    assert loop["kind"] == "loop"
    assert loop["length_m"] == pytest.approx(7950.0, rel=0.005)
    assert [one["number"] for one in loop["passes"] if one["full"]] == [1, 2]
    for one in loop["passes"]:
        shown = one["measured"]
        assert shown["heat_in_k"]["low"] < shown["heat_in_k"]["value"] < shown["heat_in_k"]["high"]
        assert shown["heat_known_share"] > 0.95
        assert shown["coolant_peak_c"] >= shown["coolant_out_c"]
        assert 0.2 < shown["conservative_share"] < 0.6
        assert shown["map_unknown_share"] < 0.05
        assert shown["air_c"] == pytest.approx(29.0, abs=1.0)
    (compared,) = loop["compared"]
    assert compared["compared"]["verdict"] == "same"


def test_before_and_after(rides: tuple[Path, dict[str, str]]) -> None:
    """A third of the fins sees no air on the second ride: warmer at the same load, though the day was cooler."""
    library, names = rides
    found = told(library, names[BLOCKED], names[CLEAN])
    (loop,) = found["stretches"]
    between = [one["compared"] for one in loop["compared"] if one["ride"] != one["against_ride"]]
    within = [one["compared"] for one in loop["compared"] if one["ride"] == one["against_ride"]]
    assert [one["verdict"] for one in between] == ["warmer"]
    assert between[0]["matched_c"]["low"] > 4.0
    assert between[0]["load_c"]["high"] < 0.0
    assert {one["verdict"] for one in within} == {"same"}


def test_a_person_reads_no_coordinates(rides: tuple[Path, dict[str, str]]) -> None:
    library, names = rides
    for arguments in ((names[CLEAN],), (names[CLEAN], names[BLOCKED]), ("--bike", "enduro-12")):
        text = ridelog(library, "places", *arguments).stdout
        assert not re.search(r"-?\d{2,3}\.\d{3,}", text)
        assert "Leave a hot cooling system closed" in text
    assert "Loop A, 7.9 km" in ridelog(library, "places", names[CLEAN]).stdout
    assert "the same within what the log can tell" in ridelog(library, "places", names[CLEAN]).stdout


def test_positions_can_be_left_out(rides: tuple[Path, dict[str, str]]) -> None:
    library, names = rides
    assert told(library, names[CLEAN])["stretches"][0]["start_deg"] == pytest.approx([43.2, -31.6], abs=0.2)
    bare = ridelog(library, "places", names[CLEAN], "--json", "--no-positions").stdout
    assert "_deg" not in bare
    assert "43.2" not in bare
    assert told(library)["places"][0]["place_deg"] == pytest.approx([43.2, -31.6], abs=0.2)
    assert "_deg" not in ridelog(library, "places", "--json", "--no-positions").stdout


def test_the_hottest_places(rides: tuple[Path, dict[str, str]]) -> None:
    """Deep sand and the tracks ridden flat out are what the course has to get hot on."""
    library, names = rides
    found = told(library, "--bike", "enduro-12")
    assert found["rides"] == found["told"] == 2
    first = found["places"][0]
    assert first["kind"] in {"heavy_drag", "wide_open", "slow_climb"}
    assert first["hot"] >= 1
    assert first["passes"] <= 4
    assert first["share"]["low"] <= first["hot"] / (first["passes"] - first["unknown"]) <= first["share"]["high"]
    assert sum(first["above_s"].values()) > 0.0
    assert first["method"] == "range"
    assert [one["question"] for one in found["cannot_tell"]] == [names[TRACKLESS]]
    assert "no positions" in found["cannot_tell"][0]["reason"]


def test_the_second_time_says_the_same(rides: tuple[Path, dict[str, str]]) -> None:
    library, _ = rides
    assert told(library) == told(library)


def test_a_ride_without_positions_says_why(rides: tuple[Path, dict[str, str]]) -> None:
    library, names = rides
    text = ridelog(library, "places", names[TRACKLESS]).stdout
    assert "can't be told" in text
    assert "Log a GPS track" in text


def test_what_can_not_be_asked(rides: tuple[Path, dict[str, str]]) -> None:
    library, names = rides
    assert "--bike picks rides" in ridelog(library, "places", names[CLEAN], "--bike", "enduro-12", status=2).stderr
    assert "19990101" in ridelog(library, "places", "19990101", status=2).stderr
    assert "enduro-99" in ridelog(library, "places", "--bike", "enduro-99", status=2).stderr
