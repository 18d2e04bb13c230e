"""Random numbers and tables that come out the same on every machine.

Only uniform numbers are drawn, and everything made with exp or sin is rounded before the time loop sees it: the loop
itself then does nothing but exactly defined arithmetic, so one seed gives one ride wherever it is run.
"""

import bisect
import math
import random

import numpy as np

ROOT_3 = math.sqrt(3.0)


def source(seed: int, label: str) -> random.Random:
    """An own stream for each purpose, so that adding one does not shift the others."""
    return random.Random(f"{seed}/{label}")


def bell(draw: random.Random) -> float:
    """Roughly normal, variance 1, never beyond 3.5."""
    total = draw.random() + draw.random() + draw.random() + draw.random()
    return (total - 2.0) * ROOT_3


class Wander:
    """A value that strays around zero with a given spread and memory."""

    def __init__(self, draw: random.Random, spread: float, memory_s: float, step_s: float):
        self._draw = draw.random
        self._keep = 1.0 - step_s / memory_s
        self._kick = spread * math.sqrt(1.0 - self._keep * self._keep)
        self.value = spread * bell(draw)

    def step(self) -> float:
        draw = self._draw  # as in bell(): called at every step, where a further call tells
        total = draw() + draw() + draw() + draw()
        self.value = self._keep * self.value + self._kick * ((total - 2.0) * ROOT_3)
        return self.value


def wander_series(draw: random.Random, count: int, spread: float, memory_s: float, step_s: float) -> np.ndarray:
    wander = Wander(draw, spread, memory_s, step_s)
    return np.array([wander.step() for _ in range(count)])


def bell_series(draw: random.Random, count: int, spread: float) -> np.ndarray:
    return np.array([spread * bell(draw) for _ in range(count)])


class Line:
    """Piecewise-linear curve through given points, flat outside them."""

    def __init__(self, xs, ys):
        self._xs = [float(x) for x in xs]
        self._ys = [round(float(y), 9) for y in ys]

    def __call__(self, x: float) -> float:
        xs, ys = self._xs, self._ys
        if x <= xs[0]:
            return ys[0]
        if x >= xs[-1]:
            return ys[-1]
        i = bisect.bisect_right(xs, x) - 1
        return ys[i] + (ys[i + 1] - ys[i]) * (x - xs[i]) / (xs[i + 1] - xs[i])


class Sheet:
    """Bilinear table of a function of two variables on even grids, flat outside them."""

    def __init__(self, function, x_step: float, x_count: int, y_step: float, y_count: int):
        self._x_step, self._y_step = x_step, y_step
        self._x_top, self._y_top = x_count - 1.000001, y_count - 1.000001
        self._rows = [[round(function(i * x_step, j * y_step), 9) for j in range(y_count)] for i in range(x_count)]

    def __call__(self, x: float, y: float) -> float:
        p, q = x / self._x_step, y / self._y_step
        p = 0.0 if p < 0.0 else self._x_top if p > self._x_top else p
        q = 0.0 if q < 0.0 else self._y_top if q > self._y_top else q
        i, j = int(p), int(q)
        p -= i
        q -= j
        low, high = self._rows[i], self._rows[i + 1]
        return (low[j] * (1.0 - q) + low[j + 1] * q) * (1.0 - p) + (high[j] * (1.0 - q) + high[j + 1] * q) * p
