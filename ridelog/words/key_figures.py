"""The key figures on top of a ride's page and report, and the notes under its tables: what, how much, what it covers.

Plain text that has not been escaped.
"""

from __future__ import annotations

from dataclasses import dataclass

from ridelog.intervals import Interval, total_s
from ridelog.results import Analysis, Exposure
from ridelog.words.display import DASH, METRIC, Display, duration, share
from ridelog.words.heat import SETTLE_NOTE
from ridelog.words.terms import MAP_SOURCE_WORDS, map_source

TOO_LITTLE = "This log holds too little to tell how hot the engine ran."
SETTLE_LEGEND = "where the coolant would settle, with its band"
WHAT_IF_ROW = "On the conservative map where advised"
STRETCHES_NOTE = (
    "● followed  ◐ switched late  ○ not switched  ? can't tell  – no switch advised. Times count from the first "
    "sample. The time a rider needs to switch is left out of the advice figures. " + SETTLE_NOTE
)


@dataclass(frozen=True)
class KeyFigure:
    """A number on top of the page: what, the figure, and how much of the ride it speaks of."""

    label: str
    value: str
    note: str


def key_figures(analysis: Analysis, display: Display = METRIC) -> list[KeyFigure]:
    """Peak, time above, advice, boiling margin, duration and distance, each with what it covers."""
    found = [_peak(analysis, display)]
    worst = _worst(analysis.exposure)
    if worst is not None:
        found.append(_time_above(worst, display))
    found.append(_advice(analysis))
    found.append(_boiling(analysis, display))
    facts = analysis.ride
    gaps = total_s(Interval(*gap) for gap in facts.gaps)
    found.append(
        KeyFigure(
            "Duration", duration(facts.duration_s),
            f"{duration(facts.moving_s)} moving" if facts.moving_s is not None else "moving time can't be told",
        )
    )  # fmt: skip
    hole = f"{duration(gaps)} without data" if gaps else "no hole in the log"
    found.append(KeyFigure("Distance", display.distance_text(facts.distance_m), hole))
    return found


def _peak(analysis: Analysis, display: Display) -> KeyFigure:
    channel = analysis.ride.channels.get("coolant_c")
    peaks = [row.peak_c for row in analysis.exposure if row.peak_c is not None]
    if channel is None or not peaks:
        return KeyFigure("Peak coolant", DASH, "coolant was not logged")
    return KeyFigure(
        "Peak coolant", display.peak_text(max(peaks)), f"coolant known for {share(channel.coverage)} of the ride"
    )


def _worst(rows: tuple[Exposure, ...]) -> Exposure | None:
    """The highest threshold that was passed, else the lowest one: the row a rider asks for first."""
    passed = [row for row in rows if row.observed_high_s > 0]
    ordered = sorted(passed or rows, key=lambda row: row.threshold_c)
    return (ordered[-1] if passed else ordered[0]) if ordered else None


def _time_above(row: Exposure, display: Display) -> KeyFigure:
    label = f"Time above {display.temperature_text(row.threshold_c)} ({row.name})"
    if not observed(row):
        if row.estimated_s is None:
            return KeyFigure(label, "can't tell", "coolant was not logged")
        band = f"{duration(row.estimated_low_s)} to {duration(row.estimated_high_s)}"
        return KeyFigure(label, f"about {duration(row.estimated_s)}", f"estimated, {band}: coolant was not logged")
    note = f"the sensor allows {duration(row.observed_low_s)} to {duration(row.observed_high_s)}"
    if row.unknown_s > 0:
        note += f", not known for {duration(row.unknown_s)}"
    return KeyFigure(label, duration(row.observed_s), note)


def observed(row: Exposure) -> bool:
    """False where the coolant was never known: nought seconds seen is then no finding."""
    return row.peak_c is not None


def _advice(analysis: Analysis) -> KeyFigure:
    adherence = analysis.adherence
    label = WHAT_IF_ROW
    if adherence.advised_s <= 0:
        return KeyFigure(label, DASH, "no stretch called for it")
    if adherence.share is None:
        why = "map not known there" if map_source(analysis) is not None else "map not logged"
        return KeyFigure(label, "can't tell", f"{duration(adherence.advised_s)} advised, {why}")
    note = f"{duration(adherence.conservative_s)} of {duration(adherence.advised_s)}"
    if (source := map_source(analysis)) in MAP_SOURCE_WORDS:
        note += f", {MAP_SOURCE_WORDS[source]}"
    if adherence.unknown_s > 0:
        note += f", map not known for {duration(adherence.unknown_s)}"
    return KeyFigure(label, share(adherence.share), note)


def _boiling(analysis: Analysis, display: Display) -> KeyFigure:
    boiling = analysis.boiling
    label = "Coolant at its peak, against boiling"
    if boiling is None or boiling.margin_sealed_c is None or boiling.margin_vented_c is None:
        return KeyFigure(label, DASH, "can't be told")
    sealed, vented = (_side(value, display) for value in (boiling.margin_sealed_c, boiling.margin_vented_c))
    if boiling.margin_sealed_c <= 0:
        return KeyFigure(label, sealed, f"the boiling point even with a sealed cap; {vented} it if the cap leaks")
    there = "it" if boiling.margin_vented_c > 0 else "it: it may have boiled"
    return KeyFigure(label, sealed, f"the boiling point with a sealed cap; if the cap leaks, {vented} {there}")


def _side(margin_k: float, display: Display) -> str:
    """`12 °C below` for a margin that is left, `11 °C above` for one that is used up."""
    return f"{display.temperature_step_text(abs(margin_k))} {'below' if margin_k > 0 else 'above'}"
