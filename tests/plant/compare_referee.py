"""Scores comparisons of rides against the simulator: machines whose fault, or health, is known.

A machine rides four healthy rides, each on a course and in air of its own, and one with each fault. Pairs are one ride
against one, and one against the other healthy ones. All figures are assumed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from plant.bikes import BIKES, Fault, bike_of
from plant.simulate import MapPlan, simulate
from ridelog.advice import default_advice
from ridelog.analysis.matched_records import Comparison
from ridelog.compare import Asked, compare
from ridelog.study import Known, Study, study

TUNING_MACHINES = range(300, 316)
"""Machines the comparison was made with."""

SCORING_MACHINES = range(700, 740)
"""Machines nobody looked at while it was made."""

HEALTHY = 4
SEVERITY: dict[Fault, float | None] = {"fins_blocked": 0.30, "heat_high": 0.15, "fan_off": None, "flow_low": 0.40}


def ridden(
    machine: int,
    number: int,
    fault: Fault | None = None,
    *,
    most_s: float = 2700.0,
    kinds: tuple[str, ...] | None = None,
) -> Study:
    """A ride of a machine, analyzed by itself; no longer than `most_s`, on grounds of the simulator's or any."""
    bike = list(BIKES)[machine % len(BIKES)]
    rng = np.random.default_rng([machine, number, 5])
    ambient_c, duration_s = float(rng.uniform(8.0, 30.0)), float(rng.uniform(1500.0, 2700.0))
    plans: tuple[MapPlan, ...] = ("standard", "advice", "alternate")
    plan = plans[int(rng.integers(3))]
    made = simulate(
        int(rng.integers(1, 2**30)), bike, machine_seed=machine, fault=fault,
        severity=SEVERITY[fault] if fault is not None else None, ambient_c=ambient_c,
        duration_s=min(duration_s, most_s), map_plan=plan, kinds=kinds,
    )  # fmt: skip
    return study(made.ride, Known(bike_of(bike), default_advice()), ambient_c=ambient_c)


def faults_of(machine: int) -> tuple[Fault, ...]:
    """The faults a machine is ridden with: a bike without a fan gets a pump that lags in place of a dead fan."""
    fan = bike_of(list(BIKES)[machine % len(BIKES)]).fan_on_c is not None
    return ("fins_blocked", "heat_high", "fan_off" if fan else "flow_low")


@dataclass
class Score:
    """What was said, by kind of pair; a kind is the first ride's state and how many rides it was held against."""

    found: dict[str, list[Comparison]] = field(default_factory=dict)

    def add(self, kind: str, comparison: Comparison) -> None:
        """One more."""
        self.found.setdefault(kind, []).append(comparison)

    def share(self, kind: str, *verdicts: str) -> float:
        """Share of a kind's comparisons with one of these verdicts."""
        return float(np.mean([one.verdict in verdicts for one in self.found[kind]]))

    def fan_less(self, kind: str) -> float:
        """Share of a kind's comparisons in which the fan adds less."""
        rows = [{row.name: row.answer for row in one.figures} for one in self.found[kind]]
        return float(np.mean([row.get("fan_step") == "less" for row in rows]))

    def text(self) -> str:
        """Every figure, a line a kind."""
        lines = []
        for kind, rows in sorted(self.found.items()):
            told = Counter(one.verdict for one in rows)
            apart = [one.settle[0].difference.value for one in rows if one.settle]
            parts = ", ".join(f"{name} {number / len(rows):.3f}" for name, number in sorted(told.items()))
            lines.append(
                f"{kind}: {len(rows)} pairs: {parts}; settles apart by {np.median(apart):+.1f} C (median); fan adds "
                f"less {self.fan_less(kind):.2f}"
            )
        return "\n".join(lines)


SERVICE_MACHINES = range(760, 772)
"""Machines for work on the bike: three rides with blocked fins, three with clean ones; nobody looked at them while the
comparison was made."""


def score_service(machines: Iterable[int]) -> Score:
    """Before and after: fins washed, and work that changed nothing."""
    done = Score()
    for machine in machines:
        before = [ridden(machine, number, "fins_blocked") for number in range(3)]
        after = [ridden(machine, number) for number in range(3, 6)]
        later = [ridden(machine, number) for number in range(6, 9)]
        done.add("fins washed", compare(after, before, WORK))
        done.add("nothing changed", compare(later, after, WORK))
    return done


WORK = Asked("service", "after", "before", "fins washed")
ASKED = Asked("rides", "the first", "the others")


def score(machines: Iterable[int]) -> Score:
    """Ride and compare whole machines."""
    done = Score()
    for machine in machines:
        well = [ridden(machine, number) for number in range(HEALTHY)]
        for one in range(HEALTHY):
            for other in range(one):
                done.add("healthy against 1", compare([well[one]], [well[other]], ASKED))
            done.add("healthy against 3", compare([well[one]], well[:one] + well[one + 1 :], ASKED))
        for number, fault in enumerate(faults_of(machine), start=HEALTHY):
            sick = ridden(machine, number, fault)
            done.add(f"{fault} against 1", compare([sick], well[:1], ASKED))
            done.add(f"{fault} against 4", compare([sick], well, ASKED))
    return done
