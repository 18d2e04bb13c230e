"""What a bike's other rides tell before a ride is analyzed: which are chosen, what is kept, when it is made anew."""

from __future__ import annotations

import hashlib
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from plant import BIKES, bike_of, simulate

from dashboard.provider import LibraryProvider
from ridelog import baseline
from ridelog.advice import default_advice
from ridelog.analysis.thermal import NAMES
from ridelog.analysis.thermal_prior import ACROSS_SERVICE, RideFit
from ridelog.analyze import analyze
from ridelog.baseline import Subject, learned
from ridelog.errors import LibraryError
from ridelog.ride import Ride, SourceFile
from ridelog.store.library import Library

DAYS = (2, 9, 16, 23)


def stored(library: Library, folder: Path, number: int, *, bike: str, model: str = "heron-300") -> Ride:
    """A simulated ride of a bike in the library, on the day of its number."""
    log = folder / f"{bike}-{number}.csv"
    log.write_text(f"{bike} {number}\n", encoding="utf-8")
    played = simulate(700 + number, model, machine_seed=7, duration_s=1500.0).ride
    source = SourceFile(log.name, hashlib.sha256(log.read_bytes()).hexdigest(), log.stat().st_size, "delimited")
    ride = replace(
        played,
        id=f"202605{DAYS[number]:02d}-0900-{number:08x}",
        bike=bike,
        sources=(source,),
        start_utc=datetime(2026, 5, DAYS[number], 9, tzinfo=UTC),
        timezone="UTC",
        condition="unknown",
        ambient_c=20.0,
    )
    library.add(ride, [log])
    return ride


def bike_file(folder: Path, name: str, extra: str = "") -> Path:
    path = folder / f"{name}.bike.toml"
    path.write_text(BIKES["heron-300"].replace('id = "heron-300"', f'id = "{name}"') + extra, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def garage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with four rides of one bike, all of their fits kept; tests copy it."""
    folder = tmp_path_factory.mktemp("garage")
    library = Library.open(folder / "library")
    library.add_bike(bike_file(folder, "one"))
    rides = [stored(library, folder, number, bike="one") for number in range(4)]
    for ride in rides[:2]:
        learned(library, Subject.of(ride), library.bike("one"))
    return folder


@pytest.fixture
def library(garage: Path, tmp_path: Path) -> Library:
    shutil.copytree(garage / "library", tmp_path / "library")
    return Library.open(tmp_path / "library")


def ids(fits: Sequence[RideFit]) -> list[str]:
    return [fit.ride for fit in fits]


def row(library: Library, number: int) -> Subject:
    return Subject.listed(library.row(f"202605{DAYS[number]:02d}-0900-{number:08x}"))


def test_other_rides_nearest_in_date_first_and_never_the_ride_itself(library: Library) -> None:
    found = learned(library, row(library, 1), library.bike("one"))
    assert [one[6:8] for one in ids(found)] == ["02", "16", "23"]
    assert all(fit.other is None for fit in found)


def test_a_file_is_not_told_by_the_same_ride_in_the_library(library: Library) -> None:
    ride = library.load(row(library, 2).ride_id)
    told = learned(library, replace(Subject.of(ride), ride_id="undated-elsewhere"), library.bike("one"))
    assert ride.id not in ids(told)
    assert len(told) == 3


def test_the_same_call_gives_the_same_digits(library: Library) -> None:
    subject, bike = row(library, 0), library.bike("one")
    ride = library.load(subject.ride_id)
    first, again = (analyze(ride, bike, default_advice(), baseline=learned(library, subject, bike))[0] for _ in "ab")
    assert first == again
    assert first.basis.prior.level == "bike"
    assert first.basis.prior.rides == tuple(ids(learned(library, subject, bike)))
    assert first.heat.baseline_rides == 3


def test_fits_are_worked_out_once(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    before = learned(library, row(library, 0), library.bike("one"))

    def never(*_: object, **__: object) -> None:
        raise AssertionError("a kept fit was worked out again")

    monkeypatch.setattr(baseline, "heat_fit", never)
    after = learned(library, row(library, 0), library.bike("one"))
    assert [fit.theta.tolist() for fit in after] == [fit.theta.tolist() for fit in before]
    assert [fit.information.tolist() for fit in after] == [fit.information.tolist() for fit in before]


def test_a_ride_marked_faulty_is_not_heard(library: Library) -> None:
    library.edit(row(library, 3).ride_id, condition="faulty")
    assert row(library, 3).ride_id not in ids(learned(library, row(library, 0), library.bike("one")))


def test_a_removed_ride_is_not_heard(library: Library) -> None:
    gone = row(library, 3).ride_id
    library.remove(gone)
    assert gone not in ids(learned(library, row(library, 0), library.bike("one")))


def test_another_air_temperature_makes_the_fit_anew(library: Library) -> None:
    before = learned(library, row(library, 0), library.bike("one"))
    library.edit(row(library, 1).ride_id, ambient_c=30.0)
    after = learned(library, row(library, 0), library.bike("one"))
    assert before[0].theta.tolist() != after[0].theta.tolist()
    assert before[1].theta.tolist() == after[1].theta.tolist()


@pytest.mark.parametrize(
    ("edit", "anew"),
    [
        ((r"(?m)^(\w*mass\w*|\w+_kg) = .*$", r"\1 = 120.0"), True),
        ((r"\Z", '\n[[service]]\ndate = 2026-01-12\nwhat = "coolant changed"\n'), False),
    ],
)
def test_an_edit_of_the_bike_file_makes_anew_what_rests_on_it(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, edit: tuple[str, str], anew: bool
) -> None:
    learned(library, row(library, 0), library.bike("one"))
    path = bike_file(tmp_path, "one")
    text, changed = re.subn(*edit, path.read_text(encoding="utf-8"), count=1)
    assert changed == 1
    path.write_text(text, encoding="utf-8")
    library.add_bike(path)
    made = []
    fit = baseline.heat_fit
    monkeypatch.setattr(baseline, "heat_fit", lambda ride, bike: (made.append(ride.id), fit(ride, bike))[1])
    assert len(learned(library, row(library, 0), library.bike("one"))) == 3
    assert len(made) == (3 if anew else 0)


def test_the_dashboard_shows_what_the_library_tells_now(library: Library, tmp_path: Path) -> None:
    shown, provider = row(library, 0).ride_id, LibraryProvider(library.root)
    first = provider.view_of(shown).analysis
    assert provider.view_of(shown).analysis is first  # kept: nothing has changed
    log = tmp_path / "later.csv"
    log.write_text("later\n", encoding="utf-8")
    source = SourceFile(log.name, hashlib.sha256(log.read_bytes()).hexdigest(), log.stat().st_size, "delimited")
    played = simulate(790, "heron-300", machine_seed=7, duration_s=1500.0).ride
    later = replace(library.load(shown), id="20260530-0900-0000000f", samples=played.samples, sources=(source,))
    later = replace(later, channels=played.channels, gaps=played.gaps, start_utc=datetime(2026, 5, 30, 9, tzinfo=UTC))
    library.add(later, [log])
    more = provider.view_of(shown).analysis
    assert more.basis.prior.rides == (*first.basis.prior.rides, later.id)
    assert more.basis.prior.hash != first.basis.prior.hash
    library.edit(later.id, condition="faulty")
    assert provider.view_of(shown).analysis == first
    library.edit(later.id, condition="unknown")
    assert provider.view_of(shown).analysis == more
    library.remove(later.id)
    assert provider.view_of(shown).analysis == first


TELL = """
import hashlib, sys
from pathlib import Path
from ridelog.advice import default_advice
from ridelog.analyze import analyze
from ridelog.baseline import Subject, learned
from ridelog.results import to_json
from ridelog.store.library import Library
library, bike = Library.open(Path(sys.argv[1])), sys.argv[2]
subject = Subject.listed(library.row(sys.argv[3]))
found = learned(library, subject, library.bike(bike))
told, _ = analyze(library.load(subject.ride_id), library.bike(bike), default_advice(), baseline=found)
print(len(found), hashlib.sha256(repr(to_json(told)).encode()).hexdigest())
"""


def test_processes_that_learn_at_once_tell_the_same_digits(library: Library) -> None:
    with sqlite3.connect(next(library.root.glob("*.sqlite*"))) as db:
        db.execute("DELETE FROM heat_fit")
    db.close()
    command = [sys.executable, "-c", TELL, str(library.root), "one", row(library, 0).ride_id]
    started = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    told = [one.communicate(timeout=300) for one in started]
    assert [errors for _, errors in told] == ["", ""]
    after = subprocess.run(command, capture_output=True, text=True, check=True).stdout  # with all fits kept
    assert told[0][0] == told[1][0] == after
    assert after.startswith("3 ")


COUNT = len(NAMES)
SIZE = 2 * COUNT * (COUNT + 1)


def numbers_of(*parts: object) -> bytes:
    return np.concatenate([np.ravel(np.asarray(part, dtype=np.float64)) for part in parts]).astype("<f8").tobytes()


NONE, ONES, EYE = np.zeros(COUNT), np.ones((COUNT, COUNT)), np.eye(COUNT)
UNEVEN = EYE + np.eye(COUNT, k=1)


@pytest.mark.parametrize(
    "numbers",
    [
        b"",
        b"\x00" * 8,
        b"\xff" * 8 * SIZE,
        numbers_of(np.ones(SIZE)),
        numbers_of(NONE, EYE, NONE, ONES),
        numbers_of(NONE * np.nan, EYE, NONE, EYE),
        numbers_of(NONE, EYE, NONE + np.inf, EYE),
        numbers_of(NONE, -EYE, NONE, EYE),
        numbers_of(NONE, UNEVEN, NONE, EYE),
        numbers_of(NONE, 1.5 * ONES - 0.5 * EYE - EYE, NONE, EYE),
    ],
)
def test_damaged_numbers_are_worked_out_anew(library: Library, numbers: bytes) -> None:
    before = learned(library, row(library, 0), library.bike("one"))
    with sqlite3.connect(next(library.root.glob("*.sqlite*"))) as db:
        db.execute("UPDATE heat_fit SET numbers = ? WHERE numbers IS NOT NULL", (numbers,))
    db.close()
    after = learned(library, row(library, 0), library.bike("one"))
    assert [fit.theta.tolist() for fit in after] == [fit.theta.tolist() for fit in before]


def test_a_ride_that_cant_be_fitted_is_passed_over_and_not_tried_again(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ride = library.load(row(library, 3).ride_id)
    log = tmp_path / "short.csv"
    log.write_text("short\n", encoding="utf-8")
    source = SourceFile(log.name, hashlib.sha256(log.read_bytes()).hexdigest(), log.stat().st_size, "delimited")
    library.add(replace(ride, id="20260524-0900-0000abcd", samples=ride.samples.head(300), sources=(source,)), [log])
    assert "20260524-0900-0000abcd" not in ids(learned(library, row(library, 3), library.bike("one")))
    monkeypatch.setattr(baseline, "heat_fit", None)  # calling it would raise
    assert len(learned(library, row(library, 3), library.bike("one"))) == 3


def test_rides_across_a_service_are_heard_as_another_bikes_where_too_few_are_left(
    library: Library, tmp_path: Path
) -> None:
    service = '\n[[service]]\ndate = 2026-05-12\nwhat = "radiators washed"\n'
    bike_file(tmp_path, "one", service)
    library.add_bike(tmp_path / "one.bike.toml")
    found = learned(library, row(library, 3), library.bike("one"))
    assert [(fit.ride[6:8], fit.other) for fit in found] == [
        ("16", None),
        ("09", ACROSS_SERVICE),
        ("02", ACROSS_SERVICE),
    ]
    told = analyze(library.load(row(library, 3).ride_id), library.bike("one"), default_advice(), baseline=found)[0]
    assert [one[6:8] for one in told.basis.prior.across_service] == ["09", "02"]


def test_other_bikes_of_the_build_are_heard_where_the_bike_has_too_few(library: Library, tmp_path: Path) -> None:
    library.add_bike(bike_file(tmp_path, "two"))
    ride = stored(library, tmp_path, 0, bike="two")
    found = learned(library, Subject.of(ride), library.bike("two"))
    assert {fit.other for fit in found} == {"one"}
    told = analyze(ride, library.bike("two"), default_advice(), baseline=found)[0]
    assert told.basis.prior.level == "build"
    assert told.basis.prior.same_build == tuple(ids(found))


@pytest.mark.parametrize(
    ("was", "becomes"), [(r"fan_on_c = .*\n", ""), (r"\[cooling\]\n", "[cooling]\nthermostat_c = 65.0\n")]
)
def test_a_bike_of_the_build_with_other_parts_is_not_heard(
    library: Library, tmp_path: Path, was: str, becomes: str
) -> None:
    path = bike_file(tmp_path, "three")
    text, changed = re.subn(was, becomes, path.read_text(encoding="utf-8"))
    assert changed == 1
    path.write_text(text, encoding="utf-8")
    library.add_bike(path)
    ride = stored(library, tmp_path, 0, bike="three")
    assert learned(library, Subject.of(ride), library.bike("three")) == ()


def test_a_fit_that_cant_be_kept_is_used_all_the_same(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    before = learned(library, row(library, 0), library.bike("one"))
    library.edit(row(library, 1).ride_id, ambient_c=25.0)

    def full(*_: object) -> None:
        raise LibraryError("there is no room left on the disk")

    monkeypatch.setattr(Library, "keep_fit", full)
    after = learned(library, row(library, 0), library.bike("one"))
    assert ids(after) == ids(before)
    assert after[0].theta.tolist() != before[0].theta.tolist()


def test_an_edit_while_a_ride_is_loaded_is_not_kept_as_what_was_before(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = learned(library, row(library, 0), library.bike("one"))
    library.edit(row(library, 1).ride_id, ambient_c=25.0)
    load = Library.load

    def late(self: Library, ride_id: str) -> Ride:
        return replace(load(self, ride_id), ambient_c=20.0)

    monkeypatch.setattr(Library, "load", late)
    during = learned(library, row(library, 0), library.bike("one"))
    assert during[0].theta.tolist() != before[0].theta.tolist()


def test_a_damaged_ride_does_not_stop_the_analysis_of_another(library: Library, tmp_path: Path) -> None:
    library.edit(row(library, 1).ride_id, ambient_c=25.0)  # its fit has to be made anew
    (file,) = (path for path in library.root.rglob("*.parquet") if row(library, 1).ride_id in path.name)
    file.write_bytes(b"nothing like a ride")
    found = learned(library, row(library, 0), library.bike("one"))
    assert row(library, 1).ride_id not in ids(found)
    assert len(found) == 2


def test_no_bike_no_baseline(library: Library) -> None:
    assert learned(library, row(library, 0), None) == ()
    assert learned(library, row(library, 0), bike_of("otter-250")) == ()
