"""`ridelog compare` on the sample logs: radiators that fill with mud from ride to ride."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

import sample_logs
from ridelog.cli.common import parse_time
from ridelog.ingest import ImportOptions, import_files
from ridelog.store.library import Library

NAMES = ("04-clean-radiators", "05-first-mud", "06-more-mud", "07-half-blocked")


def ridelog(library: Path, *arguments: str | Path, status: int = 0) -> subprocess.CompletedProcess[str]:
    """Run the program as a user does; check its exit status and that it never shows a traceback."""
    command = [sys.executable, "-m", "ridelog", *map(str, arguments), "--library", str(library)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    return done


@pytest.fixture(scope="module")
def samples(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A library with the four rides of one bike, clean to half blocked, and their ids by name."""
    folder = tmp_path_factory.mktemp("samples")
    source = sample_logs.folder()
    manifest = tomllib.loads((source / "manifest.toml").read_text(encoding="utf-8"))
    library = Library.open(folder)
    bike = library.add_bike(source / "bikes" / "enduro-12.bike.toml")
    found = {}
    for entry in manifest["ride"]:
        if entry["name"] in NAMES:
            options = ImportOptions(
                bike=bike,
                bike_id=bike.id,
                ambient_c=entry.get("ambient_c"),
                start=parse_time(str(entry["start"])) if "start" in entry else None,
                timezone=entry.get("timezone"),
            )
            (outcome,) = import_files(library, [source / name for name in entry["files"]], options)
            assert outcome.ride_id is not None
            found[entry["name"]] = outcome.ride_id
    assert sorted(found) == sorted(NAMES)
    return folder, found


def compared(library: Path, *arguments: str) -> dict[str, Any]:
    """The JSON document."""
    loaded: dict[str, Any] = json.loads(ridelog(library, "compare", *arguments, "--json").stdout)
    assert loaded["schema"] == 1
    return loaded


def ridden(found: dict[str, Any]) -> dict[str, float]:
    """What the ride's own riding would settle at, first less others."""
    rows: dict[str, dict[str, float]] = {row["stretch"]: row["difference"] for row in found["settle"]}
    return rows["ridden"]


def test_each_step_of_mud_runs_hotter_than_clean(samples: tuple[Path, dict[str, str]]) -> None:
    """15, 35 and 50 % of the air side lost, on colder and colder days. The first step lies within what single rides
    differ by: its best estimate points the right way, and no verdict is made of it."""
    library, ids = samples
    clean = ids["04-clean-radiators"]
    found = {name: compared(library, ids[name], clean) for name in NAMES[1:]}
    apart = [ridden(found[name])["value"] for name in NAMES[1:]]
    assert 0.0 < apart[0] < apart[1] < apart[2]
    rates = [found[name]["overall"]["rate"]["difference"]["value"] for name in NAMES[1:]]
    assert 0.0 < rates[0] < rates[1] < rates[2]
    # A fault is in it: nobody may be told that it ran the same.
    assert found["05-first-mud"]["verdict"] in ("cant_tell", "hotter")
    assert ridden(found["05-first-mud"])["high"] > 5.0
    for name in NAMES[2:]:
        assert found[name]["verdict"] == "hotter"
        cooling = next(row for row in found[name]["figures"] if row["name"] == "cooling_10")
        assert cooling["answer"] == "less"
        assert cooling["ratio"]["high"] < 1.0
    assert found["07-half-blocked"]["ambient_stretch"] is True


def test_a_person_reads_the_answer_and_what_it_rests_on(samples: tuple[Path, dict[str, str]]) -> None:
    library, ids = samples
    text = ridelog(library, "compare", ids["07-half-blocked"], ids["04-clean-radiators"]).stdout
    for part in (
        "ran hotter than ride",
        "Where the coolant would settle on one and the same stretch",
        "Heating by load",
        "Cooling by speed",
        "Seconds by engine speed and throttle",
        "Engine speed over ground speed",
        "coming down once speed returned",
        "fan:",
        "Leave a hot cooling system closed",
    ):
        assert part in text
    assert "nan" not in text


def test_before_and_after_names_the_days_that_are_listed(samples: tuple[Path, dict[str, str]]) -> None:
    library, _ = samples
    done = ridelog(library, "compare", "--bike", "enduro-12", "--service", "2026-05-09", status=2)
    assert "2026-05-08 (radiators washed" in done.stderr
    done = ridelog(library, "compare", "--bike", "enduro-12", "--service", "next week", status=2)
    assert "is not a day" in done.stderr


def test_before_and_after_takes_the_rides_up_to_the_next_work(
    samples: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    """The same bike with other work in its file: between the second and the third ride."""
    library, ids = samples
    text = (sample_logs.folder() / "bikes" / "enduro-12.bike.toml").read_text(encoding="utf-8")
    changed = tmp_path / "enduro-12.bike.toml"
    changed.write_text(text + '\n[[service]]\ndate = 2026-06-01\nwhat = "new cap"\n', encoding="utf-8")
    found = compared(library, "--bike", str(changed), "--service", "2026-06-01")
    assert found["mode"] == "service"
    assert [one["id"] for one in found["first"]] == [ids["06-more-mud"], ids["07-half-blocked"]]
    assert sorted(one["id"] for one in found["others"]) == sorted([ids["04-clean-radiators"], ids["05-first-mud"]])
    # Two rides a side: the ranges, no verdict.
    assert found["verdict"] == "cant_tell"
    assert found["scatter"]["difference"] is None
    assert found["scatter"]["first"]["low"] > found["scatter"]["others"]["high"]
    assert "only the range is told" in " ".join(found["summary"])
    done = ridelog(library, "compare", "--bike", changed, "--service", "2026-05-08", status=2)
    assert "no ride of enduro-12 before the work" in done.stderr


def test_a_build_without_other_bikes(samples: tuple[Path, dict[str, str]]) -> None:
    library, ids = samples
    found = compared(library, ids["07-half-blocked"], "--build")
    assert found["mode"] == "build"
    assert found["verdict"] == "cant_tell"
    assert found["build"]["rank"] is None
    assert "three are needed" in found["summary"][0]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "no ride is named"),
        (("FIRST",), "one ride alone"),
        (("FIRST", "FIRST"), "named twice"),
        (("FIRST", "19990101"), "19990101"),
        (("--bike", "enduro-12"), "--bike goes with --service"),
        (("--service", "2026-05-08"), "--service goes with --bike"),
        (("FIRST", "--bike", "enduro-12", "--service", "2026-05-08"), "--service goes with --bike"),
    ],
)
def test_what_does_not_fit_together_is_told(
    samples: tuple[Path, dict[str, str]], arguments: tuple[str, ...], said: str
) -> None:
    library, ids = samples
    words = [ids["04-clean-radiators"] if one == "FIRST" else one for one in arguments]
    assert said in ridelog(library, "compare", *words, status=2).stderr
