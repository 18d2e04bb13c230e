"""Offset and drift between the clocks of two devices that were on one ride, from what both felt of its speed.

Changes are compared, not levels: over a second the logarithm of engine speed changes by as much as that of ground
speed in every gear, so no gear need be known, and a shift or a slipping clutch is a moment's outlier.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ridelog.offset import signals
from ridelog.offset.fit import Fitted, Pair, Recipe, refine
from ridelog.offset.search import candidates
from ridelog.offset.signals import STEP_S, Uniform
from ridelog.results import FloatArray
from ridelog.words import clock_offsets

__all__ = ["QUICK_SPAN_S", "Kind", "Offset", "estimate"]

Kind = Literal["speed", "rpm", "shared"]
Status = Literal["aligned", "weak", "ambiguous", "constant"]

SLIP_S2_PER_M = 0.006
SLIP_SD_S2_PER_M = 0.006
"""A driven tyre turns faster than the ground by about this share for each m/s² of acceleration (0.6 %, and as much
again on loose ground; common practice, no source). It makes wheel and engine seem early by the share times the speed,
a tenth of a second at 60 km/h, and is fitted beside the offset, which is the same at every speed."""

SHARP = Recipe(0.1, 1.0, 0.06, 0.02, 1.5, SLIP_S2_PER_M, SLIP_SD_S2_PER_M)
FROM_POSITIONS = Recipe(0.2, 1.6, 0.1, 0.03, 1.5, 0.0, 1e-6)
"""Speed from positions is rounder in bends and noisier: slip can't be told in it, and leaving it out costs less. Spans
and spreads are those that served the sample rides best, the same for all of them; other rides of their simulator stay
within 0.1 s with a receiver's speed and 0.13 s with positions alone."""

UNTOLD_S = 0.05
"""What slip, bends and the receiver may shift beyond chance; seen on the sample rides."""

LONGEST_SPAN_S = 32.0
QUICK_SPAN_S = 2.0
LEAST_STRENGTH = 7.0
"""Sample rides that do not belong together reach 5.5 at the best of all offsets, those that do 10 and more."""

SHARED_CORRELATION = 0.8
"""Two devices' own word on one quick quantity. On the sample rides they reach 0.97 and more, other rides over the same
ground 0.70 at most."""

SLOW_CORRELATION = 0.98
SLOW_STRENGTH = 15.0
"""What changes over a minute is much alike on every ride over the same ground: the coolant of two sample rides reaches
0.97 and 13, that of one ride from two sensors 0.99 and 15.7."""

RIVAL_STRENGTH = 4.0
LEAST_CORRELATION = 0.3
RIVAL_SHARE = 0.8
"""A second place that agrees this nearly as well as the first, and is strong enough to stand alone, makes the offset
ambiguous: laps of one loop at one pace, or a clock that jumped."""

JUMP_WINDOWS = 2
STRAY_SHARE = 0.1
"""Two windows of two minutes that fit elsewhere are a jump; a tenth of all that fit nowhere lower the confidence."""

TELLING_SPAN_S = 2.0
TELLING_SHARE = 0.04
TELLING_MPS = 0.5
LEAST_TELLING_S = 20.0
TELLING_SPANS = 5.0
"""Speed tells the time where it changes by 4 % and half a metre a second within two seconds."""

GEAR_TOLERANCE = 0.04


@dataclass(frozen=True)
class Offset:
    """`reference time = other time + offset_s + drift_ppm * 1e-6 * other time`, all in seconds.

    `offset_s`, `drift_ppm` and `residual_s` (scatter of single windows of two minutes about the line) are None unless
    `status` is "aligned". `confidence` is 0..1. `candidates_s` are offsets that fit, best first: two or more where
    ambiguous. `overlap_s` is the time compared, `error_s` how far any moment of the other recording may be off (two
    standard deviations, and what slip and receiver may add). `reason` is a sentence for the user.
    """

    offset_s: float | None
    drift_ppm: float | None
    confidence: float
    residual_s: float | None
    status: Status
    reason: str
    overlap_s: float = 0.0
    error_s: float | None = None
    candidates_s: tuple[float, ...] = ()

    def to_reference(self, t_s: FloatArray) -> FloatArray:
        """Times of the other device on the reference clock, s. Raises ValueError unless aligned."""
        if self.offset_s is None or self.drift_ppm is None:
            raise ValueError(f"not aligned: {self.reason}")
        return np.asarray(t_s + self.offset_s + self.drift_ppm * 1e-6 * t_s, dtype=np.float64)

    def after_shift(self, shift_s: float) -> Offset:
        """The same answer for the other clock as it was before `shift_s` was added to it."""
        places = tuple(place + shift_s for place in self.candidates_s)
        if self.offset_s is None or self.drift_ppm is None:
            return replace(self, candidates_s=places)
        offset_s = self.offset_s + shift_s * (1.0 + self.drift_ppm * 1e-6)
        return replace(self, offset_s=offset_s, candidates_s=places)

    def inverse(self) -> Offset:
        """The same answer with the two clocks in each other's role: the reference's times on the other clock."""
        places = tuple(-place for place in self.candidates_s)
        if self.offset_s is None or self.drift_ppm is None:
            return replace(self, candidates_s=places)
        rate = 1.0 + self.drift_ppm * 1e-6
        return replace(
            self, offset_s=-self.offset_s / rate, drift_ppm=1e6 * (1.0 / rate - 1.0), candidates_s=places
        )  # fmt: skip


def estimate(
    reference_t_s: FloatArray,
    reference_speed_mps: FloatArray,
    other_t_s: FloatArray,
    other_signal: FloatArray,
    *,
    kind: Kind,
    ratios: tuple[float, ...] | None = None,
    max_offset_s: float = 3700.0,
    max_drift_ppm: float = 300.0,
    reference_from_positions: bool = False,
    reference_lag_s: float = 0.0,
    span_s: float | None = None,
) -> Offset:
    """Offset and drift of the other device's clock against the reference's.

    `reference_speed_mps` is ground speed, m/s; `other_signal` engine speed, 1/min ("rpm"), wheel speed, m/s ("speed"),
    or the same quantity as the reference in any unit ("shared", where the reference need be no speed; `span_s` is the
    time, s, over which it changes, found out where not given). Each has its own times, s, rising strictly and counted
    from somewhere near the ride; values that are not finite are left out.
    `ratios` are (1/min)/(m/s) of each gear where known: they check the answer, they are not needed for it.
    `reference_lag_s` is how late the receiver tells its speed (see `ridelog.offset.receiver`); it is taken off.
    Raises ValueError for arrays that do not fit together.
    """
    if not max_offset_s > 0.0 or not 0.0 < max_drift_ppm < 100_000.0:
        raise ValueError("max_offset_s and max_drift_ppm must be above 0, drift below 100000")
    reference = signals.on_grid(*signals.clean(reference_t_s, reference_speed_mps))
    other = signals.on_grid(*signals.clean(other_t_s, other_signal))
    pair, poor = (
        _shared(reference, other, span_s)
        if kind == "shared"
        else _pair(reference, other, kind, from_positions=reference_from_positions)
    )
    if poor:
        return Offset(None, None, 0.0, None, "constant", poor)
    known = np.flatnonzero(np.isfinite(pair.other.values))
    middle_s = (pair.other.first + 0.5 * float(known[0] + known[-1])) * STEP_S
    max_drift = max_drift_ppm * 1e-6
    clip = pair.recipe.clip
    places = candidates(
        Uniform(pair.reference.first, np.clip(pair.reference.values, -clip, clip)),
        Uniform(pair.other.first, np.clip(pair.other.values, -clip, clip)),
        middle_s=middle_s,
        max_offset_s=max_offset_s,
        max_drift=max_drift,
        memory_s=pair.memory_s,
    )
    # What chance alone reaches is no rival, and needs no closer look.
    worth = [place for place in places if place.strength >= RIVAL_STRENGTH]
    fits = [one for place in (worth or places[:1]) if (one := refine(pair, place, middle_s, max_drift)) is not None]
    fits.sort(key=lambda one: one.strength, reverse=True)
    verdict = _verdict(fits, _least(kind, pair.memory_s), reference_lag_s, max_offset_s)
    if verdict.status == "aligned" and kind == "rpm" and ratios:
        return _with_gears(verdict, reference, other, ratios)
    return verdict


def _pair(reference: Uniform, other: Uniform, kind: Kind, *, from_positions: bool) -> tuple[Pair, str]:
    """Changes to compare, and why they can't be where they are too few."""
    recipe = FROM_POSITIONS if from_positions else SHARP
    ground, turning = signals.smoothed(reference, recipe.smooth_s), signals.smoothed(other, recipe.smooth_s)
    least = signals.ENGINE_LEAST_RPM if kind == "rpm" else signals.WHEEL_LEAST_MPS
    ref = signals.change(signals.logarithm(ground, signals.WHEEL_LEAST_MPS), recipe.span_s)
    oth = signals.change(signals.logarithm(turning, least), recipe.span_s)
    rolling = Uniform(ground.first, np.where(ground.values > signals.WHEEL_LEAST_MPS, ground.values, np.nan))
    extra = signals.change(signals.slope(rolling), recipe.span_s)
    pair = Pair(ref, oth, extra, recipe, recipe.span_s)
    moved = [(ground, signals.WHEEL_LEAST_MPS, "ground speed", True)]
    moved.append((turning, least, "engine speed" if kind == "rpm" else "wheel speed", kind == "speed"))
    for level, lowest, name, is_speed in moved:
        share = signals.change(signals.logarithm(level, lowest), TELLING_SPAN_S).values
        telling = np.abs(np.nan_to_num(share)) > TELLING_SHARE
        if is_speed:
            telling &= np.abs(np.nan_to_num(signals.change(level, TELLING_SPAN_S).values)) > TELLING_MPS
        if telling.sum() * STEP_S < LEAST_TELLING_S:
            return pair, clock_offsets.changes_little(name, telling.sum() * STEP_S)
    return pair, ""


def _shared(reference: Uniform, other: Uniform, span_s: float | None) -> tuple[Pair, str]:
    """Changes over their usual size, so that units don't matter; the third unknown is what is left of the scale."""
    span = span_s or signals.telling_span(reference, LONGEST_SPAN_S)
    recipe = Recipe(0.1 * span, span, 3.0, 0.1, 2.0, 0.0, 0.3)
    scaled: list[Uniform] = []
    poor = ""
    for name, signal in (("the reference", reference), ("the other device", other)):
        changes = signals.change(signals.smoothed(signal, recipe.smooth_s), span)
        known = changes.values[np.isfinite(changes.values)]
        usual = float(np.sqrt(np.mean(known * known))) if known.size else 0.0
        level = float(np.abs(known).max()) if known.size else 0.0
        if usual <= 0.0 or (np.abs(known) > 0.5 * usual).sum() * STEP_S < max(LEAST_TELLING_S, TELLING_SPANS * span):
            poor = poor or clock_offsets.hardly_changes(name, level, span)
            usual = 1.0
        scaled.append(Uniform(changes.first, changes.values / usual))
    return Pair(scaled[0], scaled[1], scaled[0], recipe, span), poor


def _least(kind: Kind, span_s: float) -> tuple[float, float]:
    """Correlation and strength below which an agreement counts for nothing."""
    if kind != "shared":
        return LEAST_CORRELATION, LEAST_STRENGTH
    return (SHARED_CORRELATION, LEAST_STRENGTH) if span_s <= QUICK_SPAN_S else (SLOW_CORRELATION, SLOW_STRENGTH)


def _verdict(fits: list[Fitted], least: tuple[float, float], lag_s: float, max_offset_s: float) -> Offset:
    if not fits:
        return Offset(
            None, None, 0.0, None, "weak",
            clock_offsets.none_fits(max_offset_s),
        )  # fmt: skip
    best = fits[0]
    strong = max(0.0, min(1.0, (best.strength - RIVAL_STRENGTH) / 10.0))
    rivals = [one for one in fits[1:] if one.strength >= RIVAL_STRENGTH]
    rival = max(rivals, key=lambda one: one.correlation, default=None)
    alone = 1.0 if rival is None else max(0.0, min(1.0, 2.0 * (1.0 - rival.correlation / max(best.correlation, 1e-9))))
    confidence = round(strong * alone, 3)
    near = [
        one
        for one in (fits[1:] if best.strength >= LEAST_STRENGTH else [])
        if (
            one.strength >= LEAST_STRENGTH
            and one.correlation >= RIVAL_SHARE * best.correlation >= RIVAL_SHARE * least[0]
        )
        or (one.strength >= RIVAL_STRENGTH and _takes_over(one, best))
    ]
    if near:
        found = tuple(round(one.at_zero_s - lag_s, 2) for one in (best, *near))
        shown = " and ".join(f"{value:.1f} s" for value in found[:2])
        return Offset(
            None, None, confidence, None, "ambiguous",
            clock_offsets.several_fit(shown),
            best.overlap_s, None, found,
        )  # fmt: skip
    if best.correlation < least[0] or best.strength < least[1]:
        return Offset(
            None, None, confidence, None, "weak",
            clock_offsets.agrees_little(best.correlation, best.overlap_s),
            best.overlap_s,
        )  # fmt: skip
    offset_s, ppm, error_s = best.at_zero_s - lag_s, best.drift * 1e6, best.error_s + UNTOLD_S
    reason = clock_offsets.speeds_agree(offset_s, ppm, error_s, best.correlation, best.overlap_s)
    told = best.windows[np.isfinite(best.windows)]
    apart = int((told < 0.5 * best.correlation).sum())
    if apart > STRAY_SHARE * told.size:
        reason += clock_offsets.some_disagree(apart, told.size)
        confidence = round(confidence * (1.0 - apart / told.size), 3)
    return Offset(offset_s, ppm, confidence, best.residual_s, "aligned", reason, best.overlap_s, error_s, (offset_s,))


def _takes_over(rival: Fitted, best: Fitted) -> bool:
    """True where a second offset holds for whole windows in which the best does not: the clock jumped in between."""
    with np.errstate(invalid="ignore"):
        better = (rival.windows >= LEAST_CORRELATION) & ~(best.windows > 0.5 * rival.windows)
    return int(better.sum()) >= JUMP_WINDOWS


def _with_gears(found: Offset, reference: Uniform, other: Uniform, ratios: tuple[float, ...]) -> Offset:
    """The answer with what the bike's gears say of it: rpm over speed should lie on one of them most of the time."""
    at = found.to_reference(other.times()) / STEP_S - reference.first
    speed = np.interp(at, np.arange(reference.values.size), reference.values, left=np.nan, right=np.nan)
    rolling = (np.nan_to_num(speed) > signals.WHEEL_LEAST_MPS) & (
        np.nan_to_num(other.values) > signals.ENGINE_LEAST_RPM
    )
    ratio = np.log(other.values[rolling] / speed[rolling])
    gears = np.log(np.array(sorted(ratios)))
    share = float((np.abs(ratio[:, None] - gears).min(axis=1) <= GEAR_TOLERANCE).mean())
    spread = float(np.ptp(np.concatenate([gears - GEAR_TOLERANCE, gears + GEAR_TOLERANCE])))
    by_chance = min(1.0, 2.0 * GEAR_TOLERANCE * gears.size / spread)
    fits = share > by_chance
    words = clock_offsets.on_a_gear(100.0 * share)
    if not fits:
        words += clock_offsets.BY_CHANCE
    confidence = found.confidence if fits else round(0.7 * found.confidence, 3)
    return replace(found, confidence=confidence, reason=f"{found.reason}; {words}")
