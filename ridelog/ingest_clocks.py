"""Where each recording of one ride lies on one clock: what its own clock says, checked against what the ride shows.

The clock of one recording is kept: the best dated, a satellite receiver's before a logger's, then the first named.
Every other is compared with it, or through one already placed. Where the comparison settles the matter it has the last
word; where it can't, the clocks have it as long as they put the recordings side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
import polars as pl

from ridelog import clock
from ridelog.bike import Bike
from ridelog.channels import TIME
from ridelog.errors import InputRefused
from ridelog.ingest_compare import Comparison, compare, length_s, logged, shows_ground_speed
from ridelog.intervals import Interval
from ridelog.normalize import Normalized
from ridelog.offset.cause import WEEK_TURN_S
from ridelog.results import FloatArray
from ridelog.ride import Note
from ridelog.words import device_clocks as words
from ridelog.words import joining

Basis = Literal["utc", "local", "none"]

FINEST_S = 0.2
"""Clocks that differ by less stand as they are: no verdict on a ride turns on it."""

LEAST_SHARED_S = 60.0
LEAST_SHARED_PART = 0.5
"""Away from where clocks put them, two recordings must share this part of the shorter one: the end of one is easily
found to be like the beginning of another."""

_BEGINNING = datetime(2000, 1, 1, tzinfo=UTC)
"""Where the common clock of recordings without any date begins; it is never shown."""

_RECEIVERS = ("gpx", "nmea")


@dataclass(frozen=True)
class Piece:
    """One ride of one file before it gets its id."""

    normalized: Normalized
    timeline: clock.Timeline
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class Device:
    """A piece, its file's name and format, and the seconds the user wants added to its clock."""

    name: str
    format: str
    piece: Piece
    given_s: float | None = None

    @property
    def basis(self) -> Basis:
        """What its times are tied to: moments in UTC, a date and time without a zone, or nothing."""
        if self.piece.timeline.start_utc is not None and self.piece.timeline.has_absolute:
            return "utc"
        return "local" if self.piece.timeline.start_local is not None else "none"

    @property
    def moment(self) -> datetime | None:
        """The date and time its clock shows at its first sample; local times bear UTC's name here."""
        line = self.piece.timeline
        if self.basis == "utc":
            return line.start_utc
        return line.start_local.replace(tzinfo=UTC) if line.start_local is not None else None

    @property
    def trust(self) -> int:
        """A receiver's own file first, then a logger that sees positions."""
        if self.format in _RECEIVERS:
            return 2
        return int(logged(self.piece.normalized, "lat_deg"))

    def resolution_s(self) -> float:
        """The step of its clock as written; a receiver's whole seconds are exact."""
        if self.trust == 2 or self.moment is None:
            return 0.0
        t_s = self.piece.normalized.samples[TIME].to_numpy()[:10_000] + self.moment.microsecond / 1e6
        for step_s in (1.0, 0.1, 0.01):
            if np.abs(t_s / step_s - np.round(t_s / step_s)).max() < 1e-3:
                return step_s
        return 0.0


@dataclass(frozen=True)
class Placed:
    """A recording on the common clock: its samples' times run at that clock's rate, the first at `start_s`."""

    normalized: Normalized
    start_s: float


@dataclass(frozen=True)
class Standing:
    """How a device got its place: by its clock and what was told (`expected_s` on the common clock, None where neither
    says anything), by what it shares with the device `against`, or not at all (`refusal` says why). `note` is None for
    the device whose clock was kept."""

    expected_s: float | None
    against: int | None = None
    found: Comparison | None = None
    note: Note | None = None
    refusal: InputRefused | None = None


@dataclass(frozen=True)
class Clocks:
    """All recordings on one clock whose 0 is `moment` (of kind `basis`, from the device `kept`)."""

    placed: tuple[Placed, ...]
    basis: Basis
    moment: datetime
    kept: int
    notes: tuple[Note, ...]
    standings: tuple[Standing, ...]


def bring_together(devices: Sequence[Device], bike: Bike | None, *, leave_open: bool = False) -> Clocks:
    """All devices on one clock. Raises InputRefused for one whose place can't be told; with `leave_open` it stands
    where it could fit, else at the beginning, and its standing says why."""
    kept = _keeper(devices)
    base = devices[kept]
    basis = base.basis
    first_s = base.given_s or 0.0
    placed: dict[int, Placed] = {kept: Placed(base.piece.normalized, first_s)}
    notes: dict[int, Note] = {}
    if base.given_s is not None:
        notes[kept] = _given_note(base)
    standings: dict[int, Standing] = {kept: Standing(first_s)}
    told: dict[int, list[tuple[int, Comparison]]] = {number: [] for number in range(len(devices))}
    waiting = [number for number in range(len(devices)) if number != kept]
    moved = True
    while waiting and moved:
        moved = False
        for number in list(waiting):
            device = devices[number]
            expected_s = _expected_s(device, base)
            for at in [at for at in placed if at not in [seen for seen, _ in told[number]]]:
                found = _measured(device, expected_s, placed[at], bike)
                if found is not None:
                    told[number].append((at, found))
                if found is not None and found.offset.status == "aligned":
                    match = _Match(devices[at], placed[at], found)
                    placed[number], notes[number] = _settled(device, expected_s, match, base)
                    standings[number] = Standing(expected_s, at, found, notes[number])
                    waiting.remove(number)
                    moved = True
                    break
    settled = list(placed.values())
    for number in waiting:
        tried = [one for one in told[number] if one[0] == kept] or told[number]
        at, closest = tried[0] if tried else (kept, None)
        standing = Standing(_expected_s(devices[number], base), at, closest)
        try:
            placed[number], notes[number] = _unsettled(devices[number], base, settled, closest)
            standings[number] = replace(standing, note=notes[number])
        except InputRefused as error:
            if not leave_open:
                raise
            places = closest.offset.candidates_s if closest is not None else ()
            placed[number] = Placed(devices[number].piece.normalized, placed[at].start_s + (places or (0.0,))[0])
            standings[number] = replace(standing, refusal=error)
    everything = tuple(placed[number] for number in range(len(devices)))
    moment = base.moment or _BEGINNING
    told_notes = [notes[number] for number in sorted(notes)]
    turns = _lost_turns(devices, base, everything)
    if turns:
        moment += timedelta(weeks=1024 * turns)
        told_notes.append(
            Note(
                "week_rollover",
                joining.weeks_lost(base.name, 1024 * turns),
            )
        )
    return Clocks(
        everything, basis, moment, kept, tuple(told_notes), tuple(standings[number] for number in range(len(devices)))
    )


def _lost_turns(devices: Sequence[Device], base: Device, placed: Sequence[Placed]) -> int:
    """Turns of the week count by which the kept clock is behind another's."""
    for device, place in zip(devices, placed, strict=True):
        expected_s = _expected_s(device, base) if device.moment is not None else None
        turns = round((expected_s - place.start_s) / WEEK_TURN_S) if expected_s is not None else 0
        if turns > 0 and expected_s is not None and abs(expected_s - place.start_s - turns * WEEK_TURN_S) < 86_400.0:
            return turns
    return 0


def _keeper(devices: Sequence[Device]) -> int:
    """Whose clock is kept."""
    ranks = {"utc": 2, "local": 1, "none": 0}

    def rank(number: int) -> tuple[int, bool, int, int]:
        device = devices[number]
        trust = device.trust if device.basis != "none" else int(shows_ground_speed(device.piece.normalized))
        return ranks[device.basis], device.given_s is None, trust, -number

    return max(range(len(devices)), key=rank)


def _expected_s(device: Device, base: Device) -> float | None:
    """Where the device's first sample lies on the common clock by its own clock and the user's word; None where
    neither says anything."""
    if device.basis == base.basis and device.moment is not None and base.moment is not None:
        return (device.moment - base.moment) / timedelta(seconds=1) + (device.given_s or 0.0)
    return device.given_s


def _shared_s(one: tuple[float, float], two: tuple[float, float]) -> float:
    return min(one[1], two[1]) - max(one[0], two[0])


def _span(start_s: float, whole: Normalized) -> tuple[float, float]:
    return start_s, start_s + length_s(whole)


def _measured(device: Device, expected_s: float | None, at: Placed, bike: Bike | None) -> Comparison | None:
    """How the device lies to one already placed: near where its clock puts it if both were on then, else anywhere."""
    own = device.piece.normalized
    if expected_s is not None:
        spans = _span(expected_s, own), _span(at.start_s, at.normalized)
        near = None
        if _shared_s(*spans) >= LEAST_SHARED_S:
            near = compare(at.normalized, own, bike, near_s=expected_s - at.start_s)
        if device.given_s is not None or (near is not None and near.offset.status == "aligned"):
            return near
    found = compare(at.normalized, own, bike)
    if found is None or found.offset.status != "aligned":
        return found
    moved = found.offset.to_reference(np.array([0.0, length_s(own)]))
    shorter_s = min(length_s(own), length_s(at.normalized))
    shared_s = _shared_s((float(moved[0]), float(moved[1])), (0.0, length_s(at.normalized)))
    if shared_s >= LEAST_SHARED_PART * shorter_s:
        return found
    weak = joining.only_ends_fit(shared_s)
    return replace(found, offset=replace(found.offset, status="weak", reason=weak, offset_s=None, drift_ppm=None))


@dataclass(frozen=True)
class _Match:
    """A device already placed, and how another lies to it."""

    against: Device
    at: Placed
    found: Comparison


def _settled(device: Device, expected_s: float | None, match: _Match, base: Device) -> tuple[Placed, Note]:
    """The device's place where the comparison is sure of it."""
    against, at, found = match.against, match.at, match.found
    own = device.piece.normalized
    ends = np.array([0.0, length_s(own)])
    moved = found.offset.to_reference(ends) + at.start_s
    measured = words.measured(found)
    if expected_s is None:
        note = Note(
            "clock_placed",
            joining.placed(
                device.name,
                _zone_words(device, base, float(moved[0])),
                against.name,
                start_s=float(moved[0]) - at.start_s,
                drift_ppm=found.offset.drift_ppm or 0.0,
                measured=measured,
            ),
        )
        return _moved(own, found, at), note
    apart = moved - (ends + expected_s)
    tolerance_s = (found.offset.error_s or 0.0) + max(FINEST_S, device.resolution_s(), against.resolution_s())
    furthest_s = float(np.abs(apart).max())
    agree = furthest_s <= tolerance_s
    how = words.difference(device.name, against.name, float(apart[0]), found)
    if device.given_s is not None:
        given = words.given(device.name, device.given_s, dated=device.moment is not None)
        text = joining.given_checked(given, measured, None if agree else how)
        return Placed(own, expected_s), Note("clock_given", text)
    if agree:
        text = joining.agree(how, measured)
        return Placed(own, expected_s), Note("clock_checked", text)
    cause = words.cause(float(apart[0]), tolerance_s, base.moment)
    why = joining.HAS_RECEIVER if against.trust > device.trust else joining.NAMED_FIRST
    if against.moment is None:
        why = joining.PLACED_BEFORE
    text = joining.corrected(how, cause, measured, (against.name, why), device.name)
    return _moved(own, found, at), Note("clock_corrected", text)


def _zone_words(device: Device, base: Device, start_s: float) -> str:
    """What a clock without a zone shows beside the moment in UTC that was found."""
    if device.moment is None or base.moment is None or base.basis != "utc":
        return ""
    apart_s = (device.moment - base.moment) / timedelta(seconds=1) - start_s
    return joining.own_clock_off(words.signed(apart_s))


def _unsettled(
    device: Device, base: Device, settled: Sequence[Placed], found: Comparison | None
) -> tuple[Placed, Note]:
    """The device's place by its clock or the user's word alone. Raises InputRefused where neither will do."""
    own = device.piece.normalized
    why = words.why_not(found)
    expected_s = _expected_s(device, base)
    if device.given_s is not None and expected_s is not None:
        text = words.given(device.name, device.given_s, dated=device.moment is not None)
        return Placed(own, expected_s), Note("clock_given", joining.given_unchecked(text, why))
    if expected_s is None:
        raise InputRefused(
            f"its times have no date{_no_zone(device)}, and its place in the ride can't be found: {why}",
            where=device.name,
            expected=f"a recording that follows the same ride as {base.name}, or one with date and time",
            to_do=f"{_zone_hint(device)}give its first sample's time after that of {base.name}: "
            f"{words.option(device.name, found, 0.0)}; else import it alone, or export it again with date and time",
        )
    shared_s = max(_shared_s(_span(expected_s, own), _span(at.start_s, at.normalized)) for at in settled)
    if shared_s < 0.0:
        raise InputRefused(
            f"its clock puts it {words.span(-shared_s)} away from {base.name}, so the two share no moment, and the "
            f"ride itself does not tell how the clocks lie: {why}",
            where=device.name,
            expected="recordings of one ride, at the same time",
            to_do="check --timezone if one of them writes local time; if a clock was wrong, tell by how much: "
            f"{words.option(device.name, found, expected_s)}; else import them one by one",
        )
    text = joining.unchecked(device.name, base.name, why)
    return Placed(own, expected_s), Note("clock_unchecked", text)


def _no_zone(device: Device) -> str:
    return " in UTC" if device.basis == "local" else ""


def _zone_hint(device: Device) -> str:
    return "tell its zone with --timezone, or " if device.basis == "local" else ""


def _given_note(device: Device) -> Note:
    text = words.given(device.name, device.given_s or 0.0, dated=device.moment is not None)
    return Note("clock_given", joining.as_told(text))


def _moved(own: Normalized, found: Comparison, at: Placed) -> Placed:
    """The recording on the common clock, every sample, gap and break with the drift taken off."""
    moved: FloatArray = found.offset.to_reference(own.samples[TIME].to_numpy())
    first = float(moved[0])

    def there(interval: Interval) -> Interval:
        ends = found.offset.to_reference(np.array(interval, dtype=np.float64)) - first
        return Interval(float(ends[0]), float(ends[1]))

    samples = own.samples.with_columns(pl.Series(TIME, moved - first))
    gaps, breaks = tuple(there(gap) for gap in own.gaps), tuple(there(one) for one in own.breaks)
    # An estimate has no digits beyond the millisecond.
    return Placed(replace(own, samples=samples, gaps=gaps, breaks=breaks), round(at.start_s + first, 3))
