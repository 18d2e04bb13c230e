"""The heat ledger and what goes with it: areas that keep their sum, open holes, a payload that stays small."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboard.provider import RideView
from ridelog.constants import ASSUMED_CAPACITY_KJ_PER_K
from ridelog.figures.heat_panels import LEDGER_BINS
from ridelog.figures.ride_stack import View, absent_panels, ride_stack
from ridelog.results import Traces
from ridelog.words.display import IMPERIAL


def with_heat(view: RideView, gap: tuple[float, float] | None = None) -> RideView:
    """The hand-made ride with a balance's series: heat out follows in, two minutes late."""
    t = view.traces.t_s
    heat_in = 0.8 + 0.5 * np.sin(t / 173.0) + 0.2 * np.sin(t / 9.0)
    out = 0.8 + 0.5 * np.sin((t - 120.0) / 173.0)
    settle = 95.0 + 40.0 * np.sin(t / 173.0)
    series = {"heat_in_kps": heat_in, "heat_out_kps": out, "settle_c": settle, "settle_low_c": settle - 9.0,
              "settle_high_c": settle + 12.0}  # fmt: skip
    if gap is not None:
        series = {name: np.where((t >= gap[0]) & (t < gap[1]), np.nan, values) for name, values in series.items()}
    traces = Traces(t, view.traces.step_s, {**view.traces.series, **series})
    return RideView(replace(view.study, found=replace(view.study.found, traces=traces)))


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> RideView:
    return with_heat(fakes.make_view(), (1500.0, 1620.0))


@pytest.fixture(scope="module")
def figure(view: RideView) -> go.Figure:
    return ride_stack(view.analysis, view.lines, view.bike, view.advice)


def named(figure: go.Figure, name: str, fill: str | None = None) -> Any:
    return next(trace for trace in figure.data if trace.name == name and trace.fill == fill)


def test_in_and_out_oppose_each_other(figure: go.Figure) -> None:
    assert np.nanmin(named(figure, "heat in").y) >= 0.0
    assert np.nanmax(named(figure, "heat out").y) <= 0.0
    assert named(figure, "heat in").yaxis == named(figure, "heat out").yaxis
    low, high = figure.layout[named(figure, "heat in").yaxis.replace("y", "yaxis")].range
    assert low == -high


def test_the_columns_keep_the_heat_that_flowed(view: RideView, figure: go.Figure) -> None:
    trace = named(figure, "heat in")
    known = np.isfinite(trace.y)
    assert known.sum() <= LEDGER_BINS
    assert trace.y[known].mean() == pytest.approx(np.nanmean(view.traces.series["heat_in_kps"]), rel=0.01)


def test_no_area_runs_over_a_hole(figure: go.Figure) -> None:
    for name in ("heat in", "heat out", "settles at, 95 %"):
        area = named(figure, name, "toself")
        pieces = np.split(np.asarray(area.x), np.flatnonzero(np.isnan(area.x)))
        for piece in pieces:
            inside = piece[np.isfinite(piece)]
            assert inside.max() <= 1520.0 or inside.min() >= 1600.0, name


def test_kilowatts_are_the_assumed_capacity_times_the_rate(figure: go.Figure) -> None:
    rate = figure.layout[named(figure, "heat in").yaxis.replace("y", "yaxis")].range[1]
    assert figure.layout.yaxis10.range[1] == pytest.approx(rate * ASSUMED_CAPACITY_KJ_PER_K)
    words = {note.text for note in figure.layout.annotations}
    assert any(f"kW at {ASSUMED_CAPACITY_KJ_PER_K:g} kJ/K" in text for text in words)
    shown = named(figure, "heat in").text[100]
    rate_shown, kw = (float(part.split()[0]) for part in shown.split(", "))
    assert kw == pytest.approx(rate_shown * ASSUMED_CAPACITY_KJ_PER_K, abs=0.1)


def test_in_and_out_do_not_rest_on_colour(figure: go.Figure) -> None:
    looks = [named(figure, name, "toself").fillpattern.shape for name in ("heat in", "heat out")]
    assert len(set(looks)) == 2
    assert {"<b>in</b>", "<b>out</b>"} <= {note.text for note in figure.layout.annotations}


def test_the_band_holds_the_line(view: RideView) -> None:
    near = ride_stack(view.analysis, view.lines, view.bike, view=View(300.0, 520.0))
    band, line = named(near, "settles at, 95 %", "toself"), named(near, "settles at")
    assert np.nanmin(band.y) <= np.nanmin(line.y) - 8.0
    assert np.nanmax(band.y) >= np.nanmax(line.y) + 8.0
    assert line.line.dash == "dot"


def test_the_coolant_stays_readable_beside_a_settle_temperature_far_above(view: RideView) -> None:
    series = {**view.traces.series, "settle_c": np.full(view.traces.t_s.size, 380.0)}
    traces = replace(view.traces, series=series)
    hot = RideView(replace(view.study, found=replace(view.study.found, traces=traces)))
    figure = ride_stack(hot.analysis, hot.lines, hot.bike)
    assert figure.layout.yaxis.range[1] < 160.0


def test_fahrenheit(view: RideView, figure: go.Figure) -> None:
    imperial = ride_stack(view.analysis, view.lines, view.bike, display=IMPERIAL)
    assert named(imperial, "heat in").y == pytest.approx(named(figure, "heat in").y * 1.8, nan_ok=True)
    assert named(imperial, "settles at").y == pytest.approx(named(figure, "settles at").y * 1.8 + 32.0, nan_ok=True)
    assert "°F/s" in named(imperial, "heat in").text[100]


def test_the_readout_still_tells_the_time_once(figure: go.Figure) -> None:
    timed = [trace for trace in figure.data if "%{customdata}" in (trace.hovertemplate or "")]
    assert len(timed) == 1
    assert timed[0].customdata[0] == "0:00:00"


def test_ten_hours_stay_small(fakes: ModuleType) -> None:
    view = with_heat(fakes.make_view(36_000.0))
    assert len(ride_stack(view.analysis, view.lines, view.bike, view.advice).to_json()) < 500_000


def test_without_a_balance_the_reason_stands_under_the_picture(fakes: ModuleType) -> None:
    from ridelog.results import CannotTell

    view = fakes.make_view(600.0, gap=False)
    said = replace(view.analysis, cannot_tell=(CannotTell("heat", "the log has no usable engine speed"),))
    assert "Heat in and out are not shown: the log has no usable engine speed." in absent_panels(said, view.lines)
