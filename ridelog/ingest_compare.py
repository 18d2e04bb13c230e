"""What two recordings of one ride both show, and what it tells of their clocks.

The most telling pair comes first: the same quick channel in both, then engine or wheel against ground speed, whichever
of the two recordings has which, then slower channels that both have.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import polars as pl

from ridelog import normalize, offset, quality
from ridelog.bike import Bike
from ridelog.channels import TIME
from ridelog.intervals import Interval
from ridelog.offset import receiver
from ridelog.results import FloatArray
from ridelog.ride import ChannelInfo

NEAR_S = 120.0
"""How far a clock's own word is looked around before anywhere else."""

UNKNOWN_LAG_S = 0.3
"""Two receivers' speeds come late by a few tenths of a second each; where positions don't tell by how much, this is
added to the error (common practice, no source)."""

SENSOR_PACE_S = 3.0
"""Temperature sensors answer within seconds, each at its own pace (common practice, no source): added to the error."""

_SPEED = "ground speed"
_QUICK = (("engine_rpm", "engine speed"), ("wheel_speed_mps", "wheel speed"))
_TURNING: tuple[tuple[str, str, offset.Kind], ...] = (
    ("engine_rpm", "engine speed", "rpm"),
    ("wheel_speed_mps", "wheel speed", "speed"),
)
_SETTINGS = (("throttle_pct", "throttle"), ("injector_ms", "injector time"), ("ignition_deg", "ignition"))
_TEMPERATURES = (
    ("exhaust_gas_c", "exhaust gas temperature"),
    ("head_c", "head temperature"),
    ("coolant_c", "coolant temperature"),
)


class Recorded(Protocol):
    """A recording: what one file holds, or a stored ride."""

    @property
    def samples(self) -> pl.DataFrame:
        """`t_s` from 0 and the channels."""

    @property
    def channels(self) -> Mapping[str, ChannelInfo]:
        """What is known of each channel."""

    @property
    def gaps(self) -> Sequence[Interval]:
        """Stretches without any sample."""


@dataclass(frozen=True)
class Signal:
    """A channel's own samples, doubtful stretches left out."""

    t_s: FloatArray
    values: FloatArray


@dataclass(frozen=True)
class Comparison:
    """How the clock of one recording lies to another's, each counted from its own first sample. `what` names what was
    compared, in words; `reference` and `other` are the two sides of it, as they can be drawn."""

    offset: offset.Offset
    what: str
    reference: Side
    other: Side


@dataclass(frozen=True)
class Side:
    """A channel of one recording in words, and its samples on that recording's own clock. `channel` names the quantity,
    `gps_speed_mps` also where speed was worked out from positions."""

    channel: str
    words: str
    signal: Signal


@dataclass(frozen=True)
class _Pairing:
    """Something two recordings both show, and what it tells of their clocks."""

    what: str
    reference: Side
    other: Side
    estimate: _Estimate


_Estimate = Callable[[float, float], offset.Offset]
"""Of (shift of the other clock before the search, furthest offset from there), both in seconds."""


def compare(
    reference: Recorded, other: Recorded, bike: Bike | None, *, near_s: float | None = None
) -> Comparison | None:
    """The first pair of signals that settles how the clocks lie, else the one that came closest; None where the two
    show nothing that can be compared. `near_s`: look only around this offset."""
    rank = {"aligned": 3, "ambiguous": 2, "weak": 1, "constant": 0}
    best: Comparison | None = None
    longest_s = length_s(reference) + length_s(other)
    for pairs in (_pairings(reference, other, bike), _temperatures(reference, other)):
        # Engines warm up alike: where something quick was compared and does not fit, no temperature has a say.
        if best is not None and best.offset.status != "constant":
            break
        for pair in pairs:
            found = pair.estimate(near_s or 0.0, longest_s if near_s is None else NEAR_S)
            if best is None or rank[found.status] > rank[best.offset.status]:
                best = Comparison(found, pair.what, pair.reference, pair.other)
            if found.status == "aligned":
                break
    return best


def length_s(recorded: Recorded) -> float:
    """Seconds from the first sample to the last."""
    return float(recorded.samples[TIME][-1])


def telling_side(recorded: Recorded) -> Side | None:
    """What shows best what a recording tells of its ride; None where it holds nothing that is compared."""
    for name, words in _QUICK:
        if logged(recorded, name):
            return Side(name, words, signal(recorded, name))
    ground = _ground(recorded)
    if ground is not None:
        return _ground_side(ground)
    for name, words in (*_SETTINGS, *_TEMPERATURES):
        if logged(recorded, name):
            return Side(name, words, signal(recorded, name))
    return None


def _pairings(reference: Recorded, other: Recorded, bike: Bike | None) -> Iterator[_Pairing]:
    for name, words in _QUICK:
        if logged(reference, name) and logged(other, name):
            yield _alike(reference, other, name, words, _same)
    here, there = _ground(reference), _ground(other)
    if here is not None and there is not None:
        found: _Estimate = partial(_two_receivers, here, there)
        yield _Pairing(f"{_SPEED} of both", _ground_side(here), _ground_side(there), found)
    for name, words, kind in _TURNING:
        ratios = bike.rpm_per_mps if bike is not None and kind == "rpm" else None
        what = f"{words} against {_SPEED}"
        if here is not None and logged(other, name):
            turning = Side(name, words, signal(other, name))
            found = partial(_turning, here, turning.signal, kind=kind, ratios=ratios)
            yield _Pairing(what, _ground_side(here), turning, found)
        if there is not None and logged(reference, name):
            turning = Side(name, words, signal(reference, name))
            found = partial(_turning, there, turning.signal, kind=kind, ratios=ratios)
            yield _Pairing(what, turning, _ground_side(there), partial(_turned_round, found))
    for one, two, forwards in ((reference, other, True), (other, reference, False)):
        if logged(one, "wheel_speed_mps") and logged(two, "engine_rpm"):
            wheel = Side("wheel_speed_mps", "wheel speed", signal(one, "wheel_speed_mps"))
            engine = Side("engine_rpm", "engine speed", signal(two, "engine_rpm"))
            rolling = _Ground(wheel.signal, None, from_positions=False)
            found = partial(_turning, rolling, engine.signal, kind="rpm", ratios=None)
            what = "engine speed against wheel speed"
            yield (
                _Pairing(what, wheel, engine, found)
                if forwards
                else _Pairing(what, engine, wheel, partial(_turned_round, found))
            )
    for name, words in _SETTINGS:
        if logged(reference, name) and logged(other, name):
            yield _alike(reference, other, name, words, _same)


def _temperatures(reference: Recorded, other: Recorded) -> Iterator[_Pairing]:
    for name, words in _TEMPERATURES:
        if logged(reference, name) and logged(other, name):
            yield _alike(reference, other, name, words, _same_temperature)


def _alike(
    reference: Recorded,
    other: Recorded,
    name: str,
    words: str,
    compared: Callable[[Signal, Signal, float, float], offset.Offset],
) -> _Pairing:
    """One channel that both have."""
    one, two = (Side(name, words, signal(recorded, name)) for recorded in (reference, other))
    return _Pairing(f"{words} of both", one, two, partial(compared, one.signal, two.signal))


def _ground_side(ground: _Ground) -> Side:
    return Side("gps_speed_mps", _SPEED, ground.signal)


def _turned_round(backwards: _Estimate, shift_s: float, furthest_s: float) -> offset.Offset:
    return backwards(-shift_s, furthest_s).inverse()


def _same(one: Signal, two: Signal, shift_s: float, furthest_s: float) -> offset.Offset:
    return offset.estimate(
        one.t_s,
        one.values,
        two.t_s + shift_s,
        two.values,
        kind="shared",
        max_offset_s=furthest_s,
        span_s=offset.QUICK_SPAN_S,
    ).after_shift(shift_s)


def _same_temperature(one: Signal, two: Signal, shift_s: float, furthest_s: float) -> offset.Offset:
    found = offset.estimate(
        one.t_s, one.values, two.t_s + shift_s, two.values, kind="shared", max_offset_s=furthest_s
    ).after_shift(shift_s)
    return replace(found, error_s=found.error_s + SENSOR_PACE_S) if found.error_s is not None else found


def _two_receivers(here: _Ground, there: _Ground, shift_s: float, furthest_s: float) -> offset.Offset:
    one, two = here.signal, there.signal
    lag_s = here.lag_s - there.lag_s if here.lag_s is not None and there.lag_s is not None else None
    found = offset.estimate(
        one.t_s, one.values, two.t_s + shift_s, two.values,
        kind="shared", max_offset_s=furthest_s, reference_lag_s=lag_s or 0.0, span_s=offset.QUICK_SPAN_S,
    ).after_shift(shift_s)  # fmt: skip
    if lag_s is None and found.error_s is not None:
        found = replace(found, error_s=found.error_s + UNKNOWN_LAG_S)
    return found


def _turning(
    ground: _Ground,
    turning: Signal,
    shift_s: float,
    furthest_s: float,
    *,
    kind: offset.Kind,
    ratios: tuple[float, ...] | None,
) -> offset.Offset:
    return offset.estimate(
        ground.signal.t_s,
        ground.signal.values,
        turning.t_s + shift_s,
        turning.values,
        kind=kind,
        ratios=ratios,
        max_offset_s=furthest_s,
        reference_from_positions=ground.from_positions,
        reference_lag_s=ground.lag_s or 0.0,
    ).after_shift(shift_s)


@dataclass(frozen=True)
class _Ground:
    """Ground speed, how late it is told (0 where it is worked out from positions, None where nothing tells)."""

    signal: Signal
    lag_s: float | None
    from_positions: bool


def _ground(recorded: Recorded) -> _Ground | None:
    """Speed over ground as the receiver gave it, else worked out from its positions; None without either."""
    speed = signal(recorded, "gps_speed_mps") if logged(recorded, "gps_speed_mps") else None
    if not (logged(recorded, "lat_deg") and logged(recorded, "lon_deg")):
        return _Ground(speed, None, from_positions=False) if speed is not None else None
    lat, lon = signal(recorded, "lat_deg"), signal(recorded, "lon_deg")
    same = lat.t_s.size == lon.t_s.size
    if speed is not None:
        lag_s = receiver.speed_lag_s(speed.t_s, speed.values, lat.t_s, lat.values, lon.values) if same else None
        return _Ground(speed, lag_s, from_positions=False)
    if not same:
        return None
    return _Ground(Signal(*receiver.track_speed(lat.t_s, lat.values, lon.values)), 0.0, from_positions=True)


def logged(recorded: Recorded, name: str) -> bool:
    """True where the recording has the channel as it was measured."""
    info = recorded.channels.get(name)
    return info is not None and info.origin == "logged"


def shows_ground_speed(recorded: Recorded) -> bool:
    """True where speed over ground was logged, or can be worked out from positions."""
    return logged(recorded, "gps_speed_mps") or (logged(recorded, "lat_deg") and logged(recorded, "lon_deg"))


def signal(recorded: Recorded, name: str) -> Signal:
    """A channel's own samples, doubtful stretches left out."""
    t_s, values = normalize.present(recorded.samples[name], recorded.samples[TIME].to_numpy())
    own = {name: recorded.channels[name]}
    doubtful = [
        Interval(mark.start_s, mark.end_s)
        for mark in quality.find_marks(recorded.samples.select(TIME, name), own, tuple(recorded.gaps))
        if mark.action == "excluded"
    ]
    keep = ~normalize.marked(t_s, doubtful)
    return Signal(t_s[keep], values[keep])
