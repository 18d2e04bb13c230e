"""Columns that hold states, not quantities: map, gear, fan. Words and numbers become numbers; what is unknown stays
null."""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from ridelog.bike import Bike
from ridelog.ride import Note

_ON = ("1", "on", "true", "yes", "y", "ein", "an", "ja", "high", "running", "active", "aktiv", "wahr")
_OFF = ("0", "off", "false", "no", "aus", "nein", "low", "stopped", "inactive", "inaktiv", "falsch")
_NEUTRAL = ("n", "neutral", "leerlauf", "0")
_GEAR = re.compile(r"(?:g|gear|gang)?\s*(\d)\s*(?:st|nd|rd|th|\.|\. gang)?")


@dataclass(frozen=True)
class State:
    """Float64 values (None: the column can't be read as this state and stays as it came) and what to tell."""

    values: pl.Series | None
    notes: tuple[Note, ...] = ()


def written(value: object) -> str:
    """A cell as a word: 1.0 is '1', ' B ' is 'b'."""
    if isinstance(value, float):
        return f"{value:g}"
    return str(value).strip().lower()


def read_state(channel: str, values: pl.Series, name: str, bike: Bike | None) -> State:
    """One state column. `channel` is map_slot, gear or fan_on."""
    if channel == "map_slot":
        return _map(values, name, bike)
    if channel == "gear":
        if values.dtype == pl.Float64:
            return State(values)
        return _from_words(values, name, _gear_words(values))
    words = dict.fromkeys(_ON, 1.0) | dict.fromkeys(_OFF, 0.0)
    return _from_words(values, name, words)


def _distinct(values: pl.Series) -> list[object]:
    return list(values.drop_nulls().unique(maintain_order=True).to_list())


def _gear_words(values: pl.Series) -> dict[str, float]:
    words: dict[str, float] = dict.fromkeys(_NEUTRAL, 0.0)
    for value in _distinct(values)[:1000]:
        text = written(value)
        if (match := _GEAR.fullmatch(text)) and int(match[1]) <= 8:
            words[text] = float(match[1])
    return words


def _map(values: pl.Series, name: str, bike: Bike | None) -> State:
    if bike is None:
        if values.dtype == pl.Float64:
            note = Note("map_slots", f"{name}: no bike file says what its numbers mean; they were kept as slot numbers")
            return State(values, (note,))
        return State(
            None, (Note("map_unread", f"{name}: no bike file says what its words mean; it was kept as it is"),)
        )
    words = {written: float(slot) for written, slot in bike.slot_values}
    found = _from_words(values, name, words, listed_in=f"slot_values of {bike.id}")
    if (
        found.values is not None
        and found.values.null_count() == found.values.len()
        and values.null_count() < values.len()
    ):
        return State(None, found.notes)
    return found


def _from_words(values: pl.Series, name: str, words: dict[str, float], listed_in: str = "") -> State:
    distinct = _distinct(values)
    mapping = {value: words[written(value)] for value in distinct if written(value) in words}
    unknown = [value for value in distinct if value not in mapping]
    if not mapping and unknown and not listed_in:
        return State(
            None, (Note("state_unread", f"{name}: its values are no state that is known; it was kept as it is"),)
        )
    result = (
        values.replace_strict(mapping, default=None, return_dtype=pl.Float64)
        if mapping
        else values.cast(pl.Float64, strict=False).clear(values.len())
    )
    if not unknown:
        return State(result)
    rows = int(values.is_in(unknown).sum() or 0)
    where = f" ({listed_in} does not list it)" if listed_in else ""
    example = ", ".join(repr(written(value))[:20] for value in unknown[:3])
    return State(
        result,
        (Note("state_unknown", f"{name}: values that mean nothing known{where} count as unknown", rows, example),),
    )
