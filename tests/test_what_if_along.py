"""The same ride on the conservative map, drawn along the ride: it agrees with what is counted of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import sample_logs
from ridelog.analysis.thermal_use import time_above_s
from ridelog.analyze_heat_use import WhatIfAlong, what_if, what_if_along
from ridelog.ingest import ImportOptions, import_files
from ridelog.results import Band
from ridelog.store.library import Library
from ridelog.study import Study, known_of_ride, study
from ridelog.words.heat import what_if_map, what_if_open


def studied(folder: Path, name: str) -> Study:
    source = sample_logs.folder()
    library = Library.open(folder)
    bike = library.add_bike(source / "bikes" / "enduro-07.bike.toml")
    options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=29.0)
    (outcome,) = import_files(library, [source / "rides" / name], options)
    assert outcome.ride_id is not None, outcome.reason
    ride = library.load(outcome.ride_id)
    return study(ride, known_of_ride(library, ride))


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """A sample ride through sand, all of it on the standard map."""
    return studied(tmp_path_factory.mktemp("what-if") / "library", "01-standard-in-sand.csv.gz")


def grace(done: Study) -> dict[str, float]:
    return {rule.kind: rule.grace_s for rule in done.known.advice.rules}


def along(done: Study, effect: Band | None = None) -> WhatIfAlong:
    found = what_if_along(done.found.analysis.segments, grace(done), done.found.balance, effect)
    assert found is not None
    return found


def test_what_is_drawn_is_what_is_counted(done: Study) -> None:
    """Time above each threshold of the line that is drawn, the ride's own where none is, against the table's figure."""
    told, drawn = along(done), done.found.balance.drawn
    assert drawn is not None
    counted = what_if(done.found.analysis.exposure, done.found.analysis.segments, grace(done), done.found.balance)
    assert counted is not None
    was = drawn.ride.coolant_c
    there = np.where(np.isfinite(told.coolant.value_c), told.coolant.value_c, was)
    for record, row in zip(done.found.analysis.exposure, counted.exposure, strict=True):
        saved = (time_above_s(was[None], record.threshold_c) - time_above_s(there[None], record.threshold_c))[0]
        # a difference under 0.1 C is not drawn, and is worth no more than seconds
        assert record.observed_s - saved == pytest.approx(row.mid_s, abs=8.0)
    assert any(
        row.mid_s < record.observed_s
        for record, row in zip(done.found.analysis.exposure, counted.exposure, strict=True)
    )


def test_it_is_never_warmer_and_lies_in_its_band(done: Study) -> None:
    told, drawn = along(done), done.found.balance.drawn
    assert drawn is not None
    known = np.isfinite(told.coolant.value_c)
    assert 10 < np.count_nonzero(known) < known.size
    assert np.all(told.coolant.value_c[known] <= drawn.ride.coolant_c[known] + 1e-9)
    for one in (told.coolant, told.settle):
        here = np.isfinite(one.value_c)
        assert np.all(one.low_c[here] <= one.value_c[here])
        assert np.all(one.value_c[here] <= one.high_c[here])
        assert np.array_equal(here, np.isfinite(one.low_c) & np.isfinite(one.high_c))


def test_settle_temperatures_change_where_the_map_was_advised_and_nowhere_else(done: Study) -> None:
    told = along(done)
    own = done.found.traces.steps
    advised = [s for s in done.found.analysis.segments if s.advised_map == "conservative"]
    assert advised
    here = np.isfinite(told.settle.value_c)
    inside = np.zeros(here.size, dtype=np.bool_)
    for segment in advised:
        inside |= (told.t_s >= segment.start_s - 8.0) & (told.t_s <= segment.end_s + 8.0)
    assert not np.any(here & ~inside)
    was = own["settle_c"][: here.size] if "settle_c" in own else None
    if was is not None:
        assert np.all(told.settle.value_c[here] <= was[here] + 1e-6)


def test_a_map_without_effect_changes_nothing(done: Study) -> None:
    none = along(done, Band(1.0, 1.0, 1.0))
    assert not np.isfinite(none.coolant.value_c).any()
    strong, weak = along(done, Band(0.7, 0.69, 0.71)), along(done, Band(0.95, 0.94, 0.96))
    assert np.nanmin(strong.settle.value_c - weak.settle.value_c) < -2.0


def test_why_it_can_t_be_told_or_need_not_be(done: Study) -> None:
    analysis = done.found.analysis
    assert what_if_open(analysis) is None
    assert "No stretch" in (what_if_open(replace(analysis, segments=())) or "")
    assert "coolant was not logged" in (what_if_open(replace(analysis, what_if=None)) or "")
    unfitted = replace(analysis, what_if=None, heat=replace(analysis.heat, fitted=False))
    assert "no heat balance" in (what_if_open(unfitted) or "")
    on = replace(analysis.adherence, share=1.0, unknown_s=0.0)
    assert "was on wherever" in (what_if_open(replace(analysis, adherence=on)) or "")


def test_a_map_that_was_not_logged_is_said_to_be_assumed(done: Study, tmp_path: Path) -> None:
    assert what_if_map(done.found.analysis) == ""
    unlogged = studied(tmp_path / "library", "09-no-map-channel.csv")
    assert what_if_open(unlogged.found.analysis) is None
    assert "the standard one is assumed there" in what_if_map(unlogged.found.analysis)
