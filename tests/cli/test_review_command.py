"""`ridelog review` on the demo library, as a user runs it."""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

import sample_logs


def ridelog(
    library: Path, *arguments: str | Path, status: int = 0, columns: int = 80
) -> subprocess.CompletedProcess[str]:
    """Run the program as a user does; check its exit status and that it never shows a traceback."""
    command = [sys.executable, "-m", "ridelog", *map(str, arguments), "--library", str(library)]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL,
        env={**os.environ, "COLUMNS": str(columns)},
    )  # fmt: skip
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    return done


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory, demo_library: Any) -> Path:
    folder = tmp_path_factory.mktemp("review") / "library"
    shutil.copytree(demo_library.folder, folder)
    return folder


@pytest.fixture(scope="module")
def document(library: Path) -> dict[str, Any]:
    """The whole library as JSON."""
    told: dict[str, Any] = json.loads(ridelog(library, "review", "--json").stdout)
    return told


def test_every_ride_and_each_bike_month_and_sheet(library: Path, document: dict[str, Any]) -> None:
    rides = json.loads(ridelog(library, "rides", "--all", "--json").stdout)["rides"]
    assert {one["ride"] for one in document["rides"]} == {one["id"] for one in rides}
    assert [one["key"] for one in document["by_bike"]] == sorted({one["bike"] for one in rides})
    assert len(document["by_sheet"]) == 2
    assert {"closed", "first_right", "family_right"} <= set(document["cases"])
    assert document["unjudged_rides"] == len(document["unjudged"]) > 0
    assert all(one["reason"] for one in document["unjudged"])


def test_a_ride_of_the_samples_is_judged_as_its_truth_says(document: dict[str, Any]) -> None:
    """The simulator's own record: what was advised on three sample rides and how much of it was on the map."""
    truth = {one["name"]: one for one in json.loads((sample_logs.folder() / "truth.json").read_text("utf-8"))["rides"]}
    on_time = truth["02-switched-in-time"]
    advised = [one for one in on_time["sections"] if one["expected_verdict"] not in ("not_advised",)]
    matching = [
        one
        for one in document["rides"]
        if one["bike"] == on_time["bike"] and one["counts"].get("followed") == len(advised)
    ]
    assert any(one["share"] == pytest.approx(1.0, abs=0.02) for one in matching)


def test_a_person_reads_it_within_eighty_columns(library: Path, document: dict[str, Any]) -> None:
    out = ridelog(library, "review").stdout
    tables = [line for line in out.splitlines() if not line.startswith("  ")]
    assert max(map(len, tables)) <= 80
    for title in ("By bike", "By kind of stretch", "By month", "By advice sheet", "Time above", "could not be judged"):
        assert title in out
    for group in document["by_bike"]:
        assert group["key"] in out


def test_since_and_bike(library: Path, document: dict[str, Any]) -> None:
    one = json.loads(ridelog(library, "review", "--json", "--bike", "enduro-12", "--since", "2026-05-01").stdout)
    whole = [ride for ride in document["rides"] if ride["bike"] == "enduro-12" and (ride["day"] or "") >= "2026-05-01"]
    assert one["rides"] == whole
    assert [group["key"] for group in one["by_bike"]] == ["enduro-12"]
    by_file = sample_logs.folder() / "bikes" / "enduro-12.bike.toml"
    again = json.loads(ridelog(library, "review", "--json", "--bike", by_file, "--since", "2026-05-01").stdout)
    assert again == one
    assert "no date" not in ridelog(library, "review", "--since", "2026-05-01").stdout


def test_each_ride_where_asked_for(library: Path, document: dict[str, Any]) -> None:
    out = ridelog(library, "review", "--rides", "--bike", "enduro-26", columns=120).stdout
    named = [one["ride"] for one in document["rides"] if one["bike"] == "enduro-26"]
    assert all(name in out for name in named)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--since", "last spring"), "is not a date"),
        (("--bike", "enduro-99"), "no bike 'enduro-99'"),
        (("--bike", "nowhere.bike.toml"), "nowhere.bike.toml"),
    ],
)
def test_what_cannot_be_used_is_named(library: Path, arguments: tuple[str, ...], said: str) -> None:
    assert said in ridelog(library, "review", *arguments, status=2).stderr


def test_a_changed_bike_file_must_be_added_first(library: Path, tmp_path: Path) -> None:
    text = (sample_logs.folder() / "bikes" / "enduro-12.bike.toml").read_text(encoding="utf-8")
    path = tmp_path / "enduro-12.bike.toml"
    path.write_text(re.sub(r"total_kg = [0-9.]+", "total_kg = 151.0", text), encoding="utf-8")
    assert "add it first" in ridelog(library, "review", "--bike", path, status=2).stderr


def test_an_empty_library_says_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "new").mkdir()
    assert "ridelog import" in ridelog(tmp_path / "new", "review").stdout
    told = json.loads(ridelog(tmp_path / "new", "review", "--json").stdout)
    assert told["overall"]["share"] is None
    assert told["rides"] == []


@pytest.mark.parametrize("bike", [(), ("--bike", "enduro-12")])
def test_no_ride_from_a_day_on_names_the_last_one(
    library: Path, document: dict[str, Any], bike: tuple[str, ...]
) -> None:
    days = [one["day"] for one in document["rides"] if one["day"] and (not bike or one["bike"] == bike[1])]
    told = ridelog(library, "review", "--since", "9999-12-31", *bike).stdout
    assert "from 9999-12-31 or later" in told
    assert f"The last one is of {max(days)}" in " ".join(told.split())
    assert "Import" not in told
    assert json.loads(ridelog(library, "review", "--since", "9999-12-31", "--json").stdout)["rides"] == []


def test_a_lost_bike_file_is_told_and_the_other_bikes_are_reviewed(
    library: Path, tmp_path: Path, document: dict[str, Any]
) -> None:
    shutil.copytree(library, tmp_path / "library")
    with closing(sqlite3.connect(tmp_path / "library" / "library.sqlite")) as db, db:
        db.execute("UPDATE profile SET text = 'x' WHERE name = 'enduro-26'")
    told = ridelog(tmp_path / "library", "review").stdout
    assert "ridelog bikes add FILE" in " ".join(told.split())
    whole = {group["key"]: group for group in document["by_bike"]}
    for group in json.loads(ridelog(tmp_path / "library", "review", "--json").stdout)["by_bike"]:
        assert group["key"] == "enduro-26" or group == whole[group["key"]]
    listed = ridelog(tmp_path / "library", "bikes", status=1)
    assert "enduro-12" in listed.stdout
    assert "bike enduro-26 of the library" in listed.stderr
    shown = ridelog(tmp_path / "library", "review", "--bike", "enduro-26", status=2)
    assert "ridelog bikes add FILE" in shown.stderr


def test_a_damaged_ride_is_listed(library: Path, tmp_path: Path, document: dict[str, Any]) -> None:
    shutil.copytree(library, tmp_path / "library")
    name = next(one["ride"] for one in document["rides"] if one["bike"] == "enduro-26")
    path = tmp_path / "library" / "rides" / f"{name}.parquet"
    path.write_bytes(path.read_bytes()[:100])
    ridelog(tmp_path / "library", "edit", name, "--ambient", "33")
    told = json.loads(ridelog(tmp_path / "library", "review", "--json", "--bike", "enduro-26").stdout)
    assert [one["ride"] for one in told["unjudged"]] == [name]
    assert "can't be analyzed" in told["unjudged"][0]["reason"]
    assert len(told["rides"]) == len([one for one in document["rides"] if one["bike"] == "enduro-26"])
