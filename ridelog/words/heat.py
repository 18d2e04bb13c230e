"""What the heat balance says in words, for the command line, the report and the dashboard alike.

Plain text with `C` for degrees Celsius and ordinary spaces; pages write them in their own way. Whole degrees, two
digits for rates, durations no finer than they are known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridelog.constants import (
    ASSUMED_CAPACITY_HIGH_KJ_PER_K,
    ASSUMED_CAPACITY_KJ_PER_K,
    ASSUMED_CAPACITY_LOW_KJ_PER_K,
)
from ridelog.words import terms as words

if TYPE_CHECKING:
    from ridelog.results import Analysis, Band, Exposure, Heat, Segment, WhatIf

DASH = "–"
LONGEST_S = 1200.0
"""The balance follows a stretch for twenty minutes; what takes longer counts as that."""

MOSTLY_BEFORE = 0.5
"""Over this share of certainty from before the ride, a figure rests on earlier knowledge."""

PARAMETER_WORDS: dict[str, str] = {
    "heat": "heat made for each kW",
    "flow": "cooling at 36 km/h",
    "still": "cooling without air",
    "fan": "the fan",
    "core_mps": "how cooling grows with speed",
    "exponent": "how heat grows with power",
    "pace": "how heat changes with engine speed",
    "idle_kw": "heat at idle",
    "lag_s": "the metal's delay",
    "kappa": "the conservative map's effect",
    "closed": "capacity with the thermostat closed",
    "bypass": "cooling past a closed thermostat",
    "opens_c": "where the thermostat opens",
    "ambient_c": "the air's temperature",
}
"""The balance's parameters as a rider reads them."""

_AIR_WORDS = {"given by hand": "as given", "logged": "as logged", "cold start": "taken from the cold start"}
_LOAD_WORDS = {
    "throttle": "Power is figured from throttle, engine speed and the bike file's curve.",
    "motion": "There is no throttle in the log, so power is figured from the bike's motion on firm ground: in deep "
    "ground "
    "that is too little.",
}


SETTLE_NOTE = (
    "Settles at: where the coolant would end up if the stretch went on. Limit: when it would then pass the highest "
    "threshold. Bands of 95 %."
)


def settle(segment: Segment) -> str:
    """Where the coolant would settle if the stretch went on: `127 C (118 to 136)`, or a dash."""
    if segment.settle_c is None:
        return DASH
    text = f"{segment.settle_c:.0f} C"
    if segment.settle_low_c is not None and segment.settle_high_c is not None:
        text += f" ({segment.settle_low_c:.0f} to {segment.settle_high_c:.0f})"
    return text


def limit_after(segment: Segment) -> str:
    """When the limit would be reached at this load: `after 2 min 20 s (1 min 50 s to never)`, or a dash."""
    if segment.settle_c is None or segment.coolant_start_c is None:
        return DASH
    value, low, high = segment.limit_after_s, segment.limit_after_low_s, segment.limit_after_high_s
    if value is not None and value <= 0.0:
        return "over it from the start"
    if value is None:
        return "never at this load" if low is None else f"never (at worst after {_after(low)})"
    text = f"after {_after(value)}"
    soon, late = _after(low if low is not None else value), "never" if high is None else _after(high)
    return text if soon == late else f"{text} ({soon} to {late})"


def _after(seconds: float) -> str:
    """A time ahead, no finer than it can be known."""
    if seconds >= LONGEST_S:
        return "over 20 min"
    grain = 1 if seconds < 30 else 5 if seconds < 120 else 10
    return words.duration(max(1, round(seconds / grain)) * grain)


def estimated(row: Exposure) -> str:
    """Time above where the coolant was not logged: `2 min 10 s (50 s to 4 min 00 s)`, or a dash."""
    if row.estimated_s is None or row.estimated_low_s is None or row.estimated_high_s is None:
        return DASH
    return f"{_whole(row.estimated_s)} ({_whole(row.estimated_low_s)} to {_whole(row.estimated_high_s)})"


def _whole(seconds: float) -> str:
    """A duration in whole seconds: what is estimated has no tenths."""
    return f"{round(seconds)} s" if seconds < 59.5 else words.duration(round(seconds))


def what_if_rows(analysis: Analysis) -> list[tuple[str, str, str]]:
    """A row a threshold: its name, the time as it was, and on the conservative map; empty where no stretch was advised
    or nothing can be told."""
    told = analysis.what_if
    if told is None or not any(s.advised_map == "conservative" for s in analysis.segments):
        return []
    known = {row.threshold_c: row for row in analysis.exposure}
    rows = []
    for one in told.exposure:
        row = known[one.threshold_c]
        mid, low, high = (_whole(v) for v in (one.mid_s, one.low_s, one.high_s))
        text = mid if low == high else f"{mid} ({low} to {high})"
        rows.append((f"{one.threshold_c:g} C ({row.name})", _whole(row.observed_s), text))
    return rows


WHAT_IF_COLUMNS = ("Above", "As it was", "On the conservative map")


ALWAYS_ON = 0.9995
"""From this share on the map was on all along."""


def what_if_open(analysis: Analysis) -> str | None:
    """Why the same ride on the conservative map can't be told, or need not be; None where it can."""
    if not any(s.advised_map == "conservative" for s in analysis.segments):
        return "No stretch of this ride called for the conservative map."
    if analysis.what_if is None:
        why = "coolant was not logged, so that there is no trace to set it beside"
        if not analysis.heat.fitted:
            why = "this ride has no heat balance"
        return f"The same ride on the conservative map can't be told: {why}."
    kept = analysis.adherence
    if kept.share is not None and kept.share >= ALWAYS_ON and kept.unknown_s <= 0.0:
        return "The conservative map was on wherever it was advised, so nothing would have been otherwise."
    return None


def what_if_map(analysis: Analysis) -> str:
    """What is assumed where the map in use is not known; '' where it is."""
    unknown_s = analysis.adherence.unknown_s
    if unknown_s <= 0.0:
        return ""
    return (
        f"The map in use is not known for {_whole(unknown_s)} of the advised time: the standard one is assumed there, "
        "so the gain may be less."
    )


def what_if_note(told: WhatIf) -> str:
    """Whose figure the map's effect is."""
    band = told.heat_ratio
    figure = f" {band.value:.2f} ({band.low:.2f} to {band.high:.2f})" if band is not None else ""
    basis = {
        "bike": f"the tuner's own figure in the bike file:{figure} of the standard map's heat",
        "library": f"what rides of this bike or its build on both maps show:{figure} of the standard map's heat",
        "default": f"a default, since nobody has given a figure for this bike:{figure} of the standard map's heat, "
        f"which "
        "may be no gain at all",
    }[told.basis]
    return (
        f"The same ride with the conservative map on from the end of the time to switch in every advised stretch. Its "
        f"effect is {basis}. What retarded ignition saves the walls goes out with the exhaust."
    )


def heat_lines(analysis: Analysis) -> list[tuple[str, str]]:
    """What was found, as pairs of a short name and a sentence or two; where nothing was fitted, why."""
    heat = analysis.heat
    if not heat.fitted:
        return _not_fitted(heat, analysis.basis.prior.level)
    found = [("Heat made", _made(heat.heat_input))] if heat.heat_input is not None else []
    found.append(("Heat shed", _shed(heat)))
    if heat.fan_step_per_s is not None:
        found.append(("Fan", _fan(heat, heat.fan_step_per_s)))
    if heat.time_constant_s is not None:
        found.append(("Answer", _answers(heat.time_constant_s)))
    found.append(("Error", _error(heat)))
    found.append(("Rests on", _rests(heat, analysis.basis.prior.level)))
    return found


def _not_fitted(heat: Heat, level: str) -> list[tuple[str, str]]:
    reason = (heat.reason or "no reason was kept").rstrip(".")
    found = [("Not fitted", f"{reason[:1].upper()}{reason[1:]}.")]
    if heat.baseline_rides:
        rides = "one other ride" if heat.baseline_rides == 1 else f"{heat.baseline_rides} other rides"
        whose = "bikes of its build" if level == "build" else "the bike"
        text = f"Estimates go by {rides} of {whose}, so a fault since then is not seen."
        found.append(("Instead", text + _beside_readings(heat)))
    else:
        found.append(
            ("So", "It is not told where the coolant would settle, nor what the conservative map would have changed.")
        )
    return found


def _beside_readings(heat: Heat) -> str:
    """How such estimates stand beside what the sensor showed."""
    missed_c, stays_c = heat.estimates_miss_c, heat.persistence_rmse_c
    if missed_c is None or stays_c is None:
        return ""
    text = (
        f" Held against this ride's own readings they miss by {missed_c:.1f} C a minute ahead, where “it stays as it "
        f"is” misses by {stays_c:.1f} C"
    )
    if missed_c < stays_c:
        return f"{text}."
    return f"{text}: either the readings or these estimates are wrong for this ride, so go by neither alone."


def _rates(band: Band, digits: int) -> str:
    return f"{band.value:.{digits}f} ({band.low:.{digits}f} to {band.high:.{digits}f})"


def _made(band: Band) -> str:
    kw = band.value * ASSUMED_CAPACITY_KJ_PER_K
    return (
        f"Each kW at the crank heats the coolant and its metal by {_rates(band, 3)} K/s, at half of peak power and "
        f"80 % of "
        f"peak-power speed. With the {ASSUMED_CAPACITY_KJ_PER_K:g} kJ/K assumed, that is {kw:.1f} kW of heat for "
        f"each kW "
        f"of work ({band.low * ASSUMED_CAPACITY_LOW_KJ_PER_K:.1f} to "
        f"{band.high * ASSUMED_CAPACITY_HIGH_KJ_PER_K:.1f} with "
        f"{ASSUMED_CAPACITY_LOW_KJ_PER_K:g} to {ASSUMED_CAPACITY_HIGH_KJ_PER_K:g} kJ/K). Its scale leans on the bike "
        "file's power curve."
    )


def _shed(heat: Heat) -> str:
    at = {one.speed_mps: one.per_s for one in heat.cooling}
    slow, fast = at[2.0], at[10.0]
    watts = [
        f"{1e3 * fast.value * capacity:.0f}"
        for capacity in (ASSUMED_CAPACITY_KJ_PER_K, ASSUMED_CAPACITY_LOW_KJ_PER_K, ASSUMED_CAPACITY_HIGH_KJ_PER_K)
    ]
    return (
        f"For each degree the coolant is above the air, {60 * slow.value:.2f} K a minute go at walking pace of 7 km/h "
        f"({60 * slow.low:.2f} to {60 * slow.high:.2f}) and {60 * fast.value:.2f} at 36 km/h ({60 * fast.low:.2f} to "
        f"{60 * fast.high:.2f}): walking pace sheds {words.share(slow.value / fast.value)} of what 36 km/h does. With "
        f"the capacity assumed, 36 km/h sheds {watts[0]} W a degree ({watts[1]} to {watts[2]})."
    )


def _fan(heat: Heat, step: Band) -> str:
    still = next((one.per_s for one in heat.cooling if one.speed_mps == 0.0), None)
    text = f"Standing, a running fan adds {60 * step.value:.2f} K a minute a degree ({60 * step.low:.2f} to "
    text += f"{60 * step.high:.2f})"
    if still is not None:
        text += f" to the {60 * still.value:.2f} that go without it"
    if heat.from_prior.get("fan", 0.0) > MOSTLY_BEFORE:
        text += "; this ride says little of it"
    return text + "."


def _answers(band: Band) -> str:
    return (
        f"At 36 km/h the coolant goes 63 % of the way to where it settles in {words.duration(round(band.value, -1))} "
        f"({words.duration(round(band.low, -1))} to {words.duration(round(band.high, -1))})."
    )


def _error(heat: Heat) -> str:
    parts = []
    if heat.rmse_c is not None:
        parts.append(f"A minute ahead the balance misses by {heat.rmse_c:.1f} C on the {heat.windows} windows it was "
                     "fitted to")  # fmt: skip
    if heat.holdout_rmse_c is not None:
        parts.append(f"by {heat.holdout_rmse_c:.1f} C on halves of the ride told from the other half")
    text = ", ".join(parts)
    if heat.persistence_rmse_c is not None:
        text += f"; “it stays as it is” misses by {heat.persistence_rmse_c:.1f} C"
    return text + "."


def _rests(heat: Heat, level: str) -> str:
    told = [PARAMETER_WORDS[n] for n, share in heat.from_prior.items() if share <= MOSTLY_BEFORE]
    before = [PARAMETER_WORDS[n] for n, share in heat.from_prior.items() if share > MOSTLY_BEFORE]
    whose = "rides of its build" if level == "build" else "the bike's other rides"
    others = f"{whose} ({heat.baseline_rides}) and " if heat.baseline_rides else ""
    text = f"This ride tells most of: {', '.join(told) or 'nothing'}."
    if before:
        text += f" On {others}what is usual rest mostly: {', '.join(before)}."
    if heat.ambient_c is not None:
        source = _AIR_WORDS.get(heat.ambient_source or "", heat.ambient_source or "")
        text += f" Air {heat.ambient_c.value:.0f} C ({heat.ambient_c.low:.0f} to {heat.ambient_c.high:.0f}), {source}."
    if heat.load_source in _LOAD_WORDS:
        text += " " + _LOAD_WORDS[heat.load_source]
    return text
