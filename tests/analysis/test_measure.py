"""What is measured on a stretch, and what makes it uncertain."""

from __future__ import annotations

import numpy as np
import pytest

from ridelog.advice import default_advice
from ridelog.analysis.measure import Context, Measured, measure
from ridelog.analysis.shapes import Signals, Stretch, Terrain

T_S = np.arange(500) / 5.0
COOLANT_T_S = np.array([0.0, 15.0, 30.0, 60.0, 90.0])
COOLANT_C = np.array([80.0, 90.0, 100.0, 110.0, 95.0])


def context(*, low: float = 0.22, grade: float | None = 0.0, power_w: float = 8000.0, **more: object) -> Context:
    blocks = np.full(100, 0.27)
    soil = Terrain(np.arange(100.0), blocks, np.full(100, low), np.full(100, 0.35), blocks, np.full(100, 0.2))
    plain = {
        "signals": Signals(
            t_s=T_S,
            step_s=0.2,
            speed_mps=np.full(500, 8.0),
            grade=None if grade is None else np.full(500, grade),
            opening=np.full(500, 0.9),
            rpm=np.full(500, 6000.0),
            terrain=soil,
        ),
        "power_w": np.full(500, power_w),
        "peak_power_w": 36_000.0,
        "grade_sigma": 0.005,
        "open_stop_seen": True,
        "speed_from_position": False,
        "coolant_t_s": COOLANT_T_S,
        "coolant_c": COOLANT_C,
        "coolant_joined": np.array([True, True, False, True]),
    }
    return Context(**{**plain, **more})


def on(kind: str, where: Context, start_s: float = 10.0, end_s: float = 50.0) -> Measured:
    return measure(Stretch(start_s, end_s, kind, ()), default_advice().rule(kind), where)


def test_means_and_bounds() -> None:
    found = on("heavy_drag", context())
    assert (found.mean_speed_mps, found.mean_power_w, found.mean_grade) == (8.0, 8000.0, 0.0)
    assert (found.drag, found.drag_low, found.drag_high) == (0.27, 0.22, 0.35)
    assert found.power_share == pytest.approx(8000.0 / 36_000.0)
    assert found.doubts == ()


def test_coolant_at_the_start_and_its_peak() -> None:
    found = on("heavy_drag", context(), 10.0, 25.0)
    assert found.coolant_start_c == pytest.approx(80.0 + 10.0 * 10.0 / 15.0)
    assert found.coolant_peak_c == pytest.approx(90.0 + 10.0 * 10.0 / 15.0)


def test_coolant_in_a_gap_is_not_known() -> None:
    found = on("heavy_drag", context(), 40.0, 50.0)
    assert (found.coolant_start_c, found.coolant_peak_c) == (None, None)


def test_without_power_and_drag_nothing_is_made_up() -> None:
    bare = context(power_w=0.0)
    signals = Signals(T_S, 0.2, np.full(500, 30.0), None, None, None, None)
    found = on("high_speed", Context(**{**bare.__dict__, "signals": signals, "power_w": None, "peak_power_w": None}))
    assert (found.mean_power_w, found.power_share, found.drag, found.mean_grade) == (None, None, None, None)
    assert found.doubts == ()


@pytest.mark.parametrize(
    ("kind", "where", "part"),
    [
        ("heavy_drag", context(low=0.19), "under the level of 20 %"),
        ("heavy_drag", context(grade=None), "without elevation"),
        ("heavy_drag", context(power_w=3000.0), "close to the level"),
        ("wide_open", context(open_stop_seen=False), "open stop"),
        ("high_speed", context(speed_from_position=True), "positions alone"),
        ("slow_climb", context(grade=0.085), "within its own error"),
        ("standstill", context(speed_from_position=True), "positions alone"),
    ],
)
def test_what_makes_a_stretch_uncertain(kind: str, where: Context, part: str) -> None:
    assert any(part in doubt for doubt in on(kind, where).doubts)


@pytest.mark.parametrize("kind", ["heavy_drag", "wide_open", "high_speed", "standstill"])
def test_otherwise_it_is_sure(kind: str) -> None:
    assert on(kind, context()).doubts == ()


def test_a_clear_climb_is_sure() -> None:
    assert on("slow_climb", context(grade=0.15)).doubts == ()
