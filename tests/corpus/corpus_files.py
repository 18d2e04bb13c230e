"""Helpers of the corpus: a log as lines, read or refused through the whole import. Imported by the tests beside it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "readers"))

from build_logs import START, Form, clock, iso, truth, write
from contract import check_ride

from ridelog.errors import InputRefused
from ridelog.ingest import ImportOptions, parse_column_option, read_rides
from ridelog.ride import Note, Ride

__all__ = ["START", "Form", "clock", "iso", "write"]

HEADER = tuple(Form().header)
TRUTH = truth()
RESOLUTION = {"coolant_c": 0.006, "engine_rpm": 1e-6, "throttle_pct": 0.006, "gps_speed_mps": 1e-4, "gear": 0.0}
"""How far a value may be off after a form that holds every digit."""

COLUMN = {"coolant_c": 1, "engine_rpm": 2, "throttle_pct": 3, "gps_speed_mps": 4, "gear": 5}
TO_CANONICAL = {"gps_speed_mps": 1 / 3.6}


def lines(form: Form | None = None) -> list[str]:
    """The log as lines: the header, then the rows."""
    return write(form or Form()).decode().rstrip("\n").split("\n")


def text(some: Sequence[str]) -> str:
    return "\n".join(some) + "\n"


def timed(head: str, of: Callable[[float], str]) -> str:
    """The log with another time column."""
    return write(Form(header=(head, *HEADER[1:]), time=of)).decode()


def with_cell(column: int, of: Callable[[int, str], str], head: str | None = None) -> str:
    """The log with other cells (and another name) in one column; `of` gets the row's number and its cell."""
    found = lines()
    names = found[0].split(",")
    names[column] = head if head is not None else names[column]
    rows = [row.split(",") for row in found[1:]]
    for number, row in enumerate(rows):
        row[column] = of(number, row[column])
    return text([",".join(names), *(",".join(row) for row in rows)])


def with_column(head: str, of: Callable[[int], str]) -> str:
    """The log with one more column."""
    found = lines()
    return text([f"{found[0]},{head}", *(f"{row},{of(number)}" for number, row in enumerate(found[1:]))])


def rides(tmp_path: Path, content: bytes | str, name: str = "log.csv", *columns: str, **options: object) -> list[Ride]:
    """All rides of a file with this content; `columns` as after --column."""
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    told = tuple(parse_column_option(one) for one in columns)
    found = read_rides([path], ImportOptions(columns=told, **options))  # type: ignore[arg-type]
    for ride in found:
        check_ride(ride)
    return found


def read(tmp_path: Path, content: bytes | str, name: str = "log.csv", *columns: str, **options: object) -> Ride:
    """The one ride of a file with this content."""
    found = rides(tmp_path, content, name, *columns, **options)
    assert len(found) == 1
    return found[0]


def refused(tmp_path: Path, content: bytes | str, words: str, name: str = "log.csv", **options: object) -> InputRefused:
    """The refusal of a file: it names the file, says `words`, what was expected and what to do, on one line."""
    with pytest.raises(InputRefused) as caught:
        rides(tmp_path, content, name, **options)
    error = caught.value
    assert name in error.where
    assert words in error.one_line()
    assert error.expected
    assert "What to do:" in error.one_line()
    assert "\n" not in error.one_line()
    assert "fault of ridelog" not in error.found
    return error


def note(ride: Ride, kind: str) -> Note:
    """The note of a kind; fails where there is none."""
    found = [one for one in ride.notes if one.kind == kind]
    assert found, f"no note of kind {kind}: {[one.kind for one in ride.notes]}"
    return found[0]


def kinds(ride: Ride) -> set[str]:
    return {one.kind for one in ride.notes}


def marks(ride: Ride, channel: str) -> set[str]:
    """Kinds of the quality marks of a channel."""
    return {mark.kind for mark in ride.quality if mark.channel == channel}


def same_ride(
    ride: Ride,
    *,
    rows: Sequence[int] | None = None,
    time_s: float = 1e-9,
    only: Sequence[str] = tuple(COLUMN),
    within: dict[str, float] | None = None,
) -> None:
    """The ride holds the log's own samples: the same times, and in the channels `only` the same values to the
    resolution of the form. `rows` are the rows of the log that it holds, None for all."""
    kept = [TRUTH[number] for number in (rows if rows is not None else range(len(TRUTH)))]
    assert ride.samples.height == len(kept)
    np.testing.assert_allclose(ride.samples["t_s"], [row[0] - kept[0][0] for row in kept], atol=time_s, rtol=0)
    missing = set(only) - set(ride.samples.columns)
    assert not missing
    for channel in only:
        true = [row[COLUMN[channel]] * TO_CANONICAL.get(channel, 1.0) for row in kept]
        atol = (within or {}).get(channel, RESOLUTION[channel])
        np.testing.assert_allclose(ride.samples[channel], true, atol=atol, rtol=0, err_msg=channel)
