"""The fit's arithmetic in plain C, as a yardstick: the same recursion over the same windows and parameter vectors,
and the same normal equations, compiled at run time. For the benchmark only.

It does what `thermal.march` does and in the way a programmer of C would write it: heating and conductances step by step
along the ride (once for vectors that share them), the lag, then every window forward, then gradient and curvature.
"""

from __future__ import annotations

import ctypes
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from ridelog.analysis import airflow, thermal
from ridelog.analysis.thermal import Conditions, IndexArray, Plant
from ridelog.results import FloatArray

SOURCE = r"""
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { HEAT, STILL, FAN, FLOW, CORE, EXPONENT, PACE, IDLE, LAG, KAPPA, CLOSED, BYPASS, OPENS, AMBIENT, COUNT };

typedef struct {
    int n;
    const double *power, *turning, *speed, *ambient, *running, *fan, *conservative;
    double reference_kw, turning_ref, turning_least, gas, reference_c, off_share, step, light, power_of_flow, span;
    int has_fan, has_thermostat;
} Ride;

static double carried(double speed, double core, double p) {
    if (speed < 1e-6) speed = 1e-6;
    return speed * -expm1(-pow(core / speed, p));
}

static int same(const double *a, const double *b, const int *which, int count) {
    for (int i = 0; i < count; i++) if (a[which[i]] != b[which[i]]) return 0;
    return 1;
}

static void heating(const Ride *r, const double *t, double *q) {
    double e = exp(t[EXPONENT]), idle = exp(t[IDLE]), kappa = exp(t[KAPPA]), lag = exp(t[LAG]);
    double keep = exp(-r->step / lag), last = 0.0, ref = r->reference_kw + r->turning_ref * idle;
    for (int k = 0; k < r->n; k++) {
        double pace = (r->turning[k] > r->turning_least ? r->turning[k] : r->turning_least) / r->turning_ref;
        double now = r->running[k] * pow((r->power[k] + idle * r->turning[k]) / ref, e) * pow(pace, t[PACE]);
        if (r->conservative[k] > 0.0) now *= kappa;
        if (k == 0) last = now;
        last = keep * last + (1.0 - keep) * now;
        q[k] = last;
    }
}

static void flow(const Ride *r, const double *t, double *off, double *on) {
    double core = exp(t[CORE]), whole = carried(10.0, core, r->power_of_flow), air = r->light * r->light;
    for (int k = 0; k < r->n; k++) {
        double v2 = r->speed[k] * r->speed[k] + air;
        off[k] = carried(sqrt(v2), core, r->power_of_flow) / whole;
        on[k] = r->has_fan && r->running[k] > 0.0 && r->fan[k] > 0.0
            ? carried(sqrt(v2 + t[FAN]), core, r->power_of_flow) / whole : off[k];
    }
}

/* Errors (K, horizons, W) of every window for K vectors. */
void errors(const Ride *r, int K, const double *theta, int W, const long long *starts, const double *start_c,
            int steps, int H, const int *horizons, const double *targets, double *out) {
    static const int of_heat[] = {EXPONENT, PACE, IDLE, LAG, KAPPA}, of_flow[] = {CORE, FAN};
    size_t n = r->n;
    double *q = malloc(K * n * sizeof *q), *off = malloc(K * n * sizeof *off), *on = malloc(K * n * sizeof *on);
    double *g = malloc(n * sizeof *g), *a = malloc(n * sizeof *a), *b = malloc(n * sizeof *b);
    for (int i = 0; i < K; i++) {
        const double *t = theta + i * COUNT;
        int of_q = i, of_f = i;
        for (int j = i - 1; j >= 0; j--) {
            if (same(t, theta + j * COUNT, of_heat, 5)) of_q = j;
            if (same(t, theta + j * COUNT, of_flow, 2)) of_f = j;
        }
        if (of_q == i) heating(r, t, q + i * n); else memcpy(q + i * n, q + of_q * n, n * sizeof *q);
        if (of_f == i) flow(r, t, off + i * n, on + i * n);
        else { memcpy(off + i * n, off + of_f * n, n * sizeof *q); memcpy(on + i * n, on + of_f * n, n * sizeof *q); }
        double heat = exp(t[HEAT]) * r->reference_kw, still = exp(t[STILL]), through = exp(t[FLOW]);
        double closed = exp(t[CLOSED]), bypass = exp(t[BYPASS]), wide = r->gas - r->reference_c;
        const double *qi = q + i * n, *fi = off + i * n, *oi = on + i * n;
        for (size_t k = 0; k < n; k++) {
            double air = r->ambient[k] + t[AMBIENT], fall = heat * qi[k] / wide;
            g[k] = still * (r->running[k] > 0.0 ? 1.0 : r->off_share) + fall;
            if (!r->has_thermostat) {
                double whole = g[k] + through * (fi[k] + r->fan[k] * (oi[k] - fi[k])), lost = -expm1(-whole * r->step);
                a[k] = 1.0 - lost;
                b[k] = (fall * (r->gas - air) / whole + air) * lost;
            }
        }
        for (int w = 0; w < W; w++) {
            double T = start_c[w];
            for (int s = 0, h = 0; s < steps && h < H; s++) {
                size_t k = starts[w] + s;
                if (!r->has_thermostat) T = a[k] * T + b[k];
                else {
                    double lift = (T - t[OPENS]) / r->span;
                    lift = lift < 0.0 ? 0.0 : lift > 1.0 ? 1.0 : lift;
                    double air = r->ambient[k] + t[AMBIENT], capacity = closed + (1.0 - closed) * lift;
                    double f = through * (fi[k] + r->fan[k] * (oi[k] - fi[k])) * (bypass + (1.0 - bypass) * lift);
                    double whole = g[k] + f, q_in = heat * qi[k] * (r->gas - air) / wide;
                    T += (q_in - whole * (T - air)) * -expm1(-whole / capacity * r->step) / whole;
                }
                if (s + 1 == horizons[h]) { out[(i * H + h) * W + w] = T - targets[h * W + w]; h++; }
            }
        }
    }
    free(q); free(off); free(on); free(g); free(a); free(b);
}

/* Gradient (m) and curvature (m, m) from the errors of m + 1 vectors, each moved by `moved`, soft L1. */
void normal(int m, int count, const double *errors, const double *moved, double share, double scale,
            double *gradient, double *curvature) {
    double *slope = malloc((size_t) m * count * sizeof *slope), *weight = malloc(count * sizeof *weight);
    for (int k = 0; k < count; k++) {
        double x = errors[k] / scale;
        weight[k] = share / sqrt(1.0 + x * x) / (scale * scale);
    }
    for (int i = 0; i < m; i++)
        for (int k = 0; k < count; k++)
            slope[(size_t) i * count + k] = (errors[(size_t) (i + 1) * count + k] - errors[k]) / moved[i];
    for (int i = 0; i < m; i++) {
        const double *x = slope + (size_t) i * count;
        gradient[i] = 0.0;
        for (int k = 0; k < count; k++) gradient[i] += x[k] * weight[k] * errors[k];
        for (int j = 0; j <= i; j++) {
            const double *y = slope + (size_t) j * count;
            double sum = 0.0;
            for (int k = 0; k < count; k++) sum += x[k] * weight[k] * y[k];
            curvature[i * m + j] = curvature[j * m + i] = sum;
        }
    }
    free(slope); free(weight);
}
"""

DOUBLES = ctypes.POINTER(ctypes.c_double)


class _Ride(ctypes.Structure):
    _fields_ = (
        [("n", ctypes.c_int)]
        + [(name, DOUBLES) for name in ("power", "turning", "speed", "ambient", "running", "fan", "conservative")]
        + [
            (name, ctypes.c_double)
            for name in (
                "reference_kw",
                "turning_ref",
                "turning_least",
                "gas",
                "reference_c",
                "off_share",
                "step",
                "light",
                "power_of_flow",
                "span",
            )
        ]
        + [("has_fan", ctypes.c_int), ("has_thermostat", ctypes.c_int)]
    )


def _doubles(values: FloatArray) -> DOUBLES:  # type: ignore[valid-type]
    return values.ctypes.data_as(DOUBLES)


class Compiled:
    """One ride's windows, ready to be run in C as often as the fit ran them."""

    def __init__(
        self,
        library: ctypes.CDLL,
        plant: Plant,
        ride: Conditions,
        fan: FloatArray,
        windows: tuple[IndexArray, FloatArray],
    ) -> None:
        self.library = library
        starts, targets = windows
        plain = [
            np.ascontiguousarray(np.nan_to_num(values.astype(np.float64)))
            for values in (
                ride.power_kw,
                ride.turning,
                ride.speed_mps,
                ride.ambient_c,
                ride.running,
                fan,
                ride.conservative,
            )
        ]
        self.ride = _Ride(
            ride.t_s.size,
            *(_doubles(values) for values in plain),
            plant.reference_kw,
            thermal.REFERENCE_TURNING,
            thermal.SLOWEST_TURNING,
            thermal.GAS_C,
            thermal.REFERENCE_C,
            thermal.OFF_SHARE,
            thermal.STEP_S,
            airflow.LIGHT_AIR_MPS,
            airflow.FLOW_POWER,
            airflow.THERMOSTAT_SPAN_C,
            plant.fan_on_c is not None or ride.fan_logged is not None,
            plant.opens_c is not None,
        )
        self.starts = np.ascontiguousarray(starts)
        self.start_c = np.ascontiguousarray(ride.coolant_c[starts])
        self.targets = np.ascontiguousarray(targets)
        self.keep = plain

    def errors(self, theta: FloatArray, horizons: tuple[int, ...]) -> FloatArray:
        """(K, horizons, windows), as the fit's own."""
        theta = np.ascontiguousarray(theta)
        out = np.empty((theta.shape[0], len(horizons), self.starts.size))
        self.library.errors(
            ctypes.byref(self.ride),
            theta.shape[0],
            _doubles(theta),
            self.starts.size,
            self.starts.ctypes.data_as(ctypes.POINTER(ctypes.c_longlong)),
            _doubles(self.start_c),
            horizons[-1],
            len(horizons),
            (ctypes.c_int * len(horizons))(*horizons),
            _doubles(self.targets),
            _doubles(out),
        )
        return out

    def normal(
        self, errors: FloatArray, moved: FloatArray, share: float, scale: float
    ) -> tuple[FloatArray, FloatArray]:
        """Gradient and curvature of the errors alone."""
        free = moved.size
        gradient, curvature = np.empty(free), np.empty((free, free))
        self.library.normal(
            free,
            errors[0].size,
            _doubles(errors),
            _doubles(np.ascontiguousarray(moved)),
            ctypes.c_double(share),
            ctypes.c_double(scale),
            _doubles(gradient),
            _doubles(curvature),
        )
        return gradient, curvature


def with_library(work: Callable[[ctypes.CDLL], None]) -> bool:
    """Compile, hand over, clean up; false where there is no C compiler."""
    compiler = shutil.which("gcc") or shutil.which("cc")
    if compiler is None:
        return False
    with tempfile.TemporaryDirectory() as folder:
        source, built = Path(folder) / "fit.c", Path(folder) / "fit.so"
        source.write_text(SOURCE, encoding="utf-8")
        subprocess.run(
            [compiler, "-O3", "-march=native", "-shared", "-fPIC", "-o", str(built), str(source), "-lm"], check=True
        )
        work(ctypes.CDLL(str(built)))
    return True
