"""Sentences about ground that was ridden again: stretches, passes, laps.

Plain text, `C` for degrees Celsius; differences of temperature are in C too. No coordinate stands in any of them:
places are told by the way along a ride, so that a page can be shown without showing where somebody lives.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ridelog.words import terms

if TYPE_CHECKING:
    from ridelog.analysis.passes_measure import Compared, Measured
    from ridelog.analysis.passes_records import ComparedRow, PassRow, RideCover, StretchRow
    from ridelog.results import Band, CannotTell

DASH = "–"

NO_POSITIONS = "the log has no positions, so the same ground can't be told. Log a GPS track, or join one to it"

CAUTIONS = (
    "Leave a hot cooling system closed: it scalds.",
    "A coolant sensor can't see a lean or detonating engine.",
    "Estimates from logs, no findings. Decide with a qualified technician, the bike's handbook and local rules.",
)

COMPARED_NOTE = (
    "At the same load and air: how much warmer the coolant would settle, once load, speed, map and air are evened out "
    "by the earlier ride's heat balance; stops count as they were. By how it was ridden: what load, speed, map and air "
    "themselves make of it."
)

NOTE_ON_HEAT = (
    "Heat is in C of coolant and metal together: what the engine put in and what the radiator took out over the pass. "
    "Would settle at: where the coolant would end up if the pass went on, stops left out. Bands of 95 %."
)

VERDICTS = {
    "same": "the same within what the log can tell",
    "warmer": "warmer",
    "cooler": "cooler",
    "cant_tell": "can't tell",
}

REASONS = {
    "no_balance": "there is no heat balance to go by (`ridelog analyze` says why)",
    "too_short": "the coolant needs a minute or two to answer, and the pass is shorter",
    "other_engine": "the bikes differ in engine, fan or thermostat, so one can't be put in the other's place",
    "not_foretold": "too little of the pass is known, or it was mostly spent standing",
}


def unusable_positions(marks: Sequence[str]) -> str:
    """Why positions that are there can't be gone by."""
    why = f" (marked as {', '.join(terms.quality_words(mark) for mark in marks)})" if marks else ""
    return f"the log has no usable positions{why}, so the same ground can't be told"


def short_track(covered_m: float, marks: Sequence[str]) -> str:
    """Why a track says nothing."""
    why = f", the rest is marked as {', '.join(terms.quality_words(mark) for mark in marks)}" if marks else ""
    return f"its positions cover {covered_m:.0f} m of way{why}: too little to tell the same ground"


def name(number: int) -> str:
    """A, B ... Z, AA, AB: stretches by letter, passes by number."""
    text = ""
    number += 1
    while number:
        number, digit = divmod(number - 1, 26)
        text = chr(65 + digit) + text
    return text


def km(metres: float) -> str:
    """`7.9 km`, `640 m`."""
    return f"{metres / 1000.0:.1f} km" if metres >= 995.0 else f"{round(metres / 10.0) * 10} m"


def rides(count: int) -> str:
    """`1 ride`, `3 rides`."""
    return "1 ride" if count == 1 else f"{count:,} rides"


def kind(row: StretchRow) -> str:
    """`Loop A, 7.9 km`."""
    return f"{row.kind.capitalize()} {row.name}, {km(row.length_m)}"


def passed(row: StretchRow) -> str:
    """How often and by whom a stretch was ridden, and what else there is to know of it."""
    by = len({one.ride for one in row.passes})
    full = sum(one.full for one in row.passes)
    word = "lap" if row.kind == "loop" else "pass"
    plural = {"lap": "laps", "pass": "passes"}[word]
    text = f"{full} whole {word if full == 1 else plural}"
    parts = len(row.passes) - full
    if parts:
        text += f" and {parts} in part"
    if by > 1:
        text += f" by {rides(by)}"
    text += f"; begins {km(row.at_m)} into ride {row.ride}, {terms.clock(row.start_s)} after its start."
    if row.against_m >= 0.5 * row.length_m:
        text += " It was ridden the other way as well: that is another stretch, and not compared."
    return text


def summary(covers: Sequence[RideCover], rows: Sequence[StretchRow], untold: int) -> list[str]:
    """What was found, in a few sentences: the ground, then what the bike did on it at the same load and air."""
    if not covers:
        return ["The same ground can't be told: no ride that was asked for has positions to go by."]
    said = []
    alone = len(covers) == 1
    if rows:
        longest = max(rows, key=lambda row: row.length_m)
        said.append(_found(longest, len(rows), len(covers)))
        said += _answers(longest, alone=alone)
    elif alone:
        said.append("No stretch of 200 m or more was ridden twice in the same direction.")
    else:
        said.append("These rides share no stretch of 200 m or more in the same direction.")
    for cover in covers:
        if cover.opposed_m >= 200.0:
            where = "" if alone else f"Ride {cover.ride}: "
            said.append(f"{where}{km(cover.opposed_m)} led back along ground ridden before, the other way: kept apart.")
    if untold:
        said.append(f"{rides(untold)} {'is' if untold == 1 else 'are'} left out; the reasons stand below.")
    return said


def _found(longest: StretchRow, number: int, of: int) -> str:
    laps = sum(one.full for one in longest.passes)
    if of == 1 and longest.kind == "loop":
        return f"A loop of {km(longest.length_m)}: {laps} whole laps."
    if of == 1:
        return f"{_stretches(number)} ridden more than once; the longest, {km(longest.length_m)}, {_times(laps)}."
    by = len({one.ride for one in longest.passes if one.full})
    what = f"a loop of {km(longest.length_m)}" if longest.kind == "loop" else km(longest.length_m)
    if number == 1:
        who = ("Both rides" if of == 2 else f"All {of} rides") if by == of else f"{by} of these {of} rides"
        return f"{who} share {what}, {laps} {_many(longest.kind)} in all."
    return f"{_stretches(number)} ridden by more than one of these {of} rides; the longest is {what}, shared by {by}."


EACH_TOLD = 4
"""So many comparisons are told one by one, more of them together."""


def _answers(row: StretchRow, *, alone: bool) -> list[str]:
    """What the comparisons on one stretch come to: between rides, or within the one."""
    chosen = [one for one in row.compared if alone or one.ride != one.against_ride]
    told = [one for one in chosen if one.compared.matched_c is not None]
    if alone and told and all(one.compared.verdict == "same" for one in told):
        return [f"At the same load and air its {_many(row.kind)} are the same within what the log can tell."]
    if len(chosen) <= EACH_TOLD:
        return [_answer(one, row.kind, alone=alone) for one in chosen]
    odd = [one for one in chosen if one.compared.verdict in ("warmer", "cooler")]
    what, first = (_many(row.kind), f"{_one(row.kind)} 1") if alone else ("rides", f"ride {chosen[0].against_ride}")
    same = f"{len(told) - len(odd)} of {len(told)} other {what}"
    said = [f"At the same load and air {same} ran as {first}, within what the log can tell."]
    said += [_answer(one, row.kind, alone=alone) for one in odd[:EACH_TOLD]]
    if odd:
        said.append("Of so many, one in twenty is called different by chance.")
    if len(told) < len(chosen):
        said.append(f"Of {len(chosen) - len(told)} it can't be told; the reasons stand in the table.")
    return said


def _answer(one: ComparedRow, of: str, *, alone: bool) -> str:
    names = (
        (f"{_one(of)} {one.number}", f"{_one(of)} {one.against_number}")
        if alone
        else (f"ride {one.ride}", f"ride {one.against_ride}")
    )
    told = one.compared
    if told.matched_c is None:
        return f"Whether {names[0]} ran warmer than {names[1]} can't be told: {REASONS[told.reason or 'not_foretold']}."
    if told.verdict == "same":
        figures = band(told.matched_c, " C", digits=1, sign=True)
        return f"At the same load and air {names[0]} ran as {names[1]}, within what the log can tell: {figures}."
    value, *ends = (abs(end) for end in (told.matched_c.value, told.matched_c.low, told.matched_c.high))
    way = "higher" if told.verdict == "warmer" else "lower"
    return (
        f"At the same load and air {names[0]} ran {told.verdict} than {names[1]}: the coolant would settle "
        f"{value:.0f} C {way} ({min(ends):.0f} to {max(ends):.0f})."
    )


def _many(of: str) -> str:
    return "laps" if of == "loop" else "passes"


def _stretches(count: int) -> str:
    return "One stretch was" if count == 1 else f"{count} stretches were"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def untold(items: Sequence[CannotTell]) -> list[str]:
    """Rides that could not be looked at, those of one reason together."""
    by: dict[str, list[str]] = {}
    for one in items:
        by.setdefault(one.reason, []).append(one.question)
    return [
        f"{', '.join(names[:3])}{f' and {len(names) - 3} more' if len(names) > 3 else ''}: {reason}."
        for reason, names in by.items()
    ]


# -- cells of tables --------------------------------------------------------------------------------------------------


def pass_name(row: PassRow, of: str) -> str:
    """A pass beside others: `20260509-1330, lap 2`."""
    return f"{row.ride.rpartition('-')[0] or row.ride}, {_one(of)} {row.number}"


def numbered(of: str, which: str) -> str:
    """A pass of one ride: `lap 2`."""
    return f"{_one(of)} {which}"


def pass_columns(of: str) -> tuple[str, ...]:
    """Heads of a table of passes over a loop or a stretch."""
    return (
        "ride", _one(of), "at", "took", "stops", "km/h", "heat in", "heat out", "coolant in, out, peak",
        "would settle at", "conservative map", "air",
    )  # fmt: skip


def compared_columns(of: str) -> tuple[str, ...]:
    """Heads of a table of comparisons."""
    return (
        "ride", _one(of), "against", "at the same load and air", "by how it was ridden", "heat made a km", "speed",
        "air",
    )  # fmt: skip


def _one(of: str) -> str:
    return "lap" if of == "loop" else "pass"


def pass_cells(row: PassRow) -> tuple[str, ...]:
    """One pass, as `pass_columns`."""
    told = row.measured
    return (
        row.ride,
        f"{row.number}" if row.full else f"{row.number} (part, {km(row.to_m - row.from_m)})",
        f"{km(row.at_m)}, {terms.clock(row.start_s)}",
        terms.duration(told.duration_s),
        terms.duration(told.standing_s) if told.standing_s else DASH,
        figure(told.mean_speed_mps * 3.6 if told.mean_speed_mps is not None else None),
        heat(told.heat_in_k, told.heat_in_kps),
        heat(told.heat_out_k, told.heat_out_kps),
        coolant(told),
        band(told.settle, " C"),
        map_share(told),
        figure(told.air_c, " C"),
    )


def compared_cells(row: ComparedRow, of: str) -> tuple[str, ...]:
    """One comparison, as `compared_columns`."""
    told = row.compared
    other = f"{_one(of)} {row.against_number}"
    return (
        row.ride,
        str(row.number),
        other if row.ride == row.against_ride else f"{row.against_ride}, {other}",
        verdict(told),
        band(told.load_c, " C", sign=True),
        times(told.heat_per_km),
        figure(told.speed_mps * 3.6 if told.speed_mps is not None else None, " km/h", sign=True),
        figure(told.air_c, " C", sign=True),
    )


def verdict(told: Compared) -> str:
    """`warmer: +6 C (+2 to +10)`, `the same within what the log can tell: +1 C (-4 to +6)`, or why not."""
    if told.matched_c is None:
        return f"{VERDICTS['cant_tell']}: {REASONS[told.reason or 'not_foretold']}"
    return f"{VERDICTS[told.verdict]}: {band(told.matched_c, ' C', digits=1, sign=True)}"


def heat(total: Band | None, kps: float | None) -> str:
    """`412 C (0.61 C/s)`, or a dash."""
    return DASH if total is None or kps is None else f"{total.value:.0f} C ({kps:.2f} C/s)"


def coolant(told: Measured) -> str:
    """`88, 96, 104 C`; what is not known is a question mark."""
    values = (told.coolant_in_c, told.coolant_out_c, told.coolant_peak_c)
    if all(value is None for value in values):
        return DASH
    return ", ".join("?" if value is None else f"{value:.0f}" for value in values) + " C"


def map_share(told: Measured) -> str:
    """`62 %`, with what is not known apart."""
    if told.conservative_share is None:
        return "not known"
    text = terms.share(told.conservative_share)
    return f"{text}, {terms.share(told.map_unknown_share)} not known" if told.map_unknown_share >= 0.02 else text


def band(value: Band | None, unit: str, digits: int = 0, *, sign: bool = False) -> str:
    """`+6.1 C (+2.0 to +10.2)`, or a dash."""
    if value is None:
        return DASH
    low, high = (number(end, digits, sign=sign) for end in (value.low, value.high))
    return f"{number(value.value, digits, sign=sign)}{unit} ({low} to {high})"


def times(value: Band | None) -> str:
    """`8 % more (-2 to +19)` of a ratio, or a dash."""
    if value is None:
        return DASH
    percent, low, high = (100.0 * (end - 1.0) for end in (value.value, value.low, value.high))
    return f"{number(percent, 0, sign=True)} % ({number(low, 0, sign=True)} to {number(high, 0, sign=True)})"


def figure(value: float | None, unit: str = "", *, sign: bool = False) -> str:
    """A whole figure, or a dash."""
    return DASH if value is None else f"{number(value, 0, sign=sign)}{unit}"


def number(value: float, digits: int, *, sign: bool = False) -> str:
    """With a plus where it is a difference; nothing has no sign."""
    text = f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"
    return text if text.strip("+-0.") else text.lstrip("+-")
