"""Stretches in which a channel is not to be trusted. Values are marked, never taken away.

Two sorts of rules, each small enough to be tested alone, their bounds in `ridelog.channels`. Some look at one channel's
own samples (`find(trace, channel, bad)`); some weigh channels against each other, once a second (`find(scene)`).
`find_marks` runs them all and joins what they find. A rule looks for a cheap bound first, so that a healthy channel
costs one pass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS, TIME, base_name, is_canonical
from ridelog.intervals import Interval
from ridelog.quality import (
    ambient,
    coolant_pair,
    dropout,
    gps_speed,
    gps_track,
    ignition,
    jumps,
    position,
    position_jump,
    pulses,
    ranges,
    sentinel,
    stuck,
    substitute,
    throttle_zero,
    transport,
)
from ridelog.quality.scene import Scene
from ridelog.quality.trace import Finding, Trace, to_marks
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import ChannelInfo, QualityMark

__all__ = ["Finding", "Scene", "Trace", "find_marks"]

_TOLD_MISSING = ("coolant_c", "engine_rpm", "throttle_pct", "gps_speed_mps", "wheel_speed_mps", "lat_deg", "map_slot")
"""Channels whose silence is worth a mark: verdicts rest on them."""

_WORTH_THREADS = 200_000
"""Rows from which on two threads are quicker than one."""


_STEPS = ("impossible_rate", "spike")


@dataclass
class _Looked:
    """One channel after the rules that look at it alone."""

    trace: Trace
    bad: BoolArray
    findings: list[Finding] = field(default_factory=list)
    marks: list[QualityMark] = field(default_factory=list)

    def add(self, finding: Finding) -> None:
        self.findings.append(finding)
        self.marks.extend(to_marks(self.trace, finding))
        if finding.action == "excluded":
            self.bad |= finding.bad

    def lies(self) -> BoolArray:
        """Samples known to be false. A step is none: either side of it may be the right one."""
        if all(finding.kind != "impossible_rate" for finding in self.findings):
            return self.bad
        false = np.zeros(self.bad.size, dtype=np.bool_)
        for finding in self.findings:
            if finding.kind != "impossible_rate" and finding.action == "excluded":
                false |= finding.bad
        return false


@np.errstate(over="ignore")
def find_marks(
    samples: pl.DataFrame,
    channels: Mapping[str, ChannelInfo],
    gaps: Sequence[Interval],
    rpm_per_mps: Sequence[float] | None = None,
) -> tuple[QualityMark, ...]:
    """Marks of all canonical channels: of each alone, in the order of the columns and of time, then of the rules that
    compare channels. `rpm_per_mps`: engine speed over ground speed in each gear, (1/min)/(m/s), where the bike is
    known."""
    t_s = samples[TIME].to_numpy()
    shortest_s = float(np.diff(t_s).min()) if t_s.size > 1 else 0.0
    moving = stuck.Movement(samples)

    @np.errstate(over="ignore")  # damage: numbers at the ends of their range
    def one(name: str) -> _Looked:
        looked = _of_channel(_trace(name, samples[name], t_s, channels[name], shortest_s), moving)
        if samples[name].null_count() and base_name(name) in _TOLD_MISSING and looked.trace.t_s.size:
            looked.marks.extend(dropout.find(name, looked.trace, t_s, gaps, channels[name].rate_hz))
        return looked

    names = [n for n in samples.columns if n != TIME and is_canonical(n) and samples[n].dtype == pl.Float64]
    if samples.height < _WORTH_THREADS:
        found = [one(name) for name in names]
    else:
        with ThreadPoolExecutor(2) as pool:
            found = list(pool.map(one, names))
    looked = dict(zip(names, found, strict=True))
    derived = [name for name in names if channels[name].origin != "logged"]
    scene = _scene(looked, gaps, derived)
    told = _once((*_of_all(scene, looked), *pulses.find(scene, rpm_per_mps)))
    alone = [mark for each in found for mark in each.marks if not _explained(mark, told)]
    return (*alone, *position.find(samples), *told)


def _explained(mark: QualityMark, told: Sequence[QualityMark]) -> bool:
    """A step into, within or out of a stretch of which another rule says more needs no mark of its own."""
    return mark.kind in _STEPS and any(
        _within(mark, other) or (mark.channel == other.channel and mark.start_s == other.end_s)
        for other in told
        if other.action == "excluded"
    )


def _within(mark: QualityMark, other: QualityMark) -> bool:
    return mark.channel == other.channel and other.start_s <= mark.start_s and mark.end_s <= other.end_s


def _once(told: Sequence[QualityMark]) -> tuple[QualityMark, ...]:
    """Without marks that only say of a part what another one of their kind says of the whole."""
    return tuple(
        mark
        for number, mark in enumerate(told)
        if not any(
            _within(mark, other) and mark.kind == other.kind and (number > place or not _within(other, mark))
            for place, other in enumerate(told)
            if place != number
        )
    )


def _of_channel(trace: Trace, moving: stuck.Movement) -> _Looked:
    """What the rules for one channel find. A sample that one rule has named is not looked at by the next."""
    channel = CHANNELS[base_name(trace.name)]
    looked = _Looked(trace, np.zeros(trace.t_s.size, dtype=np.bool_))
    if not trace.t_s.size:
        return looked
    for rule in (sentinel.find, ranges.find, ignition.find, jumps.find):
        for finding in rule(trace, channel, looked.bad):
            looked.add(finding)
    if channel.name == "coolant_c":
        invented = substitute.find(trace, moving, looked.bad)
        for finding in invented or stuck.find(trace, moving):
            looked.add(finding)
    return looked


def _scene(looked: Mapping[str, _Looked], gaps: Sequence[Interval], derived: Sequence[str]) -> Scene:
    traces = {name: each.trace for name, each in looked.items()}
    return Scene(traces, {name: each.lies() for name, each in looked.items()}, gaps, derived)


def _of_all(scene: Scene, looked: Mapping[str, _Looked]) -> tuple[QualityMark, ...]:
    """What only several channels together can tell."""
    jumped = {
        name: sum(_runs(finding.bad) for finding in each.findings if finding.kind in _STEPS)
        for name, each in looked.items()
    }
    return (
        *ignition.together({name: each.findings for name, each in looked.items()}, scene.traces),
        *gps_speed.find(scene),
        *position_jump.find(scene),
        *gps_track.find(scene),
        *throttle_zero.find(scene),
        *ambient.find(scene),
        *transport.find(scene),
        *coolant_pair.find(scene, jumped),
    )


def _runs(bad: BoolArray) -> int:
    return int(np.count_nonzero(bad[1:] & ~bad[:-1])) + int(bad[:1].any())


def _trace(name: str, values: pl.Series, t_s: FloatArray, info: ChannelInfo, shortest_s: float) -> Trace:
    if values.null_count():
        here = values.is_not_null().to_numpy()
        own_t, y = t_s[here], values.drop_nulls().to_numpy()
    else:
        own_t, y = t_s, values.to_numpy()
    hold_s = 1.0 / info.rate_hz if info.held and info.rate_hz else 0.0
    return Trace(name, own_t, y, info.resolution or 0.0, hold_s, shortest_s)
