"""Where two signals might lie in time: cross-correlation of their changes over every offset, holes left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.offset.signals import STEP_S, Uniform
from ridelog.results import FloatArray

EVERY = 2
COARSE_S = EVERY * STEP_S

CHUNK_S = 2000.0
"""The clocks of two devices part by up to half a second over this time: less than a change of speed lasts."""

LEAST_OVERLAP_S = 60.0
"""Of time in which both tell something. Over less, two rides agree by chance."""

APART_S = 5.0
CANDIDATES = 6


@dataclass(frozen=True)
class Candidate:
    """`lag_s` and `drift` (1 = a second a second) at the middle of the other device's recording, `correlation` -1..1,
    `strength` in standard deviations of what unrelated signals would give, `overlap_s` of time compared."""

    lag_s: float
    drift: float
    correlation: float
    strength: float
    overlap_s: float


def strength_of(correlation: FloatArray, overlap_s: FloatArray, memory_s: float) -> FloatArray:
    """Fisher's transform times the root of the number of independent moments less three (R. A. Fisher 1921, from
    memory): a short overlap must agree better than a long one to count as much."""
    moments = np.maximum(overlap_s / memory_s - 3.0, 0.0)
    return np.arctanh(np.clip(correlation, -0.999, 0.999)) * np.sqrt(moments)


def candidates(
    reference: Uniform, other: Uniform, *, middle_s: float, max_offset_s: float, max_drift: float, memory_s: float
) -> list[Candidate]:
    """The strongest separate places, best first; empty where nothing overlaps for long enough."""
    a, b = _coarse(reference), _coarse(other)
    if not a.values.size or not b.values.size:
        return []
    length = round(CHUNK_S / COARSE_S)
    starts = list(range(0, b.values.size, length))
    centres = np.array([(b.first + s + 0.5 * min(length, b.values.size - s)) * COARSE_S for s in starts])
    reach = float(np.abs(centres - middle_s).max())
    margin = int(np.ceil(max_drift * reach / COARSE_S)) + 1
    half = int(max_offset_s / COARSE_S)
    sums = _sums(a, b, starts, length, half + margin)
    # Drifts are tried so close that the outermost chunk moves by no more than half a second from one to the next.
    number = 2 * int(np.ceil(max_drift * reach / 0.5)) + 1 if len(starts) > 1 else 1
    drifts = np.linspace(-max_drift, max_drift, number) if number > 1 else np.zeros(1)
    best = np.zeros((4, 2 * half + 1))
    for drift in drifts.tolist():
        total = np.zeros((4, 2 * half + 1))
        for chunk, centre in enumerate(centres.tolist()):
            at = margin + round(drift * (centre - middle_s) / COARSE_S)
            total += sums[chunk, :, at : at + 2 * half + 1]
        overlap = total[3] * COARSE_S
        usable = (overlap >= LEAST_OVERLAP_S) & (total[1] > 1e-6) & (total[2] > 1e-6)
        correlation = np.where(usable, total[0] / np.sqrt(np.where(usable, total[1] * total[2], 1.0)), 0.0)
        strength = strength_of(correlation, overlap, memory_s)
        better = strength > best[0]
        best[:, better] = np.stack([strength, correlation, overlap, np.full(overlap.size, drift)])[:, better]
    return _peaks(best, half)


def _coarse(signal: Uniform) -> Uniform:
    skip = -signal.first % EVERY
    return Uniform((signal.first + skip) // EVERY, signal.values[skip::EVERY])


def _sums(a: Uniform, b: Uniform, starts: list[int], length: int, half: int) -> FloatArray:
    """For each chunk of `b` and each lag from -half to half: sum of products, of squares of either, and count."""
    # Late: the library takes long to load, and most files are read without it.
    from scipy.fft import irfft, next_fast_len, rfft

    size = next_fast_len(a.values.size + length, real=True)
    ma = np.isfinite(a.values)
    va = np.where(ma, a.values, 0.0)
    fa, fa2, fma = rfft(va, size), rfft(va * va, size), rfft(ma.astype(np.float64), size)
    result = np.zeros((len(starts), 4, 2 * half + 1))
    for chunk, start in enumerate(starts):
        part = b.values[start : start + length]
        mb = np.isfinite(part)
        vb = np.where(mb, part, 0.0)
        fb, fb2, fmb = np.conj(rfft(vb, size)), np.conj(rfft(vb * vb, size)), np.conj(rfft(mb.astype(np.float64), size))
        # Index i of the product is a[n + i] against part[n]; on the clocks that is a lag of `zero` + i steps.
        zero = a.first - (b.first + start)
        low, high = max(-half, zero - part.size + 1), min(half, zero + a.values.size - 1)
        if high < low:
            continue
        index = np.arange(low, high + 1) - zero
        for row, product in enumerate((fa * fb, fa2 * fmb, fma * fb2, fma * fmb)):
            result[chunk, row, low + half : high + half + 1] = irfft(product, size)[index % size]
    result[:, 3] = np.rint(result[:, 3])
    return result


def _peaks(best: FloatArray, half: int) -> list[Candidate]:
    strength = best[0].copy()
    apart = round(APART_S / COARSE_S)
    found: list[Candidate] = []
    while len(found) < CANDIDATES:
        top = int(strength.argmax())
        if strength[top] <= 0.0:
            break
        _, correlation, overlap, drift = best[:, top].tolist()
        found.append(Candidate((top - half) * COARSE_S, drift, correlation, float(strength[top]), overlap))
        strength[max(top - apart, 0) : top + apart + 1] = 0.0
    return found
