"""What a mark tells of a value is as fine as a person reads it."""

from __future__ import annotations

import numpy as np
import pytest

from ridelog.quality.trace import Finding, Trace, to_marks


@pytest.mark.parametrize(
    ("value", "told"), [(20.333333, "20.33"), (118.0, "118"), (118.4, "118.4"), (12345.0, "12345")]
)
def test_a_value_is_told_to_two_decimals_at_most(value: float, told: str) -> None:
    trace = Trace("gps_speed_mps", np.array([0.0, 1.0, 2.0]), np.array([1.0, value, 1.0]))
    marks = to_marks(trace, Finding("spike", np.array([False, True, False]), "{value} seen"))
    assert [mark.detail for mark in marks] == [f"{told} seen"]
