"""How figures and units are written."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.errors import UsageError
from ridelog.words.display import IMPERIAL, METRIC, clock, display, duration, number, round_length, share, time_ticks


def spaced(text: str) -> str:
    """With ordinary spaces, for reading in a test."""
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "0 s"), (0.4, "0.4 s"), (42, "42 s"), (185, "3 min 05 s"), (3720, "1 h 02 min"), (None, "–")],
)
def test_durations(seconds: float | None, text: str) -> None:
    assert spaced(duration(seconds)) == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(0, "0:00:00"), (59.99, "0:00:59"), (3661, "1:01:01"), (90_000, "25:00:00")]
)
def test_clock(seconds: float, text: str) -> None:
    assert clock(seconds) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0 %"), (0.001, "under 1 %"), (0.5, "50 %"), (0.999, "over 99 %"), (1.0, "100 %"), (None, "–")],
)
def test_a_share_is_never_rounded_to_all_or_nothing(value: float | None, text: str) -> None:
    assert spaced(share(value)) == text


def test_units_on_the_page() -> None:
    # 100 C is 212 F; 10 m/s is 36 km/h and 22.37 mph (a mile is 1609.344 m by the international agreement of 1959)
    assert spaced(METRIC.temperature_text(100.0)) == "100 °C"
    assert spaced(IMPERIAL.temperature_text(100.0)) == "212 °F"
    assert spaced(IMPERIAL.temperature_step_text(10.0)) == "18 °F"
    assert spaced(METRIC.speed_text(10.0)) == "36 km/h"
    assert spaced(IMPERIAL.speed_text(10.0, 2)) == "22.37 mph"
    assert spaced(IMPERIAL.distance_text(16_093.44)) == "10.0 mi"
    assert METRIC.temperature_text(None) == "–"


def test_minus_is_a_minus_and_zero_has_none() -> None:
    assert METRIC.temperature_text(-4.8).startswith("−5")
    assert METRIC.temperature_text(-0.2).startswith("0")


def test_a_figure_that_rounds_to_nought_has_no_sign() -> None:
    assert [number(value, 2) for value in (-0.004, -0.006, 0.3, 1234.5)] == ["0.00", "−0.01", "0.30", "1,234.50"]


def test_unknown_units_are_refused() -> None:
    assert display("imperial") is IMPERIAL
    with pytest.raises(UsageError, match="metric or imperial"):
        display("furlongs")


@given(st.floats(0, 400_000), st.floats(1, 400_000), st.integers(3, 12))
def test_ticks_are_few_round_and_inside(start: float, span: float, most: int) -> None:
    values, labels = time_ticks(start, start + span, most)
    assert len(values) == len(labels) <= most + 1
    assert all(start - 1e-6 <= value <= start + span + 1e-6 for value in values)
    assert len(set(labels)) == len(labels)


def test_tick_labels() -> None:
    assert time_ticks(0, 3000)[1] == ["0:00", "0:10", "0:20", "0:30", "0:40", "0:50"]
    assert time_ticks(670, 700, 4)[1] == ["0:11:10", "0:11:20", "0:11:30", "0:11:40"]


@given(st.floats(1e-3, 1e7))
def test_scale_bars_are_one_two_or_five(at_most: float) -> None:
    length = round_length(at_most)
    assert length <= at_most * (1 + 1e-9)
    assert length > at_most / 2.6
    assert f"{length:.0e}"[0] in "125"
