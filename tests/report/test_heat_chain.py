"""From the page back to samples: a settle temperature worked out again, by hand, from what is shown and exported."""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ridelog.advice import default_advice
from ridelog.analyze import analyze, heat_fit
from ridelog.bike import Bike, read_bike
from ridelog.errors import UsageError
from ridelog.export import export
from ridelog.export_heat import export_steps
from ridelog.figures.ride_stack import ride_stack
from ridelog.figures.series import RideLines
from ridelog.ingest_options import ImportOptions
from ridelog.ingest_read import read_rides
from ridelog.report import heat_chain, render, tables
from ridelog.results import Analysis, Traces, to_json
from ridelog.ride import Ride
from ridelog.words import heat_model, key_figures

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
AIR_C = 31.0


@dataclass(frozen=True)
class Case:
    """One sample ride, analyzed."""

    ride: Ride
    bike: Bike
    analysis: Analysis
    traces: Traces


def case(name: str, bike_id: str, baseline: tuple[str, ...] = ()) -> Case:
    bike = read_bike(SAMPLES / "bikes" / f"{bike_id}.bike.toml")

    def read(one: str) -> Ride:
        options = replace(ImportOptions(), bike=bike, ambient_c=AIR_C)
        return read_rides([SAMPLES / "rides" / one], options)[0]

    fits = [heat_fit(read(one), bike, ambient_c=AIR_C) for one in baseline]
    told = [fit for fit in fits if fit is not None]
    ride = read(name)
    return Case(ride, bike, *analyze(ride, bike, default_advice(), ambient_c=AIR_C, baseline=told))


FITTED = [
    ("01-standard-in-sand.csv.gz", "enduro-07"),
    ("11-dropouts.csv.gz", "enduro-21"),
    ("04-clean-radiators.tsv.gz", "enduro-12"),
]


@pytest.fixture(scope="module", params=FITTED)
def found(request: pytest.FixtureRequest) -> Case:
    return case(*request.param)


@pytest.fixture(scope="module")
def silent() -> Case:
    """A ride whose coolant was never logged, told from another ride of the bike."""
    return case("10-no-coolant.csv.gz", "enduro-07", ("01-standard-in-sand.csv.gz",))


def number(text: str) -> float:
    return float(re.split(r"[\s\u00a0]", text)[0].replace("−", "-").replace(",", ""))


def test_the_arithmetic_of_the_table_closes_to_its_digits(found: Case) -> None:
    told, rows = 0, tables.segment_rows(found.analysis)
    at = tables.SEGMENT_COLUMNS.index("Settles at")
    for segment in found.analysis.segments:
        chain = heat_chain.chain(segment, found.traces, found.bike)
        assert (chain is None) == (segment.settle_c is None)
        if chain is None:
            continue
        told += 1
        shown = {symbol: figure for _, symbol, figure, _ in heat_chain.chain_rows(chain)}
        air, q, still, flow = (number(shown[symbol]) for symbol in ("Ta", "q", "g still", "g air"))
        heat, falls = q * (800.0 - air) / 710.0, q / 710.0
        assert number(shown["q₀"]) == pytest.approx(heat, rel=2e-4)
        assert number(shown["k"]) == pytest.approx(falls, rel=2e-4)
        if "y" in shown:
            bypass, opening = number(shown["b"]), number(shown["y"])
            flow *= bypass + (1.0 - bypass) * opening
        assert number(shown["G"]) == pytest.approx(still + flow, rel=2e-4)
        if not chain.cycling:
            assert number(shown["T"]) == pytest.approx(air + heat / (still + flow + falls), abs=0.07)
        assert number(shown["T"]) == pytest.approx(segment.settle_c, abs=0.06)
        assert number(rows[found.analysis.segments.index(segment)].cells[at]) == round(segment.settle_c)
    assert told >= 3


def test_the_figures_of_the_table_are_means_of_the_exported_columns(found: Case, tmp_path: Path) -> None:
    path = tmp_path / "steps.csv"
    export_steps(found.analysis, found.traces, path)
    steps = pl.read_csv(path, infer_schema_length=None)
    for segment in found.analysis.segments:
        chain = heat_chain.chain(segment, found.traces, found.bike)
        if chain is None:
            continue
        inside = steps.filter(
            (pl.col("t_s") >= chain.first_s)
            & (pl.col("t_s") < chain.past_s)
            & (pl.col("known") == 1)
            & (pl.col("running") == 1)
        )
        assert inside.height == chain.steps
        assert chain.first_s - 4.0 < segment.start_s <= chain.first_s
        for row in heat_chain.chain_rows(chain):
            named = re.match(r"mean of (\w+)", row[3])
            if named:
                # two decimals or five digits, whichever is coarser
                assert number(row[2]) == pytest.approx(inside[named[1]].mean(), rel=6e-5, abs=0.0051)


def test_the_exported_columns_follow_from_the_published_parameters(found: Case) -> None:
    """q and G of every step by the equations on the page, with the parameters of `analyze --json`."""
    heat, steps, bike = found.analysis.heat, found.traces.steps, found.bike
    value = {name: band.value for name, band in heat.parameters.items()}
    peak_kw = max(bike.power_curve_kw)
    turning, power = steps["turning"], steps["power_kw"]
    load = (power + value["idle_kw"] * turning) / (0.5 * peak_kw + 0.8 * value["idle_kw"])
    pace = np.maximum(turning, 0.1) / 0.8
    assert heat.map_ratio is not None
    kappa = np.where(np.nan_to_num(steps["conservative"]) > 0, heat.map_ratio.value, 1.0)
    q = value["heat"] * 0.5 * peak_kw * kappa * load ** value["exponent"] * pace ** value["pace"]
    ok = (steps["known"] > 0) & (steps["running"] > 0)
    assert steps["load_kps"][ok] == pytest.approx(q[ok], rel=1e-6)

    def carried(air_mps: np.ndarray) -> np.ndarray:
        return air_mps * (1.0 - np.exp(-((value["core_mps"] / air_mps) ** 0.7)))

    air_mps = np.sqrt(steps["speed_mps"] ** 2 + 0.45**2)
    flow = value["flow"] * carried(air_mps) / carried(np.asarray(10.0))
    assert steps["flow_per_s"][ok] == pytest.approx(flow[ok], rel=1e-6)
    assert steps["still_per_s"][ok] == pytest.approx(value["still"], rel=1e-9)


def test_the_steps_are_means_of_the_exported_ride(found: Case, tmp_path: Path) -> None:
    """One link further back: engine speed of the steps from the normalized ride's own file."""
    path = tmp_path / "ride.parquet"
    export(found.ride, path)
    samples = pl.read_parquet(path).select("t_s", "engine_rpm", "throttle_pct")
    peak_rpm = found.bike.power_curve_rpm[int(np.argmax(found.bike.power_curve_kw))]
    steps = found.traces.steps
    means = (
        samples.drop_nulls()
        .group_by((pl.col("t_s") // 4.0).cast(int).alias("k"))
        .agg(pl.col("engine_rpm").mean(), pl.col("throttle_pct").min(), pl.len())
        .filter((pl.col("len") >= 0.9 * pl.col("len").median()) & (pl.col("k") < steps["t_s"].size))
        .filter(pl.col("throttle_pct") > 10.0)  # where the wheel turns the engine, half of its speed counts
    )
    at = means["k"].to_numpy()
    ok = steps["known"][at] > 0
    assert ok.sum() > 10
    assert steps["turning"][at][ok] == pytest.approx(means["engine_rpm"].to_numpy()[ok] / peak_rpm, rel=0.02)


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_steps_are_written_whole_with_nothing_that_is_not_a_number(found: Case, ending: str, tmp_path: Path) -> None:
    path = tmp_path / f"steps{ending}"
    export_steps(found.analysis, found.traces, path)
    table = pl.read_csv(path, infer_schema_length=None) if ending == ".csv" else pl.read_parquet(path)
    assert table.columns == list(found.traces.steps)
    assert table["t_s"].to_list() == [4.0 * n for n in range(table.height)]
    for name in table.columns:
        values = table[name].drop_nulls().to_list()
        assert all(math.isfinite(value) for value in values), name
        assert table[name].null_count() == int(np.isnan(found.traces.steps[name]).sum()), name


def test_steps_without_a_balance_are_refused_with_its_reason(tmp_path: Path) -> None:
    blind = case("10-no-coolant.csv.gz", "enduro-07")
    with pytest.raises(UsageError, match="no usable coolant"):
        export_steps(blind.analysis, blind.traces, tmp_path / "steps.csv")
    with pytest.raises(UsageError, match=r"\.xls"):
        export_steps(blind.analysis, blind.traces, tmp_path / "steps.xls")
    assert list(tmp_path.iterdir()) == []


def test_a_ride_without_coolant_is_estimated_and_says_so(silent: Case) -> None:
    figure = ride_stack(silent.analysis, RideLines(silent.ride, silent.traces), silent.bike)
    lines = {trace.name: trace for trace in figure.data}
    assert lines["coolant, estimated"].line.dash == "dash"
    assert lines["coolant, estimated, 95 %"].fill == "toself"
    assert "coolant" not in lines
    steps = silent.traces.steps
    where = np.isfinite(steps["coolant_estimated_c"])
    assert where.any()
    low, mid, high = (steps[f"coolant_estimated{part}_c"][where] for part in ("_low", "", "_high"))
    assert (low < high).all()
    assert ((low <= mid) & (mid <= high)).mean() > 0.95
    assert tables.exposure_columns(silent.analysis)[-1] == tables.ESTIMATED_COLUMN
    for row, shown in zip(silent.analysis.exposure, tables.exposure_rows(silent.analysis), strict=True):
        assert row.estimated_s is not None
        assert re.match(r".+ \(.+ to .+\)$", shown[-1])
    worst = [figure for figure in key_figures.key_figures(silent.analysis) if figure.label.startswith("Time above")]
    assert worst[0].value.startswith("about")
    assert "coolant was not logged" in worst[0].note
    text = json.dumps(to_json(silent.analysis), allow_nan=False)
    assert '"fitted": false' in text


def test_the_report_holds_block_chain_and_model(found: Case) -> None:
    page = render(found.analysis, found.traces, found.ride, found.bike)
    for words in (
        "Heat balance",
        "Heat made",
        "A minute ahead the balance misses by",
        "dT/dt",
        "Where it fails",
        "--heat",
    ):
        assert words in page
    assert page.count("<details>") == 2


def test_the_model_as_written_claims_no_more_than_is_known() -> None:
    text = " ".join([*heat_model.MAP_NOTES, *heat_model.IDENTIFIED, *heat_model.FAILS]).lower()
    assert "only from an already rich base" in text
    assert "exhaust" in text
    assert "may be small" in text
    for claim in ("always cooler", "richer is cooler", "raise the limit", "higher cap"):
        assert claim not in text


def test_every_parameter_of_a_fit_has_a_row_and_words(found: Case) -> None:
    from ridelog.words.heat import PARAMETER_WORDS

    heat = found.analysis.heat
    assert set(heat.parameters) <= set(PARAMETER_WORDS)
    rows = heat_model.symbol_rows(heat)
    assert {len(row) for row in rows} == {len(heat_model.SYMBOL_COLUMNS)}
    assert len(rows) == len(PARAMETER_WORDS)
    assert sum(row[3] != "–" for row in rows) >= len(heat.parameters)
