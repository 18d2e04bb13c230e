"""False engine speed: ignition noise counted as pulses (doubled), pulses lost (halved, or 0 for an instant).

For a few readings the speed is twice or half, then exactly back where it was. Spikes of any other height are left to
`jumps`, which asks for more than an engine can do.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from ridelog.channels import IGNITION, JUMP, Channel
from ridelog.quality.trace import Finding, Trace
from ridelog.results import BoolArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details

_EDGE_UP, _EDGE_DOWN = 1.6, 0.62
"""Steps worth a closer look, as the ratio of a reading to the one before."""


def find(trace: Trace, channel: Channel, bad: BoolArray) -> list[Finding]:
    """Doubled, halved and lost readings of an engine speed, where the log is fast enough to tell."""
    if channel.name != "engine_rpm" or trace.t_s.size < 4 or trace.high < IGNITION.lowest_rpm:
        return []
    y = trace.y
    least = max((1.0 - _EDGE_DOWN) * IGNITION.lowest_rpm, IGNITION.fall_per_s * trace.shortest_step_s)
    if trace.high - trace.low < least or trace.largest_step < least:
        return []
    if not bool(((y[1:] > _EDGE_UP * y[:-1]) | (y[1:] < _EDGE_DOWN * y[:-1])).any()):
        return []
    index = np.flatnonzero(~bad)
    if trace.hold_s and index.size:
        index = index[np.concatenate(([True], np.diff(y[index]) != 0))]
    if index.size < 4:
        return []
    marked: dict[str, BoolArray] = {}
    for first, past, what in _excursions(trace, index):
        end = int(index[past])
        mask = marked.setdefault(what, np.zeros(y.size, dtype=np.bool_))
        mask[int(index[first]) : end] = True
    return [Finding("ignition_noise", mask & ~bad, doubt_details.IGNITION[what]) for what, mask in marked.items()]


def _excursions(trace: Trace, index: npt.NDArray[np.intp]) -> list[tuple[int, int, str]]:
    """Runs `[first, past)` of readings that leave and come back, and what they are."""
    t_s, y = trace.t_s[index], trace.y[index]
    edges = np.flatnonzero((y[1:] > _EDGE_UP * y[:-1]) | (y[1:] < _EDGE_DOWN * y[:-1])) + 1
    found: list[tuple[int, int, str]] = []
    if edges.size > max(JUMP.most_jumps, JUMP.noise_share * y.size):
        return found  # no signal at all: the rule for jumps says so
    done = 0
    for at, first in enumerate(edges.tolist()):
        if first < done:
            continue
        before = float(y[first - 1])
        for past in edges[at + 1 : at + 1 + JUMP.longest_spike].tolist():
            after = float(y[past])
            if t_s[past] - t_s[first - 1] > IGNITION.longest_s or past - first > JUMP.longest_spike:
                break
            if before < IGNITION.lowest_rpm or abs(after - before) > IGNITION.sides_agree * before:
                continue
            what = _what(y[first:past] / (0.5 * (before + after)))
            away = abs(float(y[first]) - before) / float(t_s[first] - t_s[first - 1])
            back = abs(after - float(y[past - 1])) / float(t_s[past] - t_s[past - 1])
            if what and _too_fast(what, away, back):
                found.append((first, past, what))
                done = past
                break
    return found


def _too_fast(what: str, away_per_s: float, back_per_s: float) -> bool:
    """Faster than an engine goes there and back. Up after a fall it may be pulled by the wheel, if not so steeply."""
    if what == "doubled":
        return away_per_s > IGNITION.rise_per_s and back_per_s > IGNITION.fall_per_s
    return min(away_per_s, back_per_s) > IGNITION.fall_per_s


def _what(ratio: npt.NDArray[np.float64]) -> str:
    low, high = float(ratio.min()), float(ratio.max())
    if IGNITION.doubled[0] <= low and high <= IGNITION.doubled[1]:
        return "doubled"
    if IGNITION.halved[0] <= low and high <= IGNITION.halved[1]:
        return "halved"
    return "lost" if high <= 0.02 else ""


_UNRELATED = (
    "engine_rpm",
    "coolant_c",
    "throttle_pct",
    "battery_v",
    "head_c",
    "exhaust_gas_c",
    "intake_air_c",
    "baro_kpa",
)
"""Sensors that share nothing but the wiring."""


def together(found: Mapping[str, list[Finding]], traces: Mapping[str, Trace]) -> list[QualityMark]:
    """One mark (nothing more is left out by it) where engine speed and an unrelated sensor spike at the same moments,
    over and over: that is no engine and no sensor, it is electrical."""
    rpm = _moments(found.get("engine_rpm", []), traces.get("engine_rpm"))
    if rpm.size < IGNITION.together_least:
        return []
    shared = np.zeros(rpm.size, dtype=np.bool_)
    others = []
    for name in _UNRELATED[1:]:
        theirs = _moments(found.get(name, []), traces.get(name))
        if theirs.size < IGNITION.together_least:
            continue
        right = np.clip(np.searchsorted(theirs, rpm), 1, theirs.size - 1)
        near = np.minimum(np.abs(rpm - theirs[right - 1]), np.abs(rpm - theirs[right])) <= IGNITION.together_s
        if int(near.sum()) >= max(IGNITION.together_least, 0.3 * theirs.size):
            shared |= near
            others.append(name)
    if not others:
        return []
    times = rpm[shared]
    return [
        QualityMark(
            "engine_rpm",
            "electrical_noise",
            float(times[0]),
            float(np.nextafter(times[-1], np.inf)),
            "kept",
            doubt_details.spikes_together(times.size, ", ".join(others)),
        )
    ]


def _moments(findings: list[Finding], trace: Trace | None) -> npt.NDArray[np.float64]:
    if trace is None:
        return np.zeros(0)
    bad = np.zeros(trace.t_s.size, dtype=np.bool_)
    for finding in findings:
        if finding.kind in ("spike", "ignition_noise", "out_of_range", "sentinel"):
            bad |= finding.bad
    starts = bad.copy()
    starts[1:] &= ~bad[:-1]
    return np.asarray(trace.t_s[starts], dtype=np.float64)
