"""What the commands over many rides make of the demo library, against what its simulator did."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ridelog.cli.group import ridelog
from ridelog.store.library import Library
from sample_logs.garage import ENDURO_07
from sample_logs.season import CASES


def document(library: Path, *arguments: str) -> dict[str, Any]:
    """The one JSON document a command prints."""
    done = CliRunner().invoke(ridelog, [*arguments, "--json", "--library", str(library)])
    assert done.exit_code == 0, done.output
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def test_review_tells_before_and_after_the_second_sheet(demo_library: Any) -> None:
    told = document(demo_library.folder, "review")
    sheets = {group["key"]: group for group in told["by_sheet"]}
    assert list(sheets) == ["2025-03", "2026-01"]
    assert sheets["2025-03"]["share"] < sheets["2026-01"]["share"] - 0.1
    kinds = {group["key"]: group for group in told["by_kind"]}
    assert {"heavy_drag", "wide_open", "high_speed"} <= set(kinds)
    unjudged = {ride["ride"] for ride in told["rides"] if ride["advised_s"] is None or ride["share"] is None}
    assert demo_library.built.rides["s37-too-short-07"] in unjudged


def test_the_share_followed_is_the_simulators(demo_library: Any) -> None:
    """Advised seconds and those of them on the conservative map, from the season's truth: rides with the map logged."""
    shares = {ride["ride"]: ride["share"] for ride in document(demo_library.folder, "review")["rides"]}
    looked = 0
    for name, one in demo_library.built.made.items():
        truth = one["truth"]
        advised = [part for part in truth["sections"] if part["expected_verdict"] not in ("not_advised", "unknown")]
        if not advised or not truth["map_logged"]:
            continue
        seconds = [part["end_s"] - part["start_s"] - 10.0 for part in advised]
        on = [length * part["conservative_share"] for length, part in zip(seconds, advised, strict=True)]
        assert shares[demo_library.built.rides[name]] == pytest.approx(sum(on) / sum(seconds), abs=0.05), name
        looked += 1
    assert looked > 30


def test_effect_holds_the_truth_where_it_is_told_and_says_why_where_not(demo_library: Any) -> None:
    told = document(demo_library.folder, "effect", "--bike", "enduro-07")
    assert told["identified"] is True
    assert told["rides"] >= 8
    ratio = told["heat_ratio"]
    assert ratio["low"] <= ENDURO_07.conservative_heat <= ratio["high"]
    other = document(demo_library.folder, "effect", "--bike", "enduro-26")
    assert (other["identified"], other["heat_ratio"]) == (False, None)
    assert "with the ground" in other["reason"]


def test_after_the_winter_wash_it_runs_cooler(demo_library: Any) -> None:
    told = document(demo_library.folder, "compare", "--bike", "enduro-12", "--service", "2026-03-01")
    assert told["verdict"] == "cooler"
    for side, names in (
        ("first", ("s17-washed-12", "s22-washed-12", "s24-washed-12", "s25-spring-12")),
        ("others", ("s02-before-wash-12", "s10-before-wash-12", "s44-before-wash-12")),
    ):
        assert {ride["id"] for ride in told[side]} == {demo_library.built.rides[name] for name in names}


def test_where_fins_clogged_from_ride_to_ride_the_scatter_is_told(demo_library: Any) -> None:
    """The wash of June: lower on the same stretch, but the rides before it differ among themselves."""
    told = document(demo_library.folder, "compare", "--bike", "enduro-12", "--service", "2026-06-23")
    assert told["settle"][0]["difference"]["high"] < 0.0
    assert told["verdict"] in {"cooler", "cant_tell"}
    assert told["reason"] or told["verdict"] == "cooler"


def test_cases_end_as_the_simulator_knows(demo_library: Any) -> None:
    library = Library.open(demo_library.folder)
    found = {case.said: case for case in library.complaints()}
    assert set(found) == {case.said for case in CASES}
    for case in CASES:
        kept = found[case.said]
        assert (kept.bike, kept.day.isoformat(), kept.is_closed) == (case.bike, case.day, bool(case.workshop))
        assert (kept.workshop or "", kept.cause or "") == (case.workshop, case.cause)
        assert [one.ride for one in kept.rides] == [demo_library.built.rides[name] for name in case.rides]


@pytest.mark.parametrize(
    ("name", "cause"),
    [
        ("07-half-blocked", "airflow_blocked"),
        ("s44-before-wash-12", "airflow_blocked"),
        ("s23-no-warm-up-31", "thermostat_stuck_open"),
        ("s22-washed-12", "normal"),
        ("s31-dead-fan-34", "fan_fault"),
        ("s32-hard-sand-31", "terrain_load"),
        ("s34-overflow-21", "cap_leaking"),
        ("s35-loose-plug-34", "sensor_fault"),
    ],
)
def test_the_likeliest_cause_is_the_simulated_one(demo_library: Any, name: str, cause: str) -> None:
    told = document(demo_library.folder, "diagnose", demo_library.built.rides[name])
    assert told["ranked"][0]["cause"] == cause


def test_too_little_flow_is_among_the_first_two(demo_library: Any) -> None:
    """Too little flow and too little air look alike from one ride: both belong on the list of what to check."""
    told = document(demo_library.folder, "diagnose", demo_library.built.rides["s33-gets-hot-07"])
    assert "coolant_flow_low" in [one["cause"] for one in told["ranked"][:2]]
    assert told["conclusion"] in {"coolant_flow_low", "airflow_blocked", "not_enough_evidence"}


def test_nobody_is_said_to_have_ignored_advice_that_the_log_does_not_show(demo_library: Any) -> None:
    for name in ("s05-by-notes-34", "09-no-map-channel", "s37-too-short-07"):
        told = document(demo_library.folder, "diagnose", demo_library.built.rides[name])
        assert told["advice_followed"] != "no"


def test_places_are_ridden_by_several_bikes(demo_library: Any) -> None:
    told = document(demo_library.folder, "places")
    assert told["places"]
    assert max(len(place["by_bike"]) for place in told["places"]) >= 3
