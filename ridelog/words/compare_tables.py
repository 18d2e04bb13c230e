"""A comparison as tables and short lines: how its figures are written for people."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from ridelog.words import terms
from ridelog.words.compare import (
    ANSWER_WORDS,
    DASH,
    FIGURE_WORDS,
    STRETCH_WORDS,
    level,
    per_minute,
    rides,
    side_names,
    signed,
    span,
)

if TYPE_CHECKING:
    from ridelog.analysis.matched_records import Answer, Comparison, CoolDown, FanUse, Figure
    from ridelog.analysis.matched_use import Cruise, GearUse
    from ridelog.results import Band


def load_words(low: float, high: float | None) -> str:
    """`8 to 20 %` of peak power."""
    return f"over {100 * low:.0f} %" if high is None else f"{100 * low:.0f} to {100 * high:.0f} %"


def speed_words(low_mps: float, high_mps: float | None) -> str:
    """`11 to 22 km/h`."""
    return f"over {3.6 * low_mps:.0f} km/h" if high_mps is None else f"{3.6 * low_mps:.0f} to {3.6 * high_mps:.0f} km/h"


def answer_words(answer: Answer | str) -> str:
    """The answer as a cell of a table."""
    return ANSWER_WORDS[answer]


def figure_cells(row: Figure) -> tuple[str, str, str]:
    """First, others and the change: rates a minute, to be read."""
    heat = row.name == "heat_input"
    scale, unit, digits = (1.0, "C/s", 3) if heat else (60.0, "a minute", 2)

    def cell(band: Band) -> str:
        return (
            f"{scale * band.value:.{digits}f} ({scale * band.low:.{digits}f} to {scale * band.high:.{digits}f}) {unit}"
        )

    change = DASH
    if row.ratio is not None:
        low, high = 100.0 * (row.ratio.low - 1.0), 100.0 * (row.ratio.high - 1.0)
        change = f"{signed(100.0 * (row.ratio.value - 1.0))} % ({signed(low)} to {signed(high)})"
    return cell(row.first), cell(row.others), change


def cool_down_words(side: CoolDown) -> str:
    """Events of one side in a sentence."""
    if side.events == 0:
        return "no stop or crawl that left the coolant 5 C over its level on the move, with speed after it"
    text = f"{side.events} {'time' if side.events == 1 else 'times'}, from up to {side.highest_c or 0.0:.0f} C"
    text += f"; half of the way down after {_median(side.half_s)}"
    text += f", back within 2 C after {_median(side.back_s)}"
    cut = side.events - side.back_seen
    if cut:
        text += f" ({cut} cut short before that, counted for as long as seen)"
    return text


def _median(seconds: float | None) -> str:
    return "more than was seen" if seconds is None else terms.duration(seconds)


def fan_words(side: FanUse) -> str:
    """The fan of one side in a sentence."""
    if side.source == "none":
        return "the bike file names none, or coolant and speed are not both logged"
    looked = terms.duration(side.observed_s)
    if side.runs == 0 and side.source == "logged":
        return f"logged for {looked}, it never ran"
    if side.runs == 0:
        return (
            f"can't tell: not logged, and in {looked} of standing, where alone it would show, the coolant did "
            "not go up and down as it does with a fan"
        )
    how = "as logged" if side.source == "logged" else "guessed from the coolant of the standing bike"
    text = f"{side.runs} {'run' if side.runs == 1 else 'runs'} in {looked}, {how}"
    if side.on_c is not None:
        low, high = f"{side.on_c.low:.0f}", f"{side.on_c.high:.0f}"
        text += f"; cut in at {side.on_c.value:.0f} C" + (f" ({low} to {high})" if low != high else "")
    if side.run_s is not None:
        text += f"; a run lasts {terms.duration(side.run_s.value)} ({side.run_s.low:.0f} to {side.run_s.high:.0f} s)"
    return text


@dataclass(frozen=True)
class Table:
    """A table as it is printed: `right` are columns set flush right, `optional` those that may be left out."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    optional: tuple[int, ...] = ()


def title(found: Comparison) -> str:
    """What is compared."""
    if found.mode == "service":
        return f"Before and after the work of {found.service}"
    first = found.first_name
    # The id of a bike keeps its letters.
    return f"{f'R{first[1:]}' if first.startswith(('ride ', 'rides ')) else first} beside {found.others_name}"


def tables(found: Comparison) -> list[Table]:
    """All tables of a comparison that have rows."""
    made = [
        _rides_table(found),
        _settle_table(found),
        _rates_table(found, "Heating by load (share of peak power), at speeds both have", "Load"),
        _rates_table(found, "Cooling by speed, throttle shut or nearly so", "Speed"),
        _figure_table(found),
        _cruise_table(found),
        _gear_table(found),
        _cell_table(found),
        _build_table(found),
    ]
    return [table for table in made if table is not None and table.rows]


def _heads(found: Comparison) -> tuple[str, str]:
    first, others = side_names(found)
    return first.capitalize(), others.capitalize()


def _rides_table(found: Comparison) -> Table:
    rows = []
    for side, part in zip(side_names(found), (found.first, found.others), strict=True):
        for one in part:
            air = DASH if one.ambient_c is None else f"{one.ambient_c:.0f} C"
            used = DASH if one.conservative_share is None else terms.share(one.conservative_share)
            alone = DASH if one.settle_c is None else f"{one.settle_c:.0f} C"
            rows.append((side, one.id, terms.duration(one.duration_s), air, used, alone))
    columns = ("Side", "Ride", "Length", "Air", "Conservative map", "By itself settles at")
    return Table("Rides", columns, tuple(rows), (2, 3, 4, 5), (4,))


def _settle_table(found: Comparison) -> Table:
    rows = tuple(
        (STRETCH_WORDS[row.stretch], level(row.first, "C"), level(row.others, "C"), span(row.difference, "C"),
         answer_words(row.answer))
        for row in found.settle
    )  # fmt: skip
    air = f", air {found.settle[0].ambient_c:.0f} C" if found.settle else ""
    return Table(
        f"Where the coolant would settle on one and the same stretch{air}",
        ("Stretch", *_heads(found), "Difference", "Verdict"), rows, (1, 2, 3), (1, 2),
    )  # fmt: skip


def _rates_table(found: Comparison, heading: str, name: str) -> Table:
    by_load = name == "Load"
    rows = []
    for row in found.heating if by_load else found.cooling:
        rate = row.rate
        span_words = load_words if by_load else speed_words
        rows.append(
            (span_words(row.low, row.high), signed(60 * rate.first.value, 1), signed(60 * rate.others.value, 1),
             per_minute(rate.difference), f"{terms.duration(rate.seconds[0])} / {terms.duration(rate.seconds[1])}",
             answer_words(row.answer))
        )  # fmt: skip
    first, others = _heads(found)
    time = f"Time, {first.lower()} / {others.lower()}"
    columns = (name, f"{first}, C a minute", f"{others}, C a minute", "Difference", time, "Verdict")
    return Table(heading, columns, tuple(rows), (1, 2, 3, 4), (4,))


def _figure_table(found: Comparison) -> Table:
    rows = tuple((FIGURE_WORDS[row.name], *figure_cells(row), answer_words(row.answer)) for row in found.figures)
    return Table(
        "The heat balance on both sides", ("Figure", *_heads(found), "Change", "Verdict"), rows, (1, 2, 3), (1, 2)
    )


def _cruise_table(found: Comparison) -> Table:
    rows = []
    for pair in found.cruise:
        cells = [_cruise_cell(one) for one in (pair.first, pair.others)]
        shares = f"{terms.share(pair.share[0])} / {terms.share(pair.share[1])}"
        rows.append((speed_words(pair.low_mps, pair.high_mps), *cells, shares))
    columns = ("Speed", *_heads(found), "Share of the rides")
    return Table("Coolant above the air at steady cruise: median, lowest and highest", columns, tuple(rows), (1, 2, 3))


def _cruise_cell(one: Cruise | None) -> str:
    if one is None:
        return DASH
    return f"{one.lift_k:.0f} C ({one.lowest_k:.0f} to {one.highest_k:.0f}), {terms.duration(one.seconds)}"


def _gear_cell(one: GearUse | None) -> str:
    if one is None:
        return DASH
    return f"{one.rpm_per_kmh:.0f} (spread {100 * one.spread:.0f} %), {terms.duration(one.seconds)}"


def _gear_table(found: Comparison) -> Table:
    rows = []
    for pair in found.gears:
        cells = [_gear_cell(one) for one in (pair.first, pair.others)]
        over = pair.first.over_file if pair.first is not None else None
        against = DASH if over is None else f"{signed(100 * (over - 1.0), 1)} %"
        beside = DASH if pair.first_over_others is None else f"{signed(100 * (pair.first_over_others - 1.0), 1)} %"
        rows.append((str(pair.gear), *cells, beside, against))
    first, others = _heads(found)
    columns = ("Gear", first, others, f"{first} against {others.lower()}", f"{first} against the bike file")
    return Table("Engine speed over ground speed, 1/min for each km/h", columns, tuple(rows), (1, 2, 3, 4), (4,))


def _cell_table(found: Comparison) -> Table | None:
    cells = found.cells
    if cells is None:
        return None
    rows = []
    for n, low in enumerate(cells.rpm_edges[:-1]):
        high = cells.rpm_edges[n + 1]
        name = f"over {low:.0f}" if high is None else f"{low:.0f} to {high:.0f}"
        both = zip(cells.first_s[n], cells.others_s[n], strict=True)
        rows.append((name, *(f"{one:.0f} / {other:.0f}" if one or other else DASH for one, other in both)))
    edges = cells.opening_edges
    heads = [
        f"over {100 * (low or 0.0):.0f} %" if high is None else f"{100 * (low or 0.0):.0f} to {100 * high:.0f} %"
        for low, high in pairwise(edges)
    ]
    columns = ("Engine speed, 1/min", *heads)
    return Table(
        f"Seconds by engine speed and throttle, {' / '.join(side_names(found))}",
        columns,
        tuple(rows),
        tuple(range(1, len(columns))),
    )


def _build_table(found: Comparison) -> Table | None:
    place = found.build
    if place is None:
        return None
    rows = [(place.bike, rides(len(found.first)), level(place.settle, "C"))]
    rows += [(one.bike, rides(len(one.rides)), level(one.settle, "C")) for one in place.others]
    return Table("Ridden as here, it would settle at", ("Bike", "Rests on", "Settles at"), tuple(rows), (2,))


def riding_lines(found: Comparison) -> list[str]:
    """Cool-down, fan, gears and what was ridden alike, a sentence each."""
    said = []
    if found.cool_down is not None:
        for name, side in zip(_heads(found), found.cool_down, strict=True):
            said.append(f"{name}, coming down once speed returned: {cool_down_words(side)}.")
    if found.fan is not None:
        for name, use in zip(_heads(found), found.fan, strict=True):
            said.append(f"{name}, fan: {fan_words(use)}.")
    if found.gear_reading:
        said.append(found.gear_reading)
    if found.cells is not None and found.cells.share is not None:
        first, others = side_names(found)
        said.append(
            f"By engine speed and throttle {terms.share(found.cells.share[0])} of the {first} and "
            f"{terms.share(found.cells.share[1])} of the {others} were ridden in cells both have for ten seconds."
        )
    return said
