"""The sentences of the page a customer gets: what happened, why, what to do next; no blame, the units he chose.

No word here needs the workshop: temperatures, times, ground, map. What a log can't tell is said as such.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridelog.results import Analysis, Exposure
from ridelog.words.causes import CAUSE_WORDS, chance
from ridelog.words.display import Display, duration, number, share

if TYPE_CHECKING:
    from ridelog.diagnose import Diagnosis

FULL_COVERAGE = 0.95
WIDE_SENSOR_S = 10.0
"""A time above a threshold that the sensor leaves open by more than this is told as from..to."""

TITLE_WHERE = "Where it was above {}"
TITLE_NOWHERE = "Where it was hottest"
TITLE_WHY = "What is likely behind it"
TITLE_NEXT = "What to do next, in this order"
TITLE_OPEN = "What this log can't tell"
TITLE_CARE = "Take care"
TITLE_ANNEX = "Technical annex"
TITLE_REPORT = "Ride report"

MORE_PLACES = "and {} shorter"
PLACE_COLUMNS = ("Into the ride", "Time of day", "Distance", "What the bike was doing", "Hot for", "Highest", "Map")

NOT_LOGGED = "The coolant temperature was not logged, so this page can't say how hot the engine got."
OPEN_NOTHING = "Nothing that was asked of this log was left open."
NO_HOT_PLACE = "The coolant passed none of the temperatures watched for."
PLACES_NOT_KNOWN = "Not known: the coolant temperature was not logged."
AGAIN = (
    "Whether the bike can be ridden hard again is not for a log to say: let these points be looked at first, by a "
    "qualified technician where they ask for one."
)
FOOT = (
    "Figures are estimates from one log. The handbook, local rules and a qualified technician come first. The "
    "technical pages that follow show what they rest on."
)
FOOT_ALONE = (
    "Figures are estimates from one log. The handbook, local rules and a qualified technician come first. The workshop "
    "has the technical pages that belong to this one."
)

ENGINE_OFF = "standing, engine off"
STANDING = "standing"
NO_STRETCH = "riding, no flagged stretch"
MAP_UNKNOWN, MAP_STANDARD, MAP_CONSERVATIVE, MAP_BOTH = "not known", "standard", "conservative", "both"

ADVICE = {
    "yes": "Where the advice is to ride on the conservative map, it was on.",
    "no": (
        "On stretches where the advice is to ride on the conservative map, the log shows the standard one. Trying the "
        "other map there is the cheapest test there is."
    ),
    "unknown": "Whether the conservative map was on where it is advised can't be told from this log.",
    "not_advised": "No stretch of this ride called for the conservative map.",
}


def headline(analysis: Analysis, display: Display) -> str:
    """How hot and for how long, in one sentence."""
    seen = seen_rows(analysis)
    if not seen:
        return NOT_LOGGED
    channel = analysis.ride.channels.get("coolant_c")
    covered = channel.coverage if channel is not None else 1.0
    partly = "" if covered >= FULL_COVERAGE else f", in the {share(covered)} of the ride that shows it"
    peak = display.peak_text(max(row.peak_c or 0.0 for row in seen))
    passed = [row for row in seen if row.observed_s > 0.0]
    if not passed:
        return f"The coolant stayed under {_level(seen[0], display)}{partly}; the highest reading was {peak}."
    top = passed[-1]
    told = f"The coolant reached {peak}{partly}. It was above {_level(top, display)} for {duration(top.observed_s)}"
    if top is seen[-1]:
        return f"{told}."
    return f"{told} and stayed under {_level(seen[seen.index(top) + 1], display)}."


def seen_rows(analysis: Analysis) -> list[Exposure]:
    """Thresholds the sensor speaks of, lowest first."""
    return sorted((row for row in analysis.exposure if row.peak_c is not None), key=lambda row: row.threshold_c)


LEAST_PLACE_S = 60.0
"""Places are told for the highest threshold that was passed for so long in all, else for the highest passed."""


def place_row(analysis: Analysis) -> Exposure | None:
    """The threshold whose places are told; None where none was passed."""
    passed = [row for row in seen_rows(analysis) if row.observed_s > 0.0]
    if not passed:
        return None
    return ([row for row in passed if row.observed_s >= LEAST_PLACE_S] or passed)[-1]


def title_where(analysis: Analysis, display: Display) -> str:
    """The head of the table of places."""
    row = place_row(analysis)
    return TITLE_WHERE.format(_level(row, display)) if row is not None else TITLE_NOWHERE


def happened(analysis: Analysis, display: Display) -> list[str]:
    """How long in one go, what the sensor leaves open, what came after switching off, the other thresholds."""
    passed = [row for row in seen_rows(analysis) if row.observed_s > 0.0]
    said = []
    if passed:
        top = passed[-1]
        if top.excursions > 1:
            said.append(f"That was {top.excursions} times, the longest for {duration(top.longest_s)}.")
        if top.observed_high_s - top.observed_low_s > WIDE_SENSOR_S:
            low, high = duration(top.observed_low_s), duration(top.observed_high_s)
            said.append(f"The sensor shows coarse steps, so it may have been anything from {low} to {high}.")
        if top.engine_off_s is not None and top.engine_off_s > 1.0:
            said.append(f"{duration(top.engine_off_s)} of it came after the engine was switched off, as is usual.")
        said += [f"Above {_level(row, display)}: {duration(row.observed_s)}." for row in reversed(passed[:-1])]
    elif (estimated := _estimated(analysis, display)) is not None:
        said.append(estimated)
    unknown_s = max((row.unknown_s for row in analysis.exposure), default=0.0)
    if passed and unknown_s > 1.0:
        said.append(f"For {duration(unknown_s)} the coolant is not known.")
    return said


def _estimated(analysis: Analysis, display: Display) -> str | None:
    rows = [row for row in analysis.exposure if row.estimated_low_s is not None and row.estimated_high_s is not None]
    if not rows:
        return None
    row = rows[0]
    low, high = duration(row.estimated_low_s), duration(row.estimated_high_s)
    return f"By the bike's other rides it was above {_level(row, display)} for anything from {low} to {high}."


def _level(row: Exposure, display: Display) -> str:
    """`the limit of 115 °C`; a name of the bike file that says no more than the figure is left out."""
    figure = display.temperature_text(row.threshold_c)
    return f"{figure} ({row.name})" if not any(c.isdigit() for c in row.name) else figure


def no_places(analysis: Analysis) -> str:
    """What stands where no place is listed."""
    return NO_HOT_PLACE if seen_rows(analysis) else PLACES_NOT_KNOWN


def why(analysis: Analysis, diagnosis: Diagnosis) -> list[str]:
    """The likeliest reason with its odds, or why none is named."""
    first = diagnosis.ranked[0] if diagnosis.ranked else None
    if diagnosis.conclusion == "not_enough_evidence" and not analysis.heat.fitted:
        reason = analysis.heat.reason or "the heat balance can't be made of it"
        return [f"No reason can be told from this log: {reason}."]
    if diagnosis.conclusion == "not_enough_evidence" or first is None:
        return ["This log does not settle the reason. " + _left_standing(diagnosis)]
    odds = chance(first.holds)
    if diagnosis.conclusion == "normal":
        said = [f"By this log most likely nothing is wrong with the bike ({odds})."]
    elif first.family == "asked_for":
        sound = chance(sum(one.probability for one in diagnosis.ranked if one.family in ("asked_for", "healthy")))
        said = [
            f"No fault of the bike shows ({sound}).",
            f"Most likely: {CAUSE_WORDS[diagnosis.conclusion]} ({odds}).",
        ]
    else:
        said = [f"Most likely: {CAUSE_WORDS[diagnosis.conclusion]} ({odds}). It is a likelihood, not a finding."]
    if diagnosis.second_cause is not None:
        said.append(f"It may come together with this: {CAUSE_WORDS[diagnosis.second_cause]}.")
    return said


def _left_standing(diagnosis: Diagnosis) -> str:
    left = [one for one in diagnosis.ranked[:3] if one.holds >= 0.15]
    if not left:
        return "No single reason stands out."
    named = "; ".join(f"{CAUSE_WORDS[one.cause]} ({chance(one.holds)})" for one in left)
    return f"Not ruled out: {named}."


def after(stretch: str) -> str:
    """`Just after slow climb`."""
    return f"Just after {stretch[:1].lower()}{stretch[1:]}"


def other_map(analysis: Analysis, diagnosis: Diagnosis, display: Display) -> str | None:
    """What the conservative map would have changed, where it was not on and would have."""
    found = analysis.what_if
    if found is None or diagnosis.advice_followed != "no":
        return None
    passed = [row for row in seen_rows(analysis) if row.observed_s > 0.0]
    if not passed:
        return None
    top = passed[-1]
    instead = next((row for row in found.exposure if row.threshold_c == top.threshold_c), None)
    if instead is None or instead.high_s > 0.9 * top.observed_s:
        return None
    if instead.high_s < 1.0:
        left = "none"
    elif instead.low_s < 1.0:
        left = f"none to {duration(instead.high_s)}"
    else:
        left = f"{duration(instead.low_s)} to {duration(instead.high_s)}"
    return (
        f"By estimate, with the conservative map on there, the time above {_level(top, display)} would have been "
        f"{left} instead of {duration(top.observed_s)}."
    )


def steps(diagnosis: Diagnosis, most: int) -> list[str]:
    """What to check, cheapest and safest first, by the likeliest causes."""
    found: list[str] = []
    if not diagnosis.fitted and diagnosis.conclusion == "not_enough_evidence":
        return list(diagnosis.check_next[:most])
    for one in diagnosis.ranked[:3]:
        if one.probability >= 0.15 or not found:
            found += [step for step in one.check_next if step not in found]
    return found[:most]


def distance(metres: float | None, display: Display) -> str:
    """`km 3.4`, or a dash."""
    if metres is None:
        return "–"
    return f"{display.distance_unit} {number(metres / display.long_distance_m(), 1)}"
