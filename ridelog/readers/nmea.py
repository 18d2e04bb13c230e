"""NMEA 0183 logs: RMC, GGA, VTG, GLL and ZDA of any talker, alone or inside lines of a text log.

Sentences are believed only with a right checksum. Everything that is not is counted by its reason and never shown: text
between the sentences and sentences of a maker's own hold names and serial numbers.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers.base import ReadOptions, Sniff
from ridelog.readers.nmea_epochs import SECOND_US, Fate, Samples, make_samples
from ridelog.readers.nmea_fields import FloatArray
from ridelog.readers.nmea_kinds import Sentences, joined
from ridelog.readers.nmea_sentences import Tally, blocks, read_block
from ridelog.readers.textfile import guess_utf16
from ridelog.ride import Note, RawColumn, RawLog
from ridelog.words import reading, reading_tracks

_SHAPE = re.compile(rb"\$[A-Z0-9]{5},[^$*\r\n]{0,200}\*[0-9A-Fa-f]{2}")
_BARE = re.compile(rb"^\$[A-Z]{2}(?:RMC|GGA|GLL|VTG|ZDA),", re.MULTILINE)
_UNITS = {"lat_deg": "deg", "lon_deg": "deg", "elevation_m": "m", "gps_speed_mps": "m/s"}
_COUNTER_UNITS = {1.0: "s", 1e3: "ms", 1e6: "us"}
_COUNTER_TOLERANCE = 0.01
"""A logger's own clock and the satellites' agree far better than this; anything else is no clock."""
_COUNTER_LEAST = 10
"""Samples from which on a rising number in front of the sentences is told from a chance."""


class NmeaReader:
    """NMEA 0183 logs."""

    name = "nmea"
    description = reading_tracks.NMEA
    endings = (".nmea", ".log", ".txt")

    def sniff(self, head: bytes, file_name: str) -> Sniff:  # noqa: ARG002 - the content decides
        """By the share of lines that hold a sentence, once one of the five kinds stands there with a right checksum."""
        utf16 = guess_utf16(head)
        if utf16:
            head = head.decode(utf16, "replace").encode("ascii", "replace")
        lines = sum(1 for line in head.splitlines() if line.strip() and not line.lstrip().startswith(b"#"))
        shaped = len(_SHAPE.findall(head))
        if not read_block(head)[1].read:
            if len(_BARE.findall(head)) > lines / 2:
                return Sniff(0.6, "its sentences look like NMEA 0183, but none has a right checksum")
            return Sniff(0.0, "there is no NMEA 0183 position, speed or date sentence with a right checksum")
        if shaped > lines / 2:
            return Sniff(1.0, "most lines are NMEA 0183 sentences")
        share = shaped / max(lines, 1)
        return Sniff(0.6 if share > 0.05 else 0.3, f"NMEA 0183 sentences stand in {share:.0%} of its lines")

    def read(self, path: Path, options: ReadOptions) -> list[RawLog]:
        """One table for the file; where the clock goes back there is a break. Raises InputRefused, LimitExceeded."""
        size = path.stat().st_size
        if size > options.limits.max_bytes:
            raise options.limits.exceeded("max_bytes", f"the file has {size:,} bytes", where=options.file_name)
        tally = Tally()
        parts: list[Sentences] = []
        with path.open("rb") as file:
            utf16 = guess_utf16(file.read(4096))
            file.seek(0)
            for block in blocks(file, utf16):
                part, fared = read_block(block)
                parts.append(part)
                tally += fared
                if tally.sentences > options.limits.max_rows:
                    raise options.limits.exceeded(
                        "max_rows", f"it holds more than {options.limits.max_rows:,} sentences", where=options.file_name
                    )
        if not tally.read:
            raise _unreadable(tally, options.file_name)
        found = make_samples(joined(parts))
        if not found.size:
            raise _without_fix(found, options.file_name)
        columns = (_time_column(found), *_value_columns(found))
        notes = (*_left_out(tally, found), *_remarks(tally, found, utf16))
        return [RawLog(self.name, columns, tally.sentences, found.breaks, 0, notes)]


def _time_column(found: Samples) -> RawColumn:
    digits = "%.3f" if not (found.time_us % 1000).any() else "%.6f"
    times = pl.Series("time", found.time_us).cast(pl.Datetime("us"))
    form = f"%Y-%m-%dT%H:%M:%S{digits}Z" if found.dated else f"%H:%M:%S{digits}"
    return RawColumn("time" if found.dated else "UTC time", None, times.dt.to_string(form))


def _value_columns(found: Samples) -> list[RawColumn]:
    columns: list[RawColumn] = []
    for name, values in found.columns.items():
        if name == "counter":
            unit = _counter_unit(values, found)
            if unit:
                columns.append(RawColumn("logger counter", unit, pl.Series("logger counter", values, nan_to_null=True)))
        elif not np.isnan(values).all():
            columns.append(RawColumn(name, _UNITS.get(name), pl.Series(name, values, nan_to_null=True)))
    return columns


def _counter_unit(counter: FloatArray, found: Samples) -> str | None:
    """The unit of the numbers in front of the sentences where they are clearly a clock: in every recording they never
    fall and keep pace with the satellites' time at 1, 1000 or 1,000,000 a second. None otherwise."""
    units: set[str | None] = set()
    for start, end in zip((0, *found.breaks), (*found.breaks, found.size), strict=True):
        given = np.flatnonzero(~np.isnan(counter[start:end])) + start
        if given.size < max(_COUNTER_LEAST, 0.9 * (end - start)):
            return None
        ticks, time_s = counter[given], found.time_us[given] / SECOND_US
        if (np.diff(ticks) < 0).any() or time_s[-1] <= time_s[0]:
            return None
        rate = (ticks[-1] - ticks[0]) / (time_s[-1] - time_s[0])
        units.add(
            next(
                (unit for factor, unit in _COUNTER_UNITS.items() if abs(rate / factor - 1.0) < _COUNTER_TOLERANCE), None
            )
        )
    return units.pop() if len(units) == 1 else None


def _left_out(tally: Tally, found: Samples) -> list[Note]:
    """Why each sentence that is not a sample of its own is none. With the samples they add up to all sentences."""
    fates = found.fates
    reasons = (
        ("joined", fates[Fate.SAMPLE] - found.size, reading_tracks.JOINED),
        ("other_sentences", tally.other, reading_tracks.OTHER_SENTENCES),
        ("proprietary", tally.proprietary, reading_tracks.PROPRIETARY),
        ("checksum", tally.checksum, reading_tracks.CHECKSUM),
        ("unverified", tally.unverified, reading_tracks.UNVERIFIED),
        ("torn", tally.torn, reading_tracks.TORN),
        ("malformed", tally.malformed, reading_tracks.MALFORMED),
        ("void", fates[Fate.VOID], reading_tracks.VOID),
        ("null_island", fates[Fate.NULL_ISLAND], reading_tracks.NULL_ISLAND),
        ("no_position", fates[Fate.NO_POSITION], reading_tracks.NO_POSITION),
        ("no_time", fates[Fate.NO_TIME], reading_tracks.NO_MOMENT),
        ("stray_time", fates[Fate.STRAY_TIME], reading_tracks.STRAY_TIME),
        ("cut_moment", fates[Fate.CUT_MOMENT], reading_tracks.CUT_MOMENT),
    )
    return [Note(f"left_out_{kind}", text, rows=count) for kind, count, text in reasons if count]


def _remarks(tally: Tally, found: Samples, utf16: str | None) -> list[Note]:
    notes: list[Note] = []
    if utf16:
        notes.append(Note("encoding", reading.UTF_16))
    if found.steps_back_s:
        times = "once" if len(found.steps_back_s) == 1 else f"{len(found.steps_back_s):,} times"
        longest = max(found.steps_back_s)
        notes.append(Note("clock_back", reading_tracks.clock_back(times, longest)))
    shifted = reading_tracks.WEEKS_MOVED
    old = reading_tracks.WEEKS_KEPT
    counted = (
        ("week_rollover", found.week_shifted, shifted),
        ("odd_dates", found.odd_dates, reading_tracks.ODD_DATES),
        ("borrowed_dates", found.borrowed_dates, reading_tracks.BORROWED_DATES),
        ("old_dates", found.old_dates, old),
        ("disordered", found.disordered, reading_tracks.DISORDERED),
        ("glued", tally.glued, reading_tracks.GLUED),
        ("lower_case", tally.lower_case, reading_tracks.LOWER_CASE),
        ("text_lines", tally.text_lines, reading_tracks.TEXT_LINES),
    )
    notes.extend(Note(f"nmea_{kind}", text, rows=count) for kind, count, text in counted if count)
    if tally.odd_bytes:
        notes.append(Note("nmea_odd_bytes", reading_tracks.odd_bytes(tally.odd_bytes)))
    if not found.dated:
        notes.append(Note("nmea_no_date", reading_tracks.NO_DATE))
    return notes


def _unreadable(tally: Tally, where: str) -> InputRefused:
    if not tally.sentences:
        return InputRefused(
            "there is no NMEA 0183 sentence in it",
            where=where,
            expected="sentences such as RMC or GGA, each from $ to a checksum",
            to_do="check that this is the receiver's log, or leave --format out",
        )
    found = ", ".join(
        f"{count:,} {words}"
        for count, words in (
            (tally.checksum, "with a wrong checksum"),
            (tally.unverified, "without a checksum"),
            (tally.torn, "torn"),
            (tally.malformed, "with fields the standard does not allow"),
            (tally.other, "of other kinds"),
            (tally.proprietary, "of a maker's own"),
        )
        if count
    )
    return InputRefused(
        f"none of its {tally.sentences:,} sentences can be used ({found})",
        where=where,
        expected="RMC, GGA, GLL, VTG or ZDA with a right checksum",
        to_do="have the receiver or logger write these sentences with their checksums, or export the track as GPX",
    )


def _without_fix(found: Samples, where: str) -> InputRefused:
    void = found.fates[Fate.VOID] + found.fates[Fate.NULL_ISLAND]
    total = sum(found.fates.values())
    if void:
        return InputRefused(
            f"the receiver had no fix in the whole log ({void:,} of {total:,} sentences say so)",
            where=where,
            expected="at least one fix",
            to_do="record again with the receiver under open sky before riding off",
        )
    return InputRefused(
        f"none of its {total:,} sentences gives both a position and a time",
        where=where,
        expected="RMC, GGA or GLL sentences, which hold a time and a position",
        to_do="have the receiver write RMC or GGA",
    )
