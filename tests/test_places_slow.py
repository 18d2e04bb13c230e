"""Passes at length: random rides, and comparisons on simulated machines and days. Left out unless asked for (-m slow);
a sample of each runs always in test_places.py. Read the figures with -rP."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pytest
from plant import simulate
from plant.bikes import BIKES, bike_of
from plant.truth import Truth
from random_rides import ride as random_ride
from random_rides import scored

from ridelog.advice import default_advice
from ridelog.analysis import passes_measure
from ridelog.places import ridden
from ridelog.study import Known, Study, study

pytestmark = pytest.mark.slow

SHARES = ((0.1, 0.3), (0.3, 0.5), (0.5, 0.9))
"""Parts of the course that are held against each other, by the way."""

MACHINES = range(400, 412)
"""Machines nobody looked at while the bands were set; those of 0 to 19 were."""


def test_two_hundred_random_rides() -> None:
    """Truth from the paths themselves, by a search tree of SciPy."""
    true_m, found_m, told_m, false_m = scored([random_ride(np.random.default_rng([2026, k])) for k in range(200)])
    print(f"recall {found_m / true_m:.4f} of {true_m / 1000:.0f} km, precision {1.0 - false_m / told_m:.4f}")
    assert found_m >= 0.96 * true_m
    assert false_m <= 0.01 * told_m


@dataclass(frozen=True)
class Case:
    """A part of a course on a sound day and another day, and what is different in truth, C of settle temperature."""

    fault: str
    true_c: float
    told: passes_measure.Compared


def a_day(
    number: int, air_c: float, wind_mps: float, fault: Literal["fins_blocked", "heat_high"] | None
) -> tuple[Study, Truth]:
    """The machine on its course, half an hour; the rider switches the map where it is advised."""
    bike = list(BIKES)[number % len(BIKES)]
    sim = simulate(
        7000 + number, bike, machine_seed=number, fault=fault, ambient_c=air_c, wind_mps=wind_mps, map_plan="advice",
        duration_s=1800.0,
    )  # fmt: skip
    known_c = air_c + float(np.random.default_rng([number, int(air_c)]).normal(0.0, 0.7))
    return study(sim.ride, Known(bike_of(bike), default_advice()), ambient_c=known_c), sim.truth


def cases(number: int) -> list[Case]:
    """A sound day against a windier one, sound again, with blocked radiators, and with too much heat made."""
    airs = np.random.default_rng(number).uniform(5.0, 33.0, 2).tolist()
    before, _ = a_day(number, airs[0], 0.5, None)
    days = {fault or "none": a_day(number, airs[1], 1.5, fault) for fault in (None, "fins_blocked", "heat_high")}  # type: ignore[arg-type]
    found = []
    sound = days["none"][1]
    for fault, (after, now) in days.items():
        sides = [ridden(before), ridden(after)]
        if any(one.drawn is None or one.way_m is None for one in sides):
            continue
        length = min(float(one.way_m[-1]) for one in sides)  # type: ignore[index]
        for share in SHARES:
            spans = [np.interp(np.array(share) * length, one.way_m, one.t_s).tolist() for one in sides]  # type: ignore[arg-type]
            measured = [(one, *passes_measure.measure(one, *span)) for one, span in zip(sides, spans, strict=True)]
            true_c = now.settle_c(*spans[1]) - sound.settle_c(*spans[1])
            found.append(Case(fault, true_c, passes_measure.compare(measured[0], measured[1], same_ride=False)))
    return found


def test_comparisons_on_other_days() -> None:
    """Days up to 28 C apart, more wind, and the air told 0.7 C wrong: sound machines are not called warmer, faults of
    10 C and more mostly are, and the bands hold the truth."""
    rows = [case for number in MACHINES for case in cases(number) if case.told.matched_c is not None]
    for fault in ("none", "fins_blocked", "heat_high"):
        these = [case for case in rows if case.fault == fault]
        bands = [(case.told.matched_c, case.true_c) for case in these]
        held = np.mean([band.low <= true <= band.high for band, true in bands if band is not None])
        warmer, cooler = (np.mean([case.told.verdict == word for case in these]) for word in ("warmer", "cooler"))
        middle = np.median([case.true_c for case in these])
        print(f"{fault}: {len(these)}, truth {middle:.1f} C, band holds {held:.2f}", end=", ")
        print(f"warmer {warmer:.2f}, cooler {cooler:.2f}")
        assert held >= 0.8
        if fault == "none":
            assert warmer <= 0.03
            assert cooler <= 0.10
        else:
            assert warmer >= 0.5
            assert cooler == 0.0
