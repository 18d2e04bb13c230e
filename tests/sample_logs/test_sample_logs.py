"""The sample library hangs together, its truth is well formed, and the simulator that made it keeps its books."""

import gzip
import itertools
import json
import tomllib

import numpy as np
import pytest

import sample_logs
from sample_logs import make, truth
from sample_logs.garage import ENDURO_07, ENDURO_12, ENDURO_21
from sample_logs.scenario import ENTRIES
from sample_logs.simulation.cooling import crossflow_effectiveness, radiator_wpk
from sample_logs.simulation.course import long_loop, red_loop
from sample_logs.simulation.noise import Line, Sheet
from sample_logs.simulation.ride import STEP_S, simulate

FOLDER = sample_logs.folder()
SHORT = next(entry for entry in ENTRIES if entry.name == "09-no-map-channel")
TRUTH = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["rides"]
MANIFEST = tomllib.loads((FOLDER / "manifest.toml").read_text(encoding="utf-8"))
VERDICTS = {"followed", "late", "missed", "unknown", "not_advised"}


@pytest.fixture(scope="module")
def short_trace():
    return simulate(SHORT.plan())


def test_manifest_names_files_that_are_there():
    assert MANIFEST["schema"] == 1
    for ride in MANIFEST["ride"]:
        assert ride["about"].endswith(".")
        assert (FOLDER / "bikes" / f"{ride['bike']}.bike.toml").is_file()
        for file in ride["files"]:
            assert (FOLDER / file).is_file()
        assert ride.get("together", False) == (len(ride["files"]) > 1)


def test_no_ride_file_is_left_over():
    listed = {file for ride in MANIFEST["ride"] for file in ride["files"]}
    assert listed == {f"rides/{path.name}" for path in (FOLDER / "rides").iterdir()}


def test_whole_library_stays_small():
    sizes = [path.stat().st_size for path in FOLDER.rglob("*") if path.is_file() and "__pycache__" not in path.parts]
    assert sum(sizes) < 12_000_000


def test_bike_files_state_the_simulated_bikes_within_a_few_percent():
    for bike in (ENDURO_07, ENDURO_12, ENDURO_21):
        told = tomllib.loads((FOLDER / "bikes" / f"{bike.id}.bike.toml").read_text(encoding="utf-8"))
        assert told["id"] == bike.id
        assert told["mass"]["total_kg"] == pytest.approx(bike.mass_kg, rel=0.03)
        assert told["wheels"]["tyre_circumference_m"] == pytest.approx(bike.circumference_m, rel=0.01)
        assert told["gearing"]["primary"] == pytest.approx(bike.primary, rel=0.001)
        assert told["gearing"]["final"] == pytest.approx(bike.final, rel=0.001)
        assert told["gearing"]["gears"] == list(bike.gears)
        assert told["aero"]["drag_area_m2"] == pytest.approx(bike.drag_area_m2, rel=0.05)
        curve = Line(bike.curve_rpm, bike.curve_kw)
        for rpm, kilowatt in zip(told["engine"]["power_curve_rpm"], told["engine"]["power_curve_kw"], strict=True):
            assert kilowatt == pytest.approx(curve(rpm), rel=0.05)
        assert ("fan_on_c" in told["cooling"]) == bike.has_fan
        assert ("thermostat_c" in told["cooling"]) == (bike.thermostat_c is not None)
        assert told["thresholds"] == {"warm": 95.0, "hot": 105.0, "limit": 115.0}


def test_advice_sheet_has_a_rule_a_kind():
    sheet = tomllib.loads((FOLDER / "default.advice.toml").read_text(encoding="utf-8"))
    maps = {rule["kind"]: rule["map"] for rule in sheet["rule"]}
    assert maps == {kind.name: "conservative" if kind.advised else "either" for kind in truth.KINDS}
    assert all(rule["grace_s"] == truth.GRACE_S for rule in sheet["rule"])


def test_truth_covers_the_manifest():
    assert [ride["name"] for ride in TRUTH] == [ride["name"] for ride in MANIFEST["ride"]]
    assert [ride["bike"] for ride in TRUTH] == [ride["bike"] for ride in MANIFEST["ride"]]


@pytest.mark.parametrize("ride", TRUTH, ids=lambda ride: ride["name"])
def test_sections_are_ordered_apart_and_within_the_ride(ride):
    least_s = {kind.name: kind.least_s for kind in truth.KINDS}
    before_s = 0.0
    assert ride["sections"]
    for section in ride["sections"]:
        assert before_s <= section["start_s"] < section["end_s"] <= ride["duration_s"] + 0.1
        assert section["end_s"] - section["start_s"] >= least_s[section["kind"]]
        assert section["expected_verdict"] in VERDICTS
        assert 0.0 <= section["conservative_share"] <= 1.0
        before_s = section["end_s"]


@pytest.mark.parametrize("ride", TRUTH, ids=lambda ride: ride["name"])
def test_verdicts_follow_from_shares(ride):
    for section in ride["sections"]:
        share, verdict = section["conservative_share"], section["expected_verdict"]
        if section["kind"] in {"slow_climb", "standstill"}:
            assert verdict == "not_advised"
        elif not ride["map_logged"]:
            assert verdict == "unknown"
        elif verdict == "followed":
            assert share >= 0.9
        elif verdict == "late":
            assert share <= 0.68
            assert section["switched_after_s"] > truth.GRACE_S
        else:
            assert share == 0.0
            assert section["switched_after_s"] is None


def test_the_scenario_tells_what_it_is_meant_to():
    rides = {ride["name"]: ride for ride in TRUTH}

    def verdicts(name):
        return {s["expected_verdict"] for s in rides[name]["sections"]} - {"not_advised"}

    assert verdicts("01-standard-in-sand") == {"missed"}
    assert verdicts("02-switched-in-time") == {"followed"}
    assert verdicts("03-spaet-geschaltet") == {"late", "followed"}
    assert verdicts("08-long-ride") == {"followed", "missed"}
    assert verdicts("09-no-map-channel") == {"unknown"}
    hot, cool = rides["01-standard-in-sand"], rides["02-switched-in-time"]
    assert hot["peak_coolant_c"] > 115.0
    assert cool["peak_coolant_c"] < hot["peak_coolant_c"] - 5.0
    assert cool["above_s"]["105"] < 0.6 * hot["above_s"]["105"]
    muddy = [ride for ride in TRUTH if ride["bike"] == "enduro-12"]
    assert [ride["fault"] if ride["fault"] == "none" else ride["fault"]["airflow_blocked"] for ride in muddy] == [
        "none",
        0.15,
        0.35,
        0.50,
    ]
    over_air = [ride["peak_coolant_c"] - ride["ambient_c"] for ride in muddy]
    assert over_air == sorted(over_air)


def test_lost_rows_are_lost_in_the_file():
    ride = next(ride for ride in TRUTH if ride["name"] == "11-dropouts")
    lines = gzip.decompress((FOLDER / "rides" / "11-dropouts.csv.gz").read_bytes()).decode("utf-8").splitlines()[1:]
    stamps = np.array([line.split(",", 1)[0].rstrip("Z") for line in lines], dtype="datetime64[ms]")
    t_s = (stamps - stamps[0]) / np.timedelta64(1, "ms") / 1000.0
    gaps = [(a, b) for a, b in itertools.pairwise(t_s) if b - a > 1.0]
    assert np.allclose(gaps, ride["rows_lost"], atol=0.11)
    (dark,) = ride["coolant_lost"]
    coolant = np.array([line.split(",")[1] for line in lines])
    assert set(np.flatnonzero(coolant == "")) == set(np.flatnonzero((t_s >= dark[0]) & (t_s < dark[1])))


def test_german_log_is_windows_text_with_crlf():
    content = (FOLDER / "rides" / "03-spaet-geschaltet.csv").read_bytes()
    assert content.count(b"\r\n") == content.count(b"\n")
    with pytest.raises(UnicodeDecodeError):
        content.decode("utf-8")
    assert "Kühlmitteltemperatur" in content.decode("cp1252").splitlines()[0]


def test_packed_files_carry_no_date():
    for path in (FOLDER / "rides").glob("*.gz"):
        assert path.read_bytes()[4:8] == bytes(4)


def test_one_ride_comes_out_the_same_again(tmp_path):
    told = make.make_ride(SHORT, tmp_path)
    (output,) = SHORT.outputs
    assert (tmp_path / output.file).read_bytes() == (FOLDER / output.file).read_bytes()
    assert told == next(ride for ride in TRUTH if ride["name"] == SHORT.name)


def test_manifest_comes_out_the_same_again():
    assert make.manifest() == (FOLDER / "manifest.toml").read_bytes().decode("utf-8")


def test_energy_books_close(short_trace):
    bike, sums = short_trace.plan.bike, short_trace.train.ledger
    speed, wheel = short_trace["speed_mps"][-1], short_trace["wheel_mps"][-1]
    kinetic = 0.5 * bike.mass_kg * speed**2 + 0.5 * bike.wheel_mass_kg * wheel**2
    assert sums.spent() + kinetic == pytest.approx(sums.crank, rel=0.01)
    assert min(sums.driveline, sums.slip, sums.terrain, sums.aero, sums.brake) > 0.0


def test_energy_read_from_the_trace_agrees_with_the_books(short_trace):
    bike, sums, speed = short_trace.plan.bike, short_trace.train.ledger, short_trace["speed_mps"]
    crank = float((short_trace["torque_nm"] * short_trace["engine_radps"]).sum()) * STEP_S
    weight = bike.mass_kg * 9.80665
    terrain = float((short_trace["drag"] * weight * speed).sum()) * STEP_S
    climbed = float((short_trace["sine"] * weight * speed).sum()) * STEP_S
    assert crank == pytest.approx(sums.crank, rel=0.01)
    assert terrain == pytest.approx(sums.terrain, rel=0.01)
    assert abs(climbed) < 0.01 * crank


def test_heat_books_close(short_trace):
    """Over the ride, heat in less heat shed is what the stores gained and the skin gave off."""
    heat_in = float(short_trace["heat_w"].sum()) * STEP_S
    shed = float(short_trace["shed_w"].sum()) * STEP_S
    warmer = float(short_trace["coolant_c"][-1] - short_trace["coolant_c"][0])
    assert 0.0 < shed < heat_in
    assert heat_in - shed > 6000.0 * warmer


@pytest.mark.parametrize("course", [red_loop(), long_loop()], ids=lambda course: course.name)
def test_courses_close(course):
    assert abs(course.east_m[-1]) < 0.5
    assert abs(course.north_m[-1]) < 0.5
    assert course.elevation_m[-1] == pytest.approx(course.elevation_m[0], abs=0.1)
    steps = np.hypot(np.diff(course.east_m), np.diff(course.north_m))
    assert np.allclose(steps, 1.0, atol=0.001)
    for zone, drag in zip(course.zone_at, course.drag, strict=True):
        assert 0.22 <= drag <= 0.32 if course.zones[zone].ground == "sand" else 0.03 <= drag <= 0.12


def test_radiator_effectiveness_against_published_values():
    """Table values for an unmixed crossflow pair from the usual closed approximation."""
    assert crossflow_effectiveness(1.0, 0.5) == pytest.approx(0.54476, abs=1e-5)
    assert crossflow_effectiveness(2.0, 0.5) == pytest.approx(0.73876, abs=1e-5)
    assert crossflow_effectiveness(3.0, 0.75) == pytest.approx(0.75531, abs=1e-5)
    assert crossflow_effectiveness(1.0, 0.0) == pytest.approx(0.63212, abs=1e-5)


def test_radiator_sheds_more_with_speed_and_less_with_mud():
    shed = [radiator_wpk(0.25 * v, 0.25, 0.04, 1.15, 0.0) for v in (1.0, 2.0, 5.0, 10.0, 20.0)]
    assert shed == sorted(shed)
    assert shed[1] / shed[0] > 1.8  # at walking pace the air itself is the limit
    assert shed[4] / shed[3] < 1.6
    assert radiator_wpk(2.5, 0.25, 0.04, 1.15, 0.5) < 0.75 * radiator_wpk(2.5, 0.25, 0.04, 1.15, 0.0)
    assert radiator_wpk(0.0, 0.25, 0.04, 1.15, 0.0) == 0.0


def test_tables_are_exact_at_their_points():
    sheet = Sheet(lambda x, y: x * y, 0.5, 5, 2.0, 4)
    assert sheet(1.0, 4.0) == pytest.approx(4.0)
    assert sheet(0.75, 3.0) == pytest.approx(2.25)
    line = Line([0, 1, 3], [0, 2, 0])
    assert [line(-1), line(0.5), line(2), line(9)] == [0.0, 1.0, 1.0, 0.0]


def test_runs_bridge_short_interruptions():
    held = np.array([0, 1, 1, 0, 1, 0, 0, 0, 1], dtype=bool)
    assert truth.runs(held) == [(1, 3), (4, 5), (8, 9)]
    assert truth.runs(held, STEP_S) == [(1, 5), (8, 9)]


def test_speeds_and_engine_speeds_are_those_of_an_enduro(short_trace):
    moving = short_trace["speed_mps"] > 1.0
    rpm = short_trace["engine_radps"][moving] * 30.0 / np.pi
    low, high = np.percentile(rpm, [1, 99])
    assert 2500 < low < high < 10_500
    assert short_trace["speed_mps"].max() < 38.0
