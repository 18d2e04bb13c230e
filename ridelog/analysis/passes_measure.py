"""What a pass over a stretch showed, and how two passes compare at the same load, speed and air.

Heat is in K of the lump of coolant and metal (its heat capacity is not known, see `thermal`). Bands are of 95 %.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ridelog.analysis import thermal
from ridelog.analysis.thermal_use import SEED, Drawn
from ridelog.intervals import runs
from ridelog.results import Band, BoolArray, FloatArray

STANDING_MPS, STANDING_S = 0.5, 10.0
"""Slower than this for so long is a stop, and is left out of what is said of the riding."""

KNOWN_SHARE = 0.8
"""A figure that sums up a pass needs this share of it known."""

LINKED_S = 120.0
"""What the balance misses at one moment it misses alike for about two minutes."""

FREE_RUN = 1.0
"""Run freely over a pass, the balance misses by about as much as a minute ahead. Set on laps of the sample rides."""

DAY_C = 3.0
"""What a sound bike settles warmer or cooler by from one day to another for reasons no log shows: wind, damp, mud. On
simulated rides of one course, wind of 0.5 m/s against 1.5 m/s alone makes 2.7 C."""

SIZE_SHARE, SIZE_SHARE_INWARDS = 0.4, 0.2
"""A big difference is told rather too small than too big (blocked radiators a fifth on simulated rides), because one
lump is no engine: its band reaches this much further outwards, and half as much inwards, because the share of it that a
short pass shows is known by that lump as well. Without the second the bands of small differences held the truth always
and those of blocked radiators in 86 of 100."""

LEAST_ANSWER = 0.25
"""Of a difference in where the coolant settles, its mean over a pass has to show this share: a pass of well under a
time constant shows next to nothing."""

LOW, HIGH = 0.025, 0.975

LEAST_STEPS = 5

Verdict = Literal["same", "warmer", "cooler", "cant_tell"]


@dataclass(frozen=True)
class Ridden:
    """A ride as passes are measured on it.

    On the grid (`t_s`, uniform, `step_s`): coolant, ground speed, the map (1 conservative, 0 not) and the way so far,
    None where the ride does not have them, NaN where not known. `air_c` of the day, good to `air_sd_c`. Its heat
    balance: `told_c` the coolant step by step, estimated where not logged, `error_c` what it misses by a minute ahead.
    """

    t_s: FloatArray
    step_s: float
    coolant_c: FloatArray | None
    speed_mps: FloatArray | None
    conservative: FloatArray | None
    way_m: FloatArray | None
    air_c: float | None
    air_sd_c: float = 1.0
    drawn: Drawn | None = None
    told_c: FloatArray | None = None
    error_c: float = 0.0


@dataclass(frozen=True)
class Measured:
    """One pass. None: can't be told.

    `standing_s` is the stops in it; speed, `settle`, `beyond` and heat a km are of the rest. `heat_in_k`, `heat_out_k`
    sum up the whole pass, `heat_in_kps`, `heat_out_kps` are their means, over what is known of it
    (`heat_known_share`). `settle`: where the coolant would settle if the pass went on. `beyond`: how much warmer the
    coolant was over the pass, from where it entered, than its load, speed and air explain by the ride's own balance.
    """

    duration_s: float
    standing_s: float | None
    length_m: float | None
    mean_speed_mps: float | None
    power_kw: float | None
    heat_in_k: Band | None
    heat_out_k: Band | None
    heat_in_kps: float | None
    heat_out_kps: float | None
    heat_in_k_per_km: Band | None
    heat_known_share: float
    coolant_in_c: float | None
    coolant_out_c: float | None
    coolant_peak_c: float | None
    coolant_known_share: float
    conservative_share: float | None
    map_unknown_share: float
    air_c: float | None
    settle: Band | None
    beyond: Band | None


@dataclass(frozen=True)
class Rows:
    """What comparisons need of a pass besides its record: its steps of the balance, which steps of the ride are stops,
    and `beyond` for each drawn vector, the best first."""

    steps: tuple[int, int]
    rests: BoolArray
    beyond_c: FloatArray | None


@dataclass(frozen=True)
class Compared:
    """A pass held against an earlier one, by the balance of the earlier ride.

    `load_c`: how much higher the coolant would settle for how it was ridden (load, speed, air). `matched_c`: how much
    higher at the same load, speed and air: the balance is run over both passes from where the coolant came in, and what
    is left over is set against each other; `reason` says why it is None. `heat_per_km`: heat made a km over that of the
    other pass.
    """

    matched_c: Band | None
    load_c: Band | None
    heat_per_km: Band | None
    speed_mps: float | None
    air_c: float | None
    verdict: Verdict
    reason: str | None


def measure(ridden: Ridden, start_s: float, end_s: float) -> tuple[Measured, Rows]:
    """A pass from `start_s` to `end_s` of the ride."""
    first = min(int(np.searchsorted(ridden.t_s, start_s - 1e-9)), ridden.t_s.size - 1)
    past = max(first + 1, int(np.searchsorted(ridden.t_s, end_s + 1e-9)))
    span = slice(first, past)
    still = _still(ridden)
    coolant = ridden.coolant_c[span] if ridden.coolant_c is not None else np.full(past - first, np.nan)
    seen = np.isfinite(coolant)
    used = ridden.conservative[span] if ridden.conservative is not None else np.full(past - first, np.nan)
    mapped = np.isfinite(used)
    standing = float(np.count_nonzero(still[span])) * ridden.step_s if ridden.speed_mps is not None else None
    riding_s = end_s - start_s - (standing or 0.0)
    length = _length(ridden, still, first, past, riding_s)
    done = Measured(
        duration_s=end_s - start_s,
        standing_s=standing,
        length_m=length,
        mean_speed_mps=length / riding_s if length is not None and riding_s > 0.0 else None,
        power_kw=None,
        heat_in_k=None,
        heat_out_k=None,
        heat_in_kps=None,
        heat_out_kps=None,
        heat_in_k_per_km=None,
        heat_known_share=0.0,
        coolant_in_c=_edge(coolant, ridden.step_s),
        coolant_out_c=_edge(coolant[::-1], ridden.step_s),
        coolant_peak_c=float(coolant[seen].max()) if seen.any() else None,
        coolant_known_share=float(seen.mean()),
        conservative_share=float(used[mapped].mean()) if mapped.any() else None,
        map_unknown_share=float(1.0 - mapped.mean()),
        air_c=ridden.air_c,
        settle=None,
        beyond=None,
    )
    steps = (int(np.ceil(start_s / thermal.STEP_S - 1e-9)), int(np.floor(end_s / thermal.STEP_S + 1e-9)))
    if ridden.drawn is None:
        return done, Rows(steps, still, None)
    steps = (steps[0], min(steps[1], ridden.drawn.ride.t_s.size))
    rests = still[np.minimum(_grid_of(ridden, ridden.drawn.ride.t_s.size), still.size - 1)]
    if steps[1] - steps[0] < LEAST_STEPS:
        return done, Rows(steps, rests, None)
    return _with_heat(done, ridden, ridden.drawn, steps, rests)


def _grid_of(ridden: Ridden, count: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """The grid index amid each step of the balance."""
    return np.asarray((np.arange(count) + 0.5) * thermal.STEP_S / ridden.step_s, dtype=np.int64)


def _still(ridden: Ridden) -> BoolArray:
    """Stops on the grid."""
    still = np.zeros(ridden.t_s.size, dtype=np.bool_)
    if ridden.speed_mps is None:
        return still
    slow = np.nan_to_num(ridden.speed_mps, nan=np.inf) < STANDING_MPS
    for first, past in runs(slow):
        if (past - first) * ridden.step_s >= STANDING_S:
            still[first:past] = True
    return still


def _length(ridden: Ridden, still: BoolArray, first: int, past: int, riding_s: float) -> float | None:
    """Metres of a pass. Where the speed is not known for some of it, that is ridden at the speed of the rest; None
    where that would be too much."""
    if ridden.way_m is None or ridden.speed_mps is None:
        return None
    way_m = float(ridden.way_m[past - 1] - ridden.way_m[first])
    moving = np.isfinite(ridden.speed_mps[first:past])[~still[first:past]]
    if moving.all():
        return way_m
    known_s = float(np.count_nonzero(moving)) * ridden.step_s
    return way_m / known_s * riding_s if moving.mean() >= KNOWN_SHARE else None


def _edge(values: FloatArray, step_s: float, within_s: float = 5.0) -> float | None:
    """The first value of a pass, if there is one within seconds."""
    near = values[: max(1, round(within_s / step_s))]
    known = near[np.isfinite(near)]
    return float(known[0]) if known.size else None


def _with_heat(
    done: Measured, ridden: Ridden, drawn: Drawn, steps: tuple[int, int], rests: BoolArray
) -> tuple[Measured, Rows]:
    span = slice(*steps)
    told = ridden.told_c if ridden.told_c is not None else drawn.ride.coolant_c
    made, shed = _flows(drawn, told, steps)
    known = np.isfinite(made[0])
    share = float(known.mean())
    power = drawn.ride.power_kw[span][np.isfinite(drawn.ride.power_kw[span])]
    air = drawn.ride.ambient_c[span]
    done = replace(
        done,
        power_kw=float(power.mean()) if power.size else None,
        air_c=float(np.nanmean(air)) if np.isfinite(air).any() else done.air_c,
        heat_known_share=share,
    )
    if share >= KNOWN_SHARE:
        means = made[:, known].mean(axis=1), shed[:, known].mean(axis=1)
        long_s = done.duration_s
        done = replace(
            done,
            heat_in_k=band(means[0] * long_s),
            heat_out_k=band(means[1] * long_s),
            heat_in_kps=float(means[0][0]),
            heat_out_kps=float(means[1][0]),
        )
        moving = known & ~rests[span]
        riding_s = done.duration_s - (done.standing_s or 0.0)
        if moving.any() and done.length_m and riding_s > 0.0:
            per_km = made[:, moving].mean(axis=1) * riding_s / (done.length_m / 1000.0)
            done = replace(done, heat_in_k_per_km=band(per_km))
    ends = _settles(drawn, Rows(steps, rests, None))
    if ends is not None:
        done = replace(done, settle=band(ends))
    missed = _beyond(drawn.first(DRAWS), drawn.ride, steps)
    if missed is not None:
        sd = beyond_sd(ridden.error_c, done.duration_s)
        low, high = np.quantile(missed[1:], [LOW, HIGH])
        best = float(missed[0])
        reach = 1.96 * sd
        down, up = max(0.0, best - float(low)), max(0.0, float(high) - best)
        done = replace(done, beyond=Band(best, best - float(np.hypot(down, reach)), best + float(np.hypot(up, reach))))
    return done, Rows(steps, rests, missed)


DRAWS = 41
"""Drawn vectors behind sums along a pass; settle temperatures use all of them."""


LEAD_STEPS = 75
"""Steps before a pass that its metal and its fan still remember: five minutes."""


def _cut(drawn: Drawn, steps: tuple[int, int], lead: int = 0) -> tuple[Drawn, int]:
    """The balance over some steps alone, and how many of them come before the first that was asked for: a lap of a long
    ride costs what a lap costs."""
    first = max(0, steps[0] - lead)
    some = np.zeros(drawn.ride.t_s.size, dtype=np.bool_)
    some[first : steps[1]] = True
    return replace(drawn, ride=drawn.ride.only(some)), steps[0] - first


def _flows(drawn: Drawn, told_c: FloatArray, steps: tuple[int, int]) -> tuple[FloatArray, FloatArray]:
    few, before = _cut(drawn.first(DRAWS), steps, LEAD_STEPS)
    made, shed = few.flows(told_c[None, steps[0] - before : steps[1]])
    return made[:, before:], shed[:, before:]


def _beyond(drawn: Drawn, ride: thermal.Conditions, steps: tuple[int, int]) -> FloatArray | None:
    """Mean of a ride's coolant less what each vector foretells from the first reading of the pass on, (draws,); None
    where the log does not tell enough of it."""
    first, past = steps
    seen = np.isfinite(ride.coolant_c[first : past + 1])
    if not seen[0] or seen.mean() < KNOWN_SHARE or not ride.known[first:past].all():
        return None
    some, before = _cut(replace(drawn, ride=ride), steps, LEAD_STEPS)
    windows = thermal.Windows(np.array([before]), past - first, ride.coolant_c[[first]])
    path = thermal.march(drawn.plant, drawn.thetas, some.ride, windows)[:, :, 0].T
    here = ride.coolant_c[first : first + path.shape[1]]
    told = np.isfinite(here)
    return np.asarray((here[told] - path[:, : here.size][:, told]).mean(axis=1))


def answer(drawn: Drawn, steps: tuple[int, int]) -> float:
    """Share of a difference in where the coolant settles that its mean over a pass shows: 1 - (1 - exp(-x)) / x after x
    time constants."""
    first, past = steps
    best, _ = _cut(drawn.first(1), steps)
    known = best.ride.known & best.ride.running
    if not known.any():
        return 0.0
    g = (best.sheds.still + best.sheds.fan_off)[0, known]
    x = float(g.mean()) * (past - first) * thermal.STEP_S
    return 1.0 - (1.0 - float(np.exp(-x))) / x if x > 0.0 else 0.0


def beyond_sd(error_c: float, duration_s: float) -> float:
    """What `beyond` of a healthy pass strays by: the balance's error run freely, averaged over the pass."""
    return FREE_RUN * error_c / float(np.sqrt(max(1.0, duration_s / LINKED_S)))


def band(rows: FloatArray) -> Band:
    """Best value and 95 % of the draws."""
    low, high = np.quantile(rows[1:], [LOW, HIGH])
    best = float(rows[0])
    return Band(best, min(float(low), best), max(float(high), best))


NO_BALANCE = "no_balance"
OTHER_ENGINE = "other_engine"
NOT_FORETOLD = "not_foretold"
TOO_SHORT = "too_short"
"""Reasons why passes can't be set at the same load; words are found for them elsewhere."""

Side = tuple[Ridden, Measured, Rows]


def compare(one: Side, other: Side, *, same_ride: bool) -> Compared:
    """How `other` differs from `one`."""
    a, b = one[1], other[1]
    matched, load, heat = _balanced(one, other, same_ride=same_ride)
    verdict: Verdict = "cant_tell"
    if isinstance(matched, Band):
        verdict = "warmer" if matched.low > 0.0 else "cooler" if matched.high < 0.0 else "same"
    return Compared(
        matched_c=matched if isinstance(matched, Band) else None,
        load_c=load,
        heat_per_km=heat,
        speed_mps=_difference(a.mean_speed_mps, b.mean_speed_mps),
        air_c=_difference(a.air_c, b.air_c),
        verdict=verdict,
        reason=matched if isinstance(matched, str) else None,
    )


def _difference(before: float | None, after: float | None) -> float | None:
    return None if before is None or after is None else after - before


def _balanced(one: Side, other: Side, *, same_ride: bool) -> tuple[Band | str, Band | None, Band | None]:
    """The first ride's balance put to both passes. What it does not know of this ground it does not know in both, and
    drops out, vector by vector."""
    (here, a, rows_a), (there, b, rows_b) = one, other
    if here.drawn is None or there.drawn is None:
        return NO_BALANCE, None, None
    if here.drawn.plant != there.drawn.plant:
        return OTHER_ENGINE, None, None
    first = here.drawn.first(DRAWS)
    then = first if same_ride else replace(_in_the_air_of(first, there), ride=there.drawn.ride)
    load = heat = None
    settled = _settles(first, rows_a), _settles(then, rows_b)
    if settled[0] is not None and settled[1] is not None:
        load = band(settled[1] - settled[0])
    made = _made_per_km(first, a, rows_a), _made_per_km(then, b, rows_b)
    if made[0] is not None and made[1] is not None:
        heat = band(made[1] / made[0])
    left_a, left_b = rows_a.beyond_c, _beyond(then, then.ride, rows_b.steps)
    if left_a is None or left_b is None:
        return NOT_FORETOLD, load, heat
    shares = answer(here.drawn, rows_a.steps), answer(then, rows_b.steps)
    if min(shares) < LEAST_ANSWER:
        return TOO_SHORT, load, heat
    rows = left_b / shares[1] - left_a / shares[0]
    errors = [beyond_sd(here.error_c, each.duration_s) / share for each, share in zip((a, b), shares, strict=True)]
    if not same_ride:
        errors.append(DAY_C)
    best = float(rows[0])
    sd = float(np.sqrt(np.sum(np.square(errors)) + np.var(rows[1:])))
    inwards, outwards = (1.96 * float(np.hypot(sd, share * best)) for share in (SIZE_SHARE_INWARDS, SIZE_SHARE))
    ends = (inwards, outwards) if best > 0.0 else (outwards, inwards)
    return Band(best, best - ends[0], best + ends[1]), load, heat


def _settles(drawn: Drawn, rows: Rows) -> FloatArray | None:
    """Where the coolant would settle with the riding of a pass going on, stops left out, (draws,); None where under
    half of it was ridden, or is known."""
    first, past = rows.steps
    if past - first < LEAST_STEPS or np.count_nonzero(rows.rests[first:past]) > 0.5 * (past - first):
        return None
    some, _ = _cut(drawn, rows.steps)
    speed = np.where(rows.rests[first:past], np.nan, some.ride.speed_mps)
    riding = replace(some, ride=replace(some.ride, speed_mps=speed))
    ends = riding.settle_of(np.array([[0, past - first]]))[:, 0]
    return ends if np.isfinite(ends).all() else None


def _made_per_km(drawn: Drawn, told: Measured, rows: Rows) -> FloatArray | None:
    """Heat made a km of a pass with the coolant at the reference temperature, stops left out, (draws,)."""
    span = slice(*rows.steps)
    some, _ = _cut(drawn, rows.steps)
    known = some.ride.known
    moving = known & ~rows.rests[span]
    riding_s = told.duration_s - (told.standing_s or 0.0)
    if known.size == 0 or known.mean() < KNOWN_SHARE or not moving.any() or not told.length_m or riding_s <= 0.0:
        return None
    return np.asarray(some.load_kps[:, moving].mean(axis=1) * riding_s / (told.length_m / 1000.0))


def _in_the_air_of(drawn: Drawn, there: Ridden) -> Drawn:
    """The balance's vectors with another day's air: as it was told there, give or take."""
    thetas = drawn.thetas.copy()
    thetas[0, thermal.AMBIENT] = 0.0
    draw = np.random.default_rng(SEED).standard_normal(thetas.shape[0] - 1)
    thetas[1:, thermal.AMBIENT] = there.air_sd_c * draw
    return replace(drawn, thetas=thetas)
