"""Every sentence of a diagnosis: causes, evidence, checks, cautions.

A sentence gives its number with unit and band, says what the log shows and no more, blames nobody, and leaves the last
word to a technician. Plain text with `C` for degrees Celsius, speeds in km/h.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ridelog.analysis import thermal
from ridelog.analysis.diagnosis_asked import HOT_S
from ridelog.analysis.diagnosis_shift import Apart
from ridelog.analysis.diagnosis_weigh import Evidence, likelier
from ridelog.words.cause_checks import CAUSE_CHECKS
from ridelog.words.terms import QUALITY_WORDS, duration

if TYPE_CHECKING:
    from ridelog.bike import Bike

CAUSE_WORDS: dict[str, str] = {
    "load_without_conservative_map": "heavy load on the standard map, where the sheet advises the conservative one",
    "terrain_load": "the terrain asks for it",
    "standstill_soak": "standing with the engine running",
    "hot_conditions": "a hot day",
    "airflow_blocked": "too little air through the radiators",
    "fan_fault": "the fan does not help",
    "coolant_flow_low": "too little coolant flows",
    "thermostat_restricted": "the thermostat does not open fully",
    "thermostat_stuck_open": "the thermostat stays open",
    "air_in_system": "air in the cooling system",
    "cap_leaking": "the cap or a seal lets coolant go",
    "heat_input_high": "the engine makes more heat for the same work",
    "combustion_gas_in_coolant": "combustion gas may get into the coolant",
    "build_mismatch": "the build does not suit the elevation or the fuel",
    "sensor_fault": "the coolant sensor can't be trusted",
    "normal": "nothing wrong: the bike sheds heat as it does on its healthy rides",
}

FAMILY_WORDS: dict[str, str] = {
    "asked_for": "asked for by ground, standing or day",
    "air_side": "air side",
    "coolant_side": "coolant side",
    "heat_made": "heat made",
    "sensor": "sensor",
    "healthy": "healthy",
}

CAUTIONS: tuple[str, ...] = (
    "Never open a hot cooling system: it can spray boiling coolant. Coolant is poisonous.",
    "A lean or detonating two-stroke can seize without warning, and a coolant sensor can't see it.",
    "These are likelihoods from one log. Decide with a qualified technician, the bike's handbook and local rules.",
)

NOT_ADVISED = "No stretch of this ride called for the conservative map."
MAP_NOT_KNOWN = "The map in use was not logged on the advised stretches, so nothing can be said of the advice."
MAP_NOT_LOGGED = (
    "The map in use was not logged but worked out, or taken from notes: that can't show that the advice was not "
    "followed."
)
MAP_MAY_BE_SWAPPED = (
    "The log shows the conservative map mostly where it is not advised and the standard one where it is: the slot "
    "numbers may be the other way round in the bike file. Nothing is said of the advice until that is checked."
)
HEAT_SPEAKS_AGAINST_NUMBERS = (
    "On other rides of this bike the map that the log names conservative made more heat than the other: its numbers "
    "may be the other way round in the bike file. Nothing is said of the advice until that is checked."
)
ONE_MAP_ONLY = (
    "The log shows one map all through, by the bike file the standard one. That number alone is no proof of the map in "
    "use, so neither yes nor no. Switch the map once at a standstill, so that the log shows both."
)
NOT_SURE_ADVISED = (
    "It is not sure that the sheet speaks of the stretches on the standard map, so nothing is said of the advice."
)

_LOSS = re.compile(
    r"\b(coolant|radiator|overflow|expansion tank)\b[^.,;]*\b(lost|loss|low|leak\w*|missing|overflow\w*|drip\w*)"
    r"|\bwater\b[^.,;]*\b(lost|loss|leak\w*|overflow\w*)"
    r"|\b(lost|loss of|leak\w*|topped up|spat|drip\w*)( \w+){0,3} (coolant|water|radiator|cap|hose|overflow)\b"
    r"|\bcoolant (at|in|from|out of) the overflow\b|\blevel (was |is )?low\b|\bboil\w* over\b",
    re.IGNORECASE,
)
_NO_LOSS = re.compile(r"\b(no|without|not|never|nothing|zero)\b[^.,;]*", re.IGNORECASE)


def tells_of_loss(note: str) -> bool:
    """Whether a note reports lost coolant; a part that begins with "no" or "without" is not heard."""
    return bool(_LOSS.search(_NO_LOSS.sub("", note)))


@dataclass(frozen=True)
class Facts:
    """What the sentences speak of."""

    evidence: Evidence
    shift: Apart | None
    error_c: float | None
    baseline_rides: int
    bike: Bike | None


@dataclass(frozen=True)
class _Expected:
    """A parameter a cause moves: its index, which way, the smallest telling shift, and what it is called."""

    index: int
    sign: float
    least: float
    subject: str
    more: str
    less: str


_HEAT = _Expected(thermal.HEAT, 1.0, 0.08, "for each kW the engine puts {} heat into the coolant", "more", "less")
_FLOW = _Expected(thermal.FLOW, -1.0, 0.08, "on the move the radiators shed {} heat", "more", "less")
_STILL_LESS = _Expected(thermal.STILL, -1.0, 0.2, "with hardly any air the bike sheds {} heat", "more", "less")
_FAST = _Expected(thermal.CORE, -1.0, 0.1, "cooling grows {} with speed, as where coolant is short", "more", "less")

_EXPECTED: dict[str, tuple[_Expected, ...]] = {
    "airflow_blocked": (_FLOW,),
    "coolant_flow_low": (_FLOW, _FAST),
    "heat_input_high": (_HEAT,),
    "build_mismatch": (_HEAT,),
    "thermostat_restricted": (_FLOW,),
}


def speaks_for(cause: str, facts: Facts) -> tuple[str, ...]:
    """What the ride shows that the cause would make."""
    parts = (*_shifts(cause, facts, fits=True), *_own(cause, facts)[0], *_together(cause, facts)[0])
    return tuple(_sentence(part) for part in parts)


def speaks_against(cause: str, facts: Facts) -> tuple[str, ...]:
    """What the ride shows that the cause would not make, or does not show."""
    parts = (*_shifts(cause, facts, fits=False), *_own(cause, facts)[1], *_together(cause, facts)[1])
    return tuple(_sentence(part) for part in parts)


def check_next(cause: str) -> tuple[str, ...]:
    """What to look at, cheapest and safest first, with its caution."""
    return CAUSE_CHECKS[cause]


def summary(
    conclusion: str, probability: float, *, second: str | None, reason: str | None, advice: str
) -> tuple[str, ...]:
    """The answer in a few sentences; `probability`: that of the likeliest cause."""
    if conclusion == "not_enough_evidence":
        head = f"This ride does not settle the cause: {reason}." if reason else "This ride does not settle the cause."
        return (head, advice)
    head = f"Most likely: {CAUSE_WORDS[conclusion]} ({100.0 * probability:.0f} %)."
    if second is None:
        return (head, advice)
    return (head, f"With it, more likely than not: {CAUSE_WORDS[second]}.", advice)


def not_fitted(reason: str | None) -> str:
    """Why a ride without a heat balance settles nothing."""
    return f"no heat balance can be made of it ({reason})" if reason else "no heat balance can be made of it"


def undecided(causes: Sequence[str], chances: Sequence[float]) -> str:
    """Which causes are left standing."""
    told = [f"{CAUSE_WORDS[cause]} ({100.0 * chance:.0f} %)" for cause, chance in zip(causes, chances, strict=True)]
    return f"it could be {' or '.join(told)}, and others are not ruled out"


def followed(share: float, advised_s: float) -> str:
    """The advice was followed."""
    return f"The conservative map was on for {100.0 * share:.0f} % of {duration(advised_s)} where it is advised."


def partly(share: float, advised_s: float) -> str:
    """The advice was followed in part."""
    return (
        f"The conservative map was on for {100.0 * share:.0f} % of {duration(advised_s)} where it is advised: "
        "some of it, so neither yes nor no."
    )


def on_standard(share: float, advised_s: float) -> str:
    """The advice was not followed."""
    return (
        f"The log shows the standard map for {100.0 * (1.0 - share):.0f} % of {duration(advised_s)} where the sheet "
        "advises the conservative one."
    )


def against_what(rides: int, level: str) -> str:
    """What the ride was held against."""
    if not rides:
        return "There is no other ride to go by, so the ride is held against what is usual for such bikes."
    whose = "of this bike" if level == "bike" else "of this bike or of others of its build"
    return f"Held against {rides} ride{'s' if rides > 1 else ''} {whose} that nobody marked faulty."


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:].rstrip(".") + "."


def _beside(facts: Facts) -> str:
    count = facts.baseline_rides
    if not count:
        return "than is usual for such bikes"
    return f"than on the {count} ride{'s' if count > 1 else ''} it is held against"


def _shifts(cause: str, facts: Facts, *, fits: bool) -> list[str]:
    """Sentences on the balance's parameters: those that moved the cause's way, or those that did not though the ride
    tells."""
    if facts.shift is None:
        return []
    expected = _EXPECTED.get(cause, ())
    if cause == "normal":
        return _normal(facts.shift, facts, fits=fits)
    found = []
    for one in expected:
        shift, sd = float(facts.shift.shift[one.index]), float(facts.shift.sd[one.index])
        towards = one.sign * shift
        if fits and towards > sd and towards > one.least:
            found.append(_moved(one, shift, sd, facts))
        elif not fits and towards < sd and sd < 2.0 * one.least:
            found.append(f"{_moved(one, shift, sd, facts)}, no more than healthy rides differ")
    return found


def _normal(shift: Apart, facts: Facts, *, fits: bool) -> list[str]:
    found = []
    for one in (_HEAT, _FLOW):
        size, sd = float(shift.shift[one.index]), float(shift.sd[one.index])
        same = abs(size) <= 1.5 * sd or abs(size) < 0.06
        if fits == same and sd < 0.2:
            found.append(_moved(one, size, sd, facts))
    return found


def _moved(one: _Expected, shift: float, sd: float, facts: Facts) -> str:
    size, low, high = (math.expm1(value) * 100.0 for value in (shift, shift - 1.96 * sd, shift + 1.96 * sd))
    word = one.more if size >= 0.0 else one.less
    return f"{one.subject.format(f'{abs(size):.0f} % {word}')} {_beside(facts)} (95 %: {low:+.0f} to {high:+.0f} %)"


_Said = tuple[list[str], list[str]]
"""Sentences for and against."""


def _own(cause: str, facts: Facts) -> _Said:
    """Sentences of a cause's own: for, against."""
    speak = _SPEAKERS.get(cause)
    return speak(cause, facts) if speak is not None else ([], [])


def _together(cause: str, facts: Facts) -> _Said:
    """What all of the balance and the coolant's leaps say for a cause against a healthy bike."""
    times = likelier(facts.evidence, cause)
    if times is None:
        return [], []
    told = "taken together, heating, cooling, warm-up and leaps of this ride are {} with this than with a healthy bike"
    if times >= TELLING:
        size = "over 1000 times likelier" if times > 1000.0 else f"{times:.0f} times likelier"
        return [told.format(size)], []
    if times <= 1.0 / TELLING:
        size = "over 1000 times less likely" if times < 1e-3 else f"{1.0 / times:.0f} times less likely"
        return [], [told.format(size)]
    return [], [told.format("about as likely")]


TELLING = 2.0


def _hot(facts: Facts) -> str:
    asked = facts.evidence.asked
    return f"the coolant was over {asked.hot_c:.0f} C for {duration(asked.hot_s)} with the engine running"


def _cap(cause: str, facts: Facts) -> _Said:  # noqa: ARG001 - all speakers are called alike
    if facts.evidence.loss_noted:
        return ["the notes of this ride speak of lost coolant"], []
    return [], ["no note speaks of lost coolant, and a log can't see it"]


def _build(cause: str, facts: Facts) -> _Said:  # noqa: ARG001
    if facts.evidence.build_unfit:
        return [
            "the bike file's compression or fuel does not suit the elevation ridden, by the advice sheet's rows"
        ], []
    return [], ["nothing in the bike file speaks against compression and fuel at the elevation ridden"]


def _ground(cause: str, facts: Facts) -> _Said:
    """Hot or not speaks for the ground or for a normal ride."""
    was_hot = facts.evidence.asked.hot_s >= HOT_S
    return ([_hot(facts)], []) if was_hot == (cause == "terrain_load") else ([], [_hot(facts)])


def _map(cause: str, facts: Facts) -> _Said:  # noqa: ARG001
    asked = facts.evidence.asked
    if asked.hot_s <= 0.0 or asked.missed_share <= 0.0:
        return [], ["no hot time falls on an advised stretch that was surely ridden on the standard map"]
    share = f"{100.0 * asked.missed_share:.0f} % of the hot time falls on advised stretches on the standard map"
    return ([_hot(facts), share], []) if asked.missed_share >= 0.5 else ([], [share])


def _standing(cause: str, facts: Facts) -> _Said:  # noqa: ARG001
    asked = facts.evidence.asked
    share = f"{100.0 * asked.standing_share:.0f} % of the hot time was spent standing"
    return ([share], []) if asked.standing_share >= 0.5 and asked.hot_s > 0.0 else ([], [share])


def _sensor(cause: str, facts: Facts) -> _Said:  # noqa: ARG001
    sensor = facts.evidence.sensor
    if sensor.state == "well":
        return [], ["the coolant trace bears no mark of sensor trouble"]
    kinds = ", ".join(f"{QUALITY_WORDS.get(kind, kind)} ({count})" for kind, count in sorted(sensor.kinds.items()))
    return [f"{100.0 * sensor.share:.1f} % of the ride is marked on the coolant sensor: {kinds}"], []


def _leaps(cause: str, facts: Facts) -> _Said:
    found = facts.evidence.leaps
    if found is None:
        return [], []
    total = found.up_loaded + found.up_idle + found.down
    if total == 0:
        return [], [f"the coolant made no leap in {found.minutes:.0f} min that load and cooling do not explain"]
    told = (
        f"leaps that load and cooling do not explain, of up to {found.largest_c:.1f} C in four seconds: up under load "
        f"{found.up_loaded} in {found.loaded_min:.0f} min, up without load {found.up_idle} in {found.idle_min:.0f} "
        f"min, down {found.down}"
    )
    loaded = found.up_loaded > found.up_idle + found.down
    if cause == "combustion_gas_in_coolant":
        return ([told], []) if loaded else ([], [told])
    return ([], [told]) if loaded or found.down < 3 else ([told], [])


def _fan(cause: str, facts: Facts) -> _Said:  # noqa: ARG001
    evidence, bike = facts.evidence, facts.bike
    if bike is None or bike.fan_on_c is None:
        return [], ["the bike file names no fan"]
    called = f"the coolant was at or over the fan's switch point of {bike.fan_on_c:.0f} C for "
    if evidence.fan_called_s < 45.0:
        return [], [f"{called}{evidence.fan_called_s:.0f} s only, so the fan was hardly put to the test"]
    if facts.shift is None:
        return [], []
    shift, sd = float(facts.shift.shift[thermal.FAN]), float(facts.shift.sd[thermal.FAN])
    tested = f"{called}{duration(evidence.fan_called_s)}"
    if shift + sd < -3.0:
        return [f"{tested}, and it cooled there as if little or no air were drawn"], []
    if shift + 2.0 * sd > 0.0 and sd < 4.0:
        return [], [f"{tested}, and it cooled there as it does with the fan running"]
    return [], [f"{tested}, which does not tell how much air was drawn"]


def _thermostat(cause: str, facts: Facts) -> _Said:
    if facts.bike is None or facts.bike.thermostat_c is None:
        return [], ["the bike file names no thermostat"]
    if facts.shift is None:
        return [], []
    shift, sd = float(facts.shift.shift[thermal.OPENS]), float(facts.shift.sd[thermal.OPENS])
    when = "later" if shift > 0.0 else "earlier"
    told = f"the warm-up looks as if it opened {abs(shift):.0f} C {when} than on healthy rides"
    if sd > 6.0:
        return [], ["the ride does not show the thermostat opening"]
    if cause == "thermostat_stuck_open":
        return ([told], []) if shift < -1.5 * sd and shift < -2.0 else ([], [told])
    return ([told], []) if shift > 1.5 * sd and shift > 2.0 else ([], [])


def _day(cause: str, facts: Facts) -> _Said:  # noqa: ARG001
    asked = facts.evidence.asked
    if asked.ambient_c is None:
        return [], ["the air's temperature is not known"]
    air = f"the air was at {asked.ambient_c:.0f} C"
    if asked.ordinary_day_s is None or asked.hot_s <= 0.0:
        return [], [f"{air}, and no time was hot"]
    left = f"{air}; on a day of 25 C about {duration(asked.ordinary_day_s)} of {duration(asked.hot_s)} would be left"
    return ([left], []) if asked.hot_day else ([], [left])


_SPEAKERS: dict[str, Callable[[str, Facts], _Said]] = {
    "sensor_fault": _sensor,
    "combustion_gas_in_coolant": _leaps,
    "air_in_system": _leaps,
    "fan_fault": _fan,
    "thermostat_restricted": _thermostat,
    "thermostat_stuck_open": _thermostat,
    "cap_leaking": _cap,
    "build_mismatch": _build,
    "normal": _ground,
    "terrain_load": _ground,
    "load_without_conservative_map": _map,
    "standstill_soak": _standing,
    "hot_conditions": _day,
}
