"""Scores the project's heat balance against the simulator.

A group is one machine: a few healthy rides for the bike's history, and further rides, each healthy and with each fault
on the same course. What the balance says of them is held against what the simulator knows (see `truth`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from plant.bikes import BIKES, Fault, bike_of
from plant.simulate import MapPlan, Simulated, simulate
from ridelog import analyze_heat, analyze_map
from ridelog.advice import default_advice
from ridelog.analysis.thermal import STEP_S
from ridelog.analysis.thermal_prior import RideFit
from ridelog.analyze import analyze, heat_fit, map_on_grid, scene_of
from ridelog.analyze_drive import Doubts
from ridelog.results import Band
from ridelog.ride import Ride

Array = npt.NDArray[np.float64]

TUNING_GROUPS = range(8)
"""Machines the model was made with."""

SCORING_GROUPS = range(200, 222)
"""Machines nobody looked at while the model was made."""

HISTORY, TESTS = 4, 4
FAULTS: tuple[Fault | None, ...] = (None, "fins_blocked", "heat_high", "fan_off")
SPEEDS_MPS = (0, 2, 5, 10, 20)
CALLED_S = 60.0
"""A fan that ran less than this was not called."""

SHORTEST_S = 40.0
"""Sections of the course that are long enough to ask where the coolant would settle."""

HOT_C = 95.0


@dataclass(frozen=True)
class Told:
    """A figure with its band, and the truth."""

    value: float
    low: float
    high: float
    true: float

    @property
    def inside(self) -> bool:
        """Whether the band holds the truth (to a nanosecond's rounding)."""
        return self.low - 1e-9 <= self.true <= self.high + 1e-9


@dataclass(frozen=True)
class Section:
    """A section of the course: its ground and its settle temperature; `rise_k` above the air, in truth."""

    ground: str
    settle: Told
    rise_k: float


@dataclass(frozen=True)
class Outcome:
    """What was said of one ride. `reason`: why it was not fitted."""

    group: int
    number: int
    fault: str | None
    bike: str
    reason: str | None
    figures: dict[str, Told]
    sections: tuple[Section, ...]
    fan_s: float
    holdout: float | None


def play(group: int, number: int, fault: Fault | None = None) -> tuple[Simulated, float] | None:
    """A ride of a group's machine and its air temperature; None for a dead fan on a bike without one."""
    rng = np.random.default_rng(50_000 + 1000 * group + number)
    bike = list(BIKES)[group % len(BIKES)]
    ambient_c = float(rng.uniform(5.0, 33.0))
    duration_s = float(rng.choice([1800, 2700, 3600]))
    plans: tuple[MapPlan, ...] = ("standard", "advice", "alternate")
    plan = plans[int(rng.integers(3))]
    if fault == "fan_off" and bike_of(bike).fan_on_c is None:
        return None
    ridden = simulate(
        100 * group + number,
        bike,
        machine_seed=group,
        fault=fault,
        ambient_c=ambient_c,
        duration_s=duration_s,
        map_plan=plan,
    )
    return ridden, ambient_c


def judge(group: int, number: int, history: list[RideFit], ridden: Simulated, air_c: float) -> Outcome:
    """The balance of one ride beside the truth."""
    ride, truth = ridden.ride, ridden.truth
    fault = truth.fault
    doubts = Doubts()
    bike = bike_of(list(BIKES)[group % len(BIKES)])
    scene, driven = scene_of(ride, bike, air_c, doubts)
    used = map_on_grid(analyze_map.map_track(ride, bike, doubts), scene.grid)
    balance = analyze_heat.balance(scene, driven, ride, used, history)
    heat, drawn = balance.heat, balance.drawn
    fan_s = float(truth.trace.fan.mean() * ride.duration_s)
    if not heat.fitted or drawn is None or heat.heat_input is None:
        return Outcome(group, number, fault, bike.id, heat.reason, {}, (), fan_s, None)
    figures = {"heat": _told(heat.heat_input, truth.heat_input)}
    for said in heat.cooling:
        figures[f"cooling_{said.speed_mps:.0f}"] = _told(said.per_s, truth.conductance_per_s(said.speed_mps))
    if heat.fan_step_per_s is not None:
        true = 0.0 if fault == "fan_off" else truth.fan_step_per_s
        figures["fan"] = _told(heat.fan_step_per_s, true)
    found = []
    for ground, start_s, end_s in truth.sections(SHORTEST_S):
        first, past = int(np.ceil(start_s / STEP_S)), int(end_s / STEP_S)
        if drawn.ride.running[first:past].mean() < 0.98:
            continue
        ends = drawn.settle_c(first, past)
        if ends is not None:
            low, high = np.quantile(ends[1:], [0.025, 0.975])
            true = truth.settle_c(start_s, end_s)
            found.append(Section(ground, Told(float(ends[0]), float(low), float(high), true), true - air_c))
    holdout = None
    if heat.holdout_rmse_c is not None and heat.persistence_rmse_c:
        holdout = heat.holdout_rmse_c / heat.persistence_rmse_c
    return Outcome(group, number, fault, bike.id, None, figures, tuple(found), fan_s, holdout)


def _told(band: Band, true: float) -> Told:
    return Told(band.value, band.low, band.high, true)


def blind(ridden: Simulated, bike_id: str, air_c: float, history: list[RideFit]) -> Told | None:
    """Seconds above HOT_C of the ride as analyzed without its coolant; None where nothing was said."""
    result, _ = analyze(
        without(ridden.ride, "coolant_c"), bike_of(bike_id), default_advice(), ambient_c=air_c, baseline=history
    )
    said = next(one for one in result.exposure if one.threshold_c == HOT_C)
    if said.estimated_s is None or said.estimated_low_s is None or said.estimated_high_s is None:
        return None
    true = ridden.truth.trace.seconds_above(HOT_C)
    return Told(said.estimated_s, said.estimated_low_s, said.estimated_high_s, true)


def without(ride: Ride, *names: str) -> Ride:
    """The ride as if these channels had not been logged."""
    kept = {name: info for name, info in ride.channels.items() if name not in names}
    return replace(ride, samples=ride.samples.drop(*names), channels=kept)


@dataclass(frozen=True)
class Score:
    """All outcomes, and the seconds above HOT_C told of the healthy rides without their coolant."""

    outcomes: tuple[Outcome, ...]
    blind: tuple[Told, ...]
    unsaid: int

    def told(self, name: str) -> list[Told]:
        """A figure of all fitted rides; the fan only where it was called and works."""
        return [
            o.figures[name]
            for o in self.outcomes
            if name in o.figures and (name != "fan" or (o.fault != "fan_off" and o.fan_s > CALLED_S))
        ]

    def coverage(self, name: str) -> float:
        """Share of rides whose band holds the truth."""
        return float(np.mean([one.inside for one in self.told(name)]))

    def ratios(self, fault: Fault, name: str) -> Array:
        """Faulty over healthy as told, over the true ratio (for a dead fan: as told); on the same courses."""
        healthy = {(o.group, o.number): o for o in self.outcomes if o.fault is None and o.reason is None}
        found = []
        for o in self.outcomes:
            before = healthy.get((o.group, o.number))
            if o.fault != fault or o.reason is not None or before is None or name not in o.figures:
                continue
            if name == "fan" and before.fan_s <= CALLED_S:
                continue
            now, then = o.figures[name], before.figures[name]
            true = now.true / then.true if name != "fan" else 1.0
            found.append(now.value / then.value / true)
        return np.array(found)

    @property
    def sections(self) -> list[Section]:
        """Sections of all fitted rides."""
        return [one for o in self.outcomes for one in o.sections]

    def settle_errors_c(self) -> tuple[Array, Array]:
        """Error of each section's settle temperature, and the greatest one that is fine there: 10 C, or 10 % of the
        rise above the air."""
        parts = self.sections
        error = np.array([one.settle.value - one.settle.true for one in parts])
        return error, np.maximum(10.0, 0.1 * np.array([one.rise_k for one in parts]))

    def text(self) -> str:
        """Every figure, a line each."""
        lines = [f"rides {len(self.outcomes)}, not fitted {sum(o.reason is not None for o in self.outcomes)}"]
        for name in ("heat", *(f"cooling_{speed}" for speed in SPEEDS_MPS), "fan"):
            rows = self.told(name)
            error = np.log([max(one.value, 1e-6) / one.true for one in rows])
            lines.append(
                f"{name}: {len(rows)} rides, band holds {self.coverage(name):.3f}, error mean {error.mean():+.3f}, "
                f"sd {error.std():.3f}, 95th percentile {np.percentile(np.abs(error), 95.0):.3f}"
            )
        pairs: tuple[tuple[Fault, str], ...] = (
            *(("fins_blocked", f"cooling_{speed}") for speed in SPEEDS_MPS),
            ("heat_high", "heat"),
            ("fan_off", "fan"),
        )
        for fault, name in pairs:
            rows = self.ratios(fault, name)
            low, middle, high = np.percentile(rows, [2.5, 50.0, 97.5])
            lines.append(f"{fault} {name}: {rows.size} pairs, ratio {middle:.3f} ({low:.3f} to {high:.3f})")
        error, limit = self.settle_errors_c()
        size = np.abs(error)
        inside = np.mean([one.settle.inside for one in self.sections])
        lines.append(
            f"settle: {size.size} sections, median {np.median(size):.2f} C, 95th percentile "
            f"{np.percentile(size, 95):.2f} C, {np.percentile(size / limit, 95):.2f} of the limit, "
            f"band holds {inside:.3f}"
        )
        for ground in sorted({one.ground for one in self.sections}):
            these = np.array([one.settle.value - one.settle.true for one in self.sections if one.ground == ground])
            high = np.percentile(np.abs(these), 95.0)
            lines.append(f"  {ground}: {these.size}, bias {these.mean():+.1f}, 95th percentile {high:.1f}")
        lines.append(self._blind_text())
        hold = [o.holdout for o in self.outcomes if o.holdout is not None]
        lines.append(f"held-out error over persistence: median {np.median(hold):.3f}")
        return "\n".join(lines)

    def _blind_text(self) -> str:
        error = np.array([abs(one.value - one.true) for one in self.blind])
        fine = np.array([max(60.0, 0.25 * one.true) for one in self.blind])
        return (
            f"without coolant: {error.size} rides, band holds {np.mean([one.inside for one in self.blind]):.3f}, "
            f"median error {np.median(error):.1f} s, within 25 % or 60 s {np.mean(error <= fine):.3f}"
        )


def score(groups: Iterable[int], tests: int = TESTS) -> Score:
    """Ride and judge whole groups."""
    outcomes, unseen, unsaid = [], [], 0
    for group in groups:
        history = []
        for number in range(HISTORY):
            played = play(group, number)
            assert played is not None
            ridden, air_c = played
            own = heat_fit(ridden.ride, bike_of(list(BIKES)[group % len(BIKES)]), ambient_c=air_c)
            if own is not None:
                history.append(own)
        for number in range(10, 10 + tests):
            for fault in FAULTS:
                played = play(group, number, fault)
                if played is None:
                    continue
                ridden, air_c = played
                outcomes.append(judge(group, number, history, ridden, air_c))
                if fault is None:
                    said = blind(ridden, outcomes[-1].bike, air_c, history)
                    unsaid += said is None
                    unseen += [said] if said is not None else []
    return Score(tuple(outcomes), tuple(unseen), unsaid)
