"""The short way of a clock that simply rises gives what the long way gives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.clock import plain, recordings
from ridelog.clock.recordings import Findings, Recording, find_recordings
from ridelog.errors import InputRefused


def both(stamps: np.ndarray, monkeypatch: pytest.MonkeyPatch) -> tuple[list[Recording] | str, list[Recording] | str]:
    """Recordings, or the reason there are none, by the ordinary call and with the short way closed."""

    def run() -> list[Recording] | str:
        try:
            return find_recordings(
                stamps, rows=None, breaks=(), wraps_s=None, day_clock=False, sortable=False, findings=Findings()
            )
        except InputRefused as error:
            return str(error)

    short = run()
    with monkeypatch.context() as closed:
        closed.setattr(recordings.plain, "rises_evenly", lambda *_: False)
        return short, run()


def same(one: list[Recording] | str, other: list[Recording] | str) -> bool:
    """Equal in every field."""
    if isinstance(one, str) or isinstance(other, str) or len(one) != len(other):
        return one == other
    return all(
        np.array_equal(a.t_s, b.t_s)
        and (a.origin_s, a.gaps, a.breaks) == (b.origin_s, b.gaps, b.breaks)
        and (a.run is None) == (b.run is None)
        and (a.rows is None or b.rows is None or np.array_equal(a.rows, b.rows))
        for a, b in zip(one, other, strict=True)
    )


STEPS = st.lists(
    st.sampled_from([0.01, 0.1, 1.0, 0.99, 4.9, 5.0, 5.1, 1e-9, 1e-10, 0.0, -1.0, 3600.0, 10_800.0, 14_000.0]),
    min_size=1,
    max_size=60,
)


@settings(max_examples=300, deadline=None)
@given(
    steps=STEPS,
    usual=st.sampled_from([0.01, 1.0, 3000.0]),
    odd=st.integers(0, 6),
    start=st.sampled_from([0.0, 0.3, -5.0, 1e9, 1e15]),
)
def test_both_ways_agree(steps: list[float], usual: float, odd: int, start: float) -> None:
    # Most steps are the log's own, a few are anything.
    walked = np.full(40, usual)
    walked[: min(odd, len(steps))] = steps[: min(odd, len(steps))]
    stamps = start + np.concatenate(([0.0], np.cumsum(walked)))
    with pytest.MonkeyPatch.context() as patch:
        short, long = both(stamps, patch)
    assert same(short, long)


@pytest.mark.parametrize("fault", [None, 0, 32_767, 32_768, 32_769, 69_999])
@pytest.mark.parametrize("step", [0.0, -0.5, 20.0])
def test_a_fault_is_met_wherever_it_lies(fault: int | None, step: float) -> None:
    steps = np.full(70_000, 0.01)
    if fault is not None:
        steps[fault] = step
    stamps = np.concatenate(([0.0], np.cumsum(steps)))
    assert plain.rises_evenly(stamps, 1e-9, 10_800.0) == (fault is None)
    assert plain.rises_evenly(stamps + 7.0, 1e-9, 10_800.0) == (fault is None)


def test_times_that_fall_together_from_the_first_stamp_are_left_to_the_long_way() -> None:
    # Near a small number 1e-8 is a step, from one of 1e9 on it is none.
    stamps = np.concatenate(([-1e9], np.arange(1, 100) * 1e-8))
    assert not plain.rises_evenly(stamps, 1e-9, 1e12)
