"""How several recordings of one ride would be joined, worked out and shown before anything is stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from ridelog.ingest_answers import remembered
from ridelog.ingest_clocks import Clocks, Device, Standing, bring_together
from ridelog.ingest_compare import Side, length_s, telling_side
from ridelog.ingest_options import ImportOptions, start_of
from ridelog.ingest_read import read_devices
from ridelog.ingest_together import join_placed
from ridelog.offset.signals import STEP_S, on_grid

if TYPE_CHECKING:
    from ridelog.results import FloatArray
    from ridelog.store.library import Library

By = Literal["kept", "measured", "checked", "clock", "told", "open"]
"""`kept` its clock is the ride's; `measured` by what it shares with another; `checked` by its own clock, and what it
shares with another agrees; `clock` by its own clock, which could not be checked; `told` by the user; `open` not
known."""


@dataclass(frozen=True)
class Curve:
    """One side of what was compared: values every `step_s` from `first_s` on the common clock, NaN where the recording
    says nothing. `channel` names the quantity and with it the unit."""

    channel: str
    words: str
    first_s: float
    step_s: float
    values: FloatArray


@dataclass(frozen=True)
class Lying:
    """Where one recording lies.

    `start_s` is its first sample after the first of the kept recording, `length_s` its length, `clock_s` where its own
    clock puts it (None without one that can be compared). `drift_ppm` is what is taken off its clock's pace, None where
    that stays as it is; `error_s` and `confidence` are None unless measured. `reason` says in a sentence how its place
    came about, or why it is not known; `places_s` are starts that fit equally well. `own` and `beside` are what was
    compared, None where it shows nothing.
    """

    name: str
    by: By
    start_s: float
    length_s: float
    clock_s: float | None
    reason: str
    against: int | None = None
    what: str = ""
    drift_ppm: float | None = None
    error_s: float | None = None
    confidence: float | None = None
    overlap_s: float = 0.0
    places_s: tuple[float, ...] = ()
    own: Curve | None = None
    beside: Curve | None = None


@dataclass(frozen=True)
class Alignment:
    """All recordings on the clock of the one `kept`, in the order of the files."""

    kept: int
    recordings: tuple[Lying, ...]

    @property
    def known(self) -> bool:
        """Could they be joined as they lie?"""
        return all(one.by != "open" for one in self.recordings)


def align_files(library: Library, paths: Sequence[Path], options: ImportOptions) -> Alignment:
    """How files of one ride lie to each other; nothing is stored. Raises RidelogError only: InputRefused for a file
    that can't be read, AmbiguousColumn for a column that has to be asked about."""
    known = replace(options, remembered=remembered(library, options.bike_id))
    _, devices = read_devices(paths, known, start_of(options))
    clocks = bring_together(devices, options.bike, leave_open=True)
    if all(standing.refusal is None for standing in clocks.standings):
        # What the join itself would refuse is told before anybody looks at a picture of it.
        join_placed(devices, clocks)
    return Alignment(clocks.kept, tuple(_lying(devices, clocks, number) for number in range(len(devices))))


def told_offset_s(one: Lying, start_s: float) -> float:
    """What `ImportOptions.offsets` takes for a recording that is to begin `start_s` after the kept one."""
    return start_s - (one.clock_s or 0.0)


def _lying(devices: Sequence[Device], clocks: Clocks, number: int) -> Lying:
    device, placed, standing = devices[number], clocks.placed[number], clocks.standings[number]
    zero_s = clocks.placed[clocks.kept].start_s
    start_s = placed.start_s - zero_s
    length = length_s(placed.normalized)
    if number == clocks.kept:
        return Lying(device.name, "kept", start_s, length, 0.0, "")
    clock_s = _clock_s(device, standing, zero_s)
    error, found = standing.refusal, standing.found
    reason = error.found if error is not None else standing.note.text if standing.note is not None else ""
    by: By = "open" if error is not None else _by(device, standing)
    lying = Lying(device.name, by, start_s, length, clock_s, reason, standing.against)
    if standing.against is not None:
        at = clocks.placed[standing.against]
        own, beside = telling_side(device.piece.normalized), telling_side(at.normalized)
        if found is not None:
            own, beside = found.other, found.reference
            lying = replace(
                lying,
                what=found.what,
                overlap_s=found.offset.overlap_s,
                places_s=tuple(at.start_s + place - zero_s for place in found.offset.candidates_s),
            )
        drift = found.offset.drift_ppm if found is not None and by == "measured" else None
        lying = replace(
            lying,
            own=_curve(own, start_s, drift or 0.0),
            beside=_curve(beside, at.start_s - zero_s, 0.0),
            drift_ppm=drift,
        )
    if by in ("measured", "checked") and found is not None:
        lying = replace(lying, error_s=found.offset.error_s, confidence=found.offset.confidence)
    return lying


def _by(device: Device, standing: Standing) -> By:
    if device.given_s is not None:
        return "told"
    if standing.note is not None and standing.note.kind == "clock_checked":
        return "checked"
    if standing.found is not None and standing.found.offset.status == "aligned":
        return "measured"
    return "clock"


def _clock_s(device: Device, standing: Standing, zero_s: float) -> float | None:
    """Where the device's own clock alone puts it."""
    if standing.expected_s is None or device.moment is None:
        return None
    return standing.expected_s - (device.given_s or 0.0) - zero_s


def _curve(side: Side | None, start_s: float, drift_ppm: float) -> Curve | None:
    """A side on the common clock; its own clock begins at `start_s` there."""
    if side is None or side.signal.t_s.size < 2:
        return None
    uniform = on_grid(side.signal.t_s, side.signal.values)
    rate = 1.0 + drift_ppm * 1e-6
    values = uniform.values.astype(np.float64)
    return Curve(side.channel, side.words, start_s + uniform.first * STEP_S * rate, STEP_S * rate, values)
