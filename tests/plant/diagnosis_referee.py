"""Scores the diagnosis against blind cases (see `cases`).

Machines of TUNING were used to learn what causes do (`ridelog.analysis.diagnosis_numbers`); those of SCORING were not
looked at meanwhile.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from plant.bikes import bike_of
from plant.cases import HISTORY, Case, case, history
from ridelog.advice import default_advice
from ridelog.analysis.diagnosis_table import FAMILY
from ridelog.analysis.thermal_prior import RideFit
from ridelog.analyze import heat_fit
from ridelog.diagnose import Diagnosis, diagnose
from ridelog.ride import RideNote
from ridelog.study import Known, study

TUNING = (*range(576), *range(100_032, 101_040))
SCORING = range(200_016, 201_024)

SHOW_THEMSELVES = ("sensor_fault", "combustion_gas_in_coolant", "air_in_system", "cap_leaking")
"""Causes that show otherwise than by a coolant that is warmer or cooler for long."""

BINS = 10


def is_fault(cause: str) -> bool:
    """Whether a cause is one of the bike, not of ground, map or day."""
    return FAMILY[cause] not in ("asked_for", "healthy")


@dataclass(frozen=True)
class Outcome:
    """What was said of one case."""

    case: Case
    said: Diagnosis

    @property
    def fault(self) -> bool:
        """Whether something was wrong with the bike."""
        return is_fault(self.case.causes[0])

    @property
    def shows(self) -> bool:
        """Whether the fault moved the coolant by 4 C, or shows otherwise."""
        return self.fault and (self.case.moved or self.case.causes[0] in SHOW_THEMSELVES)

    @property
    def first(self) -> str:
        """The likeliest cause."""
        return self.said.ranked[0].cause

    @property
    def cause_right(self) -> bool:
        """The likeliest cause is one that holds."""
        return self.first in self.case.causes

    @property
    def family_right(self) -> bool:
        """Its family is one that holds."""
        return FAMILY[self.first] in {FAMILY[cause] for cause in self.case.causes}

    @property
    def in_two(self) -> bool:
        """One of the two likeliest holds."""
        return bool({one.cause for one in self.said.ranked[:2]} & set(self.case.causes))

    @property
    def called_faulty(self) -> bool:
        """A fault was concluded."""
        return self.said.conclusion in FAMILY and is_fault(self.said.conclusion)

    @property
    def faults(self) -> set[str]:
        """What was wrong with the bike."""
        return {cause for cause in self.case.causes if is_fault(cause)}

    @property
    def accused(self) -> bool:
        """Said not to have followed the advice, though the conservative map was on in the sand, or was not logged."""
        return self.said.advice_followed == "no" and (not self.case.map_logged or self.case.conservative > 0.5)


@cache
def healthy_fits(machine: int, bike: str, swapped: bool) -> tuple[RideFit, ...]:
    """Fits of a machine's healthy rides. A logger that swaps the map's slots swaps them on every ride."""
    rides = [history(machine, bike, number, swapped=swapped) for number in range(HISTORY)]
    fits = [(heat_fit(ride, bike_of(bike)), ride.ambient_c) for ride in rides]
    return tuple(replace(fit, air_c=air_c) for fit, air_c in fits if fit is not None)


def judge(seed: int) -> Outcome:
    """Ride and diagnose one case."""
    played = case(seed)
    fits = healthy_fits(*played.machine, played.slots == "inverted")
    notes = tuple(RideNote(0.0, "other", text) for text in played.notes)
    said = diagnose(study(played.ride, Known(played.bike, default_advice(), fits, notes)))
    return Outcome(replace(played, ride=replace(played.ride, samples=played.ride.samples.clear())), said)


@dataclass(frozen=True)
class Score:
    """All outcomes."""

    outcomes: tuple[Outcome, ...]

    @property
    def moved(self) -> list[Outcome]:
        """Faults that moved the coolant by 4 C, sick sensors apart."""
        return [one for one in self.outcomes if one.fault and one.case.moved and one.case.causes[0] != "sensor_fault"]

    @property
    def shown(self) -> list[Outcome]:
        """Faults that moved the coolant or show otherwise."""
        return [one for one in self.outcomes if one.shows]

    @property
    def healthy(self) -> list[Outcome]:
        """Cases with nothing wrong with the bike."""
        return [one for one in self.outcomes if not one.fault]

    def called_faulty(self) -> float:
        """Share of healthy bikes of which a fault was concluded."""
        return share([one.called_faulty for one in self.healthy])

    def reliability(self) -> list[tuple[float, float, int]]:
        """(mean probability of the likeliest cause, share right, cases) in bins of equal numbers."""
        order = sorted(self.outcomes, key=lambda one: one.said.ranked[0].probability)
        found = []
        for part in np.array_split(np.arange(len(order)), BINS):
            these = [order[int(i)] for i in part]
            chance = float(np.mean([one.said.ranked[0].probability for one in these]))
            found.append((chance, share([one.cause_right for one in these]), len(these)))
        return found

    def calibration_error(self) -> float:
        """Expected calibration error of the likeliest cause's probability over those bins."""
        rows = self.reliability()
        return sum(n * abs(said - right) for said, right, n in rows) / sum(n for _, _, n in rows)

    def text(self) -> str:
        """Every figure, a line each."""
        lines = [f"{len(self.outcomes)} cases"]
        for name, rows in (
            ("faults that moved the coolant by 4 C", self.moved),
            ("faults that moved it or show otherwise", self.shown),
            ("healthy bikes", self.healthy),
            ("both", self.shown + self.healthy),
            ("all, faults that hardly show among them", list(self.outcomes)),
        ):
            figures = {
                "family": [one.family_right for one in rows],
                "cause": [one.cause_right for one in rows],
                "in two": [one.in_two for one in rows],
                "concluded rightly": [one.said.conclusion in one.case.causes for one in rows],
                "not enough evidence": [one.said.conclusion == "not_enough_evidence" for one in rows],
            }
            told = ", ".join(f"{what} {share(flags):.3f}" for what, flags in figures.items())
            lines.append(f"{name}: {len(rows)}; {told}")
        two = [one for one in self.outcomes if len(one.faults) == 2]
        named = [one for one in self.outcomes if one.said.second_cause in FAMILY and one.called_faulty]
        right = [one for one in named if {one.said.conclusion, one.said.second_cause} == one.faults]
        lines.append(f"two faults: {len(two)}; a second named in {len(named)} cases, both right in {len(right)}")
        lines.append(f"healthy bikes called faulty: {self.called_faulty():.3f}")
        lines.append(f"riders wrongly said not to have followed: {sum(one.accused for one in self.outcomes)}")
        wrong = Counter(one.case.slots for one in self.outcomes if one.accused)
        lines.append(f"  by slot numbers: {dict(wrong)}")
        answers = Counter(one.said.advice_followed for one in self.outcomes)
        lines.append(f"advice followed: {dict(answers)}")
        lines.append(f"expected calibration error: {self.calibration_error():.3f}")
        lines += [f"  said {said:.2f}, right {right:.2f}, {n} cases" for said, right, n in self.reliability()]
        lines.append("confusion, rows: the chief cause that held; columns: the likeliest cause said")
        table = Counter((one.case.causes[0], one.first) for one in self.outcomes)
        for true in FAMILY:
            row = {said: table[true, said] for said in FAMILY if table[true, said]}
            if row:
                lines.append(f"  {true} ({sum(row.values())}): " + ", ".join(f"{k} {v}" for k, v in row.items()))
        return "\n".join(lines)


def share(flags: list[bool]) -> float:
    """Share of true ones, NaN without any."""
    return float(np.mean(flags)) if flags else float("nan")


def score(seeds: Iterable[int]) -> Score:
    """Judge cases."""
    return Score(tuple(judge(seed) for seed in seeds))
