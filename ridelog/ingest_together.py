"""Several devices, one ride: the part of the import that joins recordings once they are on one clock."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from ridelog import align, clock, normalize
from ridelog.bike import Bike
from ridelog.errors import UsageError
from ridelog.ingest_clocks import Clocks, Device, Piece, Placed, bring_together
from ridelog.normalize import Column, Normalized
from ridelog.ride import Note
from ridelog.words import joining

__all__ = ["Device", "Piece", "join_pieces", "join_placed", "offset_of", "parse_offset_option"]

_FURTHEST_S = 3.2e9
"""A hundred years: no clock is further off."""


def join_pieces(
    devices: Sequence[Device], bike: Bike | None, timezone: str | None
) -> tuple[Normalized, clock.Timeline, tuple[Note, ...]]:
    """The joint ride of one piece a device. Raises InputRefused where they can't be joined."""
    return join_placed(devices, bring_together(devices, bike), timezone)


def join_placed(
    devices: Sequence[Device], clocks: Clocks, timezone: str | None = None
) -> tuple[Normalized, clock.Timeline, tuple[Note, ...]]:
    """The joint ride of devices that are on one clock. Raises InputRefused where they share no moment."""
    names = [device.name for device in devices]
    joined = align.join([_part(name, placed, clocks) for name, placed in zip(names, clocks.placed, strict=True)])
    columns: dict[str, Column] = {}
    for name, (number, old) in joined.origin.items():
        info = devices[number].piece.normalized.channels[old]
        columns[name] = Column(joined.columns[name], info.source, "derived" if info.origin == "derived" else "logged")
    if clocks.basis == "utc":
        columns["time_utc"] = Column(normalize.utc_column(joined.t_s, joined.start), " + ".join(names))
    notes = [
        replace(note, text=f"{device.name}: {note.text}") for device in devices for note in device.piece.notes
    ]  # fmt: skip
    notes.extend(clocks.notes)
    notes.extend(Note("second_sensor", joining.second_sensor(old, new)) for old, new in joined.renamed)
    normalized = normalize.finish(joined.t_s, columns, joined.gaps, joined.breaks, ())
    return normalized, _timeline(devices, clocks, joined.start, timezone), tuple(notes)


def _timeline(devices: Sequence[Device], clocks: Clocks, start: datetime, timezone: str | None) -> clock.Timeline:
    kept = devices[clocks.kept].piece.timeline
    if clocks.basis == "utc":
        zones = [kept.timezone, *(device.piece.timeline.timezone for device in devices)]
        zone = timezone or next((zone for zone in zones if zone), None)
        return replace(kept, start_utc=start, timezone=zone, start_local=None)
    local = start.replace(tzinfo=None) if clocks.basis == "local" else None
    return replace(kept, start_utc=None, start_local=local)


def _part(name: str, placed: Placed, clocks: Clocks) -> align.Part:
    whole = placed.normalized
    derived = frozenset(n for n, info in whole.channels.items() if info.origin == "derived")
    start = clocks.moment + timedelta(seconds=placed.start_s)
    return align.Part(name, whole.samples, start, whole.gaps, whole.breaks, derived)


def parse_offset_option(text: str) -> tuple[str, float]:
    """`'FILE=SECONDS'` as file and seconds. Raises UsageError."""
    name, _, number = text.rpartition("=")
    try:
        seconds = float(number)
    except ValueError:
        seconds = math.nan
    if not name or not abs(seconds) <= _FURTHEST_S:
        raise UsageError(
            f"{text!r} is not a file and seconds",
            where="--offset",
            expected="'FILE=SECONDS', such as 'engine.csv=2220' or 'engine.csv=-3600.5'",
            to_do="correct the option",
        )
    return name, seconds


def offset_of(paths: Sequence[Path], offsets: Sequence[tuple[str, float]]) -> list[float | None]:
    """The seconds given for each file, None where none are. Raises UsageError for a name that is not one file's."""
    result: list[float | None] = [None] * len(paths)
    for name, seconds in offsets:
        exact = [number for number, path in enumerate(paths) if str(path) == name]
        fits = exact or [number for number, path in enumerate(paths) if path.name == name]
        if len(fits) != 1 or result[fits[0]] is not None:
            what = "was given twice" if len(fits) == 1 else "is no file" if not fits else "could be several files"
            raise UsageError(
                f"{name!r} {what} of this call",
                where="--offset",
                expected="one of " + ", ".join(str(path) for path in paths),
                to_do="name each file once, as it stands on the command line",
            )
        result[fits[0]] = seconds
    return result
