"""Several devices through the command line: --offset, and the offer when a ride overlaps a stored one."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

START = datetime(2026, 5, 9, 10, 15, tzinfo=UTC)


def write(path: Path, column: str, ahead_s: float) -> Path:
    """Five minutes of one slow channel, a value a second."""
    lines = [f"Time,{column}"]
    for second in range(300):
        stamp = (START + timedelta(seconds=second + ahead_s)).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(f"{stamp},{20.0 + 5.0 * math.sin(second / 40.0):.1f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def ridelog(library: Path, *arguments: str | Path, status: int = 0) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "ridelog", *map(str, arguments), "--library", str(library)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    return done


def test_an_offset_settles_what_the_files_can_not(tmp_path: Path) -> None:
    heat, air = (
        write(tmp_path / "heat.csv", "Coolant temp [C]", 0.0),
        write(tmp_path / "air.csv", "Ambient [C]", 3600.0),
    )
    library = tmp_path / "library"
    refused = ridelog(library, "import", heat, air, "--together", status=1)
    assert "--offset 'air.csv=SECONDS'" in refused.stderr
    done = ridelog(library, "import", heat, air, "--together", "--offset", "air.csv=-3600", "--json")
    (ride,) = json.loads(done.stdout)["rides"]
    assert ride["status"] == "stored"
    (note,) = [note for note in ride["notes"] if note["kind"] == "clock_given"]
    assert note["text"].startswith("-3600 s were added to the clock of air.csv, as told")
    shown = json.loads(ridelog(library, "rides", "--json").stdout)["rides"][0]
    assert shown["duration_s"] == 299.0
    again = ridelog(library, "import", heat, air, "--together", "--offset", "air.csv=-3000")
    assert "--offset was not applied" in again.stderr


@pytest.mark.parametrize(
    ("offset", "together", "says"),
    [
        ("air.csv", True, "not a file and seconds"),
        ("water.csv=5", True, "is no file of this call"),
        ("air.csv=5", False, "--together"),
    ],
)
def test_an_offset_that_can_not_be_used(tmp_path: Path, offset: str, says: str, *, together: bool) -> None:
    heat, air = write(tmp_path / "heat.csv", "Coolant temp [C]", 0.0), write(tmp_path / "air.csv", "Ambient [C]", 0.0)
    more = ["--together"] if together else []
    done = ridelog(tmp_path / "library", "import", heat, air, *more, "--offset", offset, status=2)
    assert says in done.stderr


def test_the_offer_is_among_the_notes(tmp_path: Path) -> None:
    heat, air = write(tmp_path / "heat.csv", "Coolant temp [C]", 0.0), write(tmp_path / "air.csv", "Ambient [C]", 9.0)
    library = tmp_path / "library"
    done = ridelog(library, "import", heat, air, "--json")
    first, second = json.loads(done.stdout)["rides"]
    assert not [note for note in first["notes"] if note["kind"].startswith("overlap")]
    (note,) = [note for note in second["notes"] if note["kind"].startswith("overlap")]
    assert f"overlaps ride {first['id']} from 2026-05-09 10:15:09 to 10:19:59 UTC" in note["text"]
    assert "ridelog import heat.csv air.csv --together" in note["text"]
