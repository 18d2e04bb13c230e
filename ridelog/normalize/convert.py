"""Raw columns -> values in canonical units, column by column, so that no two copies of a log are in memory at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from ridelog.bike import Bike
from ridelog.channels import RAW_PREFIX, base_name
from ridelog.normalize import by_value, distance, hemisphere
from ridelog.normalize.by_value import Found
from ridelog.normalize.fitting import sample
from ridelog.normalize.plan import Plan
from ridelog.normalize.preview import shown
from ridelog.normalize.states import read_state
from ridelog.results import FloatArray
from ridelog.ride import Meaning, Note, RawColumn, Recording
from ridelog.units import Unit
from ridelog.words import normalizing

_STATES = ("map_slot", "gear", "fan_on")
_SPEEDS = ("gps_speed_mps", "wheel_speed_mps")
_CLEARLY_MOVING_M = 200.0
_FEWEST_VALUES = 50
_RIDING_ABOVE = {"engine_rpm": 2_500.0, "gps_speed_mps": 5.0, "wheel_speed_mps": 5.0}
"""What is passed now and then on any ride, in the channel's unit, and never by an engine that only idles."""

_PERCENT = Unit("%")


@dataclass(frozen=True)
class Converted:
    """One column of the table under its final name: Float64 (finite or null), or text for `raw.` columns."""

    name: str
    values: pl.Series
    source: str


def convert(  # noqa: PLR0912 - one branch a kind of column
    columns: list[RawColumn | None],
    plan: Plan,
    used_for_time: frozenset[int],
    *,
    recording: Recording,
    bike: Bike | None,
    file_name: str,
) -> tuple[list[Converted], list[Note]]:
    """All columns but those the clock used, converted. `columns` is emptied on the way.

    `recording` is one recording of the table: speeds without a unit are compared with its positions. Raises
    AmbiguousColumn where a unit can't be told.
    """
    notes: list[Note] = []
    units = _Units(columns, plan, recording, file_name)
    if units.coolant.note is not None:
        notes.append(units.coolant.note)
    sides, side_notes = _signed(columns, plan)
    notes.extend(side_notes)
    result: list[Converted] = []
    for meaning in plan.meanings:
        column = columns[meaning.column]
        columns[meaning.column] = None
        if column is None or meaning.column in used_for_time:
            continue
        source = f"{file_name}, {column.name}"
        if meaning.channel in ("time", "date") or base_name(meaning.channel) in hemisphere.SIGNS:
            result.append(Converted(RAW_PREFIX + column.name, column.values, source))
            continue
        if meaning.channel.startswith(RAW_PREFIX):
            result.append(Converted(meaning.channel, column.values, source))
            continue
        if base_name(meaning.channel) in _STATES:
            state = read_state(base_name(meaning.channel), column.values, column.name, bike)
            notes.extend(state.notes)
            if state.values is None:
                result.append(Converted(RAW_PREFIX + column.name, column.values, source))
            else:
                result.append(Converted(meaning.channel, state.values, source))
            continue
        if column.values.dtype != pl.Float64:
            notes.append(Note("not_numbers", normalizing.text_kept(column.name)))
            result.append(Converted(RAW_PREFIX + column.name, column.values, source))
            continue
        found = units.of(meaning, column)
        if found.note is not None and meaning.channel != "coolant_c":
            notes.append(found.note)
        if found.keep_raw:
            result.append(Converted(RAW_PREFIX + column.name, column.values, source))
            continue
        signed = sides.pop(meaning.channel) if meaning.channel in sides else column.values
        if signed is None:
            result.append(Converted(RAW_PREFIX + column.name, column.values, source))
        else:
            result.append(Converted(meaning.channel, _scaled(signed, found.unit), source))
    return result, notes


def _signed(columns: list[RawColumn | None], plan: Plan) -> tuple[dict[str, pl.Series | None], list[Note]]:
    """Latitudes and longitudes with the sign of their hemisphere, where columns hold it: None for both where one of
    them can't be read."""
    found = hemisphere.signs(columns, plan.meanings, plan.languages)
    values = {
        meaning.channel: column.values.rename(column.name)
        for meaning in plan.meanings
        if meaning.channel in ("lat_deg", "lon_deg") and (column := columns[meaning.column]) is not None
        if column.values.dtype == pl.Float64
    }
    sides: dict[str, pl.Series | None] = {}
    notes = []
    for channel, one in found.items():
        if channel in values:
            sides[channel], note = hemisphere.apply(values[channel], one)
            notes.append(note)
    if any(signed is None for signed in sides.values()):
        return dict.fromkeys(values), [note for note in notes if note.kind != "hemisphere"]
    return sides, notes


class _Units:
    """The unit of every number column, from its label, from what the user said, or from its values."""

    def __init__(self, columns: list[RawColumn | None], plan: Plan, recording: Recording, file_name: str) -> None:
        self._plan = plan
        self._file_name = file_name
        self._ratio_of = _Ratios(columns, plan, recording)
        meaning = next((m for m in plan.meanings if m.channel == "coolant_c"), None)
        column = columns[meaning.column] if meaning is not None else None
        moving = [(m, columns[m.column]) for m in plan.meanings if m.channel in _RIDING_ABOVE]
        self._ridden = any(_ridden(m, one.values) for m, one in moving if one is not None)
        # Other temperatures without a unit follow the coolant.
        self.coolant = self._coolant(meaning, column) if meaning and column else Found(Unit("C"))

    def _coolant(self, meaning: Meaning, column: RawColumn) -> Found:
        if meaning.column in self._plan.chosen and meaning.unit is not None:
            return Found(meaning.unit)  # the user's word stands over everything
        values, channel = sample(column.values), base_name(meaning.channel)
        with shown(column):
            return by_value.coolant_unit(values, meaning.unit_text, column.name, channel, self._file_name)

    def of(self, meaning: Meaning, column: RawColumn) -> Found:  # noqa: PLR0911 - one return a case
        """The unit of one column. Raises AmbiguousColumn where it can't be told."""
        base = base_name(meaning.channel)
        if meaning.channel == "coolant_c":
            return self.coolant
        if meaning.column in self._plan.chosen and meaning.unit is not None:
            return Found(meaning.unit)
        if base == "coolant_c":
            return self._coolant(meaning, column)
        if base in _SPEEDS:
            ratio, values = self._ratio_of(column), sample(column.values)
            with shown(column):
                return by_value.speed_unit(ratio, meaning.unit_text, column.name, base, self._file_name, values)
        if base == "throttle_pct" and (meaning.unit == _PERCENT or not (meaning.unit_text or "").strip()):
            return by_value.throttle(
                sample(column.values), column.name, stated=meaning.unit is not None, ridden=self._ridden
            )
        if meaning.unit is not None:
            return Found(meaning.unit)
        values = sample(column.values)
        return by_value.other_unit(values, meaning.unit_text, column.name, meaning.channel, self.coolant.unit)


def _ridden(meaning: Meaning, values: pl.Series) -> bool:
    """Does an engine or road speed change as it does on a ride, and no engine does that idles or warms up?"""
    some = sample(values)
    if some.size < _FEWEST_VALUES:
        return False
    low, high = np.quantile(some, [0.05, 0.95])
    factor = meaning.unit.factor if meaning.unit is not None else 1.0
    return bool(high * factor > _RIDING_ABOVE[meaning.channel] and high > 1.3 * low)


def _scaled(values: pl.Series, unit: Unit | None) -> pl.Series:
    if unit is None or (unit.factor == 1.0 and unit.offset == 0.0):
        return values
    if values.null_count():
        scaled = values * unit.factor
        return scaled + unit.offset if unit.offset else scaled
    array = values.to_numpy() * unit.factor
    if unit.offset:
        array += unit.offset
    return pl.Series(values.name, array)


class _Ratios:
    """Written speed over speed from the positions, looked at once and only where a speed needs it."""

    def __init__(self, columns: list[RawColumn | None], plan: Plan, recording: Recording) -> None:
        self._recording = recording
        self._lat = self._find("lat_deg", columns, plan)
        self._lon = self._find("lon_deg", columns, plan)
        self._path: tuple[FloatArray, FloatArray, float] | None = None

    @staticmethod
    def _find(channel: str, columns: list[RawColumn | None], plan: Plan) -> pl.Series | None:
        index = next((m.column for m in plan.meanings if m.channel == channel), None)
        column = columns[index] if index is not None else None
        return column.values if column is not None and column.values.dtype == pl.Float64 else None

    def __call__(self, column: RawColumn) -> float | None:
        """The ratio, None where there are no positions or the bike hardly moved."""
        if self._lat is None or self._lon is None or self._recording.run is not None:
            return None
        rows = self._recording.rows
        stride = max(1, self._recording.t_s.size // 20_000)
        take = (rows if rows is not None else np.arange(column.values.len()))[::stride]
        t_s = self._recording.t_s[::stride]
        frame = (
            pl.DataFrame(
                [
                    s.gather(pl.Series(take)).rename(n)
                    for s, n in ((self._lat, "lat"), (self._lon, "lon"), (column.values, "v"))
                ]
            )
            .with_columns(pl.Series("t", t_s))
            .drop_nulls()
        )
        frame = frame.filter((pl.col("lat") != 0.0) | (pl.col("lon") != 0.0))
        if frame.height < 20:
            return None
        if float(frame["lat"].abs().max() or 0.0) > 90.0 or float(frame["lon"].abs().max() or 0.0) > 180.0:  # type: ignore[arg-type]
            return None
        t, v = frame["t"].to_numpy(), frame["v"].to_numpy()
        path = distance.from_positions(t, frame["lat"].to_numpy(), frame["lon"].to_numpy(), self._recording.gaps)
        written = distance.from_speed(t, v, self._recording.gaps)
        return written / path if path > _CLEARLY_MOVING_M else None
