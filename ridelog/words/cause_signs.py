"""What speaks for and against a cause by signs of its own: jumps, the fan, the thermostat, the sensor, what was asked.

A sentence says what the log shows, with unit and band, and no more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ridelog.analysis import thermal
from ridelog.analysis.diagnosis_asked import HOT_S, ORDINARY_C
from ridelog.analysis.diagnosis_shift import Apart
from ridelog.analysis.diagnosis_table import FAN_CALLED_S
from ridelog.analysis.diagnosis_weigh import Evidence
from ridelog.words.terms import QUALITY_WORDS, duration

if TYPE_CHECKING:
    from ridelog.bike import Bike


@dataclass(frozen=True)
class Facts:
    """What the sentences speak of."""

    evidence: Evidence
    shift: Apart | None
    error_c: float | None
    baseline_rides: int
    bike: Bike | None


Said = tuple[list[str], list[str]]
"""Sentences for and against."""


def own(cause: str, facts: Facts) -> Said:
    """Sentences of a cause's own."""
    speak = _SPEAKERS.get(cause)
    return speak(cause, facts) if speak is not None else ([], [])


def _hot(facts: Facts) -> str:
    asked = facts.evidence.asked
    if asked.hot_s <= 0.0:
        return f"the coolant was never over {asked.hot_c:.0f} C with the engine running"
    return f"the coolant was over {asked.hot_c:.0f} C for {duration(asked.hot_s)} with the engine running"


def _cap(cause: str, facts: Facts) -> Said:  # noqa: ARG001 - all speakers are called alike
    if not facts.evidence.loss_noted:
        return [], ["no note speaks of lost coolant, and a log can't see it"]
    noted = "the notes of this ride speak of lost coolant"
    if facts.evidence.asked.hot_s < HOT_S:
        return [f"{noted}, though {_hot(facts)}"], []
    return [noted], [f"{_hot(facts)}: coolant may have been driven out by heat alone"]


def _build(cause: str, facts: Facts) -> Said:  # noqa: ARG001
    if facts.evidence.build_unfit:
        told = "by the advice sheet's table, the build in the bike file does not suit the elevation ridden or the fuel"
        return [told], []
    return [], ["nothing in the bike file speaks against compression and fuel at the elevation ridden"]


def _ground(cause: str, facts: Facts) -> Said:
    """Hot or not speaks for the ground or for a normal ride."""
    was_hot = facts.evidence.asked.hot_s >= HOT_S
    return ([_hot(facts)], []) if was_hot == (cause == "terrain_load") else ([], [_hot(facts)])


def _map(cause: str, facts: Facts) -> Said:  # noqa: ARG001
    asked = facts.evidence.asked
    if asked.hot_s <= 0.0 or asked.missed_share <= 0.0:
        return [], ["no hot time falls on an advised stretch that was surely ridden on the standard map"]
    share = f"{100.0 * asked.missed_share:.0f} % of the hot time falls on advised stretches on the standard map"
    return ([_hot(facts), share], []) if asked.missed_share >= 0.5 else ([], [share])


def _standing(cause: str, facts: Facts) -> Said:  # noqa: ARG001
    asked = facts.evidence.asked
    if asked.hot_s <= 0.0:
        return [], [_hot(facts)]
    share = f"{100.0 * asked.standing_share:.0f} % of the hot time was spent standing with the engine running"
    return ([_hot(facts), share], []) if asked.standing_share >= 0.5 else ([], [share])


def _sensor(cause: str, facts: Facts) -> Said:  # noqa: ARG001
    sensor = facts.evidence.sensor
    if sensor.state == "well":
        return [], ["the coolant trace bears no mark of sensor trouble"]
    kinds = ", ".join(f"{QUALITY_WORDS.get(kind, kind)} ({count})" for kind, count in sorted(sensor.kinds.items()))
    return [f"{100.0 * sensor.share:.1f} % of the ride is marked on the coolant sensor: {kinds}"], []


def _jumps(cause: str, facts: Facts) -> Said:
    found = facts.evidence.leaps
    pro, con = _falls(facts) if cause == "air_in_system" else ([], [])
    if found is None:
        return pro, con
    total = found.up_loaded + found.up_idle + found.down
    if total == 0:
        return pro, [*con, f"the coolant made no jump in {found.minutes:.0f} min that load and cooling don't explain"]
    told = (
        f"jumps that load and cooling don't explain, of up to {found.largest_c:.1f} C in four seconds: up under load "
        f"{found.up_loaded} in {found.loaded_min:.0f} min, up without load {found.up_idle} in {found.idle_min:.0f} "
        f"min, down {found.down}"
    )
    loaded = found.up_loaded > found.up_idle + found.down
    fits = loaded if cause == "combustion_gas_in_coolant" else not loaded and found.down >= 3
    (pro if fits else con).append(told)
    return pro, con


def _air(cause: str, facts: Facts) -> Said:
    pro, con = _jumps(cause, facts)
    work = facts.evidence.work
    if work is None:
        return pro, con
    when = "noted on this ride" if work.days == 0 else f"{work.days} day{'s' if work.days > 1 else ''} before"
    return [*pro, f"the cooling system was opened ({work.what}; {when}), and air is often left in then"], con


def _falls(facts: Facts) -> Said:
    seen = facts.evidence.patterns
    if seen is None or seen.falls == 0:
        return [], []
    times = "once" if seen.falls == 1 else f"{seen.falls} times"
    told = (
        f"{times} in {seen.minutes:.0f} min the coolant fell by 2 C or more within half a minute, though by load and "
        "speed it was bound to rise as much: a sensor in steam or air reads so, and the engine may be hotter than that"
    )
    return [told], []


def _flow(cause: str, facts: Facts) -> Said:  # noqa: ARG001
    return _falls(facts)


def _fan(cause: str, facts: Facts) -> Said:  # noqa: ARG001
    evidence, bike = facts.evidence, facts.bike
    if bike is None or bike.fan_on_c is None:
        return [], ["the bike file names no fan"]
    called = f"the coolant called for the fan (switch point {bike.fan_on_c:.0f} C) for "
    if evidence.fan_called_s < FAN_CALLED_S:
        return [], [f"{called}{evidence.fan_called_s:.0f} s only, so the fan was hardly put to the test"]
    pro, con = _saw_tooth(evidence, bike.fan_on_c)
    _logged_fan(evidence, pro, con)
    if facts.shift is None:
        return pro, con
    shift, sd = float(facts.shift.shift[thermal.FAN]), float(facts.shift.sd[thermal.FAN])
    tested = f"{called}{duration(evidence.fan_called_s)}"
    if shift + sd < -3.0:
        pro.insert(0, f"{tested}, and it cooled there as if little or no air were drawn")
    elif shift + 2.0 * sd > 0.0 and sd < 4.0:
        con.insert(0, f"{tested}, and it cooled there as it does with the fan running")
    else:
        con.insert(0, f"{tested}, which does not tell how much air was drawn")
    return pro, con


def _logged_fan(evidence: Evidence, pro: list[str], con: list[str]) -> None:
    """What the fan's own channel says."""
    log = evidence.fan_log
    if log is None:
        return
    if log.off_s >= FAN_CALLED_S:
        told = f"with the coolant at {log.from_c:.0f} C or more the fan was logged as off for {duration(log.off_s)}"
        if log.state == "off":
            pro.append(f"{told}: it did not run, or its channel shows something else")
        else:
            con.append(f"{told}, yet the coolant turned there {log.turns} times: the channel may be wrong")
    elif log.state == "on":
        con.append(f"the fan was logged as running for {duration(log.on_s)} when the coolant called for it")


def _saw_tooth(evidence: Evidence, fan_on_c: float) -> Said:
    seen = evidence.patterns.fan if evidence.patterns is not None else None
    if seen is None:
        return [], []
    pro: list[str] = []
    con: list[str] = []
    if seen.climb_s > 0.0:
        pro.append(
            f"standing, the coolant climbed {seen.climb_c:.0f} C past the switch point of {fan_on_c:.0f} C within "
            f"{duration(seen.climb_s)} and did not turn"
        )
    if seen.turns > 0:
        times = "once" if seen.turns == 1 else f"{seen.turns} times"
        con.append(
            f"{times} the coolant turned at the switch point and came down again at walking pace or less, as with a fan"
        )
    return pro, con


def _thermostat(cause: str, facts: Facts) -> Said:
    if facts.bike is None or facts.bike.thermostat_c is None:
        return [], ["the bike file names no thermostat"]
    pro, con = _warm_up(cause, facts, facts.bike.thermostat_c)
    if facts.shift is None:
        return pro, con
    shift, sd = float(facts.shift.shift[thermal.OPENS]), float(facts.shift.sd[thermal.OPENS])
    if sd > 6.0:
        return pro, [*con, "the ride does not show the thermostat opening"]
    when = "later" if shift > 0.0 else "earlier"
    told = (
        f"the warm-up looks as if it opened {abs(shift):.0f} C {when} than on healthy rides (95 %: ± {1.96 * sd:.0f} C)"
    )
    if cause == "thermostat_stuck_open":
        if shift < -1.5 * sd and shift < -2.0:
            pro.append(told)
        elif shift > -2.0:
            con.append(told)
    elif shift > 1.5 * sd and shift > 2.0:
        pro.append(told)
    return pro, con


def _warm_up(cause: str, facts: Facts, opens_c: float) -> Said:
    seen = facts.evidence.patterns.warm_up if facts.evidence.patterns is not None else None
    if seen is None:
        return [], []
    if cause == "thermostat_stuck_open":
        if seen.healthy_s is None:
            return [], []
        usual = f"{duration(seen.healthy_s[0])} to {duration(seen.healthy_s[1])} would be usual"
        if seen.taken_s is None:
            return [f"from {seen.from_c:.0f} C it never got to the opening point of {opens_c:.0f} C; {usual}"], []
        took = f"from {seen.from_c:.0f} C it took {duration(seen.taken_s)} to the opening point of {opens_c:.0f} C"
        told = f"{took}; {usual}"
        return ([told], []) if seen.taken_s > seen.healthy_s[1] else ([], [told])
    if seen.later_c is None or seen.healthy_later_c is None:
        return [], []
    low, high = seen.healthy_later_c
    told = (
        f"three minutes after the opening point of {opens_c:.0f} C the coolant was at {seen.later_c:.0f} C; "
        f"{low:.0f} to {high:.0f} C would be usual"
    )
    return ([told], []) if seen.later_c > high + 2.0 else ([], [told])


def _day(cause: str, facts: Facts) -> Said:  # noqa: ARG001
    asked = facts.evidence.asked
    if asked.ambient_c is None:
        return [], ["the air's temperature is not known"]
    air = f"the air was at {asked.ambient_c:.0f} C"
    if asked.ordinary_day_s is None or asked.hot_s <= 0.0:
        return [], [f"{air}, and no time was hot"]
    part = "none" if asked.ordinary_day_s < 0.5 else f"about {duration(asked.ordinary_day_s)}"
    of = f"{part} of the {duration(asked.hot_s)} over {asked.hot_c:.0f} C"
    left = f"{air}; on a day of {ORDINARY_C:.0f} C {of} would be left"
    return ([left], []) if asked.hot_day else ([], [left])


_SPEAKERS: dict[str, Callable[[str, Facts], Said]] = {
    "sensor_fault": _sensor,
    "combustion_gas_in_coolant": _jumps,
    "air_in_system": _air,
    "coolant_flow_low": _flow,
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
