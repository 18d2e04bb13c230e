"""Stamps in the order of the rows -> recordings with one strictly rising clock each.

A reset, a jump back, or a pause of hours begins another recording; a step too long for the log's own rhythm is a gap
inside one. Nothing is filled in.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ridelog.clock import disorder, plain
from ridelog.clock.disorder import GAP_FLOOR_S, GAP_MEDIAN_STEPS
from ridelog.errors import InputRefused
from ridelog.intervals import Interval
from ridelog.results import FloatArray
from ridelog.ride import Note, Recording
from ridelog.words import clocks

Rows = npt.NDArray[np.int64]

DAY_S = 86_400.0
HOUR_S = 3_600.0
SPLIT_PAUSE_S = 3 * 3600.0
"""A pause this long ends a ride: lunch and repairs are shorter, the next day is longer. Common practice, no source."""

MOST_RECORDINGS = 50
"""More steps back than this in one file begin no recordings: the clock is broken, or it is not the clock. A logger that
starts again at every stop, every quarter of an hour of a long day, makes about 40."""

_DISORDER_S = 2.0
_DISORDER_STEPS = 10.0
"""Rows late by no more than this were written out of order; a longer step back is another recording."""

_COARSEST_S = 10.0
"""Rows that share a stamp are spread over its length; over more than this, nobody knows when they were."""

_FINEST_S = 1e-9
"""No logger tells times apart that are closer; what differs by less is noise of the arithmetic, or damage."""

_WRAPS = ((2.0**16, "16-bit"), (2.0**32, "32-bit"))


@dataclass
class Findings:
    """What was done to the rows of a table: notes, and how many rows are in no recording or share one's time."""

    notes: list[Note] = field(default_factory=list)
    left_out: int = 0
    first_row: int = 0
    lines: Rows | None = None

    def row(self, index: int) -> str:
        """A row of the table as the file numbers it; where the file has no lines, as the table does."""
        return f"row {self.number(index):,}"

    def number(self, index: int) -> int:
        """The file's line of a row, counted from 1; its place in the table where the file has no lines."""
        if self.lines is not None:
            return int(self.lines[index])
        return index + (self.first_row or 1)


_MEDIAN_OF = 200_000


def gap_limit_s(steps: FloatArray) -> float:
    """Steps longer than this are gaps. Of very many steps the median is taken over an even choice of them."""
    if not steps.size:
        return GAP_FLOOR_S
    return max(GAP_FLOOR_S, GAP_MEDIAN_STEPS * float(np.median(steps[:: steps.size // _MEDIAN_OF + 1])))


def find_recordings(
    stamps_s: FloatArray,
    *,
    rows: Rows | None,
    breaks: Sequence[int],
    wraps_s: float | None,
    day_clock: bool,
    sortable: bool,
    findings: Findings,
    hour_clock: bool = False,
) -> list[Recording]:
    """Recordings of a table.

    `stamps_s` (finite) are the stamps of `rows` (None: of all rows). `breaks` are positions in `stamps_s` where another
    recording was begun in the file. `wraps_s` is the length of one count of a whole-number counter, which may wrap.
    `day_clock`: a clock time that starts again at midnight; `hour_clock`: minutes and seconds, which do so at the full
    hour. `sortable`: stamps of different recordings compare.
    """
    if not len(breaks) and plain.rises_evenly(stamps_s, _FINEST_S, SPLIT_PAUSE_S):
        origin = float(stamps_s[0])
        return [Recording(stamps_s - origin if origin else stamps_s, origin, rows, None, (), ())]
    steps = np.diff(stamps_s)
    if ((steps != 0.0) & (np.abs(steps) < _FINEST_S)).any():
        # Seen from the first stamp such times would fall together; here they become equal, and are counted as such.
        stamps_s = np.where(np.abs(stamps_s) < 1e6, np.round(np.clip(stamps_s, -1e6, 1e6), 9), stamps_s)
        steps = np.diff(stamps_s)
    if (
        not len(breaks)
        and (steps.size == 0 or float(steps.min()) > 0.0)
        and float(steps.max(initial=0.0)) < SPLIT_PAUSE_S
    ):
        return [_recording(stamps_s, rows, (), findings)]
    if rows is None:
        rows = np.arange(stamps_s.size, dtype=np.int64)
    stamps_s = stamps_s.copy()
    if steps.size > 2 and not len(breaks) and float((steps <= 0).mean()) > 0.95 and float(steps.sum()) < 0:
        stamps_s, rows = stamps_s[::-1].copy(), rows[::-1].copy()
        findings.notes.append(Note("reversed", clocks.REVERSED))
        steps = np.diff(stamps_s)
    stamps_s, rows, breaks = _without_strays(stamps_s, rows, breaks, findings)
    steps = np.diff(stamps_s)
    if day_clock:
        stamps_s = _over_midnight(stamps_s, steps, findings)
        steps = np.diff(stamps_s)
    if hour_clock:
        stamps_s = _over_the_hour(stamps_s, steps, findings)
        steps = np.diff(stamps_s)
    if wraps_s is not None:
        stamps_s = _unwrap(stamps_s, steps, wraps_s, findings)
        steps = np.diff(stamps_s)
    if not len(breaks) and disorder.scrambled(stamps_s):
        stamps_s, rows = _unscrambled(stamps_s, rows, findings)
        steps = np.diff(stamps_s)
    edges = _edges(stamps_s, steps, breaks, rows, findings)
    pieces = [slice(a, b) for a, b in itertools.pairwise(edges)]
    ordered = [_sorted(stamps_s[piece], rows[piece], findings) for piece in pieces]
    groups = _group(ordered, sortable=sortable, findings=findings)
    groups = _drop_short(groups, findings)
    result = []
    for group in groups:
        joined = np.concatenate([stamps for stamps, _ in group])
        joints = np.cumsum([stamps.size for stamps, _ in group])[:-1]
        taken = np.concatenate([indices for _, indices in group])
        result.append(_recording(joined, taken, tuple(int(j) for j in joints), findings))
    return result


def _over_midnight(stamps_s: FloatArray, steps: FloatArray, findings: Findings) -> FloatArray:
    crossings = np.flatnonzero(steps < -DAY_S / 2)
    if not crossings.size:
        return stamps_s
    days = np.zeros(stamps_s.size)
    np.add.at(days, crossings + 1, 1.0)
    findings.notes.append(Note("midnight", clocks.MIDNIGHT, rows=crossings.size))
    return stamps_s + np.cumsum(days) * DAY_S


def _over_the_hour(stamps_s: FloatArray, steps: FloatArray, findings: Findings) -> FloatArray:
    """Minutes and seconds alone, as a spreadsheet shows times: from 59:59 they go on at 00:00."""
    forward = steps[steps > 0]
    if not forward.size:
        return stamps_s
    rhythm = GAP_MEDIAN_STEPS * float(np.median(forward)) + GAP_FLOOR_S
    turns = np.flatnonzero((steps < 0) & (steps + HOUR_S > 0) & (steps + HOUR_S < rhythm))
    if not turns.size or float(stamps_s.max()) >= HOUR_S:
        return stamps_s
    hours = np.zeros(stamps_s.size)
    hours[turns + 1] = 1.0
    findings.notes.append(Note("full_hour", clocks.NO_HOURS, rows=int(turns.size)))
    return stamps_s + np.cumsum(hours) * HOUR_S


def _unwrap(stamps_s: FloatArray, steps: FloatArray, count_s: float, findings: Findings) -> FloatArray:
    """A counter that starts again at 2^16 or 2^32 counts is counted on."""
    forward = steps[steps > 0]
    if not forward.size or not (steps < 0).any():
        return stamps_s
    rhythm = GAP_MEDIAN_STEPS * float(np.median(forward)) + GAP_FLOOR_S
    for counts, what in _WRAPS:
        length = counts * count_s
        if float(stamps_s.max()) >= length:
            continue
        here = (steps < 0) & (steps + length > 0) & (steps + length < rhythm)
        if here.any():
            turns = np.zeros(stamps_s.size)
            turns[1:] = np.cumsum(here)
            findings.notes.append(Note("counter_wrap", clocks.counter_ran_over(what), rows=int(here.sum())))
            return stamps_s + turns * length
    return stamps_s


def _late_s(steps: FloatArray) -> tuple[float, float]:
    """How late a row may be and still be one out of order, and the usual step."""
    forward = steps[steps > 0]
    usual = float(np.median(forward)) if forward.size else 0.0
    return max(_DISORDER_S, _DISORDER_STEPS * usual), usual


def _without_strays(
    stamps_s: FloatArray, rows: Rows, breaks: Sequence[int], findings: Findings
) -> tuple[FloatArray, Rows, Sequence[int]]:
    late, usual = _late_s(np.diff(stamps_s))
    wrong = disorder.strays(stamps_s, breaks, late, usual)
    if not wrong.size:
        return stamps_s, rows, breaks
    findings.left_out += int(wrong.size)
    findings.notes.append(
        Note(
            "left_out_stray_time",
            clocks.STRAY_TIMES,
            rows=int(wrong.size),
            example=findings.row(int(rows[wrong[0]])),
        )
    )
    kept = np.delete(np.arange(stamps_s.size), wrong)
    return stamps_s[kept], rows[kept], [int(np.searchsorted(kept, b)) for b in breaks]


def _unscrambled(stamps_s: FloatArray, rows: Rows, findings: Findings) -> tuple[FloatArray, Rows]:
    """Rows sorted by something else than time, in the order of their times. Raises InputRefused where none is right."""
    back = np.flatnonzero(np.diff(stamps_s) < 0)
    order = disorder.in_order(stamps_s)
    if order is None:
        raise InputRefused(
            f"time runs backwards {back.size:,} times, first at {findings.row(int(rows[back[0] + 1]))}, and many rows "
            "share a time, so that their order is lost",
            expected="rows in the order of time",
            to_do="use the log as the device wrote it: it was sorted by another column",
        )
    findings.notes.append(
        Note(
            "out_of_order",
            clocks.NO_ORDER,
            rows=int(back.size),
        )
    )
    return stamps_s[order], rows[order]


def _edges(stamps_s: FloatArray, steps: FloatArray, breaks: Sequence[int], rows: Rows, findings: Findings) -> list[int]:
    """Positions at which pieces begin, the end included. Raises InputRefused where it steps back all the time."""
    late, usual = _late_s(steps)
    known = sorted({b for b in breaks if 0 < b < stamps_s.size})
    found: list[int] = []
    start = passed = 0
    for at in np.flatnonzero(steps < 0).tolist():
        position = at + 1
        while passed < len(known) and known[passed] <= position:
            start = max(start, known[passed])
            passed += 1
        if position == start:
            continue
        drop = float(stamps_s[at] - stamps_s[position])
        # A clock that starts again covers the same seconds again; a row written late fills a hole.
        covered = position + 1 < stamps_s.size and float(stamps_s[position + 1]) <= float(stamps_s[at])
        again = covered and float(stamps_s[position]) <= float(stamps_s[start]) + usual
        if drop > late or (again and position - start > 2 and _runs_on(steps, position)):
            found.append(position)
            start = position
    if len(found) > MOST_RECORDINGS:
        raise InputRefused(
            f"time runs backwards {len(found):,} times, first at {findings.row(int(rows[found[0]]))}",
            expected="a clock that rises, or a few recordings one after the other",
            to_do="check that the right column is the time (--column 'NAME=time:s') and the rows are in order",
        )
    if found:
        drop = float(stamps_s[found[0] - 1] - stamps_s[found[0]])
        findings.notes.append(
            Note(
                "clock_back",
                clocks.STEPS_BACK,
                rows=len(found),
                example=clocks.back_by(drop, findings.row(int(rows[found[0]]))),
            )
        )
    pauses = (np.flatnonzero(steps > SPLIT_PAUSE_S) + 1).tolist()
    return sorted({0, stamps_s.size, *known, *found, *pauses})


def _runs_on(steps: FloatArray, position: int) -> bool:
    """After a step back: does time run forward from there for a few rows, as a new recording does?"""
    after = steps[position : position + 3]
    return bool(after.size) and bool((after > 0).all())


def _sorted(stamps_s: FloatArray, rows: Rows, findings: Findings) -> tuple[FloatArray, Rows]:
    steps = np.diff(stamps_s)
    late = int((steps < 0).sum())
    if not late:
        return stamps_s, rows
    order = np.argsort(stamps_s, kind="stable")
    findings.notes.append(Note("out_of_order", clocks.OUT_OF_ORDER, rows=late))
    return stamps_s[order], rows[order]


Piece = tuple[FloatArray, Rows]


def _group(pieces: list[Piece], *, sortable: bool, findings: Findings) -> list[list[Piece]]:
    """Pieces that follow each other within SPLIT_PAUSE_S make one ride; others are rides of their own."""
    kept = [piece for piece in pieces if piece[0].size]
    if sortable and any(b[0][0] < a[0][0] for a, b in itertools.pairwise(kept)):
        kept.sort(key=lambda piece: float(piece[0][0]))
        findings.notes.append(Note("recordings_sorted", clocks.RECORDINGS_SORTED))
    groups: list[list[Piece]] = []
    for piece in kept:
        pause = float(piece[0][0]) - float(groups[-1][-1][0][-1]) if groups else -1.0
        if groups and 0.0 < pause <= SPLIT_PAUSE_S:
            groups[-1].append(piece)
        else:
            groups.append([piece])
    return groups


def _drop_short(groups: list[list[Piece]], findings: Findings) -> list[list[Piece]]:
    def span(group: list[Piece]) -> float:
        return float(group[-1][0][-1] - group[0][0][0])

    long = [group for group in groups if span(group) > 0.0]
    if not long:
        raise InputRefused(
            f"its {len(groups):,} recordings are a single moment each: no two rows belong together",
            expected="a ride, which has two samples at least",
            to_do="check that the right column is the time (--column 'NAME=time:s') and that its unit is right",
        )
    rows = sum(stamps.size for group in groups if span(group) <= 0.0 for stamps, _ in group)
    if rows:
        findings.left_out += rows
        findings.notes.append(Note("left_out_single", clocks.SINGLE_MOMENTS, rows=rows))
    return long


def _recording(stamps_s: FloatArray, rows: Rows | None, joints: tuple[int, ...], findings: Findings) -> Recording:
    """One recording from stamps that don't fall. Equal stamps are spread, or their rows merged."""
    run: Rows | None = None
    steps = np.diff(stamps_s)
    if steps.size and float(steps.min()) <= 0.0:
        first = np.flatnonzero(np.concatenate(([True], steps > 0)))
        lengths = np.diff(np.append(first, stamps_s.size))
        repeated = int(stamps_s.size - first.size)
        if repeated > 0.3 * stamps_s.size and first.size > 1:
            _not_too_coarse(np.diff(stamps_s[first]), stamps_s.size)
            stamps_s = _spread(stamps_s[first], lengths)
            findings.notes.append(Note("stamps_spread", clocks.STAMPS_SPREAD, rows=repeated))
        else:
            findings.left_out += repeated
            findings.notes.append(
                Note(
                    "left_out_same_time",
                    clocks.SAME_STAMP,
                    rows=repeated,
                )
            )
            stamps_s, run = stamps_s[first], lengths.astype(np.int64)
            joints = tuple(int(np.searchsorted(first, joint)) for joint in joints)
        steps = np.diff(stamps_s)
    if (begins := disorder.bursts(stamps_s)) is not None:
        lengths = np.diff(np.append(begins, stamps_s.size))
        stamps_s = _spread(stamps_s[begins], lengths)
        findings.notes.append(
            Note(
                "bursts_spread",
                clocks.BURSTS_SPREAD,
                rows=int(stamps_s.size),
            )
        )
        steps = np.diff(stamps_s)
    origin = float(stamps_s[0])
    t_s = stamps_s - origin
    if t_s.size < 2 or float(np.diff(t_s).min()) <= 0.0:
        raise InputRefused(
            "its times lie closer together than numbers this large can tell",
            expected="times from the start of the log, or since 1970, to the nanosecond at best",
            to_do="check that the right column is the time (--column 'NAME=time:s') and that its unit is right",
        )
    ends = set(np.flatnonzero(steps > gap_limit_s(steps)).tolist()) | {joint - 1 for joint in joints}
    gaps = tuple(Interval(float(t_s[i]), float(t_s[i + 1])) for i in sorted(ends) if 0 <= i < t_s.size - 1)
    return Recording(t_s, origin, rows, run, gaps, joints)


def _not_too_coarse(steps: FloatArray, rows: int) -> None:
    length = float(np.median(steps))
    if length > _COARSEST_S:
        raise InputRefused(
            f"{rows:,} rows share {steps.size + 1:,} times, most of them {length:g} s apart",
            expected="times to the second or finer",
            to_do="use the logger's own file; a spreadsheet may have rounded its times",
        )


def _spread(distinct: FloatArray, lengths: npt.NDArray[np.intp]) -> FloatArray:
    """Rows that share a stamp, spread evenly over the time to the next one (never over a gap)."""
    steps = np.diff(distinct)
    usual = float(np.median(steps))
    room = np.append(np.where(steps > max(GAP_FLOOR_S, GAP_MEDIAN_STEPS * usual), usual, steps), usual)
    # The first second of a log is rarely whole: its rows sit at its end, at the usual rhythm.
    rhythm = room / lengths
    typical = float(np.median(rhythm[1:-1])) if lengths.size > 2 else float(rhythm[0])
    offset = np.zeros(lengths.size)
    if lengths[0] * typical < room[0]:
        rhythm[0] = typical
        offset[0] = room[0] - lengths[0] * typical
    if lengths[-1] * typical < room[-1]:
        rhythm[-1] = typical
    within = np.arange(int(lengths.sum())) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    return np.asarray(np.repeat(distinct + offset, lengths) + within * np.repeat(rhythm, lengths), dtype=np.float64)
