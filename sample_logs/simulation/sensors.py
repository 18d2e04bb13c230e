"""What the sensors make of the ride: lag, whole degrees, slow updates, throttle stops, wandering positions."""

import math
from dataclasses import dataclass, field

import numpy as np

from .course import to_degrees
from .noise import bell_series, source, wander_series
from .ride import STEP_S, Trace


@dataclass(frozen=True)
class Fitting:
    """The sensors on one bike on one day."""

    row_hz: float = 10.0
    gps_hz: float = 5.0
    coolant_hz: float = 2.0
    coolant_step_c: float = 1.0
    coolant_fahrenheit: bool = False
    coolant_lag_s: float = 5.0
    rpm_step: float = 10.0
    throttle_closed_pct: float = 0.8
    throttle_open_pct: float = 97.0
    slots: tuple[str, str] = ("1", "2")
    first_fix_s: float = 0.0
    coolant_lost: tuple[tuple[float, float], ...] = ()
    coolant_stuck: tuple[tuple[float, float], ...] = ()
    gps_lost: tuple[tuple[float, float], ...] = ()
    rows_lost: tuple[tuple[float, float], ...] = ()
    from_s: float = 0.0
    until_s: float | None = None


@dataclass
class Record:
    """Rows of a log: values at each row and whether the sensor spoke anew there."""

    t_s: np.ndarray
    values: dict[str, np.ndarray] = field(default_factory=dict)
    fresh: dict[str, np.ndarray] = field(default_factory=dict)
    known: dict[str, np.ndarray] = field(default_factory=dict)

    def add(self, name, values, fresh=None, known=None):
        everywhere = np.ones(len(self.t_s), dtype=bool)
        self.values[name] = values
        self.fresh[name] = everywhere if fresh is None else fresh
        self.known[name] = everywhere if known is None else known

    def keep(self, rows: np.ndarray):
        self.t_s = self.t_s[rows]
        for table in (self.values, self.fresh, self.known):
            for name in table:
                table[name] = table[name][rows]


def lagged(values: np.ndarray, lag_s: float) -> np.ndarray:
    share = STEP_S / lag_s
    state = float(values[0])
    out = []
    for value in values.tolist():
        state += (value - state) * share
        out.append(state)
    return np.array(out)


def rounded(values: np.ndarray, step: float) -> np.ndarray:
    return np.floor(values / step + 0.5) * step


def outside(t_s: np.ndarray, spans) -> np.ndarray:
    keep = np.ones(len(t_s), dtype=bool)
    for start, end in spans:
        keep &= (t_s < start) | (t_s >= end)
    return keep


class _Sampler:
    """Picks true values at the moments a sensor of a given rate last spoke before each row."""

    def __init__(self, row_ms: np.ndarray, rate_hz: float, last: int):
        period_ms = 1000.0 / rate_hz
        spoken = np.floor((row_ms + 1e-6) / period_ms)
        self.index = np.minimum((spoken * period_ms / (1000.0 * STEP_S) + 1e-6).astype(int), last)
        self.fresh = np.concatenate([[True], spoken[1:] != spoken[:-1]])
        self.number = (spoken - spoken[0]).astype(int)
        self.count = int(self.number[-1]) + 1
        self.period_s = 1.0 / rate_hz


def record(trace: Trace, fitting: Fitting) -> Record:
    last = len(trace["t_s"]) - 1
    until_s = trace.duration_s if fitting.until_s is None else fitting.until_s
    count = int((until_s - fitting.from_s) * fitting.row_hz)
    row_ms = np.round(1000.0 * fitting.from_s + np.arange(count) * (1000.0 / fitting.row_hz), 3)
    rows = Record(row_ms / 1000.0)
    own = _Sampler(row_ms, fitting.row_hz, last)
    _engine(rows, trace, fitting, own)
    _temperatures(rows, trace, fitting, row_ms)
    _satellites(rows, trace, fitting, row_ms)
    rows.keep(outside(rows.t_s, fitting.rows_lost))
    return rows


def _engine(rows, trace, fitting, own):
    seed = trace.plan.seed
    rpm = trace["engine_radps"] * (30.0 / math.pi)
    rpm = rpm[own.index] + bell_series(source(seed, "rpm"), len(own.index), 14.0) * (rpm[own.index] > 300.0)
    rows.add("rpm", rounded(np.maximum(rpm, 0.0), fitting.rpm_step))
    span = fitting.throttle_open_pct - fitting.throttle_closed_pct
    throttle = fitting.throttle_closed_pct + span * trace["opening"][own.index]
    throttle = throttle + bell_series(source(seed, "throttle"), len(own.index), 0.12)
    rows.add("throttle", np.clip(throttle, 0.0, 100.0))
    rows.add("gear", trace["gear"][own.index])
    rows.add("slot", trace["conservative"][own.index].astype(int))
    rows.add("fan", trace["fan_on"][own.index].astype(int))
    charge = np.where(trace["running"][own.index] > 0.5, 13.9, 12.4)
    charge = charge - 0.25 * trace["fan_on"][own.index] + bell_series(source(seed, "battery"), len(own.index), 0.03)
    rows.add("battery", charge)


def _temperatures(rows, trace, fitting, row_ms):
    seed, last = trace.plan.seed, len(trace["t_s"]) - 1
    slow = _Sampler(row_ms, fitting.coolant_hz, last)
    felt = lagged(trace["coolant_c"], fitting.coolant_lag_s)
    spoken = felt[slow.index[slow.fresh]] + bell_series(source(seed, "coolant"), int(slow.fresh.sum()), 0.12)
    if fitting.coolant_fahrenheit:
        spoken = rounded(spoken * 1.8 + 32.0, 1.0)
    else:
        spoken = rounded(spoken, fitting.coolant_step_c)
    shown = np.cumsum(slow.fresh) - 1
    for start, end in fitting.coolant_stuck:
        shown[(rows.t_s >= start) & (rows.t_s < end)] = shown[np.searchsorted(rows.t_s, start)]
    rows.add("coolant", spoken[shown], slow.fresh, outside(rows.t_s, fitting.coolant_lost))
    lazy = _Sampler(row_ms, 0.5, last)
    drift = wander_series(source(seed, "ambient"), lazy.count, 0.35, 90.0, 2.0)
    ambient = trace.plan.day.ambient_c + drift[lazy.number]
    rows.add("ambient", rounded(ambient, 0.1), lazy.fresh)
    calm = np.maximum(1.0 - trace["speed_mps"] / 9.0, 0.0)
    intake = lagged(trace.plan.day.ambient_c + 3.0 + 6.0 * calm, 25.0)
    rows.add("intake", rounded(intake[lazy.index], 0.5), lazy.fresh)


def _satellites(rows, trace, fitting, row_ms):
    seed, last = trace.plan.seed, len(trace["t_s"]) - 1
    fix = _Sampler(row_ms, fitting.gps_hz, last)
    known = (rows.t_s >= fitting.first_fix_s) & outside(rows.t_s, fitting.gps_lost)
    speed = lagged(trace["speed_mps"], 0.22)
    noise = wander_series(source(seed, "doppler"), fix.count, 0.10, 1.2, fix.period_s)
    rows.add("speed", np.maximum(speed[fix.index] + noise[fix.number], 0.0), fix.fresh, known)
    east, north, up = trace.plan.course.position(trace["distance_m"][fix.index])
    stray = [
        wander_series(source(seed, axis), fix.count, spread, 45.0, fix.period_s)
        for axis, spread in (("e", 1.6), ("n", 1.6), ("u", 1.8))
    ]
    fine = [bell_series(source(seed, axis), fix.count, 0.08) for axis in ("fe", "fn", "fu")]
    lat, lon = to_degrees(east + (stray[0] + fine[0])[fix.number], north + (stray[1] + fine[1])[fix.number])
    rows.add("lat", lat, fix.fresh, known)
    rows.add("lon", lon, fix.fresh, known)
    rows.add("altitude", up + (stray[2] + fine[2])[fix.number], fix.fresh, known)
