"""From one analyzed ride to its likely causes: the only file that knows the order of the diagnosis.

Sensor first, then what the heat balance says beside the bike's healthy rides, the coolant's leaps, what the balance
misses, what the ground, the map and the day asked for, and what the rider noted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from ridelog import diagnose_advice
from ridelog.analysis import (
    diagnosis_asked,
    diagnosis_drift,
    diagnosis_fan,
    diagnosis_jumps,
    diagnosis_patterns,
    diagnosis_residuals,
    diagnosis_sensor,
    diagnosis_shift,
    diagnosis_table,
    diagnosis_weigh,
    thermal,
    thermal_fit,
    thermal_prior,
)
from ridelog.analysis.diagnosis_shift import Apart, MapEffect, apart
from ridelog.analysis.diagnosis_weigh import Evidence, Weighed, Work
from ridelog.analysis.thermal_fit import Prior
from ridelog.analysis.thermal_prior import RideFit
from ridelog.analyze_heat import AMBIENT_SD_C, Balance, prior_hash
from ridelog.bike import Bike
from ridelog.intervals import Interval
from ridelog.results import Analysis
from ridelog.ride import Ride, RideNote, ride_day
from ridelog.study import Study
from ridelog.words import cause_evidence, cause_signs
from ridelog.words import causes as cause_words

ENOUGH, ENOUGH_FOR_A_FAULT = 0.5, 0.6
"""So likely is a cause that is named as the conclusion. A fault takes more: a healthy bike in pieces on the bench costs
its owner a day."""

SECOND = 0.5
"""A second cause is named where, with the first, another more likely than not holds too."""

UNSETTLED = 2
"""Where nothing is settled, the checks of so many of the likeliest causes are named."""

RIDDEN, OF_TWO = ("load_without_conservative_map", "terrain_load", "standstill_soak"), 0.1
"""What asks for heat, besides the day; and from where on the second of the two is named."""

KNOWN_SHARE = 0.8
"""A map known for less of the ride counts as not logged."""


@dataclass(frozen=True)
class Ranked:
    """A cause with its probability (over all causes 1), what speaks for and against it, and what to check next,
    cheapest and safest first. `holds`: how likely it holds, alone or with another."""

    cause: str
    family: str
    probability: float
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]
    check_next: tuple[str, ...]
    holds: float


@dataclass(frozen=True)
class Baseline:
    """Rides the ride was held against, and whose they are."""

    rides: tuple[str, ...]
    level: Literal["bike", "build", "default"]
    hash: str | None


@dataclass(frozen=True)
class Diagnosis:
    """What is likely behind a hot ride. `conclusion`: a cause, or "not_enough_evidence" with `reason`; `summary` says
    the same in a sentence or two; `fitted`: whether a heat balance stands behind it; `cautions` come with every
    answer."""

    ride: str
    baseline: Baseline
    ranked: tuple[Ranked, ...]
    conclusion: str
    second_cause: str | None
    advice_followed: Literal["yes", "no", "unknown", "not_advised"]
    reason: str | None = None
    advice_reason: str = ""
    summary: tuple[str, ...] = ()
    fitted: bool = True
    cautions: tuple[str, ...] = field(default=cause_words.CAUTIONS)

    @property
    def check_next(self) -> tuple[str, ...]:
        """What to look at: for the conclusion, or, where nothing is settled, the first checks of the likeliest causes,
        each once, cheapest and safest first; without a heat balance what is looked at first on any bike."""
        if not self.fitted and self.conclusion == "not_enough_evidence":
            return cause_words.general_checks()
        if self.conclusion != "not_enough_evidence":
            return self.ranked[0].check_next
        return cause_words.merged([one.check_next for one in self.ranked[:UNSETTLED]])

    def to_json(self) -> dict[str, object]:
        """The public interface's fields, with `reason`, `advice_reason`, `summary` and `cautions` beside them."""
        return {
            "schema": 1,
            "ride": self.ride,
            "baseline": {"rides": list(self.baseline.rides), "level": self.baseline.level, "hash": self.baseline.hash},
            "ranked": [
                {
                    "cause": one.cause,
                    "family": one.family,
                    "probability": one.probability,
                    "for": list(one.evidence_for),
                    "against": list(one.evidence_against),
                    "check_next": list(one.check_next),
                    "holds": one.holds,
                }
                for one in self.ranked
            ],
            "conclusion": self.conclusion,
            "second_cause": self.second_cause,
            "advice_followed": self.advice_followed,
            "reason": self.reason,
            "advice_reason": self.advice_reason,
            "summary": list(self.summary),
            "cautions": list(self.cautions),
        }


def diagnose(study: Study) -> Diagnosis:
    """Rank the causes of a ride by its analysis. Never raises for what a ride lacks."""
    ride, bike, baseline = study.ride, study.known.bike, study.known.baseline
    analysis, traces, balance = study.found.analysis, study.found.traces, study.found.balance
    answer = diagnose_advice.followed(analysis, traces, study.known.advice, _map_effect(bike, balance, baseline))
    evidence = evidence_of(
        ride, bike, analysis, balance, baseline=baseline, missed=answer.missed, notes=study.known.notes
    )
    weighed = diagnosis_weigh.weigh(evidence)
    facts = cause_signs.Facts(evidence, _best_reading(evidence), balance.heat.rmse_c, len(baseline), bike)
    order = sorted(weighed.causes, key=lambda cause: (-weighed.causes[cause], cause))
    ranked = tuple(
        Ranked(
            cause,
            diagnosis_table.FAMILY[cause],
            weighed.causes[cause],
            *cause_evidence.speaks(cause, facts),
            cause_words.check_next(cause),
            weighed.holds[cause],
        )
        for cause in order
    )
    conclusion, reason = _conclusion(weighed, order, evidence, balance)
    second = _second(weighed, conclusion)
    rides = tuple(fit.ride for fit in baseline)
    level: Literal["bike", "build", "default"] = "default"
    if baseline:
        level = "bike" if all(fit.other in (None, thermal_prior.ACROSS_SERVICE) for fit in baseline) else "build"
    return Diagnosis(
        ride=ride.id,
        baseline=Baseline(rides, level, prior_hash(baseline)),
        ranked=ranked,
        conclusion=conclusion,
        second_cause=second,
        advice_followed=answer.followed,
        reason=reason,
        advice_reason=answer.reason,
        fitted=bool(evidence.shifts),
        summary=cause_words.summary(
            conclusion,
            ranked[0].holds,
            healthy=sum(one.probability for one in ranked if one.family in ("asked_for", "healthy")),
            second=second,
            reason=reason,
            advice=answer.reason,
        ),
    )


def evidence_of(
    ride: Ride,
    bike: Bike | None,
    analysis: Analysis,
    balance: Balance,
    *,
    baseline: Sequence[RideFit] = (),
    missed: Sequence[Interval] = (),
    notes: Sequence[RideNote] = (),
) -> Evidence:
    """All that speaks, gathered. `missed`: advised stretches surely ridden on the standard map."""
    sensor = diagnosis_sensor.sensor(analysis.quality, "coolant_c", analysis.ride.duration_s)
    build = (analysis.facts or {}).get("build_check") or {}
    told = Evidence(
        sensor,
        _asked_of_nothing(analysis, bike),
        has_fan=bike is not None and bike.fan_on_c is not None,
        has_thermostat=bike is not None and bike.thermostat_c is not None,
        loss_noted=any(note.about == "coolant_lost" or cause_words.tells_of_loss(note.text) for note in notes),
        build_unfit=build.get("fits") is False,
        work=_work(ride, bike, notes),
    )
    if balance.drawn is None or bike is None:
        return told
    plant, steps = balance.drawn.plant, balance.drawn.ride
    # A ride of a second or two has no step of the balance, and so no air along it.
    air = steps.ambient_c[np.isfinite(steps.ambient_c)]
    mean_air_c = float(np.mean(air)) if air.size else analysis.ride.ambient_c
    asked = diagnosis_asked.asked(steps, missed, hot_c=hot_threshold_c(bike), ambient_c=mean_air_c)
    told = replace(
        told,
        asked=asked,
        fan_called_s=float(np.count_nonzero(diagnosis_fan.called(plant, steps)) * thermal.STEP_S),
        fan_log=diagnosis_fan.fan_log(plant, steps),
    )
    if not balance.heat.fitted or balance.own is None:
        return told
    resolution_c = ride.channels["coolant_c"].resolution or 0.0
    steps, own = _as_asked(plant, steps, balance.own, told.fan_log, resolution_c)
    base = base_prior(bike, balance)
    if base is None:
        return told
    air_c = float(np.nanmean(steps.ambient_c))
    day = diagnosis_table.DAY_TO_DAY.at(air_c)
    changed = diagnosis_drift.drift(
        replace(own, air_c=air_c), ride_day(ride), baseline, base, diagnosis_table.DAY_TO_DAY
    )
    known = (
        changed.before if changed is not None else diagnosis_shift.healthy(baseline, base, diagnosis_table.DAY_TO_DAY)
    )
    readings = _readings(steps)
    shifts = tuple((weight, apart(own, known, day, share)) for share, weight in readings)
    likeliest = max(readings, key=lambda one: one[1])[0]
    return replace(
        told,
        shifts=shifts,
        leaps=diagnosis_jumps.leaps(plant, steps, own.theta, resolution_c),
        missed=diagnosis_residuals.missed(plant, steps, own.theta, own.prior_covariance, resolution_c=resolution_c),
        patterns=diagnosis_patterns.patterns(plant, steps, known, day, likeliest) if baseline else None,
        drift=changed,
    )


def _as_asked(
    plant: thermal.Plant, steps: thermal.Conditions, own: RideFit, log: diagnosis_fan.FanLog | None, resolution_c: float
) -> tuple[thermal.Conditions, RideFit]:
    """The ride and its fit with the fan where the coolant asked for it, if its channel says that it stood still then.

    A balance that is told of no fan explains the ride without one, dead or not. Set against what a fan would have done,
    a dead one shows, and so does one that worked while its channel showed something else."""
    if log is None or log.off_s < diagnosis_table.FAN_CALLED_S:
        return steps, own
    asked = replace(steps, fan_logged=None)
    prior = Prior(own.prior_mean, own.prior_covariance)
    fitted = thermal_fit.fit(plant, asked, prior, thermal_fit.window_starts(asked), resolution_c)
    return asked, thermal_prior.kept(own.ride, fitted, prior)


def _readings(steps: thermal.Conditions) -> tuple[tuple[float, float], ...]:
    """Share of the heat made on the conservative map, and how likely: where the map is not known, each way it may have
    been."""
    unknown = float(np.isnan(steps.conservative[steps.running]).mean()) if steps.running.any() else 1.0
    return diagnosis_table.MAP_READINGS if unknown > 1.0 - KNOWN_SHARE else ((0.0, 1.0),)


def _work(ride: Ride, bike: Bike | None, notes: Sequence[RideNote]) -> Work | None:
    """The last work that opened the cooling system, where it was noted on this ride or stands in the bike file within
    the days before."""
    for note in notes:
        if note.about == "service" and cause_words.opens_cooling(note.text):
            return Work(note.text, 0)
    day = ride_day(ride)
    if bike is None or day is None:
        return None
    found = [
        (service.day, service.what)
        for service in bike.services
        if 0 <= (day - service.day).days <= diagnosis_table.WORK_DAYS and cause_words.opens_cooling(service.what)
    ]
    if not found:
        return None
    when, what = max(found)
    return Work(what, (day - when).days)


def hot_threshold_c(bike: Bike) -> float:
    """The bike file's threshold named `hot`, else the highest below its limit, else its limit."""
    named = dict(bike.thresholds)
    if "hot" in named:
        return named["hot"]
    below = [value for value in named.values() if value < bike.limit_c]
    return max(below) if below else bike.limit_c


def _asked_of_nothing(analysis: Analysis, bike: Bike | None) -> diagnosis_asked.Asked:
    """Without a balance: the hot time as counted, nothing about where it came from."""
    lowest_c = min((one.threshold_c for one in analysis.exposure), default=0.0)
    hot_c = hot_threshold_c(bike) if bike is not None else lowest_c
    hot_s = next((one.observed_s for one in analysis.exposure if one.threshold_c == hot_c), 0.0)
    return diagnosis_asked.Asked(hot_c, hot_s, 0.0, 0.0, analysis.ride.ambient_c, None)


def base_prior(bike: Bike, balance: Balance) -> Prior | None:
    """What is known of such a bike before any ride; None without a fit."""
    drawn, source = balance.drawn, balance.heat.ambient_source
    if drawn is None or source is None:
        return None
    steps = drawn.ride
    both = bool((steps.conservative > 0.0).any() and (steps.conservative == 0.0).any())
    return thermal_prior.default_prior(
        drawn.plant, ratio=bike.heat_ratio, map_seen=both, ambient_sd_c=AMBIENT_SD_C[source]
    )


def _map_effect(bike: Bike | None, balance: Balance, baseline: Sequence[RideFit]) -> MapEffect | None:
    base = base_prior(bike, balance) if bike is not None else None
    return diagnosis_shift.map_effect(baseline, base, diagnosis_table.DAY_TO_DAY) if base is not None else None


def _best_reading(evidence: Evidence) -> Apart | None:
    """The shift under the likeliest reading of the map, for the sentences."""
    return max(evidence.shifts, key=lambda one: one[0])[1] if evidence.shifts else None


def _conclusion(weighed: Weighed, order: Sequence[str], evidence: Evidence, balance: Balance) -> tuple[str, str | None]:
    """The first cause where it is likely enough, else why none is named."""
    first = order[0]
    if not evidence.shifts and first != "sensor_fault":
        return "not_enough_evidence", cause_words.not_fitted(balance.heat.reason)
    fault = diagnosis_table.FAMILY[first] not in ("asked_for", "healthy")
    likely = weighed.holds[first] + _with_the_day(weighed, first)
    if likely >= (ENOUGH_FOR_A_FAULT if fault else ENOUGH):
        return first, None
    return "not_enough_evidence", cause_words.undecided(order[:2], [weighed.holds[cause] for cause in order[:2]])


def _second(weighed: Weighed, conclusion: str) -> str | None:
    """A cause that more likely than not holds together with the first."""
    both = weighed.both(conclusion)
    if both and sum(both.values()) >= SECOND * weighed.holds[conclusion]:
        return max(both, key=lambda cause: both[cause])
    if conclusion in RIDDEN:
        return "hot_conditions" if weighed.causes["hot_conditions"] > OF_TWO else None
    if conclusion == "hot_conditions":
        other = max(RIDDEN, key=lambda cause: weighed.causes[cause])
        return other if weighed.causes[other] > OF_TWO else None
    return None


def _with_the_day(weighed: Weighed, first: str) -> float:
    """A hot day and what was ridden on it hold together: neither makes the other less likely."""
    if first in RIDDEN:
        return weighed.causes["hot_conditions"]
    return max(weighed.causes[cause] for cause in RIDDEN) if first == "hot_conditions" else 0.0
