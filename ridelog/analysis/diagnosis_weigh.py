"""From evidence to probabilities of causes.

Settled first: the sensor. What is left goes to states (the healthy bike, each cause, pairs of causes) by prior and
evidence, is then spread over causes, and at the end softened or sharpened by one exponent, so that of the causes given
70 % seven in ten are right (see `diagnosis_table`).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ridelog.analysis import diagnosis_table as table
from ridelog.analysis.diagnosis_asked import HOT_S, Asked
from ridelog.analysis.diagnosis_drift import Drift
from ridelog.analysis.diagnosis_fan import FanLog
from ridelog.analysis.diagnosis_jumps import Leaps
from ridelog.analysis.diagnosis_patterns import Patterns
from ridelog.analysis.diagnosis_residuals import Missed
from ridelog.analysis.diagnosis_sensor import Sensor
from ridelog.analysis.diagnosis_shift import Apart, log_mean

HEALTHY = "healthy"


@dataclass(frozen=True)
class Evidence:
    """All that speaks. `shifts`: the shift of the balance under each reading of an unknown map, with their weights;
    empty where the ride could not be fitted. `fan_called_s`: seconds the coolant asked for the fan. `fan_log`: what the
    fan's channel shows of it, None without one. `patterns`: the coolant beside the healthy bike's, for the sentences
    alone. `drift`: a change over the bike's earlier rides. `work`: the last work on the cooling system, where it was
    days ago."""

    sensor: Sensor
    asked: Asked
    shifts: tuple[tuple[float, Apart], ...] = ()
    leaps: Leaps | None = None
    missed: Missed | None = None
    has_fan: bool = False
    has_thermostat: bool = False
    fan_called_s: float = 0.0
    fan_log: FanLog | None = None
    loss_noted: bool = False
    build_unfit: bool = False
    patterns: Patterns | None = None
    drift: Drift | None = None
    work: Work | None = None


@dataclass(frozen=True)
class Work:
    """Work that opened the cooling system: what it was, and how many days before the ride."""

    what: str
    days: int


@dataclass(frozen=True)
class Weighed:
    """Probabilities of causes (sum 1), and of the states behind them. `holds`: that a cause holds, alone or with
    another; these may sum to more."""

    causes: dict[str, float]
    states: dict[tuple[str, ...], float] = field(default_factory=dict)
    holds: dict[str, float] = field(default_factory=dict)

    def both(self, cause: str) -> dict[str, float]:
        """Probability that another cause holds together with this one, by the other."""
        found: dict[str, float] = {}
        for state, value in self.states.items():
            if len(state) == 2 and cause in state:
                other = state[1] if state[0] == cause else state[0]
                found[other] = found.get(other, 0.0) + value
        return found


def log_terms(evidence: Evidence, state: tuple[str, ...]) -> dict[str, float]:
    """What each kind of evidence adds to the logarithm of a state's weight, the prior among them."""
    terms = {"prior": float(np.log(_prior(evidence, state)))}
    if evidence.shifts:
        direction = table.direction(state)
        terms["shift"] = log_mean(
            [shift.log_chance(direction) for _, shift in evidence.shifts], [weight for weight, _ in evidence.shifts]
        )
    if evidence.leaps is not None:
        kind = next((cause for cause in state if cause in table.LEAPS), HEALTHY)
        terms["leaps"] = table.LEAPS[kind].log_chance(evidence.leaps)
    if evidence.missed is not None:
        terms["ways"] = _ways(evidence.missed, state)
    terms["notes"] = _noted(evidence, state)
    terms["drift"] = _gradual(evidence, state)
    terms["fan_log"] = _logged_fan(evidence, state)
    return terms


def likelier(evidence: Evidence, cause: str) -> float | None:
    """How much likelier what the ride shows is with a cause alone than with a healthy bike, the priors left out; None
    where the ride can't be weighed or the cause is not one of the bike."""
    if not evidence.shifts or (cause,) not in table.STATES:
        return None
    terms, healthy = log_terms(evidence, (cause,)), log_terms(evidence, (HEALTHY,))
    gained = sum(table.WEIGHTS[kind] * (terms[kind] - healthy[kind]) for kind in terms if kind not in _TOLD_APART)
    return float(np.exp(np.clip(gained, -MOST_TOLD, MOST_TOLD)))


MOST_TOLD = 20.0
_TOLD_APART = ("prior", "notes", "drift", "fan_log")


def weigh(evidence: Evidence) -> Weighed:
    """Probabilities of all causes."""
    states = table.STATES
    logs = np.array(
        [sum(table.WEIGHTS[kind] * value for kind, value in log_terms(evidence, state).items()) for state in states]
    )
    chance = np.exp(table.SHARPNESS * (logs - logs.max()))
    chance /= chance.sum()
    sick = _sick(evidence.sensor)
    weights = {state: float((1.0 - sick) * value) for state, value in zip(states, chance, strict=True)}
    any_state = {cause: sum(value for state, value in weights.items() if cause in state) for cause in table.PRIOR}
    causes = dict.fromkeys(table.FAMILY, 0.0)
    for state, value in weights.items():
        if state == (HEALTHY,):
            for cause, share in evidence.asked.shares().items():
                causes[cause] += value * share
        elif len(state) == 1:
            causes[state[0]] += value
        else:
            likelier_first = sorted(state, key=lambda cause: (-any_state[cause], cause))
            for cause, share in zip(likelier_first, table.PAIR_SHARES, strict=True):
                causes[cause] += value * share
    causes["sensor_fault"] = sick
    total = sum(causes.values())
    probabilities = {cause: value / total for cause, value in causes.items()}
    holds = {cause: max(value, any_state.get(cause, 0.0) / total) for cause, value in probabilities.items()}
    return Weighed(probabilities, weights, holds)


def _sick(sensor: Sensor) -> float:
    prior = table.PRIOR["sensor_fault"]
    sick, well = table.SENSOR_STATE["sick"][sensor.state], table.SENSOR_STATE["well"][sensor.state]
    return prior * sick / (prior * sick + (1.0 - prior) * well)


def _noted(evidence: Evidence, state: tuple[str, ...]) -> float:
    usual = table.LOSS_NOTED_WHEN_HOT if evidence.asked.hot_s >= HOT_S else table.LOSS_NOTED[HEALTHY]
    noted = max(table.LOSS_NOTED.get(cause, usual) if cause != HEALTHY else usual for cause in state)
    return float(np.log(noted if evidence.loss_noted else 1.0 - noted))


def _gradual(evidence: Evidence, state: tuple[str, ...]) -> float:
    """What comes little by little is likelier behind a change that did, what breaks at once less likely."""
    if evidence.drift is None or evidence.drift.kind != "drift":
        return 0.0
    factors = [table.GRADUAL.get(cause, 1.0) for cause in state]
    return float(np.log(max(factors)))


def _logged_fan(evidence: Evidence, state: tuple[str, ...]) -> float:
    """What the fan's channel showed while the coolant asked for the fan."""
    chances = table.FAN_LOG.get(evidence.fan_log.state) if evidence.fan_log is not None else None
    return float(np.log(chances["fan_fault" not in state])) if chances is not None else 0.0


def _prior(evidence: Evidence, state: tuple[str, ...]) -> float:
    value = table.PRIOR[state[0]] if len(state) == 1 else table.PAIR_PRIOR
    for cause in state:
        if cause == "fan_fault":
            value *= 1e-9 if not evidence.has_fan else 1.0
            value *= table.UNSHOWN if evidence.fan_called_s < table.FAN_CALLED_S else 1.0
        if cause.startswith("thermostat") and not evidence.has_thermostat:
            value *= 1e-9
        if cause == "build_mismatch" and not evidence.build_unfit:
            value *= 1e-9
        if cause == "heat_input_high" and evidence.build_unfit:
            value *= table.UNSHOWN
        if cause == "cap_leaking" and not evidence.loss_noted:
            value *= table.UNSHOWN
        if cause == "air_in_system" and evidence.work is not None:
            value *= table.AFTER_WORK
    return value


def _ways(missed: Missed, state: tuple[str, ...]) -> float:
    """Gaussian in each way that the balance does not hold; the cause with the widest spread speaks for a pair."""
    means, sds = zip(*(table.WAYS_OF.get(cause, table.WAYS_OF[HEALTHY]) for cause in state), strict=True)
    mean, sd = np.mean(means, axis=0), np.max(sds, axis=0)
    gone = (missed.size - mean) / sd
    return float(-0.5 * (np.minimum(gone**2, 9.0)).sum() - np.log(sd).sum())
