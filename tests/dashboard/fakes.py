"""A ride, its analysis and a provider made by hand, for tests of pictures and pages.

Nothing here is computed by the analysis: the figures are plausible, fixed, and known to the tests that read them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
import polars as pl

from dashboard.casebook import NoteItem
from dashboard.provider import RideItem, RideView
from dashboard.views import RideList
from ridelog.advice import default_advice
from ridelog.analyze import Analyzed
from ridelog.analyze_heat import Balance
from ridelog.bike import parse_bike
from ridelog.errors import NotInLibrary
from ridelog.intervals import Interval
from ridelog.results import (
    Adherence,
    Analysis,
    Basis,
    Boiling,
    CannotTell,
    ChannelResult,
    Exposure,
    FileFacts,
    Heat,
    Mark,
    Prior,
    RideFacts,
    Segment,
    Traces,
)
from ridelog.ride import ChannelInfo, Note, QualityMark, Ride, SourceFile
from ridelog.study import Known, Study

NO_BALANCE = Balance(Heat(False, "made by hand"))
RIDE_ID = "2026-05-17-dune-07-a1b2c3"
BIKE = parse_bike(
    'schema = 1\nid = "dune-07"\nbuild = "300-enduro-2"\n[cooling]\nfan_on_c = 95.0\n', "dune-07.bike.toml"
)
SHA = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
GAP = Interval(1500.0, 1620.0)
PLAN = (
    # start, end, kind, also, certainty, verdict, conservative share
    (300.0, 520.0, "heavy_drag", (), "sure", "missed", 0.0),
    (700.0, 790.0, "wide_open", ("high_speed",), "sure", "late", 0.46),
    (1000.0, 1180.0, "standstill", (), "sure", "not_advised", 0.0),
    (1800.0, 2010.0, "heavy_drag", (), "uncertain", "followed", 0.94),
    (2200.0, 2330.0, "slow_climb", (), "sure", "not_advised", 1.0),
    (2500.0, 2590.0, "high_speed", (), "sure", "unknown", None),
    (2700.0, 2760.0, "heat_only", (), "uncertain", "not_advised", 0.0),
)  # fmt: skip


def make_view(
    duration_s: float = 3000.0, rate_hz: float = 20.0, *, gap: bool = True, channels: set[str] | None = None
) -> RideView:
    """A ride of any length with the analysis beside it; `channels` leaves only some of the logged channels."""
    ride = _ride(duration_s, rate_hz, gap, channels)
    traces = _traces(ride, duration_s, gap)
    found = Analyzed(_analysis(ride, gap, duration_s), traces, NO_BALANCE)
    return RideView(Study(ride, Known(BIKE, default_advice()), found))


def changed(view: RideView, *, with_bike: bool = True, **parts: object) -> RideView:
    """The same ride with another `analysis` or other `traces`, or without its bike."""
    found = replace(view.study.found, **parts)
    known = view.study.known if with_bike else replace(view.study.known, bike=None)
    return RideView(replace(view.study, found=found, known=known))


def _signals(t: np.ndarray) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(7)
    speed = 11 + 5 * np.sin(t / 41) + 3 * np.sin(t / 7.3)
    throttle = np.clip(35 + 30 * np.sin(t / 3.1) + 15 * np.sin(t / 19), 0, 100)
    coolant = 84 + 4 * np.sin(t / 230)
    drag = 0.06 + 0.02 * np.sin(t / 11)
    for start, end, kind, *_ in PLAN:
        inside = (t >= start) & (t < end)
        after = np.where(t >= end, np.exp(-(t - end) / 90), 0.0)
        rise = {"heavy_drag": 21.0, "wide_open": 9.0, "standstill": 15.0, "slow_climb": 12.0}.get(kind, 4.0)
        coolant = coolant + rise * (np.where(inside, 1 - np.exp(-(t - start) / 90), 0.0) + after)
        if kind == "heavy_drag":
            speed, throttle, drag = (np.where(inside, a, b) for a, b in ((7.5, speed), (71, throttle), (0.27, drag)))
        if kind == "wide_open":
            speed, throttle = np.where(inside, 27, speed), np.where(inside, 99, throttle)
        if kind == "standstill":
            speed, throttle = np.where(inside, 0.0, speed), np.where(inside, 0.0, throttle)
    noise = rng.normal(size=t.size)
    moving = speed > 0
    return {
        "coolant_c": np.round(coolant),
        "gps_speed_mps": np.where(moving, np.clip(speed + 0.5 * noise, 0, 40), 0),
        "throttle_pct": np.clip(throttle + 3 * noise * (throttle > 0), 0, 100),
        "engine_rpm": np.where(moving, 1800 + 210 * speed + 25 * throttle + 60 * noise, 1650),
        "map_slot": np.where(((t > 745) & (t < 900)) | ((t > 1805) & (t < 2400)), 2.0, 1.0),
        "drag_coefficient": drag + 0.01 * noise,
        "power_w": np.where(moving, 330 * throttle, 0),
    }


def _ride(duration_s: float, rate_hz: float, gap: bool, channels: set[str] | None) -> Ride:
    t = np.arange(0, duration_s + 0.5 / rate_hz, 1 / rate_hz)
    if gap:
        t = t[(t < GAP.start_s) | (t >= GAP.end_s)]
    table = {name: y for name, y in _signals(t).items() if name not in {"drag_coefficient", "power_w"}}
    every = max(1, round(rate_hz))
    slow = np.arange(t.size) % every == 0
    angle = 2 * np.pi * t / 2400
    table["lat_deg"] = 41.0 + 0.03 * np.sin(angle) + 0.004 * np.sin(7 * angle)
    table["lon_deg"] = 1.0 + 0.05 * np.cos(angle) + 0.006 * np.cos(5 * angle)
    frame = pl.DataFrame({"t_s": t, **table})
    sparse = ["coolant_c", "lat_deg", "lon_deg", "gps_speed_mps", "map_slot"]
    frame = frame.with_columns(
        pl.when(pl.Series(slow)).then(pl.col(name)).otherwise(None).alias(name) for name in sparse
    )
    if channels is not None:
        frame = frame.select("t_s", *[name for name in frame.columns if name in channels])
    infos = {
        name: ChannelInfo(
            name, "", 1.0 if name in sparse else rate_hz, 1.0 if name == "coolant_c" else None, 0.96, held=False,
            origin="logged", source="Engine log",
        )
        for name in frame.columns
        if name != "t_s"
    }  # fmt: skip
    return Ride(
        id=RIDE_ID, samples=frame, channels=infos, gaps=(GAP,) if gap else (),
        sources=(SourceFile("sunday loop.csv", SHA, 1_204_332, "delimited text"),),
        start_utc=datetime(2026, 5, 17, 8, 12, 30, tzinfo=UTC), timezone="Europe/Madrid",
        notes=(
            Note("unit", "the coolant column says F and was turned into C", 2880, "212 became 100"),
            Note("row", "rows without a time were left out", 3, "row 1,204"),
        ),
        quality=(QualityMark("coolant_c", "spike", 1200.0, 1202.0, "excluded", "130 C for 2 s between 92 and 93 C"),),
        bike="dune-07", ambient_c=29.0, condition="unknown", distance_m=32_400.0, peak_c=112.0,
    )  # fmt: skip


def _traces(ride: Ride, duration_s: float, gap: bool) -> Traces:
    t = np.arange(0, duration_s, 0.2)
    series = _signals(t)
    series["speed_mps"] = series.pop("gps_speed_mps")
    series["map_conservative"] = np.where(series.pop("map_slot") == 2, 1.0, 0.0)
    series["map_conservative"][(t > 2450) & (t < 2600)] = np.nan
    series["drag_coefficient"][(np.sin(t / 5) > 0.8)] = np.nan
    logged = set(ride.samples.columns)
    if "throttle_pct" not in logged:
        del series["power_w"], series["drag_coefficient"]
    if "coolant_c" not in logged:
        del series["coolant_c"]
    if "gps_speed_mps" not in logged:
        del series["speed_mps"]
    if "map_slot" not in logged:
        del series["map_conservative"]
    if gap:
        for values in series.values():
            values[(t >= GAP.start_s) & (t < GAP.end_s)] = np.nan
    return Traces(t, 0.2, {name: values for name, values in series.items() if name in logged | {
        "speed_mps", "map_conservative", "drag_coefficient", "power_w"}})  # fmt: skip


def _segment(planned: tuple[float, float, str, tuple[str, ...], str, str, float | None]) -> Segment:
    start, end, kind, also, certainty, verdict, share = planned
    drag = 0.27 if kind == "heavy_drag" else None
    return Segment(
        start_s=start, end_s=end, kind=kind, also=also, certainty=certainty, mean_power_w=21_300.0, mean_speed_mps=7.5,
        drag_coefficient=drag, drag_low=0.22 if drag else None, drag_high=0.33 if drag else None, mean_grade=0.01,
        settle_c=None, settle_low_c=None, settle_high_c=None, limit_after_s=None, limit_after_low_s=None,
        limit_after_high_s=None, coolant_start_c=88.0, coolant_peak_c=106.0,
        advised_map="either" if verdict == "not_advised" else "conservative", conservative_share=share,
        switched_after_s=45.0 if verdict == "late" else None, held_after_s=110.0 if verdict == "late" else None,
        verdict=verdict, reason="drag 0.27 of the weight for 220 s",
    )  # fmt: skip


def _analysis(ride: Ride, gap: bool, duration_s: float) -> Analysis:
    counts = {"followed": 1, "late": 1, "missed": 1, "unknown": 1, "not_advised": 3}
    channels = {
        name: ChannelResult(info.unit, info.rate_hz, info.resolution, info.coverage, info.origin, info.source)
        for name, info in ride.channels.items()
    }
    return Analysis(
        ride=RideFacts(
            ride.id, ride.bike, "2026-05-17T08:12:30Z", ride.timezone, duration_s, 2700.0, ride.distance_m, channels,
            ((GAP.start_s, GAP.end_s),) if gap else (), ride.ambient_c,
        ),
        basis=Basis(
            "0.1.0", "5d41402abc4b2a76b9719d911017c592", (FileFacts("sunday loop.csv", SHA),), "built-in",
            ("mass.total_kg", "engine.power_curve_kw", "rule.heavy_drag"), Prior((), None),
        ),
        quality=(Mark("coolant_c", "spike", 1200.0, 1202.0, "excluded", "130 C for 2 s between 92 and 93 C"),),
        exposure=tuple(
            Exposure(value, name, seen, low, high, None, None, None, 120.0, 0.0, times, longest, 1300.0, 112.0)
            for value, name, seen, low, high, times, longest in (
                (95.0, "warm", 812.0, 770.0, 868.0, 5, 310.0), (105.0, "hot", 205.0, 160.0, 244.0, 2, 150.0),
                (115.0, "limit", 0.0, 0.0, 0.0, 0, 0.0),
            )
        ),
        segments=tuple(_segment(row) for row in PLAN),
        adherence=Adherence(580.0, 250.0, 0.43, counts, 90.0),
        heat=Heat(False, "speed and load hardly change, so heating and cooling can't be told apart"),
        what_if=None,
        boiling=Boiling(128.4, 107.2, 16.4, -4.8, 205.2, 95.2),
        facts={"first_hot_s": 430.0},
        summary=(
            "The coolant peaked at 112 C in deep-drag ground 7 min into the ride, on the standard map.",
            "It was over 105 C for 3 min 25 s (the sensor allows 2 min 40 s to 4 min 04 s).",
            "Four stretches called for the conservative map: followed on 1, late on 1, not on 1, can't tell on 1.",
        ),
        cannot_tell=(
            CannotTell("wheelspin_or_clutch", "a spinning tyre and a slipping clutch look alike. Log the wheel"),
            CannotTell("hotter_than_usual", "there is only one ride of this bike"),
        ),
    )  # fmt: skip


@dataclass
class FakeProvider:
    """A library of a few rides in memory."""

    view: RideView
    empty: bool = False
    asked: int = 0

    def rides(self, limit: int | None = 200) -> list[RideItem]:
        if self.empty:
            return []
        ride = self.view.ride
        first = RideItem(
            id=ride.id, bike=ride.bike, start_utc=ride.start_utc, start_local=None, timezone=ride.timezone,
            duration_s=ride.duration_s, distance_m=ride.distance_m, peak_c=ride.peak_c, condition=ride.condition,
            channels=tuple(ride.channels), files=("sunday loop.csv",),
        )  # fmt: skip
        second = replace(
            first, id="2026-05-03-dune-02-0f0f0f", bike=None, start_utc=None, distance_m=None, peak_c=None,
            condition="faulty", channels=("engine_rpm", "throttle_pct"), files=("<b>odd</b>.csv",),
        )  # fmt: skip
        return [first, second][:limit]

    def ride_list(self, bike: str | None = None, number: int = 1) -> RideList:  # noqa: ARG002
        return RideList(tuple(self.rides()), bike, bikes=("dune-07",))

    def holds(self, ride_id: str) -> bool:
        return ride_id == self.view.ride.id

    def notes(self, ride_id: str) -> list[NoteItem]:  # noqa: ARG002
        return [
            NoteItem(40 + mark, mark, note.at_s, "–", note.about, note.about, note.text)
            for mark, note in enumerate(self.view.analysis.notes, 1)
        ]

    def view_of(self, ride_id: str) -> RideView:
        self.asked += 1
        if ride_id != self.view.ride.id:
            raise NotInLibrary(f"no ride {ride_id!r}", where="library", to_do="run `ridelog rides` for the list")
        return self.view
