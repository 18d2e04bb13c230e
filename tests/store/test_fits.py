"""Fits kept in the catalogue: what is given back, what goes with a ride, and several writers at once."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from ridelog.store.fits import KeptFit
from ridelog.store.library import Library

BIKE = "enduro-07"
"""The bike of the maker's rides of odd number."""

KEEP_MANY = """
import sys
from pathlib import Path
from ridelog.store.fits import KeptFit
from ridelog.store.library import Library
library, mark = Library.open(Path(sys.argv[1])), int(sys.argv[2])
print("ready", flush=True)
sys.stdin.readline()
for turn in range(20):
    library.keep_fit("ride-00001", KeptFit(f"basis {mark}", None, bytes([mark]) * 5000))
    got = library.kept_fits(["ride-00001"])["ride-00001"]
    assert got.numbers == bytes([int(got.basis.split()[1])]) * 5000, "half of one fit, half of another"
"""


def test_a_fit_comes_back_as_it_was_kept(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    one, two, three = maker.stored(library, tmp_path, 1, 3, 5)
    fit, refusal = KeptFit("a", None, bytes(range(256))), KeptFit("b", "it can't be fitted", None)
    library.keep_fit(one, fit)
    library.keep_fit(two, refusal)
    assert Library.open(library.root).kept_fits([one, two, three, "ride-99999"]) == {one: fit, two: refusal}


def test_a_fit_takes_the_place_of_the_one_before(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    (ride,) = maker.stored(library, tmp_path, 1)
    for fit in (KeptFit("a", None, b"12345678"), KeptFit("b", "no", None), KeptFit("c", None, b"87654321")):
        library.keep_fit(ride, fit)
        assert library.kept_fits([ride]) == {ride: fit}


def test_a_fit_goes_with_its_ride(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    gone, stays = maker.stored(library, tmp_path, 1, 3)
    fit = KeptFit("a", None, b"12345678")
    library.keep_fit(gone, fit)
    library.keep_fit(stays, fit)
    library.remove(gone)
    library.keep_fit(gone, fit)  # who worked it out may not know yet that the ride is gone
    assert library.kept_fits([gone, stays]) == {stays: fit}
    with sqlite3.connect(next(library.root.glob("*.sqlite*"))) as db:
        assert db.execute("SELECT count(*) FROM heat_fit").fetchone() == (1,)
    db.close()
    # The same log again is a ride of its own and has no fit yet.
    maker.stored(library, tmp_path, 1)
    assert library.kept_fits([gone]) == {}


@pytest.mark.parametrize("fit", [KeptFit("a", None, None), KeptFit("a", "no", b"12345678")])
def test_a_fit_has_numbers_or_a_reason(library: Library, maker: ModuleType, tmp_path: Path, fit: KeptFit) -> None:
    (ride,) = maker.stored(library, tmp_path, 1)
    kept = KeptFit("before", None, b"12345678")
    library.keep_fit(ride, kept)
    with pytest.raises(Exception, match=r"CHECK constraint|can't be"):
        library.keep_fit(ride, fit)
    assert library.kept_fits([ride]) == {ride: kept}


def test_more_rides_are_asked_for_than_a_query_takes(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    one, two = maker.stored(library, tmp_path, 1, 3)
    fit = KeptFit("a", None, b"12345678")
    library.keep_fit(one, fit)
    library.keep_fit(two, fit)
    asked = [one, *(f"none-{number}" for number in range(40_000)), two]
    assert library.kept_fits(asked) == {one: fit, two: fit}
    assert library.kept_fits([]) == {}


def test_rides_that_may_be_fitted(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    maker.stored(library, tmp_path, 5, 1, 2, 3)
    library.edit("ride-00003", condition="faulty")
    rows = library.fit_rows(BIKE, ("engine_rpm", "coolant_c"))
    assert [row.id for row in rows] == ["ride-00005", "ride-00001"]  # no other bike's, no faulty one
    assert library.fit_rows(BIKE, ("engine_rpm", "oil_c")) == []
    assert library.fit_rows("another", ()) == []
    ride = library.load("ride-00001")
    assert (rows[1].start_utc, rows[1].start_local) == (ride.start_utc, None)
    assert rows[0].content != rows[1].content
    library.edit("ride-00003", condition="unknown")
    assert len(library.fit_rows(BIKE, ("coolant_c",))) == 3


def test_a_ride_without_any_date_has_none(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    path = maker.original(tmp_path, 1)
    library.add(replace(maker.ride(1, path, start=None), timezone=None), [path])
    (row,) = library.fit_rows(BIKE, ())
    assert (row.start_utc, row.start_local, row.timezone) == (None, None, None)


def test_processes_that_keep_at_once_never_mix_their_numbers(
    library: Library, maker: ModuleType, tmp_path: Path
) -> None:
    maker.stored(library, tmp_path, 1)
    command = [sys.executable, "-c", KEEP_MANY, str(library.root)]
    running = [
        subprocess.Popen(
            [*command, str(mark)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for mark in (1, 2, 3)
    ]
    for one in running:
        assert one.stdout is not None
        assert one.stdout.readline() == "ready\n"
    for one in running:
        assert one.stdin is not None
        one.stdin.write("go\n")
        one.stdin.flush()
    for one in running:
        _, errors = one.communicate(timeout=120)
        assert (one.returncode, errors) == (0, "")
    last = library.kept_fits(["ride-00001"])["ride-00001"]
    assert last.numbers == bytes([int(last.basis.split()[1])]) * 5000
