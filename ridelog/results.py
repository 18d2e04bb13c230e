"""Frozen records of what the analysis found, and their JSON form (`analyze --json`).

Times are seconds from the ride's first sample, temperatures in C, speeds in m/s, power in W. A figure that can't be
told is None; the reason stands beside it. None of the records holds NaN or infinity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ridelog.intervals import Interval

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

Verdict = Literal["followed", "late", "missed", "unknown", "not_advised"]
Certainty = Literal["sure", "uncertain"]


@dataclass(frozen=True)
class ChannelResult:
    """A channel as a result names it."""

    unit: str
    rate_hz: float | None
    resolution: float | None
    coverage: float
    origin: str
    source: str


@dataclass(frozen=True)
class RideFacts:
    """The ride itself. `moving_s` and `distance_m` are None without a speed or position channel."""

    id: str
    bike: str | None
    start_utc: str | None
    timezone: str | None
    duration_s: float
    moving_s: float | None
    distance_m: float | None
    channels: dict[str, ChannelResult]
    gaps: tuple[tuple[float, float], ...] = ()
    ambient_c: float | None = None


@dataclass(frozen=True)
class FileFacts:
    """A file behind the result."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Prior:
    """Rides the fit's starting knowledge came from, nearest in date first.

    `level`: "bike" where all are of this bike, "build" where some are of other bikes of its build, "default" without
    any. `same_build` and `across_service` name those of other bikes of the build, and those of this bike that work on
    it, as its file lists it, lies between.
    """

    rides: tuple[str, ...]
    hash: str | None
    level: Literal["bike", "build", "default"] = "default"
    same_build: tuple[str, ...] = ()
    across_service: tuple[str, ...] = ()


@dataclass(frozen=True)
class Basis:
    """What the result rests on: enough to run it again and get the same digits."""

    version: str
    settings_hash: str
    files: tuple[FileFacts, ...]
    advice_version: str
    defaults_used: tuple[str, ...]
    prior: Prior


@dataclass(frozen=True)
class Mark:
    """A quality mark (see ride.QualityMark)."""

    channel: str
    kind: str
    start_s: float
    end_s: float
    action: str
    detail: str


@dataclass(frozen=True)
class Exposure:
    """Time above one threshold; `observed_low_s`..`observed_high_s` bound it by resolution and held values.

    `engine_off_s` is the part of `observed_s` with the engine off. `estimated_*` are None while nothing estimates.
    """

    threshold_c: float
    name: str
    observed_s: float
    observed_low_s: float
    observed_high_s: float
    estimated_s: float | None
    estimated_low_s: float | None
    estimated_high_s: float | None
    unknown_s: float
    engine_off_s: float | None
    excursions: int
    longest_s: float
    degree_s: float
    peak_c: float | None


@dataclass(frozen=True)
class Segment:
    """A flagged stretch. `drag_coefficient` is terrain drag over weight; `reason` says in words why it was flagged."""

    start_s: float
    end_s: float
    kind: str
    also: tuple[str, ...]
    certainty: Certainty
    mean_power_w: float | None
    mean_speed_mps: float | None
    drag_coefficient: float | None
    drag_low: float | None
    drag_high: float | None
    mean_grade: float | None
    settle_c: float | None
    settle_low_c: float | None
    settle_high_c: float | None
    limit_after_s: float | None
    limit_after_low_s: float | None
    limit_after_high_s: float | None
    coolant_start_c: float | None
    coolant_peak_c: float | None
    advised_map: Literal["conservative", "either"]
    conservative_share: float | None
    switched_after_s: float | None
    held_after_s: float | None
    verdict: Verdict
    reason: str = ""


@dataclass(frozen=True)
class KindAdherence:
    """Over the advised stretches of one kind: seconds after the grace time, those on the conservative map (None where
    the map is nowhere known), those whose map is not known."""

    advised_s: float
    conservative_s: float | None
    unknown_s: float


@dataclass(frozen=True)
class Adherence:
    """Over all advised stretches, grace time left out. `share` is None where nothing was advised or the map unknown.
    `by_kind` holds the kinds there were."""

    advised_s: float
    conservative_s: float | None
    share: float | None
    counts: dict[str, int]
    unknown_s: float = 0.0
    by_kind: dict[str, KindAdherence] = field(default_factory=dict)


@dataclass(frozen=True)
class Band:
    """A figure with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class CoolingAt:
    """Conductance over heat capacity at one airspeed, 1/s; fan off, thermostat open."""

    speed_mps: float
    per_s: Band


@dataclass(frozen=True)
class Heat:
    """The heat balance fitted to the ride; not fitted, with the reason, where it can't be.

    `heat_input`: K/s per kW of brake power at half of peak power and 80 % of peak-power speed, standard map. `cooling`
    at 0, 2, 5, 10, 20 m/s. `time_constant_s` at 10 m/s. `rmse_c` is the error after 60 s on the windows fitted,
    `holdout_rmse_c` on halves of the ride predicted from the other half, `persistence_rmse_c` that of "stays as it is"
    on the same windows. `from_prior` is the share of each parameter's certainty that came from before the ride.
    `estimates_miss_c`: where nothing was fitted and estimates go by other rides, their error after 60 s from this
    ride's own readings.
    """

    fitted: bool
    reason: str | None
    heat_input: Band | None = None
    cooling: tuple[CoolingAt, ...] = ()
    fan_step_per_s: Band | None = None
    time_constant_s: Band | None = None
    rmse_c: float | None = None
    holdout_rmse_c: float | None = None
    persistence_rmse_c: float | None = None
    estimates_miss_c: float | None = None
    baseline_rides: int = 0
    map_ratio: Band | None = None
    ambient_c: Band | None = None
    ambient_source: str | None = None
    load_source: str | None = None
    windows: int = 0
    parameters: dict[str, Band] = field(default_factory=dict)
    from_prior: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class WhatIfExposure:
    """Time above one threshold had the conservative map been on from the end of each advised stretch's grace time."""

    threshold_c: float
    low_s: float
    mid_s: float
    high_s: float


@dataclass(frozen=True)
class WhatIf:
    """The same ride with the conservative map where the sheet advises it; `basis` says whose figure its effect is."""

    map: Literal["conservative"]
    basis: Literal["library", "bike", "default"]
    exposure: tuple[WhatIfExposure, ...]
    heat_ratio: Band | None = None


@dataclass(frozen=True)
class Boiling:
    """Boiling temperature of the coolant mix: sealed cap (upper bound) and vented (lower bound); margins to the peak.

    The method alone is good to ± 0.5 K; mix and cap tolerances come on top.
    """

    sealed_c: float
    vented_c: float
    margin_sealed_c: float | None
    margin_vented_c: float | None
    pressure_abs_kpa: float
    ambient_kpa: float


@dataclass(frozen=True)
class CannotTell:
    """A question the log could not answer, and why."""

    question: str
    reason: str


@dataclass(frozen=True)
class TimelineNote:
    """What somebody wrote of a moment of the ride; `about` is one of ride.About."""

    at_s: float
    about: str
    text: str


@dataclass(frozen=True)
class Analysis:
    """Everything `analyze --json` prints."""

    ride: RideFacts
    basis: Basis
    quality: tuple[Mark, ...]
    exposure: tuple[Exposure, ...]
    segments: tuple[Segment, ...]
    adherence: Adherence
    heat: Heat
    what_if: WhatIf | None
    boiling: Boiling | None
    facts: dict[str, Any] | None
    summary: tuple[str, ...]
    cannot_tell: tuple[CannotTell, ...] = ()
    notes: tuple[TimelineNote, ...] = ()


@dataclass(frozen=True)
class Traces:
    """The grid the analysis worked on, for figures: `t_s` uniform, every array of its length, NaN where not known."""

    t_s: FloatArray
    step_s: float
    series: dict[str, FloatArray]
    """Canonical channels plus `speed_mps`, `acceleration_mps2`, `grade`, `power_w`, `drag_coefficient`, `slip`,
    `throttle_open` (0..1 between the stops), `gear`, `map_conservative` (0 or 1), and `map_confidence` (probability of
    the likelier map) where the map was inferred."""
    steps: dict[str, FloatArray] = field(default_factory=dict)
    """The heat balance on its own coarser steps (see analyze_heat_steps); empty where there is none."""
    hot: dict[float, tuple[Interval, ...]] = field(default_factory=dict)
    """Threshold (C) -> every stretch above it, s, exact on the line through the samples: those the exposure counts."""


def to_json(value: Any) -> Any:
    """Records, tuples and numpy numbers as plain JSON values. Raises ValueError for NaN or infinity."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_json(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {str(key): to_json(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_json(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("a result holds a number that is not finite")
    return value
