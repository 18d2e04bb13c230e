"""How the figures of `ridelog.analysis.diagnosis_numbers` were got: `python tests/plant/tune_diagnosis.py` prints them.

Rides the cases of TUNING (a quarter of an hour) and learns from each cause's cases: what differs between healthy rides
(expectation and maximization over a Gaussian, held to an assumed spread as if twenty rides had shown it), each cause's
direction (greatest chance of its cases, weakly held), rates of leaps, and what the balance misses. Weights and
sharpness were set after the same with a third of the machines left out in turn; they are not printed. Pooling healthy
rides uses the figures as they stand, so that a run from the figures it printed differs from them in the last digits.
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
from ridelog.analysis import diagnosis_numbers as numbers
from ridelog.analysis.diagnosis_counts import Rate
from ridelog.analysis.diagnosis_shift import Apart, Direction, apart, healthy, log_mean, vector
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

USUAL = {"heat": 0.1, "still": 0.2, "fan": 4.0, "flow": 0.1, "core_mps": 0.1, "pace": 0.1, "idle_kw": 0.1,
         "lag_s": 0.1, "closed": 0.1, "bypass": 0.1, "opens_c": 4.0}  # fmt: skip
"""Parameters a cause may move, and by about how much."""

OWN_SD = vector(numbers.OWN_SD)
TINY = 1e-3


@dataclass
class Seen:
    """A case that could be fitted, and what speaks in it."""

    case: Case
    own: RideFit
    fits: tuple[RideFit, ...]
    base: Prior
    evidence: Evidence

    def readings(self, day: Direction) -> list[tuple[float, Apart]]:
        """The shift from the healthy bike, by readings of a map that was not logged."""
        spread = day if day.covariance.any() else Direction(day.mean, np.diag(ASSUMED_SD**2))
        known = healthy(self.fits, self.base, spread)
        shares = MAP_READINGS if len(self.evidence.shifts) > 1 else ((0.0, 1.0),)
        return [(weight, apart(self.own, known, day, share)) for share, weight in shares]

    @property
    def shifting(self) -> tuple[str, ...]:
        """Those of its causes that shift the balance."""
        return tuple(cause for cause in self.case.causes if cause in SHIFTING)

    @property
    def leaping(self) -> bool:
        """Whether gas or air passes the sensor."""
        return bool(set(self.case.causes) & set(LEAPING))


def look(seed: int) -> Seen | None:
    """Ride one case; None where the sensor is sick or no balance can be made."""
    played = case(seed)
    if played.causes[0] == "sensor_fault":
        return None
    fits = healthy_fits(*played.machine, played.slots == "inverted")
    found = analyzed(played.ride, played.bike, default_advice(), baseline=fits)
    analysis, traces, balance = found.analysis, found.traces, found.balance
    base = base_prior(played.bike, balance)
    if base is None or balance.own is None:
        return None
    missed = diagnose_advice.followed(analysis, traces, default_advice()).missed
    evidence = evidence_of(played.ride, played.bike, analysis, balance, baseline=fits, missed=missed)
    return Seen(played, balance.own, fits, base, evidence)


def day_to_day(rides: Sequence[Seen]) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of what differs between healthy rides."""
    assumed = np.diag((ASSUMED_SD + TINY) ** 2)
    mean, covariance = np.zeros(len(NAMES)), 4.0 * assumed
    told = [one.readings(Direction(np.zeros(len(NAMES)), np.zeros_like(assumed)))[0][1] for one in rides]
    for _ in range(150):
        inverse = np.linalg.inv(covariance)
        spreads = [np.linalg.inv(inverse + one.precision) for one in told]
        centres = np.array([v @ (one.pull + inverse @ mean) for v, one in zip(spreads, told, strict=True)])
        mean = centres.sum(axis=0) / (len(told) + 0.3)
        gone = centres - mean
        covariance = (ASSUMED_RIDES * assumed + gone.T @ gone + np.sum(spreads, axis=0)) / (ASSUMED_RIDES + len(told))
    return mean, covariance


def direction(rides: Sequence[Seen], day: Direction) -> tuple[dict[str, float], float, float]:
    """A cause's mean shift, the spread of its strength, and the share of OWN_SD that goes with it."""
    told = [one.readings(day) for one in rides]
    size = np.array(list(USUAL.values()))

    def of(p: FloatArray) -> Direction:
        mean = vector(dict(zip(USUAL, p[:-2] * size, strict=True)))
        own = np.exp(2.0 * p[-1]) * np.diag(OWN_SD**2)
        return Direction(mean, np.exp(2.0 * p[-2]) * np.outer(mean, mean) + own)

    def cost(p: FloatArray) -> float:
        cause = of(p)
        chance = sum(log_mean([a.log_chance(cause) for _, a in each], [w for w, _ in each]) for each in told)
        held = 0.075 * (p[:-2] ** 2).sum() + 0.5 * ((p[-2] + 1.0) / 0.5) ** 2 + 0.5 * (p[-1] / 0.5) ** 2
        return float(held - chance)

    loose = np.diag(1.0 / (3.0 * OWN_SD + TINY) ** 2)
    first = np.mean([np.linalg.solve(each[0][1].precision + loose, each[0][1].pull) for each in told], axis=0)
    start = np.append([first[NAMES.index(name)] for name in USUAL] / size, [-1.0, 0.0])
    best = minimize(cost, start, method="L-BFGS-B", options={"maxiter": 30}).x
    shift = {name: round(float(v), 3) for name, v in zip(USUAL, best[:-2] * size, strict=True) if abs(v) > 0.005}
    return shift, round(float(np.exp(best[-2])), 2), round(float(np.exp(best[-1])), 2)


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
    known_map = [one for one in well if len(one.evidence.shifts) == 1]
    mean, covariance = day_to_day(known_map)
    sd = np.sqrt(np.diag(covariance))
    day = Direction(mean, np.diag(sd**2))
    alone = {cause: [one for one in rides if one.case.causes == (cause,)] for cause in (*SHIFTING, *LEAPING)}
    healthy_ways = ways(well, None)
    return {
        "DAY_TO_DAY_MEAN": {name: round(float(v), 3) for name, v in zip(NAMES, mean, strict=True)},
        "DAY_TO_DAY_SD": {name: round(float(v), 3) for name, v in zip(NAMES, sd, strict=True)},
        "SHIFTS": {cause: direction(found, day) for cause, found in alone.items()},
        "LEAP_RATES": {
            "healthy": leap_rates([one for one in rides if not one.leaping]),
            **{cause: leap_rates([one for one in rides if cause in one.case.causes]) for cause in LEAPING},
        },
        "WAYS_OF": {
            "healthy": healthy_ways,
            **{cause: ways(found, healthy_ways[0]) for cause, found in alone.items()},
        },
    }


if __name__ == "__main__":
    seen = [one for seed in TUNING if (one := look(seed)) is not None]
    for key, value in learn(seen).items():
        print(f"{key} = {value}\n")
