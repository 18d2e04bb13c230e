"""What the heat balance and the bike's rides say for and against each cause, in sentences with figures.

A sentence says what the log shows, with unit and band, and no more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridelog.analysis import thermal
from ridelog.analysis.diagnosis_shift import Apart
from ridelog.analysis.diagnosis_table import GRADUAL
from ridelog.analysis.diagnosis_weigh import likelier
from ridelog.words.cause_signs import Facts, Said, own


@dataclass(frozen=True)
class _Expected:
    """A parameter a cause moves: its index, which way, the smallest telling shift, and what it is called."""

    index: int
    sign: float
    least: float
    subject: str


_HEAT = _Expected(thermal.HEAT, 1.0, 0.08, "the engine puts {} heat into the coolant for each kW")
_FLOW = _Expected(thermal.FLOW, -1.0, 0.08, "on the move the radiators shed {} heat")
_FAST = _Expected(thermal.CORE, -1.0, 0.1, "cooling grows {} with speed")

_EXPECTED: dict[str, tuple[_Expected, ...]] = {
    "airflow_blocked": (_FLOW,),
    "coolant_flow_low": (_FLOW, _FAST),
    "heat_input_high": (_HEAT,),
    "build_mismatch": (_HEAT,),
    "thermostat_restricted": (_FLOW,),
}

_WARMER: dict[str, tuple[str, ...]] = {
    "airflow_blocked": ("fast", "slow"),
    "coolant_flow_low": ("loaded", "fast"),
    "heat_input_high": ("loaded",),
    "build_mismatch": ("loaded",),
    "normal": ("loaded", "slow"),
    "terrain_load": ("loaded", "slow"),
}
"""Minutes in which a cause shows."""

_MINUTES = {
    "loaded": "hard work",
    "easy": "easy work",
    "slow": "riding at walking pace or little more",
    "fast": "riding at 32 km/h and more",
}

NO_MORE = ", no more than healthy rides differ among themselves"

MOST_SENTENCES = 6
TELLING = 2.0


def speaks(cause: str, facts: Facts) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What the ride shows that the cause would make; and what it shows otherwise, or does not show."""
    told: Said = ([], [])
    for part in (_shifts, own, _warmer, _changed, _together):
        for said, more in zip(told, part(cause, facts), strict=True):
            said.extend(more)
    pro, con = (tuple(_sentence(text) for text in said[:MOST_SENTENCES]) for said in told)
    return pro, con


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:].rstrip(".") + "."


def _beside(facts: Facts) -> str:
    count = facts.baseline_rides
    if facts.evidence.drift is not None:
        return "than at the first of its rides"
    if not count:
        return "than is usual for such bikes"
    return f"than on the {count} ride{'s' if count > 1 else ''} it is held against"


def _shifts(cause: str, facts: Facts) -> Said:
    """Sentences on the balance's figures: those that moved the cause's way, and those that did not though the ride
    tells."""
    if facts.shift is None:
        return [], []
    if cause in ("normal", "terrain_load"):
        return _unmoved(facts.shift, facts)
    pro: list[str] = []
    con: list[str] = []
    for one in _EXPECTED.get(cause, ()):
        shift, sd = float(facts.shift.shift[one.index]), float(facts.shift.sd[one.index])
        towards = one.sign * shift
        if towards > sd and towards > one.least:
            pro.append(_moved(one, shift, sd, facts))
        elif towards < sd < 2.0 * one.least:
            told = _moved(one, shift, sd, facts)
            con.append(told if towards < -1.96 * sd else f"{told}{NO_MORE}")
    return pro, con


def _unmoved(shift: Apart, facts: Facts) -> Said:
    pro: list[str] = []
    con: list[str] = []
    for one in (_HEAT, _FLOW):
        size, sd = float(shift.shift[one.index]), float(shift.sd[one.index])
        if sd < 0.2:
            same = abs(size) <= 1.5 * sd or abs(size) < 0.06
            told = _moved(one, size, sd, facts)
            # What is within the spread is no shift, and is not told as one.
            (pro if same else con).append(f"{told}{NO_MORE}" if abs(size) <= 1.96 * sd else told)
    return pro, con


def _moved(one: _Expected, shift: float, sd: float, facts: Facts) -> str:
    size, low, high = (math.expm1(value) * 100.0 for value in (shift, shift - 1.96 * sd, shift + 1.96 * sd))
    word = "more" if size >= 0.0 else "less"
    return f"{one.subject.format(f'{abs(size):.0f} % {word}')} {_beside(facts)} (95 %: {_span(low, high, '%')})"


def _span(low: float, high: float, unit: str, words: tuple[str, str] = ("less", "more"), digits: int = 0) -> str:
    """`16 to 53 % less`: both ends of a change in words, not in signs."""
    less, more = words
    if low < 0.0 < high:
        return f"{-low:.{digits}f} {unit} {less} to {high:.{digits}f} {unit} {more}"
    ends = sorted((abs(low), abs(high)))
    return f"{ends[0]:.{digits}f} to {ends[1]:.{digits}f} {unit} {less if high <= 0.0 else more}"


def _warmer(cause: str, facts: Facts) -> Said:
    """How much warmer the coolant is after a minute than the healthy bike's."""
    seen = facts.evidence.patterns
    if seen is None:
        return [], []
    pro: list[str] = []
    con: list[str] = []
    healthy = cause in ("normal", "terrain_load")
    for name in _WARMER.get(cause, ()):
        one = seen.warmer.get(name)
        if one is None:
            continue
        low, high = one.mean_c - 1.96 * one.sd_c, one.mean_c + 1.96 * one.sd_c
        word = "warmer" if one.mean_c >= 0.0 else "cooler"
        whose = "its other rides let" if facts.evidence.drift is None else "the first of its rides lets"
        told = (
            f"after a minute of {_MINUTES[name]} the coolant was on average {abs(one.mean_c):.1f} C {word} than "
            f"{whose} expect (95 %: {_span(low, high, 'C', ('cooler', 'warmer'), 1)})"
        )
        if one.mean_c > one.sd_c and one.mean_c > 0.5:
            (con if healthy else pro).append(told)
        elif one.sd_c < 1.5:
            (pro if healthy else con).append(f"{told}{NO_MORE}" if low <= 0.0 <= high else told)
    return pro, con


def _changed(cause: str, facts: Facts) -> Said:
    """A change over the bike's rides, and whether it came little by little."""
    drift = facts.evidence.drift
    if drift is None:
        return [], []
    size, low, high = (
        math.expm1(value) * 100.0
        for value in (drift.change, drift.change - 1.96 * drift.sd, drift.change + 1.96 * drift.sd)
    )
    what = "cooling on the move" if drift.what == "cooling" else "heat for the same work"
    band = f"{abs(size):.0f} % {'more' if size >= 0.0 else 'less'} (95 %: {_span(low, high, '%')})"
    if drift.kind == "step":
        told = f"the {what} has been different since the ride of {drift.since}, not on this ride alone: {band}"
    else:
        told = f"over {drift.rides} rides in {drift.days} days the {what} changed little by little: {band}"
    if cause in ("normal", "terrain_load"):
        return [], [told]
    if cause in _CHANGES[drift.what]:
        return [told], []
    if drift.kind == "drift" and GRADUAL.get(cause, 1.0) < 1.0:
        return [], [f"{told}; a part that breaks or sticks does so at once"]
    return [], []


_CHANGES = {"cooling": ("airflow_blocked", "coolant_flow_low"), "heat": ("heat_input_high", "build_mismatch")}


def _together(cause: str, facts: Facts) -> Said:
    """What all of the balance and the coolant's jumps say for a cause against a healthy bike."""
    times = likelier(facts.evidence, cause)
    if times is None or cause == "normal":
        return [], []
    told = "taken together, heating, cooling, warm-up and jumps of the coolant are {} with this as with a healthy bike"
    if times >= TELLING:
        size = "over 1,000 times as likely" if times > 1000.0 else f"about {_times(times)} as likely"
        return [told.format(size)], []
    if times <= 1.0 / TELLING:
        size = "less than a thousandth as likely" if times < 1e-3 else f"about {_part(1.0 / times)} as likely"
        return [], [told.format(size)]
    return [], ["taken together, heating, cooling, warm-up and jumps of the coolant suit a healthy bike about as well"]


def _round(value: float) -> int:
    """To one figure: no more is known."""
    size: int = 10 ** (len(f"{value:.0f}") - 1)
    return round(value / size) * size


def _times(value: float) -> str:
    """`twice`, `5 times`, `300 times`."""
    return "twice" if _round(value) == 2 else f"{_round(value):,} times"


_PARTS = {2: "half", 3: "a third", 4: "a quarter", 5: "a fifth", 6: "a sixth", 7: "a seventh", 8: "an eighth",
          9: "a ninth", 10: "a tenth"}  # fmt: skip


def _part(value: float) -> str:
    """`half`, `a fifth`, `one 300th`."""
    return _PARTS.get(_round(value)) or f"one {_round(value):,}th"
