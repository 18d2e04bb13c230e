"""How the figures of `ridelog.analysis.diagnosis_numbers` were got: `python tests/plant/tune_diagnosis.py` prints them.

Rides the cases of TUNING (half an hour) and learns from each cause's cases: what differs between healthy rides and with
the day's air, each cause's shift with its spread (expectation and maximization over Gaussians, held to an assumed
spread as if a few rides had shown it), rates of leaps, and what the balance misses. Weights, sharpness and how firmly
spreads are held were set with a third of the machines left out in turn; they are not printed.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from plant.cases import Case, case
from plant.diagnosis_referee import TUNING, healthy_fits
from ridelog import diagnose_advice
from ridelog.advice import default_advice
from ridelog.analysis.diagnosis_counts import Rate
from ridelog.analysis.diagnosis_shift import USUAL_AIR_C, Apart, Day, Direction, apart, healthy, vector
from ridelog.analysis.diagnosis_table import MAP_READINGS
from ridelog.analysis.diagnosis_weigh import Evidence
from ridelog.analysis.thermal import NAMES
from ridelog.analysis.thermal_fit import Prior
from ridelog.analysis.thermal_prior import RideFit
from ridelog.analyze import analyzed
from ridelog.diagnose import base_prior, evidence_of
from ridelog.results import FloatArray

SHIFTING = (
    "airflow_blocked", "coolant_flow_low", "heat_input_high", "fan_fault", "thermostat_restricted",
    "thermostat_stuck_open",
)  # fmt: skip
LEAPING = ("combustion_gas_in_coolant", "air_in_system")

ASSUMED_SD = vector(
    {"heat": 0.04, "still": 0.12, "fan": 1.0, "flow": 0.05, "core_mps": 0.04, "exponent": 0.02, "pace": 0.03,
     "idle_kw": 0.05, "lag_s": 0.05, "kappa": 0.02, "closed": 0.02, "bypass": 0.05, "opens_c": 0.6, "ambient_c": 0.1}
)  # fmt: skip
ASSUMED_RIDES = 20.0
"""Between healthy rides: the spread assumed before any was seen, and as if how many rides had shown it."""

OWN_SD = vector(
    {"heat": 0.03, "still": 0.1, "fan": 1.0, "flow": 0.03, "core_mps": 0.03, "exponent": 0.01, "pace": 0.03,
     "idle_kw": 0.03, "lag_s": 0.04, "kappa": 0.01, "closed": 0.03, "bypass": 0.1, "opens_c": 0.6, "ambient_c": 0.02}
)  # fmt: skip
OWN_RIDES = 4.0
WIDER = {"thermostat_restricted": 2.5, "thermostat_stuck_open": 2.5}
"""The same for what a cause may move, wider for thermostats, which stick anywhere."""

ROUNDS = 40
PRIOR_RIDES = (0.3, 3.0)
"""As if so many rides had shown no shift at all, and no shift with the air."""


@dataclass(frozen=True)
class Seen:
    """A case that could be fitted, and what speaks in it."""

    causes: tuple[str, ...]
    air_c: float
    own: RideFit
    fits: tuple[RideFit, ...]
    base: Prior
    evidence: Evidence

    @property
    def shifting(self) -> tuple[str, ...]:
        """Those of its causes that shift the balance."""
        return tuple(cause for cause in self.causes if cause in SHIFTING)

    @property
    def leaping(self) -> bool:
        """Whether gas or air passes the sensor."""
        return bool(set(self.causes) & set(LEAPING))

    def readings(self, pooled: Day, day: Direction) -> list[tuple[float, Apart]]:
        """The shift from the healthy bike, pooled with one figure of the day and held against another."""
        known = healthy(self.fits, self.base, pooled)
        shares = MAP_READINGS if len(self.evidence.shifts) > 1 else ((0.0, 1.0),)
        return [(weight, apart(self.own, known, day, share)) for share, weight in shares]


def look(seed: int) -> Seen | None:
    """Ride one case; None where the sensor is sick or no balance can be made."""
    played: Case = case(seed)
    if played.causes[0] == "sensor_fault":
        return None
    fits = healthy_fits(*played.machine, played.slots == "inverted")
    found = analyzed(played.ride, played.bike, default_advice(), baseline=fits)
    analysis, traces, balance = found.analysis, found.traces, found.balance
    base = base_prior(played.bike, balance)
    if base is None or balance.own is None or balance.drawn is None:
        return None
    missed = diagnose_advice.followed(analysis, traces, default_advice()).missed
    evidence = evidence_of(played.ride, played.bike, analysis, balance, baseline=fits, missed=missed)
    air_c = float(np.nanmean(balance.drawn.ride.ambient_c))
    return Seen(played.causes, air_c, balance.own, fits, base, evidence)


def learned(
    rides: Sequence[list[tuple[float, Apart]]], by: FloatArray, assumed: FloatArray, rides_assumed: float
) -> tuple[FloatArray, FloatArray]:
    """Mean, by the columns of `by` (rides, k), and covariance of a shift that rides tell in information form.

    `assumed` (n, n) holds the covariance as if `rides_assumed` rides had shown it. Of a ride with several readings the
    likeliest counts in each round.
    """
    mean, covariance = np.zeros((by.shape[1], len(NAMES))), assumed.copy()
    ridge = np.diag([PRIOR_RIDES[0]] + [PRIOR_RIDES[1]] * (by.shape[1] - 1))
    for _ in range(ROUNDS):
        chosen = []
        for each, x in zip(rides, by, strict=True):
            here = Direction(x @ mean, covariance)
            chosen.append(max(each, key=lambda one, here=here: np.log(one[0]) + one[1].log_chance(here))[1])
        told = np.stack([one.precision for one in chosen])
        pull = np.stack([one.pull for one in chosen])
        inverse = np.linalg.inv(covariance)
        spreads = np.linalg.inv(told + inverse)
        centres = np.einsum("rij,rj->ri", spreads, pull + by @ mean @ inverse)
        mean = np.linalg.solve(by.T @ by + ridge, by.T @ centres)
        gone = centres - by @ mean
        covariance = (rides_assumed * assumed + gone.T @ gone + spreads.sum(axis=0)) / (rides_assumed + len(rides))
    return mean, covariance


def day_to_day(rides: Sequence[Seen]) -> Day:
    """What differs between healthy rides. Pooling needs it already, so that it is learned three times over."""
    nothing = np.zeros(len(NAMES))
    assumed = np.diag(ASSUMED_SD**2 + 1e-12)
    day = Day(nothing, assumed, nothing)
    by = np.array([(1.0, (one.air_c - USUAL_AIR_C) / 10.0) for one in rides])
    still = Direction(nothing, np.zeros_like(assumed))
    for _ in range(3):
        told = [one.readings(day, still) for one in rides]
        mean, covariance = learned(told, by, assumed, ASSUMED_RIDES)
        day = Day(mean[0], covariance, mean[1])
    return day


def direction(cause: str, rides: Sequence[Seen], day: Day) -> Direction:
    """A cause's mean shift and its spread."""
    told = [one.readings(day, day.at(one.air_c)) for one in rides]
    assumed = np.diag((WIDER.get(cause, 1.0) * OWN_SD) ** 2 + 1e-12)
    mean, covariance = learned(told, np.ones((len(told), 1)), assumed, OWN_RIDES)
    return Direction(mean[0], covariance)


def rate(counts: Sequence[tuple[int, float]]) -> tuple[float, float]:
    """Mean a minute and shape by greatest chance of (count, minutes)."""

    def cost(p: FloatArray) -> float:
        one = Rate(float(np.exp(p[0])), float(np.exp(p[1])))
        return 0.5 * float(p[1]) ** 2 - sum(one.log_chance(count, minutes) for count, minutes in counts)

    mean = (sum(count for count, _ in counts) + 0.5) / max(sum(minutes for _, minutes in counts), 1.0)
    best = np.exp(minimize(cost, np.array([np.log(mean), 0.0]), method="Nelder-Mead").x)
    return round(float(best[0]), 4), round(float(best[1]), 2)


def leap_rates(rides: Sequence[Seen]) -> tuple[tuple[float, float], ...]:
    """Rates up under load, up without, and down."""
    found = [one.evidence.leaps for one in rides if one.evidence.leaps is not None]
    return (
        rate([(one.up_loaded, one.loaded_min) for one in found]),
        rate([(one.up_idle, one.idle_min) for one in found]),
        rate([(one.down, one.minutes) for one in found]),
    )


def ways(rides: Sequence[Seen], usual: FloatArray | None) -> tuple[FloatArray, FloatArray]:
    """Mean and spread of what the balance misses, drawn a little to the healthy mean and an assumed spread of 0.08."""
    rows = np.array([one.evidence.missed.size for one in rides if one.evidence.missed is not None])
    drawn = 0.0 if usual is None else 4.0
    mean = (rows.sum(axis=0) + drawn * (0.0 if usual is None else usual)) / (len(rows) + drawn)
    sd = np.sqrt((((rows - mean) ** 2).sum(axis=0) + 6.0 * 0.08**2) / (len(rows) + 6.0))
    return mean.round(3), sd.round(3)


def learn(rides: Sequence[Seen]) -> dict[str, object]:
    """All figures by the names they bear in `diagnosis_numbers`."""
    well = [one for one in rides if not one.shifting and not one.leaping]
    day = day_to_day([one for one in well if len(one.evidence.shifts) == 1])
    alone = {cause: [one for one in rides if one.causes == (cause,)] for cause in (*SHIFTING, *LEAPING)}
    healthy_ways = ways(well, None)
    return {
        "DAY_MEAN": _named(day.mean),
        "DAY_PER_10_C": _named(day.per_10_c),
        "DAY_SPREAD": _spread(day.covariance),
        "SHIFTS": {cause: _direction(direction(cause, found, day)) for cause, found in alone.items()},
        "LEAP_RATES": {
            "healthy": leap_rates([one for one in rides if not one.leaping]),
            **{cause: leap_rates([one for one in rides if cause in one.causes]) for cause in LEAPING},
        },
        "WAYS_OF": {
            "healthy": _plain(healthy_ways),
            **{cause: _plain(ways(found, healthy_ways[0])) for cause, found in alone.items()},
        },
    }


def _named(values: FloatArray) -> dict[str, float]:
    return {name: round(float(v), 3) for name, v in zip(NAMES, values, strict=True)}


def _spread(covariance: FloatArray) -> tuple[dict[str, float], tuple[tuple[int, ...], ...]]:
    sd = np.sqrt(np.diag(covariance))
    percent = np.rint(100.0 * covariance / np.outer(sd, sd)).astype(int)
    names = {name: round(float(v), 4) for name, v in zip(NAMES, sd, strict=True)}
    return names, tuple(tuple(map(int, percent[n, :n])) for n in range(1, len(NAMES)))


def _direction(cause: Direction) -> tuple[object, ...]:
    return _named(cause.mean), *_spread(cause.covariance)


def _plain(pair: tuple[FloatArray, FloatArray]) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(map(float, row)) for row in pair)


if __name__ == "__main__":
    seen = [one for seed in TUNING if (one := look(seed)) is not None]
    for key, value in learn(seen).items():
        print(f"{key} = {value}\n")
