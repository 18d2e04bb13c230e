"""The heat side of a comparison: both sides under one balance, rates at matched load and speed, and what a reference
stretch would settle at with either side's parameters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis import (
    diagnosis_table,
    matched,
    matched_cells,
    matched_scatter,
    matched_shift,
    thermal_prior,
    thermal_use,
)
from ridelog.analysis.matched import Matched, Rate, Reading
from ridelog.analysis.matched_records import (
    Answer,
    BuildBike,
    BuildPlace,
    Figure,
    More,
    RateRow,
    Scatter,
    Settle,
)
from ridelog.analysis.matched_shift import Sides, Told
from ridelog.analysis.thermal import AMBIENT, Conditions, Plant
from ridelog.analysis.thermal_fit import Prior
from ridelog.analysis.thermal_prior import RideFit
from ridelog.analyze_heat import AMBIENT_SD_C, plant_of
from ridelog.bike import Bike
from ridelog.results import Band, FloatArray
from ridelog.study import Study

MOVING_MPS = 1.0

DAY_SHARE = 0.5
"""Share of the diagnosis' variance from day to day that is taken here: the rest is what single fits miss by, and that
is in each ride's own band already. With it, two healthy rides of a simulated bike are told the same in over 95 of 100
pairs (see the tests)."""

LEAST_STRETCH_STEPS = 30
"""Two minutes of common riding for a reference stretch."""

STRETCHES = {
    "cruise": (0.12, 0.55, 12.0),
    "slow and hard": (0.15, 0.60, 5.0),
    "standing": (0.0, 0.20, 0.0),
}
"""Reference stretches that are the same for everybody: share of peak power, engine speed over peak-power speed, m/s."""


def alike(one: Bike, other: Bike) -> bool:
    """Bikes whose heat may be set side by side: of one build, both with or without fan and thermostat."""
    return one.id == other.id or (
        one.build == other.build
        and (one.fan_on_c is None) == (other.fan_on_c is None)
        and (one.thermostat_c is None) == (other.thermostat_c is None)
    )


@dataclass(frozen=True)
class Usable:
    """A ride whose balance could be fitted."""

    study: Study
    ride: Conditions
    own: RideFit
    air_sd_c: float

    @property
    def air_c(self) -> float:
        """Mean air temperature of the ride."""
        return float(np.nanmean(self.ride.ambient_c))

    @property
    def load_source(self) -> str | None:
        """Where the ride's power comes from: "throttle" or "motion"."""
        return self.study.found.analysis.heat.load_source


def usable(study: Study) -> Usable | None:
    """None where no balance could be made of the ride."""
    balance = study.found.balance
    if not balance.heat.fitted or balance.own is None or balance.drawn is None:
        return None
    return Usable(study, balance.drawn.ride, balance.own, AMBIENT_SD_C[balance.heat.ambient_source or "cold start"])


def bike_prior(bike: Bike) -> Prior:
    """What is known of such a bike before any ride."""
    return thermal_prior.default_prior(plant_of(bike), ratio=bike.heat_ratio, map_seen=True, ambient_sd_c=1.0)


def told(ride: Usable, prior: Prior) -> Told:
    """What a ride tells of its bike."""
    running = ride.ride.running
    return Told(ride.own, matched_shift.heat_sd(ride.own, ride.ride.conservative[running], prior.ratio_sd))


def day_to_day() -> FloatArray:
    """Variance of the parameters between healthy rides of a bike; the air's temperature is counted apart."""
    variance = DAY_SHARE * np.diag(diagnosis_table.DAY_TO_DAY.covariance)
    variance[AMBIENT] = 0.0
    return variance


@dataclass(frozen=True)
class HeatSides:
    """Both sides, fitted. `stretch`: the first side's riding in cells that both have, None where there is too little
    of it."""

    plant: Plant
    first: tuple[Usable, ...]
    others: tuple[Usable, ...]
    sides: Sides
    matched: Matched
    common: matched_cells.Common | None
    stretch: Conditions | None

    @property
    def common_s(self) -> tuple[float, float]:
        """Seconds of each side in the common cells."""
        if self.common is None:
            return (0.0, 0.0)
        return (self.common.count[0] * matched.WINDOW_S, self.common.count[1] * matched.WINDOW_S)

    @property
    def air_c(self) -> float:
        """Mean air of the first side."""
        return float(np.mean([one.air_c for one in self.first]))

    @property
    def air_apart_k(self) -> float:
        """Air of the first side less that of the others."""
        return self.air_c - float(np.mean([one.air_c for one in self.others]))


def heat_sides(bike: Bike, first: Sequence[Usable], others: Sequence[Usable]) -> HeatSides:
    """Both sides brought together; one ride or more on each, all of bikes of one kind."""
    plant, prior, variance = plant_of(bike), bike_prior(bike), day_to_day()
    sides = matched_shift.joint(
        [told(one, prior) for one in first], [told(one, prior) for one in others], prior, variance
    )
    middle = sides.middle()
    readings = [[matched.read(plant, one.ride, middle, variance, one.air_sd_c) for one in part]
                for part in (first, others)]  # fmt: skip
    both = Matched.of(readings[0], readings[1])
    common = both.common()
    air_c = float(np.mean([one.air_c for one in first]))
    ridden = [_common_steps(one.ride, reading, common) for one, reading in zip(first, readings[0], strict=True)]
    steps = sum(part.t_s.size for part in ridden)
    stretch = matched_shift.joined(ridden, air_c) if steps >= LEAST_STRETCH_STEPS else None
    return HeatSides(plant, tuple(first), tuple(others), sides, both, common, stretch)


def _common_steps(ride: Conditions, reading: Reading, common: matched_cells.Common | None) -> Conditions:
    """Steps of a ride in windows of common cells, on the move."""
    inside = np.zeros(ride.t_s.size, dtype=np.bool_)
    if common is not None and reading.load.size:
        used = common.weight[matched.cells(reading.load, reading.speed_mps)] > 0.0
        for start_s in reading.start_s[used]:
            at = int(np.searchsorted(ride.t_s, start_s))
            inside[at : at + matched.WINDOW_STEPS] = True
    return ride.only(inside & ride.known & ride.running & (np.nan_to_num(ride.speed_mps) >= MOVING_MPS))


def settle_rows(heat: HeatSides) -> tuple[Settle, ...]:
    """The reference stretches, the ridden one first."""
    stretches = {"ridden": heat.stretch} if heat.stretch is not None else {}
    for name, (power, turning, speed) in STRETCHES.items():
        stretches[name] = matched_shift.held(
            heat.plant, power_share=power, turning=turning, speed_mps=speed, air_c=heat.air_c
        )
    rows = []
    for name, stretch in stretches.items():
        first, others = (matched_shift.settles(heat.plant, stretch, part)
                         for part in (heat.sides.first, heat.sides.others))  # fmt: skip
        wide = [matched_shift.settles(heat.plant, stretch, matched_shift.with_model_error(part))
                for part in (heat.sides.first, heat.sides.others)]  # fmt: skip
        if np.isnan(first[0]) or np.isnan(others[0]):
            continue
        difference = band_of(first - others)
        rows.append(
            Settle(name, heat.air_c, band_of(wide[0]), band_of(wide[1]), difference, hotter_or_cooler(difference))
        )
    return tuple(rows)


def figure_rows(heat: HeatSides) -> tuple[Figure, ...]:
    """Heat made, cooling at the contract's speeds, the fan's step."""
    first, others = matched_shift.both_figures(heat.sides)
    wide = [thermal_use.figures(matched_shift.with_model_error(part)) for part in (heat.sides.first, heat.sides.others)]
    rows = [_figure("heat_input", "K/s per kW", first.heat_input, others.heat_input,
                    (wide[0].heat_input, wide[1].heat_input))]  # fmt: skip
    for n, speed in enumerate(thermal_use.SPEEDS_MPS):
        parts = [one.cooling_per_s[:, n] for one in (first, others, *wide)]
        rows.append(_figure(f"cooling_{speed:g}", "1/s", parts[0], parts[1], (parts[2], parts[3])))
    if heat.plant.fan_on_c is not None:
        rows.append(
            _figure("fan_step", "1/s", first.fan_step_per_s, others.fan_step_per_s,
                    (wide[0].fan_step_per_s, wide[1].fan_step_per_s))
        )  # fmt: skip
    return tuple(rows)


def _figure(name: str, unit: str, first: FloatArray, others: FloatArray, wide: tuple[FloatArray, FloatArray]) -> Figure:
    difference = band_of(first - others)
    least = float(np.quantile(others[1:], 0.025))
    ratio = None
    if least > 0.1 * float(others[0]) > 0.0:
        # Fewer than 2.5 % of the draws lie near nothing: held up, they stay beyond the band and finite.
        ratio = band_of(first / np.maximum(others, 0.05 * others[0]))
    answer: More = "more" if difference.low > 0.0 else "less" if difference.high < 0.0 else "cant_tell"
    return Figure(name, unit, band_of(wide[0]), band_of(wide[1]), ratio, difference, answer)


def rate_rows(rows: Sequence[tuple[float, float, Rate]]) -> tuple[RateRow, ...]:
    """Rates with what they tell."""
    return tuple(
        RateRow(low, high if np.isfinite(high) else None, rate, hotter_or_cooler(rate.difference))
        for low, high, rate in rows
    )


def scatter(heat: HeatSides, stretch: Conditions) -> tuple[Scatter, dict[str, float]]:
    """Where each ride's own balance would settle on the stretch, and the sides beside each other."""
    alone: dict[str, float] = {}
    sides: list[list[float]] = []
    for part in (heat.first, heat.others):
        values = []
        for one in part:
            theta = one.own.theta.copy()
            theta[AMBIENT] = 0.0
            value = float(matched_shift.settles(heat.plant, stretch, theta[None])[0])
            alone[one.study.ride.id] = value
            values.append(value)
        sides.append(values)
    first, others = (matched_scatter.band(values) for values in sides)
    difference = matched_scatter.welch(*sides)
    apart = first.low > others.high or first.high < others.low
    return Scatter(first, others, len(sides[0]), len(sides[1]), difference, apart), alone


ENOUGH_BIKES = 3
"""Other bikes of a build that it takes to say where one lies among them."""


def build_place(bike: Bike, first: Sequence[Usable], others: Mapping[str, Sequence[RideFit]]) -> BuildPlace:
    """Where the first rides' bike lies among the others of its build, by what the first rides' own riding would settle
    at. The band of the difference is that of one more bike among them; `others` without empty ones."""
    plant, prior, variance = plant_of(bike), bike_prior(bike), day_to_day()
    moving = [
        one.ride.only(one.ride.known & one.ride.running & (np.nan_to_num(one.ride.speed_mps) >= MOVING_MPS))
        for one in first
    ]
    stretch = matched_shift.joined(moving, float(np.mean([one.air_c for one in first])))
    here = [told(one, prior) for one in first]

    def settles(thetas: FloatArray) -> FloatArray:
        return matched_shift.settles(plant, stretch, thetas)

    bikes = []
    for name, fits in others.items():
        sides = matched_shift.joint(here, [Told(fit) for fit in fits], prior, variance)
        wide = matched_shift.with_model_error(sides.others)
        bikes.append(BuildBike(name, tuple(fit.ride for fit in fits), band_of(settles(wide))))
    every = [Told(fit, bike=name) for name, fits in others.items() for fit in fits]
    between = np.zeros(variance.size)
    for index, sd in thermal_prior.BIKE_SD.items():
        between[index] = sd**2
    sides = matched_shift.joint(here, every, prior, variance, between if every else None)
    own = band_of(settles(matched_shift.with_model_error(sides.first)))
    if len(bikes) < ENOUGH_BIKES:
        return BuildPlace(bike.build, bike.id, own, tuple(bikes), None, None, "cant_tell")
    # This bike as its rides tell it, the others as they lie: their scatter is what bikes of the build differ by.
    alone = settles(sides.first)
    difference = matched_scatter.one_more(own.value, float(alone[1:].std()), [one.settle.value for one in bikes])
    rank = 1 + sum(one.settle.value < own.value for one in bikes)
    answer = hotter_or_cooler(difference)
    return BuildPlace(
        bike.build, bike.id, own, tuple(bikes), rank, difference, "same" if answer == "cant_tell" else answer
    )


def band_of(values: FloatArray) -> Band:
    """The best estimate and the middle 95 % of the draws."""
    low, high = np.quantile(values[1:], [0.025, 0.975])
    return Band(float(values[0]), float(min(low, values[0])), float(max(high, values[0])))


def hotter_or_cooler(difference: Band) -> Answer:
    """What a band of a difference tells."""
    return "hotter" if difference.low > 0.0 else "cooler" if difference.high < 0.0 else "cant_tell"
