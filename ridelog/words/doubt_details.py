"""What a doubt saw of a value: `detail` of a mark, beside its kind (`terms.quality_words`)."""

from __future__ import annotations

# air temperature


def follows_coolant(slope: float, span_c: float, correlation: float) -> str:
    """The sensor goes with the engine."""
    return (
        f"rises and falls with the coolant ({slope:.2f} C for each C of it, {span_c:.0f} C in all, correlation "
        f"{correlation:.2f}): the engine or its radiator heats this sensor"
    )


def cold_start_stands(seen: str, start_c: float) -> str:
    """Its first minutes can be used."""
    return f"{seen}. Left out but for the cold start, where it read {start_c:.1f} C: that stands for the ride"


def no_cold_start(seen: str, start_c: float) -> str:
    """Nothing of it can."""
    return (
        f"{seen}. Left out; at its start it read {start_c:.1f} C with the engine warm already, so give the air "
        "temperature by hand (--ambient)"
    )


def heated_at_stop(most_c: float) -> str:
    """Warmer at stops."""
    return (
        f"rises by up to {most_c:.0f} C at a stop and falls again on the move: the standing engine or the sun heats "
        "this sensor. Left out until it has cooled"
    )


# two coolant sensors


def one_stuck(other_moves_c: float) -> str:
    """One does not move."""
    return (
        f"stands exactly still while the other coolant sensor moves by {other_moves_c:.0f} C and more: this one is "
        "stuck"
    )


def sensors_differ(one: str, two: str, off_c: tuple[float, float, float], drift_c: float | None) -> str:
    """What the second reads against the first (5 %, median, 95 %), and its change over the ride (None: hardly)."""
    low, middle, high = off_c
    drift = "much the same" if drift_c is None else f"drifting by {drift_c:+.1f} C"
    return (
        f"sensor {two} reads {middle:+.1f} C against sensor {one} at the median ({low:+.1f} to {high:+.1f}), {drift} "
        "from the first third of the ride to the last"
    )


def neither_wrong(seen: str, used: str) -> str:
    """Which one is right is open."""
    return (
        f"{seen}; which one is right can't be told (on two sides of a radiator both may be). Sensor {used} is used; "
        "compare both with the air after a cold night"
    )


def jumps_more(sensor: str, times: int) -> str:
    """One is not to be believed."""
    return f"sensor {sensor} jumps {times} times faster than coolant can change"


def off_when_cold(near: str, near_c: float, far: str, far_c: float) -> str:
    """One reads the air at a cold start."""
    return (
        f"at the cold start sensor {near} reads the air within {near_c:.1f} C, sensor {far} is {far_c:.0f} C away from "
        "it"
    )


# speed and positions of a satellite receiver

NO_FIX = "the receiver itself says that it has no fix; what it gives meanwhile is left out"


def poor_fix(hdop: float) -> str:
    """Its own mark of a poor fix."""
    return f"the receiver itself calls its fix poor (dilution of precision {hdop:g} or more): left out"


def speed_leaps(times: int) -> str:
    """Too many leaps of its speed."""
    return f"leaps {times} times by more than tyres can grip: nothing in it can be trusted"


def false_speed(before_kmh: float, top_kmh: float) -> str:
    """One leap and back."""
    return (
        f"from {before_kmh:.0f} to {top_kmh:.0f} km/h and back, both faster than tyres can grip: reflected signals "
        "(walls, trees, rock) do that"
    )


def late_fix(before_kmh: float, lasted_s: float, after_kmh: float) -> str:
    """A speed that stood still, then leapt."""
    return (
        f"exactly {before_kmh:.0f} km/h for {lasted_s:.0f} s, then {after_kmh:.0f} km/h from one reading to the next: "
        "the receiver had no fix yet, or had lost it"
    )


def speed_against_way(times: int, total_s: int) -> str:
    """Too many contradictions of speed and positions."""
    return (
        f"speed and positions disagree {times} times, {total_s} s in all: one of them is false, which one can't be "
        "told. Both are used; compare the receiver with a wheel"
    )


def positions_stand(kmh: float, lasted_s: int) -> str:
    """Speed without way."""
    return f"{kmh:.0f} km/h while the positions stand for {lasted_s} s"


def so_speed_false(seen: str, why: str) -> str:
    """What follows from it."""
    return f"{seen} and {why}: the speed is false"


def frozen(lasted_s: int) -> str:
    """The receiver repeats itself."""
    return f"speed and position are repeated to the last digit for {lasted_s} s: no fix"


WHEEL_TOO = "so does the wheel"
WHEEL_ROLLS = "the wheel rolls"
WHEEL_STANDS = "the wheel stands"
ENGINE_OFF = "the engine is off"
REPEATED = "they are repeated to the last digit"


def so_positions_out(seen: str, why: str) -> str:
    """What follows from it."""
    return f"{seen}, yet {why}: positions left out"


def so_reflected(seen: str) -> str:
    """What follows from it."""
    return f"{seen} within metres: the speed is false (reflected signals, or a first fix settling)"


def positions_move(kmh: float, lasted_s: int) -> str:
    """Way without speed."""
    return f"0 km/h while the positions move at {kmh:.0f} km/h for {lasted_s} s"


def so_wheel_rolls(seen: str) -> str:
    """What follows from it."""
    return f"{seen}, and the wheel rolls: the speed is false"


def so_wander(seen: str, why: str) -> str:
    """What follows from it."""
    return f"{seen}, and {why}: the positions wander"


def so_straight_on(seen: str, straight_m: float) -> str:
    """What follows from it."""
    return f"{seen}, {straight_m:.0f} m on: the speed is false (poor sight of the sky)"


def so_open(seen: str) -> str:
    """What can't be told."""
    return (
        f"{seen}: whether the speed is lost or the positions wander can't be told without a wheel speed. Both are used"
    )


NULL_ISLAND = "latitude and longitude are 0: no fix"


def position_leaps(times: int) -> str:
    """Too many leaps of the positions."""
    return f"leaps {times} times faster than anything on wheels: nothing in it can be trusted"


def position_jump(far_m: float) -> str:
    """One leap and back."""
    return (
        f"{far_m:.0f} m away and back, faster than anything on wheels: reflected signals (walls, trees, rock) do that"
    )


# engine speed


IGNITION = {
    kind: "{value} 1/min, " + seen + ". Check its lead and sensor"
    for kind, seen in (
        ("doubled", "twice the engine speed before and after: a pulse too many, as ignition noise gives"),
        ("halved", "half the engine speed before and after: pulses lost"),
        ("lost", "no engine speed for an instant, the same before and after: pulses lost"),
    )
}
"""By the kind of excursion; `{value}` is put in later."""


def spikes_together(spikes: int, others: str) -> str:
    """Spikes of several channels at once."""
    return (
        f"{spikes} spikes fall together with spikes of {others}: a disturbance in the wiring, not the engine. The "
        "spikes are left out, the rest is used; check ground, plug cap and leads"
    )


def pulses(fits_pct: float, otherwise_pct: float, *, doubled: bool) -> str:
    """Twice (`doubled`) or half what the gearing gives."""
    word = "twice" if doubled else "half"
    return (
        f"engine speed over ground speed is {word} what the bike file's gearing gives, for {fits_pct:.0f} % of the "
        f"steady riding ({otherwise_pct:.0f} % at most fits otherwise): the logger may be set to the wrong number of "
        "pulses a turn. Used as logged; set the logger right, or correct the gearing in the bike file"
    )


# any sensor


def dropout(seconds: float) -> str:
    """Nothing was logged."""
    return f"no value for {seconds:.0f} s"


TOO_FAST = "changes faster than the quantity can, over and over: nothing in it can be trusted"


def sentinel(unit: str) -> str:
    """A number written where there was no reading; `{value}` is put in later."""
    return f"{{value}} {unit} stands for no value"


def spike(unit: str) -> str:
    """A value unlike its neighbours; `{value}` is put in later."""
    return f"{{value}} {unit} stands out from its neighbours faster than the quantity can change"


def reached_too_fast(unit: str) -> str:
    """A step; `{value}` is put in later."""
    return f"{{value}} {unit} is reached faster than the quantity can change"


def out_of_range(unit: str, low: float, high: float) -> str:
    """A value no healthy sensor gives; `{value}` is put in later."""
    return f"{{value}} {unit} is outside {low:g} to {high:g}"


STUCK = "stays at {value} C for minutes while the engine's load varies: sensor stuck, or a substitute value"


def substitute(start_c: float, cap_c: float, spread_c: float, held_min: float) -> str:
    """A curve that no engine makes."""
    return (
        f"climbs from {start_c:g} to {cap_c:g} C along one smooth curve (within {spread_c:.1f} C) and stays at exactly "
        f"{cap_c:g} C for {held_min:.0f} min, whatever the load: this looks like a substitute value of the control "
        "unit, not a measurement. Check the sensor, its plug and the fault memory"
    )


def stop_moved(after_pct: float, since: str, before_pct: float) -> str:
    """Closed reads something else than before."""
    points = abs(after_pct - before_pct)
    return (
        f"closed, it reads {after_pct:.1f} % from {since} on and {before_pct:.1f} % before: the stop has moved. The "
        "stops are learned anew from there; openings close to the change may be off by "
        f"{points:.0f} {'point' if round(points) == 1 else 'points'}. Check the sensor's seat, plug and cable"
    )


# carried, or its engine not logged


def nothing_of_engine(minutes: float) -> str:
    """No channel of the engine has a value."""
    return (
        f"moves for {minutes:.0f} min with nothing logged of the engine: whether the bike was carried with its "
        "ignition off or the link to the engine broke can't be told. It counts as riding"
    )


def engine_at_zero(kmh: float, minutes: float) -> str:
    """Moving with an engine speed of 0."""
    return f"{kmh:.0f} km/h on average for {minutes:.0f} min with an engine speed of 0"


def throttle_moves(points: float) -> str:
    """A sign that it ran."""
    return f"the throttle moves by {points:.0f} %"


def coolant_warms(rise_c: float) -> str:
    """Another one."""
    return f"the coolant warms by {rise_c:.0f} C"


def engine_ran(seen: str, why: str) -> str:
    """What follows from one of them."""
    return f"{seen}, yet {why}: the engine ran and its speed was not logged. Check the engine speed lead"


def no_engine_speed(seen: str) -> str:
    """The log never has another engine speed."""
    return (
        f"{seen}, and never another in this log: whether the bike was carried or the engine speed lead was off can't "
        "be told. It counts as riding"
    )


HEIGHT_UNKNOWN = ", height not logged"


def downhill(fell_m: float) -> str:
    """How far it went down meanwhile; reads on after `engine_at_zero`."""
    return f", {fell_m:.0f} m downhill"


def carried_or_rolled(seen: str, where: str) -> str:
    """What can't be told."""
    return f"{seen}{where}: whether the bike was carried or rolled can't be told. It counts as riding"


def carried(seen: str) -> str:
    """What follows where nothing speaks against it."""
    return f"{seen}: the bike was carried (van, trailer), or pulled. It does not count as riding"
