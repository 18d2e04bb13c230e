"""The heat balance of coolant and metal as one lump: dT/dt = q - G (T - Ta).

Everything is over the lump's heat capacity, which the log can't tell: `q` is heating in K/s, `G` conductance in 1/s.

    q = A P_ref kappa lag(L^m (n / n_ref)^r) (T_gas - T) / (T_gas - 90 C),
    L = (P + B n / n_peak) / (P_ref + B n_ref / n_peak)
    G = g_still + (b + (1 - b) lift(T)) g_flow f(u),  u^2 = v^2 + w^2 + s fan


P is brake power (kW, none when negative), n engine speed, T coolant, Ta air, v ground speed, w light air (wind is not
known), s the square of the airspeed a running fan makes at rest. g_still is less with the engine off (OFF_SHARE): the
pump stands. `lift` is how far the thermostat is open, 1 without one; b is what the block sheds past a closed one. The
heat load grows with power a little less than in step (m), and an engine that idles or is turned heats as if
it gave B n / n_peak more. `lag` is the metal between gas and coolant. kappa is 1 on the standard map.

A is the heating per kW of brake power at the reference load, half of peak power at 80 % of peak-power speed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ridelog.analysis.airflow import (
    FAN_HYSTERESIS_C,
    THERMOSTAT_SPAN_C,
    airspeed_mps,
    fan_state,
    flow_shape,
    lift,
)
from ridelog.analysis.filters import filtered
from ridelog.results import BoolArray, FloatArray

IndexArray = npt.NDArray[np.int64]

NAMES = (
    "heat",
    "still",
    "fan",
    "flow",
    "core_mps",
    "exponent",
    "pace",
    "idle_kw",
    "lag_s",
    "kappa",
    "closed",
    "bypass",
    "opens_c",
    "ambient_c",
)
"""Parameters, in the order of a vector. All but `pace`, `fan`, `opens_c` and `ambient_c` are kept as natural
logarithms; `fan` is s in m2/s2 (a dead fan is 0), `opens_c` where the thermostat starts to open, `ambient_c` a
correction to the air temperature."""

HEAT, STILL, FAN, FLOW, CORE, EXPONENT, PACE = range(7)
IDLE, LAG, KAPPA, CLOSED, BYPASS, OPENS, AMBIENT = range(7, len(NAMES))

GAS_C = 800.0
"""Mean temperature of the gas that heats the walls, over the whole cycle: heat falls as the walls get hotter, by one
part in 710 a degree. From memory: textbooks give 600 to 1,000 C."""

REFERENCE_C = 90.0
"""Coolant at which the heating is stated."""

REFERENCE_TURNING, SLOWEST_TURNING = 0.8, 0.1
"""Engine speed over peak-power speed at the reference load, and the least that the pace counts."""

HOTTEST_C = 400.0
"""Settle temperatures are looked for below this."""

OFF_SHARE = 0.6
"""Heat given off by a standing engine whose pump stands, over that with the pump turning. Assumed."""

STEP_S = 4.0
"""Step of the balance: the lump answers within a minute or two, so four seconds are fine and quick."""


@dataclass(frozen=True)
class Plant:
    """What the bike file fixes: reference power and speeds, and what the bike has. `fan_on_c`, `opens_c`: None where
    it has no fan, no thermostat."""

    peak_kw: float
    peak_rpm: float
    fan_on_c: float | None
    opens_c: float | None

    @property
    def reference_kw(self) -> float:
        """Half of peak power."""
        return 0.5 * self.peak_kw

    @property
    def fan_off_c(self) -> float | None:
        """Where the fan stops again."""
        return None if self.fan_on_c is None else self.fan_on_c - FAN_HYSTERESIS_C


@dataclass(frozen=True)
class Conditions:
    """A ride step by step (STEP_S each), arrays of equal length, NaN where not known.

    `power_kw` >= 0; `turning`: engine speed over peak-power speed, the part that counts as idling load; `fan` 1 or 0
    where logged or followed from the coolant; `conservative` 1, 0 or NaN (map not known).
    """

    t_s: FloatArray
    coolant_c: FloatArray
    power_kw: FloatArray
    turning: FloatArray
    speed_mps: FloatArray
    ambient_c: FloatArray
    running: BoolArray
    fan_logged: FloatArray | None
    conservative: FloatArray

    @property
    def known(self) -> BoolArray:
        """Where all but the coolant is known."""
        return np.isfinite(self.power_kw) & np.isfinite(self.speed_mps) & np.isfinite(self.ambient_c)

    def only(self, steps: BoolArray) -> Conditions:
        """Some of its steps."""
        return Conditions(
            t_s=self.t_s[steps],
            coolant_c=self.coolant_c[steps],
            power_kw=self.power_kw[steps],
            turning=self.turning[steps],
            speed_mps=self.speed_mps[steps],
            ambient_c=self.ambient_c[steps],
            running=self.running[steps],
            fan_logged=None if self.fan_logged is None else self.fan_logged[steps],
            conservative=self.conservative[steps],
        )


def observed_fan(plant: Plant, ride: Conditions) -> FloatArray:
    """1 where the fan runs: as logged, where it is not from the coolant's trace; 0 there for a bike without one."""
    logged = ride.fan_logged
    if logged is not None and np.isfinite(logged).all():
        return logged
    followed = np.zeros(ride.t_s.size)
    if plant.fan_on_c is not None and plant.fan_off_c is not None:
        followed = fan_state(ride.coolant_c, plant.fan_on_c, plant.fan_off_c).astype(np.float64)
    return followed if logged is None else np.where(np.isfinite(logged), logged, followed)


def load_shape(plant: Plant, theta: FloatArray, power_kw: FloatArray, turning: FloatArray) -> FloatArray:
    """Heat load over that at the reference load, 1; (K, n) for K parameter vectors."""
    pace = np.log(np.maximum(turning, SLOWEST_TURNING) / REFERENCE_TURNING)

    def shape(rows: IndexArray) -> FloatArray:
        idle = np.exp(theta[rows, IDLE, None])
        load = power_kw + idle * turning
        load /= plant.reference_kw + REFERENCE_TURNING * idle
        np.log(np.maximum(load, 1e-12, out=load), out=load)
        load *= np.exp(theta[rows, EXPONENT, None])
        load += theta[rows, PACE, None] * pace
        return np.exp(load, out=load)

    return _shared(theta[:, [EXPONENT, IDLE, PACE]], shape)


def heating_kps(plant: Plant, theta: FloatArray, ride: Conditions, *, lagged: bool = True) -> FloatArray:
    """q in K/s along the ride, (K, n); NaN is taken as no heat, so look at `known`. `lagged` false: as it leaves the
    gas, without the metal in between."""
    power, turning = np.nan_to_num(ride.power_kw), np.nan_to_num(ride.turning)
    conservative = np.flatnonzero(np.nan_to_num(ride.conservative) > 0.0)
    keys = [EXPONENT, IDLE, PACE]
    if conservative.size:
        keys.append(KAPPA)
    if lagged:
        keys.append(LAG)

    def per_heat(rows: IndexArray) -> FloatArray:
        q = load_shape(plant, theta[rows], power, turning)
        q *= ride.running
        if conservative.size:
            q[:, conservative] *= np.exp(theta[rows, KAPPA, None])
        return smeared(q, np.exp(theta[rows, LAG])) if lagged else q

    q = _shared(theta[:, keys], per_heat)
    q *= (np.exp(theta[:, HEAT]) * plant.reference_kw)[:, None]
    return q


def smeared(q: FloatArray, lag_s: FloatArray) -> FloatArray:
    """Heat (K, n) after the metal between gas and coolant, time constants (K,); steady before the start."""
    keep = np.exp(-STEP_S / np.maximum(lag_s, 1e-3))
    return filtered((1.0 - keep)[:, None] * q, keep, keep * q[:, 0])


@dataclass(frozen=True)
class Cooling:
    """What sheds heat along a ride for K parameter vectors, 1/s: `still` and the flow's share with the fan off and on,
    (K, n) each. `opens_c`, None without a thermostat, `closed` and `bypass`: (K,)."""

    still: FloatArray
    fan_off: FloatArray
    fan_on: FloatArray
    opens_c: FloatArray | None
    closed: FloatArray
    bypass: FloatArray

    def at(
        self, index: IndexArray | int, coolant_c: FloatArray, fan: FloatArray
    ) -> tuple[FloatArray, FloatArray | float]:
        """Conductance and capacity (over the whole lump's) at steps of the ride, for coolant and fan state (0..1) of
        (K, steps), or (K,) at one step. A closed thermostat leaves the radiator's coolant out of the lump."""
        off = self.fan_off[:, index]
        flow = off + fan * (self.fan_on[:, index] - off)
        return self.shed(self.still[:, index], flow, coolant_c)

    def shed(self, still: FloatArray, flow: FloatArray, coolant_c: FloatArray) -> tuple[FloatArray, FloatArray | float]:
        """The same for given shares of still air and of the flow, of the coolant's shape."""
        if self.opens_c is None:
            return still + flow, 1.0
        extra = (slice(None),) + (None,) * (coolant_c.ndim - 1)
        share, closed, bypass = lift(coolant_c, self.opens_c[extra]), self.closed[extra], self.bypass[extra]
        return still + flow * (bypass + (1.0 - bypass) * share), closed + (1.0 - closed) * share

    def flow(self, fan: float) -> FloatArray:
        """The flow's share, (K, n), with the fan on (1) or off (0) all along and the thermostat open."""
        return self.fan_on if fan else self.fan_off

    def mean(self, index: IndexArray) -> Cooling:
        """The same with each row's mean over some steps, (K, 1)."""
        still, off, on = (
            rows[:, index].mean(axis=1, keepdims=True) for rows in (self.still, self.fan_off, self.fan_on)
        )
        return replace(self, still=still, fan_off=off, fan_on=on)


def cooling(plant: Plant, theta: FloatArray, ride: Conditions) -> Cooling:
    """What sheds heat along the ride."""
    speed = np.nan_to_num(ride.speed_mps)
    still = np.exp(theta[:, STILL, None]) * np.where(ride.running, 1.0, OFF_SHARE)
    flow = np.exp(theta[:, FLOW, None])
    core = np.exp(theta[:, CORE, None])
    off = flow * _shared(theta[:, [CORE]], lambda rows: flow_shape(airspeed_mps(speed)[None], core[rows]))
    on = off
    if plant.fan_on_c is not None or ride.fan_logged is not None:
        fan = theta[:, FAN, None]
        shape = _shared(
            theta[:, [CORE, FAN]], lambda rows: flow_shape(airspeed_mps(speed[None], fan[rows]), core[rows])
        )
        on = np.where(ride.running, flow * shape, off)
    opens = theta[:, OPENS] if plant.opens_c is not None else None
    return Cooling(still, off, on, opens, np.exp(theta[:, CLOSED]), np.exp(theta[:, BYPASS]))


def _shared(keys: FloatArray, work: Callable[[IndexArray], FloatArray]) -> FloatArray:
    """Rows of `work`, done once for rows of equal keys: a fit probes one parameter at a time."""
    seen: dict[bytes, int] = {}
    inverse = np.array([seen.setdefault(row.tobytes(), len(seen)) for row in keys])
    if len(seen) == inverse.size:
        return work(np.arange(inverse.size))
    first = np.empty(len(seen), dtype=np.int64)
    first[inverse[::-1]] = np.arange(inverse.size)[::-1]
    return np.asarray(work(first)[inverse])


def driven_by(q: FloatArray, ambient_c: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Heating with the coolant at the air's temperature, and how much it falls a degree above that (1/s): what the
    walls take is in step with gas less wall."""
    return q * ((GAS_C - ambient_c) / (GAS_C - REFERENCE_C)), q / (GAS_C - REFERENCE_C)


def step(coolant_c: FloatArray, q: FloatArray, g: FloatArray, ambient_c: FloatArray, step_s: float) -> FloatArray:
    """One step of the balance with `q` and `g` held: T + (q - g (T - Ta)) (1 - exp(-g dt)) / g; exact for any step.

    Example: Q 12 kW, UA 120 W/K, C 6660 J/K, Ta 25, T 85: after 76.94 s 115.0 C.
    """
    safe = np.maximum(g, 1e-9)
    return np.asarray(coolant_c - (q - g * (coolant_c - ambient_c)) * (np.expm1(-safe * step_s) / safe))


@dataclass(frozen=True)
class Windows:
    """Stretches of a ride that the balance is run over side by side: first steps (W,), their number of steps, coolant
    at their start (W,), and the fan's state along the ride (0..1) where it is not to follow from the coolant."""

    starts: IndexArray
    steps: int
    start_c: FloatArray
    fan: FloatArray | None = None


def march(plant: Plant, theta: FloatArray, ride: Conditions, windows: Windows) -> FloatArray:
    """Coolant in each window, (steps + 1, K, W): the balance run forward for all windows and K parameter vectors."""
    at = windows.starts + np.arange(windows.steps)[:, None]
    observed = observed_fan(plant, ride) if windows.fan is None else windows.fan
    given = None if windows.fan is None and ride.fan_logged is None else observed
    first_on = observed[windows.starts]
    used = np.zeros(ride.t_s.size, dtype=np.bool_)
    used[at] = True
    q = heating_kps(plant, theta, ride)
    if not used.all():
        # The lag needs the ride in one piece, the rest only the steps that windows cover.
        q, ride, at = q[:, used], ride.only(used), (np.cumsum(used) - 1)[at]
        given = None if given is None else given[used]
    sheds = cooling(plant, theta, ride)
    ambient = np.nan_to_num(ride.ambient_c)[None, :] + theta[:, AMBIENT, None]
    coolant = np.broadcast_to(windows.start_c, (theta.shape[0], windows.starts.size)).astype(np.float64)
    path = np.empty((windows.steps + 1, *coolant.shape))
    path[0] = coolant
    if given is not None and sheds.opens_c is None:
        # What sheds heat does not hang on the coolant, so that a step is linear in it: T <- kept T + added.
        kept, added = _linear(sheds, q, ambient, given)
        for k, here in enumerate(at):
            np.multiply(kept.take(here, axis=1), path[k], out=path[k + 1])
            path[k + 1] += added.take(here, axis=1)
        return path
    heat, falls = driven_by(q, ambient)
    on = np.broadcast_to(first_on, coolant.shape)
    for k, here in enumerate(at):
        on = given[here] if given is not None else fan_now(plant, coolant, on)
        g, capacity = sheds.at(here, coolant, on)
        g += falls.take(here, axis=1)
        g /= capacity
        coolant = step(coolant, heat.take(here, axis=1) / capacity, g, ambient.take(here, axis=1), STEP_S)
        path[k + 1] = coolant
    return path


def _linear(sheds: Cooling, q: FloatArray, ambient_c: FloatArray, fan: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Factor and summand of a step without a thermostat, the fan's state known, (K, n) each."""
    heat, g = driven_by(q, ambient_c)
    g += sheds.still
    g += sheds.fan_off
    if sheds.fan_on is not sheds.fan_off:
        g += fan * (sheds.fan_on - sheds.fan_off)
    np.maximum(g, 1e-9, out=g)
    lost = np.expm1(-STEP_S * g)
    heat /= g
    heat += ambient_c
    heat *= -lost
    lost += 1.0
    return lost, heat


def fan_now(plant: Plant, coolant_c: FloatArray, on: FloatArray) -> FloatArray:
    """The fan's state (0..1) after coolant of the moment: hysteresis about its switch point."""
    if plant.fan_on_c is None or plant.fan_off_c is None:
        return on
    return np.where(coolant_c >= plant.fan_on_c, 1.0, np.where(coolant_c <= plant.fan_off_c, 0.0, on))


def settle_c(plant: Plant, sheds: Cooling, q: FloatArray, ambient_c: FloatArray) -> FloatArray:
    """Where the coolant would settle with heating `q` and what sheds it going on; all (K, n), the same n.

    A fan that would switch on and hold it below its switch point leaves it cycling about that point. Behind a
    thermostat the balance is solved for the opening it needs; the result rises with q.
    """
    heat, falls = driven_by(q, ambient_c)
    plain = _solved(sheds, heat, falls, ambient_c, 0.0)
    if plant.fan_on_c is None or plant.fan_off_c is None:
        return plain
    middle = 0.5 * (plant.fan_on_c + plant.fan_off_c)
    cooled = _solved(sheds, heat, falls, ambient_c, 1.0)
    return np.where(plain < plant.fan_on_c, plain, np.maximum(cooled, middle))


def _solved(sheds: Cooling, heat: FloatArray, falls: FloatArray, ambient_c: FloatArray, fan: float) -> FloatArray:
    """Coolant at which the balance holds. With a thermostat: as if it stayed shut where that is below where it starts
    to open, as if it stood open where that is above where it ends, else the root of the quadratic between."""
    flow = sheds.flow(fan)
    opened = ambient_c + heat / np.maximum(sheds.still + flow + falls, 1e-9)
    if sheds.opens_c is None:
        return np.asarray(opened, dtype=np.float64)
    opening = Opening.of(sheds, heat, falls, ambient_c, flow)
    shut = ambient_c + heat / np.maximum(opening.shut_per_s, 1e-9)
    opens = sheds.opens_c[:, None]
    between = np.where(opened >= opens + THERMOSTAT_SPAN_C, opened, ambient_c + opening.settles)
    return np.asarray(np.minimum(np.where(shut <= opens, shut, between), HOTTEST_C), dtype=np.float64)


@dataclass(frozen=True)
class Opening:
    """A thermostat on its way from shut to open, all (K, n): with x the coolant above the air's temperature, heat in
    less heat out is `heat` - `slope` x - `bend` x^2. Its roots are `settles` > 0 and `other` < 0, and `spread` is bend
    x (settles - other)."""

    shut_per_s: FloatArray
    bend: FloatArray
    settles: FloatArray
    other: FloatArray
    spread: FloatArray

    @classmethod
    def of(
        cls, sheds: Cooling, heat: FloatArray, falls: FloatArray, ambient_c: FloatArray, flow: FloatArray
    ) -> Opening:
        """For conductances of a Cooling with a thermostat."""
        opens = sheds.opens_c[:, None] if sheds.opens_c is not None else np.inf
        bypass = sheds.bypass[:, None]
        shut = sheds.still + falls + bypass * flow
        bend = np.maximum((1.0 - bypass) * flow / THERMOSTAT_SPAN_C, 1e-12)
        slope = shut + bend * (ambient_c - opens)
        heat = np.maximum(heat, 1e-12)
        spread = np.sqrt(slope * slope + 4.0 * bend * heat)
        # Either form of the root is exact where the other takes the difference of near equals.
        settles = np.where(slope >= 0.0, 2.0 * heat / (spread + np.abs(slope)), (spread - slope) / (2.0 * bend))
        return cls(shut, bend, settles, -heat / (bend * settles), spread)
