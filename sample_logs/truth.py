"""What truly happened on a ride, read from the simulated states alone."""

from dataclasses import dataclass

import numpy as np

from .simulation.ride import STEP_S, Trace

GRACE_S = 10.0
THRESHOLDS_C = (95.0, 105.0, 115.0)


@dataclass(frozen=True)
class Kind:
    name: str
    least_s: float
    bridge_s: float  # interruptions up to this long do not end a stretch
    doubtful_s: tuple[float, float]  # stretches this long would leave the truth open to argument
    advised: bool


KINDS = (
    Kind("heavy_drag", 20.0, 0.0, (8.0, 30.0), True),
    Kind("wide_open", 15.0, 1.5, (9.0, 19.0), True),
    Kind("high_speed", 60.0, 0.5, (45.0, 70.0), True),
    Kind("slow_climb", 30.0, 2.0, (18.0, 36.0), False),
    Kind("standstill", 60.0, 0.0, (35.0, 75.0), False),
)
ADVISED = frozenset(kind.name for kind in KINDS if kind.advised)


def _held(trace: Trace, kind: str) -> np.ndarray:
    speed = trace["speed_mps"]
    if kind == "heavy_drag":
        return (trace["drag"] >= 0.20) & (speed > 0.5)
    if kind == "wide_open":
        return trace["opening"] >= 0.85
    if kind == "high_speed":
        return speed >= 25.0
    if kind == "slow_climb":
        return (trace["sine"] >= 0.08) & (speed < 6.0) & (speed > 0.5)
    return (speed < 0.5) & (trace["running"] > 0.5)


def runs(held: np.ndarray, bridge_s: float = 0.0) -> list[tuple[int, int]]:
    """Index pairs (first, one past the last) where the condition holds, short interruptions bridged."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], held.astype(np.int8), [0]])))
    joined: list[tuple[int, int]] = []
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if joined and (first - joined[-1][1]) * STEP_S <= bridge_s:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((first, end))
    return joined


def doubtful(trace: Trace) -> list[str]:
    """Stretches too near a limit of time to serve as truth."""
    found = []
    for kind in KINDS:
        for first, end in runs(_held(trace, kind.name), kind.bridge_s):
            length_s = (end - first) * STEP_S
            if kind.doubtful_s[0] <= length_s <= kind.doubtful_s[1]:
                found.append(f"{kind.name} of {length_s:.1f} s at {first * STEP_S:.1f} s")
    return found


def _stretches(trace: Trace) -> list[tuple[Kind, int, int]]:
    taken = np.zeros(len(trace["t_s"]), dtype=bool)
    found = []
    for kind in KINDS:
        for first, end in runs(_held(trace, kind.name), kind.bridge_s):
            if (end - first) * STEP_S < kind.least_s:
                continue
            free = runs(~taken[first:end])
            for a, b in free:
                if (b - a) * STEP_S >= kind.least_s:
                    found.append((kind, first + a, first + b))
            taken[first:end] = True
    return sorted(found, key=lambda item: item[1])


def _section(trace: Trace, stretch: tuple[Kind, int, int], map_logged: bool, advised: frozenset[str]) -> dict:
    kind, first, end = stretch
    on = trace["conservative"][first:end] > 0.5
    pressed = np.flatnonzero(on)
    share = float(on[int(GRACE_S / STEP_S) :].mean())
    if kind.name not in advised:
        verdict = "not_advised"
    elif not map_logged:
        verdict = "unknown"
    elif share >= 0.8:
        verdict = "followed"
    else:
        verdict = "late" if len(pressed) else "missed"
    return {
        "kind": kind.name,
        "start_s": round(first * STEP_S, 2),
        "end_s": round(end * STEP_S, 2),
        "drag": round(float(trace["drag"][first:end].mean()), 4),
        "mean_speed_mps": round(float(trace["speed_mps"][first:end].mean()), 2),
        "mean_power_w": round(float(trace["crank_w"][first:end].mean())),
        "conservative_share": round(share, 3),
        "switched_after_s": round(float(pressed[0]) * STEP_S, 2) if len(pressed) else None,
        "expected_verdict": verdict,
    }


def of_ride(trace: Trace, map_logged: bool, advised: frozenset[str] = ADVISED) -> dict:
    coolant = trace["coolant_c"]
    sections = [_section(trace, stretch, map_logged, advised) for stretch in _stretches(trace)]
    return {
        "duration_s": round(trace.duration_s, 2),
        "distance_m": round(float(trace["distance_m"][-1]), 1),
        "map_logged": map_logged,
        "peak_coolant_c": round(float(coolant.max()), 2),
        "above_s": {f"{limit:.0f}": round(float((coolant > limit).sum()) * STEP_S, 1) for limit in THRESHOLDS_C},
        "engine_off_above_s": {
            f"{limit:.0f}": round(float(((coolant > limit) & (trace["running"] < 0.5)).sum()) * STEP_S, 1)
            for limit in THRESHOLDS_C
        },
        "sections": sections,
    }


def zone_times(trace: Trace) -> dict[tuple[str, int], tuple[float, float]]:
    """When each zone was ridden: (name, lap from 1) to (entered, left)."""
    course = trace.plan.course
    lap = np.floor(trace["distance_m"] / course.length_m).astype(int)
    visit = lap * 1000 + trace["zone"].astype(int)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(visit)) + 1, [len(visit)]])
    times = {}
    for first, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        key = (course.zones[int(trace["zone"][first])].name, int(lap[first]) + 1)
        times[key] = (first * STEP_S, end * STEP_S)
    return times
