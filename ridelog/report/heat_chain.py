"""How a settle temperature came about: the chain from a stretch's samples to the figure, with every number in it.

The rows hold what a reader needs to work the figure out again from the columns of `ridelog export --heat`: means over
the steps of the stretch that are known and ridden with the engine on, and the equation of the balance. The arithmetic
is done anew here, from the steps, not taken from the result.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.airflow import FAN_HYSTERESIS_C, THERMOSTAT_SPAN_C, lift
from ridelog.analysis.thermal import GAS_C, REFERENCE_C, STEP_S
from ridelog.bike import Bike
from ridelog.results import FloatArray, Segment, Traces
from ridelog.words import heat_chain as words
from ridelog.words.display import NBSP, clock, number

CHAIN_COLUMNS = words.COLUMNS


@dataclass(frozen=True)
class Chain:
    """One stretch's chain. Temperatures C, heating K/s (coolant at 90 C), conductances 1/s; `opening` is how far a
    thermostat stands open where the coolant settles, 1 without one; `cycling`: the fan switches on and off about its
    switch point and holds the coolant there."""

    steps: int
    first_s: float
    past_s: float
    power_kw: float
    speed_mps: float
    air_c: float
    load_kps: float
    still_per_s: float
    flow_per_s: float
    opening: float
    bypass: float
    fan: bool
    cycling: bool
    settle_c: float

    @property
    def heat_kps(self) -> float:
        """Heating with the coolant at the air's temperature."""
        return self.load_kps * (GAS_C - self.air_c) / (GAS_C - REFERENCE_C)

    @property
    def falls_per_s(self) -> float:
        """How much the heating falls for each degree the coolant is above the air."""
        return self.load_kps / (GAS_C - REFERENCE_C)

    @property
    def conductance_per_s(self) -> float:
        """What sheds heat where the coolant settles."""
        return self.still_per_s + self.flow_per_s * (self.bypass + (1.0 - self.bypass) * self.opening)


def chain(segment: Segment, traces: Traces, bike: Bike | None) -> Chain | None:
    """The chain of one stretch, None where its settle temperature is not told."""
    steps = traces.steps
    if segment.settle_c is None or bike is None or not steps:
        return None
    first = int(np.ceil(segment.start_s / STEP_S - 1e-9))
    past = min(int(np.floor(segment.end_s / STEP_S + 1e-9)), steps["t_s"].size)
    at = np.arange(first, past)
    at = at[(steps["known"][at] > 0.0) & (steps["running"][at] > 0.0)]

    def mean(name: str) -> float:
        return float(steps[name][at].mean())

    air, load, still = mean("air_c"), mean("load_kps"), mean("still_per_s")
    settle, opening = _settles(steps, at, (air, load, still, mean("flow_per_s")))
    fan = cycling = False
    if bike.fan_on_c is not None and settle >= bike.fan_on_c:
        fan = True
        settle, opening = _settles(steps, at, (air, load, still, mean("flow_fan_per_s")))
        middle = bike.fan_on_c - 0.5 * FAN_HYSTERESIS_C
        if settle < middle:
            cycling, settle = True, middle
    return Chain(
        steps=at.size,
        first_s=first * STEP_S,
        past_s=past * STEP_S,
        power_kw=mean("power_kw"),
        speed_mps=mean("speed_mps"),
        air_c=air,
        load_kps=load,
        still_per_s=still,
        flow_per_s=mean("flow_fan_per_s" if fan else "flow_per_s"),
        opening=opening,
        bypass=float(steps["bypass"][0]) if "bypass" in steps else 1.0,
        fan=fan,
        cycling=cycling,
        settle_c=settle,
    )


def _settles(
    steps: dict[str, FloatArray], at: np.ndarray, means: tuple[float, float, float, float]
) -> tuple[float, float]:
    """Where heating and shedding meet, and how far the thermostat then stands open: by halving, as in any textbook."""
    air, load, still, flow = means
    bypass = float(steps["bypass"][at[0]]) if "bypass" in steps else 1.0
    opens = float(steps["opens_c"][at[0]]) if "opens_c" in steps else -np.inf

    def open_at(coolant_c: float) -> float:
        return float(lift(np.asarray(coolant_c), opens)) if np.isfinite(opens) else 1.0

    low, high = air, 400.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        sheds = still + flow * (bypass + (1.0 - bypass) * open_at(middle))
        warmer = load * (GAS_C - middle) / (GAS_C - REFERENCE_C) > sheds * (middle - air)
        low, high = (middle, high) if warmer else (low, middle)
    return low, open_at(low)


def digits(value: float, count: int = 5) -> str:
    """A figure with `count` significant digits, so that what is shown closes when worked out again."""
    if value == 0.0:
        return "0"
    places = max(0, count - 1 - int(np.floor(np.log10(abs(value)))))
    return number(value, places)


def chain_rows(found: Chain) -> list[tuple[str, str, str, str]]:
    """Rows in the columns of CHAIN_COLUMNS, in the order of the arithmetic."""
    n = found.steps
    unit = f"{NBSP}1/s"
    rows = [
        (words.STEPS, "n", f"{n} of {STEP_S:g}{NBSP}s", words.steps_from(clock(found.first_s), clock(found.past_s))),
        (words.POWER, "P", f"{number(found.power_kw, 2)}{NBSP}kW", words.mean_of("power_kw")),
        (words.SPEED, "v", f"{number(found.speed_mps, 2)}{NBSP}m/s", words.mean_of("speed_mps")),
        (words.AIR, "Ta", f"{number(found.air_c, 2)}{NBSP}°C", words.mean_of("air_c")),
        (words.HEATING_AT_90, "q", f"{digits(found.load_kps)}{NBSP}K/s", words.mean_of("load_kps")),
        (words.HEATING_COLD, "q₀", f"{digits(found.heat_kps)}{NBSP}K/s", words.heating_cold_from(GAS_C, REFERENCE_C)),
        (words.FALLS, "k", digits(found.falls_per_s) + unit, words.falls_from(GAS_C, REFERENCE_C)),
        (words.SHED_STILL, "g still", digits(found.still_per_s) + unit, words.mean_of("still_per_s")),
        (words.shed_by_air(fan=found.fan), "g air", digits(found.flow_per_s) + unit,
         words.mean_of("flow_fan_per_s" if found.fan else "flow_per_s")),
    ]  # fmt: skip
    air_share = words.AIR_SHARE
    if found.bypass < 1.0:
        air_share = words.AIR_SHARE_THERMOSTAT
        rows += [
            (words.OPENING, "y", digits(found.opening), words.opening_from(THERMOSTAT_SPAN_C)),
            (words.BYPASS, "b", digits(found.bypass), words.BYPASS_FROM),
        ]
    rows.append((words.SHED, "G", digits(found.conductance_per_s) + unit, words.shed_from(air_share)))
    settles = f"{number(found.settle_c, 1)}{NBSP}°C"
    if found.cycling:
        rows.append((words.CYCLES, "T", settles, words.cycles_from(0.5 * FAN_HYSTERESIS_C)))
    else:
        rows.append((words.SETTLES, "T", settles, words.SETTLES_FROM))
    return rows


def hottest(segments: tuple[Segment, ...]) -> int | None:
    """Index of the stretch that would settle highest; None where none is told."""
    told = [(segment.settle_c, -index) for index, segment in enumerate(segments) if segment.settle_c is not None]
    return -max(told)[1] if told else None
