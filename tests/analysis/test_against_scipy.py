"""Small numerical helpers against the reference library's own: SciPy's savgol_filter, gaussian_filter1d, find_peaks and
lfilter."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks, lfilter
from scipy.signal import savgol_filter as reference

from ridelog.analysis.filters import filtered, savgol_filter
from ridelog.analysis.peaks import bell, peaks

SEEDS = st.integers(0, 2**32 - 1)


@given(seed=SEEDS, half=st.integers(1, 20), more=st.integers(0, 60), order=st.integers(1, 2), deriv=st.integers(0, 1))
def test_savgol(seed: int, half: int, more: int, order: int, deriv: int) -> None:
    window = 2 * max(half, order) + 1
    values = np.random.default_rng(seed).normal(50.0, 10.0, window + more)
    told = savgol_filter(values, window, order, deriv=deriv, delta=0.1)
    assert told == pytest.approx(reference(values, window, order, deriv=deriv, delta=0.1), abs=1e-8)


@given(seed=SEEDS, count=st.integers(1, 300), rows=st.integers(1, 5))
def test_the_first_order_lag(seed: int, count: int, rows: int) -> None:
    draw = np.random.default_rng(seed)
    values, keep, before = draw.normal(size=(rows, count)), draw.uniform(0.0, 0.999, rows), draw.normal(size=rows)
    told = filtered(values, keep, before)
    for n in range(rows):
        there, _ = lfilter([1.0], [1.0, -keep[n]], values[n], zi=[before[n]])
        assert told[n] == pytest.approx(there, abs=1e-9)


@given(seed=SEEDS, sigma=st.floats(0.5, 5.0))
def test_bell_away_from_the_ends(seed: int, sigma: float) -> None:
    values = np.zeros(150)
    values[40:110] = np.random.default_rng(seed).uniform(size=70)
    assert bell(values, sigma) == pytest.approx(gaussian_filter1d(values, sigma), abs=1e-12)


@given(
    values=st.lists(st.integers(0, 6), min_size=1, max_size=80),
    prominence=st.floats(0.1, 4.0),
    distance=st.integers(1, 20),
    ties=st.booleans(),
)
def test_peaks(values: list[int], prominence: float, distance: int, ties: bool) -> None:
    heights = np.array(values, dtype=np.float64)
    if not ties:
        heights += np.arange(heights.size) * 1e-6
    told = peaks(heights, prominence=prominence, distance=distance if not ties else 1)
    there, _ = find_peaks(heights, prominence=prominence, distance=distance if not ties else 1)
    assert told.tolist() == there.tolist()


def test_reading_and_analyzing_start_without_the_slow_library() -> None:
    ask = "import sys, ridelog.analyze, ridelog.ingest; print(sorted(n for n in sys.modules if n.startswith('scipy')))"
    told = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
