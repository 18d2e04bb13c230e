"""`ridelog diagnose` on the sample logs."""

from __future__ import annotations

import gzip
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import sample_logs
from ridelog.cli.demo_library import build

RIDES = sample_logs.folder() / "rides"


def ridelog(library: Path, *arguments: str | Path, status: int = 0) -> subprocess.CompletedProcess[str]:
    """Run the program as a user does; check its exit status and that it never shows a traceback."""
    command = [sys.executable, "-m", "ridelog", *map(str, arguments), "--library", str(library)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    return done


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample rides: the radiators of one bike clog from ride to ride."""
    folder = tmp_path_factory.mktemp("samples")
    assert build(folder, lambda _: None, season=False).refused == []
    return folder


def ids(library: Path) -> list[str]:
    """Rides of that bike, oldest first: clean, muddy, muddier, half blocked."""
    rows = json.loads(ridelog(library, "rides", "--bike", "enduro-12", "--json").stdout)["rides"]
    return sorted(row["id"] for row in rows)


def diagnosed(library: Path, *arguments: str | Path) -> dict[str, Any]:
    """The JSON document."""
    document: dict[str, Any] = json.loads(ridelog(library, "diagnose", *arguments, "--json").stdout)
    return document


def test_a_clogged_radiator_against_the_bikes_other_rides(library: Path) -> None:
    told = diagnosed(library, ids(library)[-1])
    assert told["schema"] == 1
    assert told["baseline"]["level"] == "bike"
    assert len(told["baseline"]["rides"]) == 3
    assert told["ranked"][0]["cause"] == "airflow_blocked"
    assert "wash out mud" in " ".join(told["ranked"][0]["check_next"])


def test_against_names_the_rides(library: Path) -> None:
    first, *_, last = ids(library)
    told = diagnosed(library, last, "--against", first)
    assert told["baseline"]["rides"] == [first]
    done = ridelog(library, "diagnose", last, "--against", last, status=2)
    assert "the ride that is looked at" in done.stderr


def test_a_person_reads_the_answer_the_evidence_and_what_to_check(library: Path) -> None:
    text = ridelog(library, "diagnose", ids(library)[-1]).stdout
    for part in ("Held against 3 rides of this bike", "For: ", "Check next", "Never open a hot cooling system"):
        assert part in text


def test_a_file_is_diagnosed_without_storing_it(library: Path) -> None:
    before = ids(library)
    told = diagnosed(library, RIDES / "06-more-mud.csv.gz", "--bike", "enduro-12", "--ambient", "24")
    assert told["baseline"]["level"] == "bike"
    assert ids(library) == before


@pytest.mark.parametrize("command", ["analyze", "diagnose", "report"])
@pytest.mark.parametrize(
    ("named", "said"), [("", "no ride is named"), (".", ".: is a folder"), ("/", "/: is a folder")]
)
def test_what_names_no_ride_is_said_by_its_name(library: Path, command: str, named: str, said: str) -> None:
    options = ("-o", str(library / "page.html")) if command == "report" else ()
    assert f"ridelog: {said}" in ridelog(library, command, *options, named, status=2).stderr


def test_a_ride_that_is_not_there_is_told(library: Path) -> None:
    assert "19990101" in ridelog(library, "diagnose", "19990101", status=2).stderr


def test_a_ride_without_coolant_says_why_and_ranks_nothing(library: Path) -> None:
    rows = json.loads(ridelog(library, "rides", "--json").stdout)["rides"]
    without = next(row["id"] for row in rows if "coolant_c" not in row["channels"])
    text = ridelog(library, "diagnose", without).stdout
    assert "does not settle the cause" in text
    assert "no usable coolant temperature" in text
    assert "1. " not in text
    done = ridelog(library, "diagnose", ids(library)[-1], "--against", without, status=2)
    assert "no heat balance can be made of" in done.stderr
    assert "ridelog analyze" in done.stderr


def test_a_bike_that_is_not_there_and_a_file_without_one(library: Path) -> None:
    assert "no-such-bike" in ridelog(library, "diagnose", ids(library)[-1], "--bike", "no-such-bike", status=2).stderr
    text = ridelog(library, "diagnose", RIDES / "06-more-mud.csv.gz").stdout
    assert "no bike file" in text
    done = ridelog(library, "diagnose", RIDES / "06-more-mud.csv.gz", "--against", ids(library)[0], status=2)
    assert "--bike" in done.stderr
    assert "nothing-of-that-name" in ridelog(library, "diagnose", "nothing-of-that-name.csv", status=2).stderr


def test_mud_that_came_ride_by_ride_is_told_as_such(library: Path) -> None:
    told = diagnosed(library, ids(library)[-1])
    said = " ".join(told["ranked"][0]["for"])
    assert "over 4 rides in 42 days the cooling on the move changed little by little" in said.replace("Over", "over")


@pytest.mark.parametrize("seconds", [0.2, 0.6, 1.0, 2.5, 10.0])
def test_a_ride_of_a_moment_tells_only_numbers(library: Path, tmp_path: Path, seconds: float) -> None:
    """However short: every figure is one, or is left out."""
    text = gzip.decompress((RIDES / "01-standard-in-sand.csv.gz").read_bytes()).decode()
    head, *rows = text.splitlines()
    log = tmp_path / "short.csv"
    log.write_text("\n".join([head, *(row for row in rows if float(row.split(",")[0]) <= seconds)]), encoding="utf-8")
    document = diagnosed(library, log, "--bike", "enduro-07", "--ambient", "20")
    assert document["conclusion"] == "not_enough_evidence"
    assert re.search(r"\bnan\b|\binf\b", json.dumps(document), re.IGNORECASE) is None
