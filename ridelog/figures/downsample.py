"""From any number of samples to what a screen can show: the one place where points are left out.

Samples are split where they have holes, each piece is thinned by the M4 choice (first, last, smallest and largest of
each bin; Jugel, Jerzak, Hackenbroich & Markl, PVLDB 7(10), 2014), and NaN is set between pieces so that no line is
drawn over a hole. The smallest and the largest value inside the view always survive.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from tsdownsample import M4Downsampler

from ridelog.results import FloatArray

IndexArray = npt.NDArray[np.intp]

_BY_BIN: Any = M4Downsampler
_BY_BIN = _BY_BIN()  # the library carries no types


def hole_after_s(t_s: FloatArray) -> float:
    """A step longer than this is a hole: over one second and five times the usual step, as for the clock."""
    if t_s.size < 2:
        return 1.0
    return max(1.0, 5.0 * float(np.median(np.diff(t_s))))


def downsample(
    t_s: FloatArray,
    y: FloatArray,
    n_out: int,
    *,
    start_s: float | None = None,
    end_s: float | None = None,
    hole_s: float | None = None,
) -> tuple[FloatArray, FloatArray]:
    """At most about `n_out` points of a trace inside a view, holes marked by NaN.

    `t_s` seconds, finite and rising; `y` of the same length, NaN where not known. `n_out` >= 4. The view takes one
    sample more at each side, so that a line runs to the edge. A step over `hole_s` (default: hole_after_s of the whole
    trace) is a hole, and so is a sample that is not known between two that are. Each hole costs up to five points more;
    where there are more of them than an eighth of `n_out`, those narrower than one of `n_out` columns are not drawn,
    since they could not be seen, so that the result never holds more than 6 `n_out` points.
    Raises ValueError where `t_s` is not finite and rising.
    """
    if t_s.shape != y.shape or t_s.ndim != 1:
        raise ValueError(f"t_s has shape {t_s.shape}, y {y.shape}: two equal lengths are needed")
    if n_out < 4:
        raise ValueError(f"n_out is {n_out}: 4 points at least")
    if t_s.size and not (np.isfinite(t_s[0]) and np.isfinite(t_s[-1]) and bool(np.all(np.diff(t_s) > 0))):
        raise ValueError("t_s must be finite and rise from sample to sample")
    longest = hole_after_s(t_s) if hole_s is None else hole_s
    first = 0 if start_s is None else max(0, int(np.searchsorted(t_s, start_s, side="left")) - 1)
    last = t_s.size if end_s is None else min(t_s.size, int(np.searchsorted(t_s, end_s, side="right")) + 1)
    t, values = t_s[first:last], y[first:last]
    known = np.flatnonzero(np.isfinite(values))
    if known.size == 0:
        return np.empty(0), np.empty(0)
    t, values, at = t[known], np.ascontiguousarray(values[known], dtype=np.float64), known
    # a hole is a long step, or a sample between two known ones that is not known
    holes = np.flatnonzero((np.diff(t) > longest) | (np.diff(at) > 1)) + 1
    if holes.size > n_out // 8:
        column_s = (float(t[-1]) - float(t[0])) / n_out
        wide = t[holes] - t[holes - 1] > column_s
        holes = holes[wide]
    return _thin_pieces(np.ascontiguousarray(t, dtype=np.float64), values, holes, n_out)


def _thin_pieces(t: FloatArray, y: FloatArray, holes: IndexArray, n_out: int) -> tuple[FloatArray, FloatArray]:
    """Each piece gets points by its share of the samples; NaN stands between pieces, half-way through the hole."""
    starts = np.concatenate(([0], holes)).astype(np.intp)
    ends = np.concatenate((holes, [t.size])).astype(np.intp)
    per_sample = min(1.0, n_out / t.size)
    out_t: list[FloatArray] = []
    out_y: list[FloatArray] = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        if out_t:
            out_t.append(np.array([(t[a - 1] + t[a]) / 2]))
            out_y.append(np.array([np.nan]))
        keep = a + _thin(t[a:b], y[a:b], int((b - a) * per_sample))
        out_t.append(t[keep])
        out_y.append(y[keep])
    return np.concatenate(out_t), np.concatenate(out_y)


def _thin(t: FloatArray, y: FloatArray, budget: int) -> IndexArray:
    """Indices to keep of one piece without holes: all where they fit, else first, last, smallest, largest a bin."""
    count = 4 * (budget // 4)
    if t.size <= max(4, budget):
        return np.arange(t.size, dtype=np.intp)
    if count < 8:  # one bin alone makes the library abort
        chosen: list[int] = [0, int(np.argmin(y)), int(np.argmax(y)), t.size - 1]
        return np.unique(np.asarray(chosen, dtype=np.intp))
    chosen_by_bin = _BY_BIN.downsample(t, y, n_out=count).astype(np.intp)
    return np.unique(np.concatenate((chosen_by_bin, [0, t.size - 1])).astype(np.intp))
