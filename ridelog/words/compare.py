"""Sentences of a comparison: ride against ride, before and after work on the bike, a bike among its build.

Plain text, `C` for degrees Celsius. Differences of temperature are in C too: a rider reads no kelvin.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ridelog.words import terms

if TYPE_CHECKING:
    from ridelog.analysis.matched_records import BuildPlace, Comparison, Figure, GearPair, Scatter, Settle
    from ridelog.results import Band

DASH = "–"

CAUTIONS = (
    "Leave a hot cooling system closed: it scalds.",
    "Coolant sees no piston: a calm comparison does not clear an engine that rattles, loses power or smells hot.",
    "Estimates from logs, no findings. Decide with a qualified technician, the bike's handbook and local rules.",
)

ANSWER_WORDS: dict[str, str] = {
    "hotter": "hotter",
    "cooler": "cooler",
    "same": "the same",
    "cant_tell": "can't tell",
    "more": "more",
    "less": "less",
}

STRETCH_WORDS: dict[str, str] = {
    "ridden": "as the first side was ridden",
    "cruise": "cruise: 43 km/h at 12 % of peak power",
    "slow and hard": "slow and hard: 18 km/h at 15 % of peak power",
    "standing": "standing, idling",
}

FIGURE_WORDS: dict[str, str] = {
    "heat_input": "heat made for each kW",
    "cooling_0": "cooling, standing",
    "cooling_2": "cooling at 7 km/h",
    "cooling_5": "cooling at 18 km/h",
    "cooling_10": "cooling at 36 km/h",
    "cooling_20": "cooling at 72 km/h",
    "fan_step": "what the fan adds, standing",
}

TOO_LITTLE_SHUT = (
    "the rides have too little in common with the throttle shut or nearly so: forty seconds at one speed on each "
    "side are needed"
)
MAP_UNKNOWN = "the map was not logged all along, so a part of a difference in heat may be the map's"
THERMOSTAT = (
    "on the stretch both were held to, the thermostat keeps the coolant where it is: a radiator that sheds less shows "
    "there only in the rates, until the thermostat stands open"
)
OTHER_POWER = (
    "power is figured from the throttle on one side and, for want of a throttle in the log, from the bike's motion on "
    "the other: what they heat can't be set side by side"
)
NO_BIKE = "a ride has no bike file: heat is figured from the bike's power curve. Name the bike (ridelog edit)"
DIFFERENT_BUILDS = (
    "the rides are of bikes of different builds (or with and without fan or thermostat): what they heat and shed can't "
    "be set side by side"
)
NO_REASON = "no reason was kept"
NO_CELLS = "engine speed and throttle are not both logged on both sides"
CONTRARY = (
    "the fitted balance and the coolant's own trace point to different sides, so that neither is believed. Ride the "
    "same loop again on the same map"
)
METHOD = (
    "Rates are of the measured coolant over windows of twenty seconds, at the loads and speeds both sides have, both "
    "weighted alike, and brought to the same air and the same coolant by one heat balance. Bands of 95 % hold what "
    "healthy rides differ by from day to day."
)


def listed(names: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def rides(count: int) -> str:
    """`1 ride`, `3 rides`."""
    return "1 ride" if count == 1 else f"{count} rides"


def signed(value: float, digits: int = 0) -> str:
    """`+3`, `-2`, `0`: never a signed nothing."""
    text = f"{value:+.{digits}f}"
    return text.lstrip("+-") if float(text) == 0.0 else text


def span(band: Band, unit: str, digits: int = 0) -> str:
    """`+14 C (+5 to +23)`."""
    return f"{signed(band.value, digits)} {unit} ({signed(band.low, digits)} to {signed(band.high, digits)})"


def level(band: Band, unit: str, digits: int = 0) -> str:
    """`101 C (92 to 111)`."""
    return f"{band.value:.{digits}f} {unit} ({band.low:.{digits}f} to {band.high:.{digits}f})"


def per_minute(band: Band) -> str:
    """A rate from K/s: `+6.1 C a minute (+2.0 to +10.2)`."""
    return " ".join(
        (
            f"{signed(60.0 * band.value, 1)} C a minute",
            f"({signed(60.0 * band.low, 1)} to {signed(60.0 * band.high, 1)})",
        )
    )


RIDDEN = "How the rides were ridden"


def side_names(found: Comparison) -> tuple[str, str]:
    """What both sides are called in tables and sentences."""
    if found.mode == "service":
        return "rides after", "rides before"
    return "first", "other" if found.build is None and len(found.others) == 1 else "others"


# -- why not ----------------------------------------------------------------------------------------------------------


def no_balance(rides_: Sequence[str], reasons: Sequence[str]) -> str:
    """No ride of a side has a heat balance."""
    return f"no heat balance can be made of {listed(rides_)}: {'; '.join(reasons)}"


def no_date(ride: str) -> str:
    """A ride that can't be put before or after the work."""
    return f"{ride}: it has no date"


def beyond_other_work(count: int) -> str:
    """Rides with other work between them and the work asked about."""
    return f"{rides(count)} of the bike: other work listed in the bike file lies between"


def far_from_work(ride: str, most: int) -> str:
    """A ride beyond the number that is taken a side."""
    return f"{ride}: {most} others are nearer to the work"


def left_out_of_heat(ride: str, reason: str | None) -> str:
    """A ride without a heat balance, beside others that have one."""
    return f"{ride} is left out of the heat figures: {reason or NO_REASON}"


def left_out_for_power(ride: str) -> str:
    """A ride whose power is figured another way."""
    return f"{ride} is left out of the heat figures: its power is figured another way than that of the first side"


def no_common() -> str:
    """Nothing in common."""
    return (
        "the two sides were never ridden alike: no load and speed that both kept for forty seconds with the engine warm"
    )


def little_common(share: tuple[float, float], seconds: tuple[float, float], least: float) -> str:
    """Too little in common."""
    return (
        f"what both sides have in common is {terms.share(share[0])} of the first and {terms.share(share[1])} of the "
        f"others ({terms.duration(seconds[0])} and {terms.duration(seconds[1])}); under {terms.share(least)} or five "
        "minutes nothing is concluded. Ride the same loop"
    )


def few_rides(first: int, others: int, scatter: Scatter | None) -> str:
    """Under three rides a side, before and after a service."""
    text = (
        f"{rides(first)} after and {rides(others)} before with a heat balance are too few to know what rides of this "
        "bike differ by, three on each side are needed"
    )
    if scatter is None:
        return text
    return text + f". The ranges {'do not overlap' if scatter.apart else 'overlap'}"


def scattered(scatter: Scatter, ridden: Settle) -> str:
    """A side whose rides differ among themselves by as much as the sides do."""
    return (
        f"rides of one side differ among themselves too much for that (before it {scatter.others.low:.0f} to "
        f"{scatter.others.high:.0f} C, after it {scatter.first.low:.0f} to {scatter.first.high:.0f} C), though taken "
        f"together those after settle {_apart(ridden.difference)}. Look at them one by one: something changed within a "
        "side"
    )


def no_usable_ride(bike: str) -> str:
    """A bike of the build without a ride that serves."""
    return f"{bike}: no ride of it has a heat balance"


def few_bikes(place: BuildPlace) -> str:
    """Too few bikes for a spread."""
    count = len(place.others)
    return f"{count} other {'bike has' if count == 1 else 'bikes have'} rides with a heat balance, three are needed"


def wide(settle: Band, matters_c: float) -> str:
    """No difference is proved, and one that matters is not ruled out."""
    side = _leans_to(settle)
    head = f"it leans to {side} without proving it, and a difference" if side else "no difference shows, but one"
    return (
        f"{head} of {matters_c:.0f} C or more is not ruled out. Ridden alike, the coolant would settle "
        f"{_apart(settle)}. Compare more rides of either side"
    )


# -- the answer -------------------------------------------------------------------------------------------------------


def summary(found: Comparison) -> tuple[str, ...]:
    """The answer in a sentence, and what it rests on."""
    if found.build is not None:
        return _of_build(found.build)
    said = [_answer(found)]
    said += _rate(found)
    said += _where(found)
    said += _air(found)
    if found.scatter is not None and (found.mode == "service" or found.scatter.difference is not None):
        said.append(_scatter(found, found.scatter))
    return tuple(said)


def _settled(found: Comparison) -> Settle | None:
    return next((row for row in found.settle if row.stretch == "ridden"), None)


def _answer(found: Comparison) -> str:
    ridden = _settled(found)
    one, other = found.first_name, found.others_name
    if found.verdict == "cant_tell" or ridden is None:
        reason = found.reason.rstrip(".")
        return f"Whether {one} ran hotter than {other} at the same load, speed and air can't be told: {reason}."
    band = ridden.difference
    if found.mode == "service" and found.scatter is not None and found.scatter.difference is not None:
        band = found.scatter.difference
    if found.verdict == "same":
        return (
            f"At the same load, speed and air {one} ran as hot as {other}, within what healthy rides differ by: ridden "
            f"alike, its coolant would settle {_apart(band)}.{_leaning(band)}"
        )
    return (
        f"At the same load, speed and air {one} ran {found.verdict} than {other}: ridden alike, its coolant would "
        f"settle {_apart(band)}."
    )


LEANS = 0.85
"""A band with this share of it on one side of nothing leans there."""


def _leaning(band: Band) -> str:
    """What to do where a difference is likely and not proved; nothing where it is not even likely."""
    word = _leans_to(band)
    return f" It leans to {word} without proving it: compare more rides of either side." if word else ""


def _leans_to(band: Band) -> str | None:
    """Hotter or cooler, where most of a band lies on that side; None where it does not."""
    side = max(band.high, -band.low) / max(band.high - band.low, 1e-9)
    if side < LEANS:
        return None
    return "hotter" if band.high > -band.low else "cooler"


def _apart(band: Band) -> str:
    """`about 15 C higher (1 to 23)`, or `2 C higher (6 lower to 11 higher)` where either may be."""
    word = "higher" if band.value >= 0.0 else "lower"
    if band.low < 0.0 < band.high:
        return f"{abs(band.value):.0f} C {word} ({-band.low:.0f} lower to {band.high:.0f} higher)"
    low, high = sorted((abs(band.low), abs(band.high)))
    return f"about {abs(band.value):.0f} C {word} ({low:.0f} to {high:.0f})"


def _rate(found: Comparison) -> list[str]:
    if found.overall is None:
        return []
    rate, band = found.overall.rate, found.overall.rate.difference
    word = "more" if band.value >= 0.0 else "less"
    if band.low < 0.0 < band.high:
        reach = f"{-60.0 * band.low:.1f} less to {60.0 * band.high:.1f} more"
    else:
        reach = " to ".join(f"{60.0 * v:.1f}" for v in sorted((abs(band.low), abs(band.high))))
    first, others = side_names(found)
    here, there = (terms.duration(seconds) for seconds in rate.seconds)
    text = (
        f"The logged coolant gained {abs(60.0 * band.value):.1f} C a minute {word} ({reach}) at loads and speeds both "
        f"have: {here} of the {first} and {there} of the {others}, "
        f"{terms.share(rate.share[0])} and {terms.share(rate.share[1])} of their warm riding."
    )
    return [text]


def _where(found: Comparison) -> list[str]:
    """Which side of the balance moved, where that can be told."""
    figures = {row.name: row for row in found.figures}
    said = [
        text for name in ("heat_input", "cooling_10", "cooling_2", "fan_step") if (text := _moved(figures.get(name)))
    ]
    if found.verdict in ("hotter", "cooler") and not said:
        said.append("Whether that is heat made or heat shed can't be told: each alone may have stayed as it was.")
    standing = next((row for row in found.settle if row.stretch == "standing"), None)
    if standing is not None and standing.answer in ("hotter", "cooler"):
        said.append(
            f"Standing and idling it would settle {_apart(standing.difference)}: see what the fan did, further down."
        )
    return said


def _moved(row: Figure | None) -> str | None:
    if row is None or row.answer == "cant_tell" or row.ratio is None:
        return None
    change = 100.0 * (row.ratio.value - 1.0)
    low, high = 100.0 * (row.ratio.low - 1.0), 100.0 * (row.ratio.high - 1.0)
    name = FIGURE_WORDS[row.name]
    return f"{name[:1].upper()}{name[1:]}: {signed(change)} % ({signed(low)} to {signed(high)})."


def _air(found: Comparison) -> list[str]:
    apart = found.ambient_difference_k
    if apart is None:
        return []
    word = "warmer" if apart > 0 else "colder"
    others = side_names(found)[1]
    if found.ambient_stretch:
        text = (
            f"The air was {abs(apart):.0f} C {word} than on the {others}. The balance takes that out, but over so much "
            "it is a stretch: believe it less than the bands say."
        )
        return [text]
    if abs(apart) >= 0.5:
        return [f"The air was {abs(apart):.0f} C {word} than on the {others}; the balance takes that out."]
    return ["The air was the same within half a degree."]


def _scatter(found: Comparison, scatter: Scatter) -> str:
    text = (
        f"Ride by ride, {found.first_name} would settle at {level(scatter.first, 'C')}, {found.others_name} at "
        f"{level(scatter.others, 'C')} (mean and range of {rides(scatter.first_rides)} and "
        f"{rides(scatter.others_rides)})"
    )
    if scatter.difference is None:
        return text + "; under three rides a side only the range is told."
    return text + f"; against the scatter between rides the difference is {span(scatter.difference, 'C')}."


def _of_build(place: BuildPlace) -> tuple[str, ...]:
    named = listed([one.bike for one in place.others]) if place.others else "no other bike"
    if place.rank is None or place.difference is None:
        return (f"Where {place.bike} lies among the bikes of build {place.build} can't be told: {few_bikes(place)}.",)
    total = len(place.others) + 1
    order = (
        "the hottest"
        if place.rank == total
        else "the coolest"
        if place.rank == 1
        else f"number {place.rank} from the coolest"
    )
    head = {
        "hotter": f"{place.bike} runs hotter by more than bikes of build {place.build} differ by",
        "cooler": f"{place.bike} runs cooler by more than bikes of build {place.build} differ by",
        "same": f"{place.bike} lies within what bikes of build {place.build} differ by",
        "cant_tell": f"Whether {place.bike} is unusual for build {place.build} can't be told",
    }[place.answer]
    return (
        f"{head}: ridden as here, its coolant would settle {_apart(place.difference)} than that of the others' mean.",
        f"Of {total} bikes ({place.bike}, {named}) it is {order}.",
    )


# -- gears ------------------------------------------------------------------------------------------------------------

ALIKE, AHEAD_POINTS = 0.03, 0.05


def gear_reading(pairs: tuple[GearPair, ...], *, from_wheel: bool) -> str:
    """What engine speed over ground speed tells, and what it can't tell apart."""
    both = [pair for pair in pairs if pair.first is not None and pair.others is not None]
    if not both:
        return "No gear was ridden for ten seconds on both sides."
    moved = [pair.first_over_others for pair in both if pair.first_over_others is not None]
    said = []
    if moved and min(abs(ratio - 1.0) for ratio in moved) > ALIKE and (min(moved) > 1.0 or max(moved) < 1.0):
        middle = sorted(moved)[len(moved) // 2]
        word = "faster" if middle > 1.0 else "slower"
        said.append(
            f"In every gear ridden on both sides the engine turns about {100 * abs(middle - 1.0):.0f} % {word} for the "
            "same speed: another sprocket, another tyre or another source of speed. The log can't tell which."
        )
    elif any(abs(ratio - 1.0) > ALIKE for ratio in moved):
        gears = [str(p.gear) for p in both if p.first_over_others and abs(p.first_over_others - 1.0) > ALIKE]
        said.append(
            f"In gear {listed(gears)} engine speed over ground speed differs by more than 3 %, in the others not: no "
            "sprocket does that. A spinning wheel, a slipping clutch and a gear told wrongly look alike here."
        )
    else:
        said.append("In no gear does engine speed over ground speed differ by more than 3 %.")
    off = [pair.first.over_file for pair in both if pair.first is not None and pair.first.over_file is not None]
    if off and min(abs(one - 1.0) for one in off) > ALIKE and (min(off) > 1.0 or max(off) < 1.0):
        said.append(
            f"All gears lie about {100 * abs(sorted(off)[len(off) // 2] - 1.0):.0f} % off the bike file: a sprocket or "
            "a tyre entered wrong, or a speed that reads wrong. Count the teeth and roll the wheel."
        )
    ahead = [
        pair for pair in both
        if pair.first and pair.others and pair.first.ahead_share - pair.others.ahead_share > AHEAD_POINTS
    ]  # fmt: skip
    if ahead:
        said.append(_ahead(ahead, from_wheel=from_wheel))
    return " ".join(said)


def _ahead(pairs: Sequence[GearPair], *, from_wheel: bool) -> str:
    worst = max(pairs, key=lambda pair: pair.first.ahead_share if pair.first else 0.0)
    here = worst.first.ahead_share if worst.first else 0.0
    there = worst.others.ahead_share if worst.others else 0.0
    text = (
        f"In gear {worst.gear} the engine ran 8 % or more ahead of the bike for {terms.share(here)} of the time, on "
        f"the others for {terms.share(there)}: "
    )
    if from_wheel:
        return text + "speed is the wheel's, so a spinning tyre does not show; feel the clutch."
    return text + "a spinning wheel and a slipping clutch look alike. Log the wheel's speed, or feel the clutch."
