"""Latitudes and longitudes as logs write them, in decimal degrees with a sign: degrees and minutes in one number (as in
NMEA 0183), degrees with signs and a hemisphere behind, and the two columns the wrong way round."""

from __future__ import annotations

import re
from dataclasses import replace

import polars as pl

from ridelog.readers.naming import candidates
from ridelog.ride import Note, RawColumn, RawLog
from ridelog.words import reading

_LIMITS = {"lat_deg": 90.0, "lon_deg": 180.0}
_TEXT = re.compile(
    r"(?P<front>[NSEWO])?\s*(?P<sign>[+-])?\s*(?P<a>\d+(?:[.,]\d+)?)\s*"
    r"(?:[°º*d]?\s*(?:(?P<b>\d+(?:[.,]\d+)?)\s*['′’m]?\s*(?:(?P<c>\d+(?:[.,]\d+)?)\s*(?:\"|″|”|''|s)?)?)?)?\s*"
    r"(?P<back>[NSEWO])?",
    re.IGNORECASE,
)
_MOST_UNREAD = 0.2
_LOOKED_AT = 200


def as_degrees(log: RawLog) -> RawLog:
    """The table with its positions in decimal degrees, and a note where that took more than taking them as they are."""
    found: dict[str, int] = {}
    for index, column in enumerate(log.columns):
        meant = {candidate.channel for candidate in candidates(column.name)}
        for channel in _LIMITS:
            if meant == {channel}:
                found.setdefault(channel, index)
    if len(found) < 2:
        return log
    pair = {channel: log.columns[index] for channel, index in found.items()}
    notes: list[Note] = []
    if any(column.values.dtype == pl.String for column in pair.values()):
        pair = _from_texts(pair, notes)
    if all(column.values.dtype == pl.Float64 for column in pair.values()):
        pair = _from_minutes(pair, notes)
        pair = _not_swapped(pair, notes)
    if not notes:
        return log
    columns = list(log.columns)
    for channel, index in found.items():
        columns[index] = replace(pair[channel], name=columns[index].name)
    return replace(log, columns=tuple(columns), notes=(*log.notes, *notes))


def _from_texts(pair: dict[str, RawColumn], notes: list[Note]) -> dict[str, RawColumn]:
    """Both columns where their texts are degrees, minutes, seconds or a hemisphere; else as they are."""
    read: dict[str, RawColumn] = {}
    lost = 0
    for channel, column in pair.items():
        if column.values.dtype != pl.String:
            read[channel] = column
            continue
        known = {
            text: _degrees(text, _LIMITS[channel]) for text in column.values.drop_nulls().head(_LOOKED_AT).to_list()
        }
        if sum(value is None for value in known.values()) > _MOST_UNREAD * len(known):
            return pair
        known = {text: _degrees(text, _LIMITS[channel]) for text in column.values.drop_nulls().unique().to_list()}
        values = column.values.replace_strict(known, default=None, return_dtype=pl.Float64)
        lost += values.null_count() - column.values.null_count()
        read[channel] = RawColumn(column.name, "deg", values)
    # Where somebody lives may be the first of them, so that no note shows one.
    notes.append(
        Note(
            "positions_in_degrees",
            reading.positions_in_degrees(lost),
        )
    )
    return read


def _degrees(text: str, limit: float) -> float | None:
    match = _TEXT.fullmatch(text.strip())
    if match is None or (match["front"] and match["back"]):
        return None
    first, minutes, seconds = (float(part.replace(",", ".")) if part else None for part in match.group("a", "b", "c"))
    if first is None:
        return None
    if minutes is None and first > limit:
        minutes, first = first % 100.0, float(first // 100.0)
    value = first + (minutes or 0.0) / 60.0 + (seconds or 0.0) / 3600.0
    if (minutes or 0.0) >= 60.0 or (seconds or 0.0) >= 60.0 or value > limit:
        return None
    side = (match["front"] or match["back"] or "").upper()
    # O is east in some languages and west in others.
    if side == "O" or (side and (side in "NS") != (limit == _LIMITS["lat_deg"])) or (side and match["sign"]):
        return None
    return -value if side in ("S", "W") or match["sign"] == "-" else value


def _from_minutes(pair: dict[str, RawColumn], notes: list[Note]) -> dict[str, RawColumn]:
    """4530.25 for 45 degrees 30.25 minutes: numbers too large for degrees whose last two places are always minutes."""
    sizes = {channel: column.values.drop_nulls().abs() for channel, column in pair.items()}
    if any(not size.len() for size in sizes.values()):
        return pair
    too_large = all(bool((sizes[channel] > limit).mean() > 0.9) for channel, limit in _LIMITS.items())  # type: ignore[operator]
    fits = all(
        bool(((size % 100.0) < 60.0).all()) and float(size.max() or 0.0) // 100.0 <= _LIMITS[channel]  # type: ignore[arg-type]
        for channel, size in sizes.items()
    )
    if not (too_large and fits):
        return pair
    notes.append(
        Note(
            "positions_in_minutes",
            reading.POSITIONS_IN_MINUTES,
        )
    )
    read = {}
    for channel, column in pair.items():
        size = column.values.abs()
        degrees = (size / 100.0).floor()
        value = (degrees + (size - degrees * 100.0) / 60.0) * column.values.sign()
        read[channel] = RawColumn(column.name, "deg", value.rename(column.values.name))
    return read


def _not_swapped(pair: dict[str, RawColumn], notes: list[Note]) -> dict[str, RawColumn]:
    lat, lon = pair["lat_deg"].values.drop_nulls().abs(), pair["lon_deg"].values.drop_nulls().abs()
    if not lat.len() or not lon.len():
        return pair
    turned = bool((lat > 90.0).mean() > 0.9) and bool((lat <= 180.0).all()) and bool((lon <= 90.0).all())  # type: ignore[operator]
    if not turned:
        return pair
    notes.append(
        Note(
            "positions_swapped",
            reading.POSITIONS_SWAPPED,
        )
    )
    return {"lat_deg": pair["lon_deg"], "lon_deg": pair["lat_deg"]}
