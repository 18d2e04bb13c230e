"""From sentences to samples: one moment one sample, dates given to times of day, recordings told apart.

A receiver sends several sentences for one moment; those that follow each other with the same time are one group. Only
groups whose sentences all claim a fix and give a position become samples. Their times are then put on one line of days,
and where that line goes back a new recording begins.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import IntEnum

import numpy as np

from ridelog.readers.nmea_fields import NO_DAY, BoolArray, FloatArray, IntArray
from ridelog.readers.nmea_kinds import GGA, GLL, RMC, VTG, ZDA, Sentences

SECOND_US = 1_000_000
DAY_US = 86_400 * SECOND_US
WEEKS_1024_DAYS = 7168

_JITTER_US = 5 * SECOND_US
"""A step back up to this long is sentences out of order (receivers send some of them late), not a new recording."""
_STEADY_US = 60 * SECOND_US
"""Times that follow each other by at most this much share one line of days, whatever dates stand beside them."""

_LEAST_INNER = 3
_NEARLY_ALL = 0.9
"""Moments from which on, and share of them from which on, a recording is said to have a usual set of sentences."""

_UNIX_DAY = date(1970, 1, 1).toordinal()
FIRST_ROLLOVER = date(1999, 8, 22).toordinal() - _UNIX_DAY
"""GPS counts weeks to 1024 and starts again: first at the start of this day, then on 2019-04-07 and 2038-11-21."""
EARLIEST = date(2009, 1, 1).toordinal() - _UNIX_DAY
"""A date from the first rollover up to this day is taken for one 1024 weeks too early: it is older than any engine this
program is for. The rule serves logs up to 1024 weeks after it (2028-08-17); the day has to move on before that."""


class Fate(IntEnum):
    """What became of a sentence."""

    SAMPLE = 0
    VOID = 1
    NULL_ISLAND = 2
    NO_POSITION = 3
    NO_TIME = 4
    STRAY_TIME = 5
    CUT_MOMENT = 6


@dataclass(frozen=True)
class Samples:
    """Samples in the order of the file's recordings.

    `time_us`: microseconds since 1970-01-01 UTC, or, where no sentence of the file has a date (`dated` false), since
    the midnight before the first one. `columns`: float arrays, NaN where a sample has no value. `breaks`: the samples
    at which a new recording begins; `steps_back_s`: how far the clock went back at each step back. `fates` counts
    sentences. The rest counts samples: `week_shifted`, date moved by 1024 weeks; `odd_dates`, the date written did not
    fit its neighbours; `borrowed_dates`, the date comes from across a hole; `old_dates`, before the first rollover;
    `disordered`, not sent in the order of time.
    """

    time_us: IntArray
    dated: bool
    columns: Mapping[str, FloatArray]
    breaks: tuple[int, ...]
    steps_back_s: tuple[float, ...]
    fates: Mapping[Fate, int]
    week_shifted: int
    odd_dates: int
    borrowed_dates: int
    old_dates: int
    disordered: int

    @property
    def size(self) -> int:
        """Number of samples."""
        return int(self.time_us.size)


@dataclass(frozen=True)
class _Days:
    """Days to add to each group's time of day, and how they were come by."""

    days: IntArray
    dated: bool
    shifted: BoolArray
    odd: BoolArray
    borrowed: BoolArray


def make_samples(sentences: Sentences) -> Samples:
    """The samples the sentences of a file make."""
    group, first = _groups(sentences)
    fate = _group_fates(sentences, group, first.size)
    kept = np.flatnonzero(fate[:-1] == Fate.SAMPLE)
    stray = _stray(sentences.tod_us[first[kept]])
    fate[kept[stray]] = Fate.STRAY_TIME
    kept = kept[~stray]

    place = np.full(first.size + 1, -1)
    place[kept] = np.arange(kept.size)
    owner = place[group]
    tod = sentences.tod_us[first[kept]]
    line = _day_line(tod, sentences, owner)
    time_us = tod + line.days * DAY_US
    step = np.diff(time_us)
    back = step < -_JITTER_US
    recording = np.concatenate((np.zeros(min(1, kept.size), np.int64), np.cumsum(back)))

    order = np.lexsort((time_us, recording)) if (step <= 0).any() else np.arange(kept.size)
    opens = (np.diff(time_us[order], prepend=-1) != 0) | (np.diff(recording[order], prepend=-1) != 0)
    chosen = order[opens]
    moment = np.full(kept.size + 1, -1)
    moment[order] = np.cumsum(opens) - 1
    of_sentence = moment[owner]
    whole = _whole(sentences, of_sentence, recording[chosen])

    columns = _columns(sentences, of_sentence, chosen.size)
    fates = fate[group]
    fates[(group < 0) & sentences.void] = Fate.VOID
    cut = np.append(~whole, False)[of_sentence]
    fates[cut] = Fate.CUT_MOMENT
    final = chosen[whole]
    counted = {name: int(np.count_nonzero(getattr(line, name)[final])) for name in ("shifted", "odd", "borrowed")}
    return Samples(
        time_us=time_us[final],
        dated=line.dated,
        columns={name: values if whole.all() else values[whole] for name, values in columns.items()},
        breaks=tuple((np.flatnonzero(np.diff(recording[final])) + 1).tolist()),
        steps_back_s=tuple((-step[back] / SECOND_US).tolist()),
        fates=dict(zip(Fate, np.bincount(fates, minlength=len(Fate)).tolist(), strict=True)),
        week_shifted=counted["shifted"],
        odd_dates=counted["odd"],
        borrowed_dates=counted["borrowed"],
        old_dates=int(np.count_nonzero(time_us[final] < FIRST_ROLLOVER * DAY_US)) if line.dated else 0,
        disordered=int(np.count_nonzero((step < 0) & ~back)),
    )


def _groups(sentences: Sentences) -> tuple[IntArray, IntArray]:
    """The group of each sentence (-1: none), and the first sentence of each group. A VTG belongs to what it follows."""
    anchors = sentences.kind != VTG
    at = np.flatnonzero(anchors)
    tod = sentences.tod_us[at]
    timed = np.flatnonzero(tod >= 0)
    opens = np.diff(tod[timed], prepend=-1) != 0
    of_anchor = np.full(at.size + 1, -1)
    of_anchor[timed] = np.cumsum(opens) - 1
    return of_anchor[np.cumsum(anchors) - 1], at[timed[opens]]


def _group_fates(sentences: Sentences, group: IntArray, count: int) -> IntArray:
    """The fate of each group, and at the end of the sentences in none. One void sentence makes its group void."""

    def groups_with(some: BoolArray) -> BoolArray:
        found = np.zeros(count + 1, dtype=np.bool_)
        found[group[some]] = True
        return found

    fate = np.full(count + 1, int(Fate.SAMPLE))
    fate[~groups_with(~np.isnan(sentences.lat_deg))] = Fate.NO_POSITION
    fate[groups_with((sentences.lat_deg == 0.0) & (sentences.lon_deg == 0.0))] = Fate.NULL_ISLAND
    fate[groups_with(sentences.void)] = Fate.VOID
    fate[-1] = Fate.NO_TIME
    return fate


def _stray(tod: IntArray) -> BoolArray:
    """Times that fit neither the one before nor the one after although those two fit each other."""
    found = np.zeros(tod.size, dtype=np.bool_)
    if tod.size > 2:
        before, this, after = tod[:-2], tod[1:-1], tod[2:]
        between = _apart(before, after)
        found[1:-1] = (
            (between >= -_JITTER_US)
            & (between <= _STEADY_US)
            & ((_apart(after, this) > _JITTER_US) | (_apart(before, this) < -_JITTER_US))
        )
    return found


def _apart(first: IntArray, second: IntArray) -> IntArray:
    """From one time of day to another the shorter way round the clock, microseconds."""
    return (second - first + DAY_US // 2) % DAY_US - DAY_US // 2


def _day_line(tod: IntArray, sentences: Sentences, owner: IntArray) -> _Days:
    """A day for each group. Between holes the date that most groups write counts for all of them."""
    written = np.full(tod.size, NO_DAY, dtype=np.int64)
    for kind in (ZDA, RMC):
        rows = np.flatnonzero((sentences.kind == kind) & (owner >= 0) & (sentences.day != NO_DAY))
        written[owner[rows]] = sentences.day[rows]
    shifted = (written >= FIRST_ROLLOVER) & (written < EARLIEST)
    written[shifted] += WEEKS_1024_DAYS
    odd = np.zeros(tod.size, dtype=np.bool_)
    odd[owner[sentences.odd_date & (owner >= 0)]] = True

    step = np.diff(tod, prepend=tod[:1])
    turn = np.cumsum((step < -(DAY_US // 2)).astype(np.int64) - (step > DAY_US - _STEADY_US))
    known = np.flatnonzero(written != NO_DAY)
    none = np.zeros(tod.size, dtype=np.bool_)
    if not known.size:
        return _Days(turn - turn.min(initial=0), False, none, odd, none)
    offset = written[known] - turn[known]
    on = np.diff(tod + turn * DAY_US, prepend=0)
    stretch = np.cumsum((on < -_JITTER_US) | (on > _STEADY_US)) - 1
    stretch -= stretch[0]
    voted, has_vote = _vote(stretch[known], offset, int(stretch[-1]) + 1)
    source = np.where(has_vote, np.arange(has_vote.size), -1)
    source = np.maximum.accumulate(source)
    source[source < 0] = np.flatnonzero(has_vote)[0]
    days = turn + voted[source][stretch]
    odd[known] |= offset != voted[stretch[known]]
    return _Days(days, True, shifted & ~odd, odd, ~has_vote[stretch])


def _vote(stretch: IntArray, offset: IntArray, count: int) -> tuple[IntArray, BoolArray]:
    """The commonest offset of each stretch (of equals the latest), and which stretches have one."""
    voted, has_vote = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.bool_)
    low, span = int(offset.min()), int(np.ptp(offset)) + 1
    ballots, votes = np.unique(stretch * span + offset - low, return_counts=True)
    order = np.lexsort((ballots, votes, ballots // span))
    winners = ballots[order]
    voted[winners // span] = winners % span + low
    has_vote[winners // span] = True
    return voted, has_vote


def _whole(sentences: Sentences, of_sentence: IntArray, recording: IntArray) -> BoolArray:
    """False for a recording's first or last moment where it lacks the RMC that stands beside other sentences in nearly
    all moments between: the recording began or ended in the middle of it, so its speed and date are missing."""
    height = recording.size
    if not height:
        return np.zeros(0, dtype=np.bool_)

    def holds(*kinds: int) -> BoolArray:
        found = np.zeros(height + 1, dtype=np.bool_)
        found[of_sentence[np.isin(sentences.kind, kinds)]] = True
        return found[:-1]

    complete, others = holds(RMC), holds(GGA, GLL)
    edge = (np.diff(recording, prepend=-1) != 0) | (np.diff(recording, append=-1) != 0)
    inner = np.bincount(recording, weights=~edge)
    both = np.bincount(recording, weights=~edge & complete & others)
    usual = (inner >= _LEAST_INNER) & (both >= _NEARLY_ALL * inner)
    return np.asarray(complete | ~edge | ~usual[recording])


_SOURCES = (
    ("lat_deg", "lat_deg", (GLL, GGA, RMC)),
    ("lon_deg", "lon_deg", (GLL, GGA, RMC)),
    ("elevation_m", "elevation_m", (GGA,)),
    ("gps_speed_mps", "speed_mps", (VTG, RMC)),
    ("gps_fix", "fix", (GGA,)),
    ("gps_hdop", "hdop", (GGA,)),
    ("gps_satellites", "satellites", (GGA,)),
)
"""Column, property of the sentences, and the kinds it is taken from: a later one goes before an earlier one."""


def _columns(sentences: Sentences, of_sentence: IntArray, height: int) -> dict[str, FloatArray]:
    rows = [np.flatnonzero((sentences.kind == kind) & (of_sentence >= 0)) for kind in range(5)]
    columns: dict[str, FloatArray] = {}
    for name, source, kinds in _SOURCES:
        column = np.full(height, np.nan)
        for kind in kinds:
            values = getattr(sentences, source)[rows[kind]]
            given = ~np.isnan(values)
            column[of_sentence[rows[kind][given]]] = values[given]
        columns[name] = column
    counted = np.flatnonzero((of_sentence >= 0) & ~np.isnan(sentences.counter))[::-1]
    columns["counter"] = np.full(height, np.nan)
    columns["counter"][of_sentence[counted]] = sentences.counter[counted]
    return columns
