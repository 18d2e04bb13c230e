"""One ride looked at more closely: its hottest minute, time above any temperature, and how much a verdict hangs on the
sensor and on the map's clock.

Nothing here is a new finding: it is the finding of `study` put to the questions that follow it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.analysis import adherence, exposure
from ridelog.analysis.adherence import CONSERVATIVE, STANDARD, MapTrack
from ridelog.analyze_coolant import with_usable_coolant
from ridelog.analyze_drive import Doubts
from ridelog.bike import DEFAULT_THRESHOLDS_C
from ridelog.grid import Samples, usable
from ridelog.intervals import Interval, total_s
from ridelog.results import BoolArray, Exposure, FloatArray, Verdict
from ridelog.study import Study

MINUTE_S = 60.0
KNOWN_SHARE = 0.9
"""A minute counts where the coolant is known for so much of it."""

STEP_C = 5.0
"""Levels stand so far apart."""

SENSOR_C = 2.0
"""A coolant sensor in order may be off by so much. Common practice, no source."""

CLOCK_S = 1.0
"""A map that comes from a device of its own may be off by so much."""


@dataclass(frozen=True)
class HotMinute:
    """The minute with the hottest mean. `kinds`: flagged stretches it falls into; `way_m`: how far along the ride it
    began; `conservative_share` of its time in which the map is known, None without; `off_share`: engine off."""

    start_s: float
    end_s: float
    mean_c: float
    peak_c: float
    known_share: float
    way_m: float | None
    speed_mps: float | None
    kinds: tuple[str, ...]
    conservative_share: float | None
    off_share: float | None


def hottest_minute(study: Study) -> HotMinute | None:
    """None where no minute of the ride has a coolant that is known for nine tenths of it."""
    traces, analysis = study.found.traces, study.found.analysis
    coolant = traces.series.get("coolant_c")
    size = round(MINUTE_S / traces.step_s)
    if coolant is None or coolant.size < size:
        return None
    known = np.isfinite(coolant)
    count = _moving_sum(known.astype(np.float64), size)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(count >= KNOWN_SHARE * size, _moving_sum(np.nan_to_num(coolant), size) / count, -np.inf)
    first = int(np.argmax(mean))
    if not np.isfinite(mean[first]):
        return None
    part = slice(first, first + size)
    start_s = float(traces.t_s[first])
    end_s = start_s + MINUTE_S
    speed, used, rpm = (traces.series.get(name) for name in ("speed_mps", "map_conservative", "engine_rpm"))
    kinds = dict.fromkeys(
        one.kind for one in analysis.segments if min(one.end_s, end_s) - max(one.start_s, start_s) > 1.0
    )
    return HotMinute(
        start_s=start_s,
        end_s=end_s,
        mean_c=float(mean[first]),
        peak_c=float(np.nanmax(coolant[part])),
        known_share=float(count[first] / size),
        way_m=None if speed is None else float(np.nansum(speed[:first]) * traces.step_s),
        speed_mps=None if speed is None else _mean(speed[part]),
        kinds=tuple(kinds),
        conservative_share=None if used is None else _mean(used[part]),
        off_share=None if rpm is None else _mean(np.where(np.isfinite(rpm[part]), rpm[part] == 0.0, np.nan)),
    )


def _moving_sum(values: FloatArray, size: int) -> FloatArray:
    total = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(total[size:] - total[:-size])


def _mean(values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else None


@dataclass(frozen=True)
class HotMap:
    """Time above a threshold by the map that was on, s; `unknown_s`: map not known."""

    threshold_c: float
    name: str
    standard_s: float
    conservative_s: float
    unknown_s: float


def hot_by_map(study: Study) -> HotMap | None:
    """At the highest threshold the ride passed; None where it passed none."""
    record = _highest_passed(study)
    if record is None:
        return None
    over = above(coolant_of(study), record.threshold_c)
    spans = [Interval(float(a), float(b)) for a, b in zip(over.start_s, over.end_s, strict=True)]
    used = track_of(study)
    seconds = {
        state: sum(used.seconds(state, span.start_s, span.end_s) for span in spans) if used is not None else 0.0
        for state in (STANDARD, CONSERVATIVE)
    }
    known = seconds[STANDARD] + seconds[CONSERVATIVE]
    return HotMap(
        record.threshold_c, record.name, seconds[STANDARD], seconds[CONSERVATIVE], max(0.0, total_s(spans) - known)
    )


def _highest_passed(study: Study) -> Exposure | None:
    passed = [row for row in study.found.analysis.exposure if row.peak_c is not None and row.observed_s > 0.0]
    return max(passed, key=lambda row: row.threshold_c, default=None)


@dataclass(frozen=True)
class Level:
    """Time above one temperature. `name` of the bike's threshold, None at a round figure between; `if_high_s`,
    `if_low_s`: the same, did the sensor read SENSOR_C too much, or too little."""

    threshold_c: float
    name: str | None
    seconds: float
    times: int
    longest_s: float
    if_high_s: float
    if_low_s: float

    @property
    def sure(self) -> bool:
        """Whether it was above at all is told alike with the sensor off either way."""
        return (self.if_high_s > 0.0) == (self.if_low_s > 0.0)


def coolant_of(study: Study) -> Samples:
    """The coolant samples the analysis went by; empty where it had none."""
    return usable(with_usable_coolant(study.ride, Doubts()), "coolant_c")


def levels(study: Study) -> tuple[Level, ...]:
    """Every round 5 C from the lowest threshold to past the peak, and the thresholds; empty without coolant."""
    coolant = coolant_of(study)
    if coolant.covered_s <= 0.0:
        return ()
    bike = study.known.bike
    thresholds = {value: name for name, value in (bike.thresholds if bike is not None else DEFAULT_THRESHOLDS_C)}
    lowest, top = min(thresholds), max(*thresholds, float(coolant.y.max()))
    between = np.arange(np.ceil(lowest / STEP_C) * STEP_C, top + 1e-9, STEP_C).tolist()
    rows = []
    for value in sorted({*thresholds, *between}):
        over = above(coolant, value)
        rows.append(
            Level(
                value,
                thresholds.get(value),
                over.total_s,
                int(over.start_s.size),
                over.longest_s,
                above(coolant, value + SENSOR_C).total_s,
                above(coolant, value - SENSOR_C).total_s,
            )
        )
    return tuple(rows)


def above(coolant: Samples, threshold_c: float) -> exposure.Above:
    """Stretches of the samples above a temperature."""
    return exposure.above(coolant.t_s, coolant.y, coolant.joined, threshold_c)


NotShifted = Literal["not_logged", "not_advised"]


@dataclass(frozen=True)
class Shifted:
    """Share of the advised time on the conservative map, and verdicts in order of the advised stretches, with the map's
    clock `shift_s` late. `share` is None where the map is known for none of it."""

    shift_s: float
    share: float | None
    verdicts: tuple[Verdict, ...]


def by_clock(study: Study) -> tuple[Shifted, ...] | NotShifted:
    """The advice with the map a second early, as it is, and a second late. Only for a map that was logged: one from
    notes or from the ignition angle is looser than a second anyway."""
    analysis = study.found.analysis
    advised = [one for one in analysis.segments if one.advised_map == "conservative"]
    if not advised:
        return "not_advised"
    used = track_of(study)
    if used is None or ((analysis.facts or {}).get("map") or {}).get("source") != "logged":
        return "not_logged"
    found = []
    for shift_s in (-CLOCK_S, 0.0, CLOCK_S):
        moved = MapTrack(used.start_s + shift_s, used.state, used.end_s + shift_s)
        told = [
            adherence.judge(
                moved, one.start_s, one.end_s, grace_s=study.known.advice.rule(one.kind).grace_s, advised=True
            )
            for one in advised
        ]
        known_s = sum(one.advised_s - one.unknown_s for one in told)
        on_s = sum(one.conservative_s or 0.0 for one in told)
        found.append(Shifted(shift_s, on_s / known_s if known_s > 0.0 else None, tuple(one.verdict for one in told)))
    return tuple(found)


def track_of(study: Study) -> MapTrack | None:
    """The map in use as the grid holds it; None where it is nowhere known."""
    used = study.found.traces.series.get("map_conservative")
    if used is None or not np.isfinite(used).any():
        return None
    t_s = study.found.traces.t_s
    state = np.where(np.isfinite(used), used, -1.0).astype(np.int8)
    starts: BoolArray = np.concatenate([[True], state[1:] != state[:-1]])
    return MapTrack(t_s[starts], state[starts], float(t_s[-1]))
