"""The season of short rides: made the same every time, imported without a question, and found as its simulator knows
it. Truth comes from the simulator, which shares no code with the analysis."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path
from typing import Any

import pytest

import sample_logs
from ridelog.advice import Advice, in_force, parse_advice
from ridelog.bike import Bike, read_bike
from ridelog.intervals import Interval, iou
from ridelog.results import Analysis
from ridelog.ride import ride_day
from ridelog.store.library import Library
from ridelog.study import Study, known_of, study
from sample_logs import season_make
from sample_logs.garage import ENDURO_07, ENDURO_12, ENDURO_21, ENDURO_26, ENDURO_31, ENDURO_34
from sample_logs.season import CASES, LOOKS, NEW_SHEET, SEASON
from sample_logs.simulation.cooling import SOUND, CoolingSystem, EngineState, Faults
from sample_logs.simulation.course import dune_loop, red_loop, stone_loop
from sample_logs.simulation.noise import Line

FOLDER = sample_logs.folder()
TOLD = tomllib.loads((FOLDER / "season.toml").read_text(encoding="utf-8"))
RIDES: dict[str, dict[str, Any]] = {ride["name"]: ride for ride in TOLD["ride"]}
BIKES = {bike.id: bike for bike in (ENDURO_07, ENDURO_12, ENDURO_21, ENDURO_26, ENDURO_31, ENDURO_34)}


@pytest.fixture(scope="module")
def library(demo_library: Any) -> Library:
    return Library.open(demo_library.folder)


@pytest.fixture(scope="module")
def studies(demo_library: Any, library: Library) -> dict[str, Study]:
    """Every ride of the season, analyzed with all the library knows of it."""
    found = {}
    for name in RIDES:
        row = library.row(demo_library.built.rides[name])
        found[name] = study(library.load(row.id), known_of(library, row))
    return found


@pytest.fixture(scope="module")
def truth(demo_library: Any) -> dict[str, dict[str, Any]]:
    """What the simulator knows of each ride of the season."""
    return {name: one["truth"] for name, one in demo_library.built.made.items()}


def bike_file(bike_id: str) -> Bike:
    return read_bike(FOLDER / "bikes" / f"{bike_id}.bike.toml")


# -- what is shipped --------------------------------------------------------------------------------------------------


def test_the_manifest_lists_the_season() -> None:
    assert list(RIDES) == [entry.name for entry in SEASON]
    assert len(RIDES) >= 30
    for entry in SEASON:
        told = RIDES[entry.name]
        assert (told["bike"], told["about"]) == (entry.plan().bike.id, entry.about)
        assert (told["condition"], told["file"]) == (entry.condition, entry.outputs[0].file)
        assert told.get("ambient_c") == (entry.plan().day.ambient_c if entry.ambient_told else None)
        assert told.get("timezone") == entry.timezone
    assert [case["said"] for case in TOLD["case"]] == [case.said for case in CASES]
    assert [(look["ride"], look["why"]) for look in TOLD["look"]] == list(LOOKS)


def test_the_readme_lists_the_season() -> None:
    lines = (FOLDER / "README.md").read_text(encoding="utf-8").splitlines()
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| s")]
    assert [row[0] for row in rows] == list(RIDES)
    for row, entry in zip(rows, SEASON, strict=True):
        plan = entry.plan()
        laps = "" if plan.laps == 1 else f", {plan.laps:g} laps"
        ridden = f"{plan.bike.id[-2:]}, {plan.course.name.removesuffix(' loop')}{laps}"
        air = f"{plan.day.ambient_c:g} C"
        assert row[1:5] == [entry.start.date().isoformat(), ridden, air, entry.policy]
        assert bool(row[5]) == (entry.fault != "none")


def test_every_ride_and_seed_is_its_own() -> None:
    seeds = [entry.plan().seed for entry in SEASON]
    assert len(set(seeds)) == len(seeds)
    assert not set(seeds) & set(range(101, 113)), "the twelve sample rides have those"
    assert len({entry.start for entry in SEASON}) == len(SEASON)


def test_cases_and_looks_name_rides_that_are_there() -> None:
    names = {*RIDES, *(ride["name"] for ride in tomllib.loads((FOLDER / "manifest.toml").read_text())["ride"])}
    assert {ride for case in CASES for ride in case.rides} <= names
    assert {ride for ride, _ in LOOKS} <= names
    assert all(len(why) <= 38 for _, why in LOOKS), "a line of 80 columns holds no more"


@pytest.mark.parametrize("bike", BIKES.values(), ids=lambda bike: bike.id)
def test_bike_files_state_what_is_simulated(bike: Any) -> None:
    told = bike_file(bike.id)
    assert told.total_kg == pytest.approx(bike.mass_kg, rel=0.03)
    assert told.gears == bike.gears
    assert (told.fan_on_c is not None, told.thermostat_c) == (bike.has_fan, bike.thermostat_c)
    curve = Line(bike.curve_rpm, bike.curve_kw)
    for rpm, kw in zip(told.power_curve_rpm, told.power_curve_kw, strict=True):
        assert kw == pytest.approx(curve(rpm), rel=0.05)


def test_one_build_has_bikes_enough_to_compare_one_with() -> None:
    builds = [bike_file(bike).build for bike in BIKES]
    assert builds.count("300-enduro-2") == 4


def test_the_sheets_follow_each_other_and_differ_where_the_truth_says_so() -> None:
    earlier, present = (
        parse_advice((FOLDER / name).read_text(encoding="utf-8"), name)
        for name in ("earlier.advice.toml", "default.advice.toml")
    )
    assert earlier.valid_from < present.valid_from
    for entry in SEASON:
        sheet = in_force([earlier, present], entry.start.date())
        assert {rule.kind for rule in sheet.rules if rule.map == "conservative"} == entry.advised
    assert {in_force([earlier, present], entry.start.date()).version for entry in SEASON} == {"2025-03", "2026-01"}


# -- how it is made ---------------------------------------------------------------------------------------------------


def test_what_is_made_here_is_what_the_manifest_promises(demo_library: Any) -> None:
    """One build's bytes against those of another machine's, by their hashes."""
    made = demo_library.built.made
    assert {name: one["sha256"] for name, one in made.items()} == {name: one["sha256"] for name, one in RIDES.items()}
    assert {name: one["notes"] for name, one in made.items()} == {
        name: one.get("notes", []) for name, one in RIDES.items()
    }


def test_the_manifest_comes_out_the_same_again(demo_library: Any) -> None:
    assert season_make.manifest(demo_library.built.made).encode("utf-8") == (FOLDER / "season.toml").read_bytes()


def test_one_by_one_or_together_the_bytes_are_the_same(tmp_path: Path) -> None:
    names = ["s37-too-short-07", "s23-no-warm-up-31"]
    alone = list(season_make.made(names, tmp_path, workers=1))
    assert [name for name, _ in alone] == names
    for name, one in alone:
        content = (tmp_path / RIDES[name]["file"]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == one["sha256"] == RIDES[name]["sha256"]


def test_where_no_further_process_may_start_the_logs_are_made_in_this_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise OSError("no processes here")

    monkeypatch.setattr(season_make, "ProcessPoolExecutor", refused)
    names = ["s37-too-short-07"] * 2
    assert [name for name, _ in season_make.made(names, tmp_path, workers=2)] == names


def test_the_truth_can_not_be_argued_with(demo_library: Any) -> None:
    assert {name: one["doubts"] for name, one in demo_library.built.made.items() if one["doubts"]} == {}


@pytest.mark.parametrize("course", [dune_loop(), stone_loop()], ids=lambda course: course.name)
def test_short_loops_close_and_lie_apart_from_the_others(course: Any) -> None:
    assert course.east_m[-1] == pytest.approx(course.east_m[0], abs=0.5)
    assert course.north_m[-1] == pytest.approx(course.north_m[0], abs=0.5)
    assert course.elevation_m[-1] == pytest.approx(course.elevation_m[0], abs=0.1)
    red = red_loop()
    for east, north in zip(course.east_m[::50], course.north_m[::50], strict=True):
        assert min((red.east_m - east) ** 2 + (red.north_m - north) ** 2) > 200.0**2


def _cooled(faults: Faults, start_c: float, air_mps: float, work_w: float = 14_000.0) -> CoolingSystem:
    """Four minutes of steady work at 10 C."""
    system = CoolingSystem(ENDURO_07, 10.0, 1.15, start_c, 0.0, faults)
    for _ in range(2400):
        system.step(0.1, EngineState(work_w, 550.0, True, 1.0), air_mps, 0.0)
    return system


def test_faults_do_to_the_coolant_what_they_do_to_an_engine() -> None:
    assert _cooled(Faults(flow_share=0.35), 80.0, 9.0).coolant_c > _cooled(SOUND, 80.0, 9.0).coolant_c + 4.0
    dead, sound = _cooled(Faults(fan_dead=True), 80.0, 0.5, 4000.0), _cooled(SOUND, 80.0, 0.5, 4000.0)
    assert (dead.fan_on, sound.coolant_c < 100.0) == (False, True)
    assert dead.coolant_c > sound.coolant_c + 4.0
    stuck, sound = _cooled(Faults(thermostat_open=True), 10.0, 9.0, 3000.0), _cooled(SOUND, 10.0, 9.0, 3000.0)
    assert stuck.coolant_c < sound.coolant_c - 4.0


# -- what ridelog makes of it -----------------------------------------------------------------------------------------


def test_nothing_is_refused_or_asked(demo_library: Any) -> None:
    assert demo_library.built.refused == []
    assert set(RIDES) <= set(demo_library.built.rides)


def test_notes_and_conditions_are_those_of_the_manifest(demo_library: Any, library: Library) -> None:
    for name, told in RIDES.items():
        ride = demo_library.built.rides[name]
        assert library.row(ride).condition == told["condition"]
        noted = [{"at_s": note.at_s, "about": note.about, "text": note.text} for note in library.notes_of(ride)]
        assert noted == told.get("notes", [])
    abouts = {note["about"] for told in RIDES.values() for note in told.get("notes", [])}
    assert abouts == {"map_conservative", "stop", "service", "coolant_lost"}


def test_rides_are_judged_by_the_sheet_of_their_day(studies: dict[str, Study], library: Library) -> None:
    sheets = library.advice_sheets()
    for entry in SEASON:
        found = studies[entry.name]
        day = ride_day(found.ride)
        assert found.known.advice.version == in_force(sheets, day).version
        if entry.name != "s26-no-date-34":
            assert day == entry.start.date()
    assert ride_day(studies["s26-no-date-34"].ride) is None


def _matching(result: Analysis, section: dict[str, Any]) -> Any:
    there = [Interval(section["start_s"], section["end_s"])]
    same = [one for one in result.segments if one.kind == section["kind"]]
    return max(same, key=lambda one: iou([Interval(one.start_s, one.end_s)], there), default=None)


def test_every_stretch_is_found_and_judged_as_it_was(
    studies: dict[str, Study], truth: dict[str, dict[str, Any]]
) -> None:
    for entry in SEASON:
        if not entry.judged:
            continue
        result = studies[entry.name].found.analysis
        for section in truth[entry.name]["sections"]:
            found = _matching(result, section)
            assert found is not None, (entry.name, section)
            there = [Interval(section["start_s"], section["end_s"])]
            assert iou([Interval(found.start_s, found.end_s)], there) >= 0.7, (entry.name, section)
            if entry.map_logged:
                assert found.verdict == section["expected_verdict"], (entry.name, section)
                assert found.conservative_share == pytest.approx(section["conservative_share"], abs=0.06)
        named = [one for one in result.segments if one.kind != "heat_only"]
        assert len(named) == len(truth[entry.name]["sections"]), entry.name


def test_nobody_is_accused_where_the_map_is_not_logged(studies: dict[str, Study]) -> None:
    for entry in SEASON:
        if not entry.map_logged:
            verdicts = {one.verdict for one in studies[entry.name].found.analysis.segments}
            assert not verdicts & {"missed", "late"}, entry.name


def test_what_the_rider_noted_of_the_map_counts(studies: dict[str, Study], truth: dict[str, dict[str, Any]]) -> None:
    result = studies["s05-by-notes-34"].found.analysis
    assert result.facts["map"]["source"] == "notes"
    advised = [one for one in result.segments if one.verdict != "not_advised"]
    assert {one.verdict for one in advised} == {"followed"}
    true = [one for one in truth["s05-by-notes-34"]["sections"] if one["kind"] == "heavy_drag"]
    assert [one["conservative_share"] for one in true] == [1.0] * len(advised)


def test_the_ride_that_is_too_short_says_why_it_is_not_judged(studies: dict[str, Study]) -> None:
    result = studies["s37-too-short-07"].found.analysis
    assert not result.heat.fitted
    assert result.heat.reason == "the log has no usable engine speed"
    assert result.adherence.share is None


def test_habits_grow_better_after_the_second_sheet(truth: dict[str, dict[str, Any]]) -> None:
    """On sand, which both sheets name: the share of the stretches that were followed."""
    before, after = [], []
    for entry in SEASON:
        if entry.map_logged:
            side = before if entry.start < NEW_SHEET else after
            side += [
                one["expected_verdict"] == "followed"
                for one in truth[entry.name]["sections"]
                if one["kind"] == "heavy_drag"
            ]
    assert 0.3 < sum(before) / len(before) < sum(after) / len(after) - 0.15
    assert sum(after) < len(after)


def test_the_wash_cools(truth: dict[str, dict[str, Any]]) -> None:
    """The same loop, ridden alike: over the air, the coolant stood far lower once the fins were clean."""

    def over_air(name: str) -> float:
        return float(truth[name]["peak_coolant_c"] - truth[name]["ambient_c"])

    for before, after in (("s02-before-wash-12", "s22-washed-12"), ("s44-before-wash-12", "s17-washed-12")):
        assert over_air(before) > over_air(after) + 12.0
    days = [service.day.isoformat() for service in bike_file("enduro-12").services]
    assert days == ["2026-03-01", "2026-05-08", "2026-06-23"]


def test_maps_and_terrain_separate_on_one_build_and_not_on_another() -> None:
    """Rides on both maps in sand and off it; the bike of another build has the conservative map in sand alone."""
    by_policy: dict[str, set[str]] = {}
    for entry in SEASON:
        by_policy.setdefault(bike_file(entry.plan().bike.id).build, set()).add(entry.policy)
    assert {"conservative map all the way", "standard map all the way"} <= by_policy["300-enduro-2"]
    assert any("on lap" in policy for policy in by_policy["300-enduro-2"])
    assert by_policy["250-enduro-2"] == {"conservative on sand, standard elsewhere", "standard map all the way"}
    stones = [entry for entry in SEASON if entry.plan().bike.id == "enduro-26" and "all the way" in entry.policy]
    assert [entry.plan().course.name for entry in stones] == ["stone loop"], "no sand there to be on the standard map"


def advice_of(version: str, library: Library) -> Advice:
    return next(sheet for sheet in library.advice_sheets() if sheet.version == version)


def test_the_sheet_of_2025_leaves_tracks_ridden_flat_out_to_the_rider(
    studies: dict[str, Study], library: Library
) -> None:
    assert advice_of("2025-03", library).rule("wide_open").map == "either"
    for entry in SEASON:
        if entry.start < NEW_SHEET:
            for one in studies[entry.name].found.analysis.segments:
                assert (one.kind, one.verdict) not in {("wide_open", "missed"), ("wide_open", "late")}
