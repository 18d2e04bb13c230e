"""What a column can be: what its name proposes, less what its unit, its values and the other columns rule out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS, base_name
from ridelog.errors import AmbiguousColumn
from ridelog.normalize import hemisphere, unit_choices
from ridelog.normalize.channel_units import unit_for
from ridelog.normalize.plan import Plan
from ridelog.results import FloatArray
from ridelog.ride import Candidate, Note, RawColumn
from ridelog.units import parse_unit
from ridelog.words import normalizing

TEXT_CHANNELS = frozenset(("map_slot", "gear", "fan_on", "gps_fix"))
_NOT_SHOWN = frozenset(("time", "date", *hemisphere.SIGNS))
"""What a column can hold without being a channel itself."""


def possible(column: RawColumn, proposals: tuple[Candidate, ...], plan: Plan) -> list[Candidate]:
    """Candidates that the unit and the kind of values allow."""
    found = []
    text = column.values.dtype == pl.String
    for candidate in proposals:
        fits, _ = unit_for(candidate.channel, column.unit)
        if not fits:
            continue
        if text and candidate.channel not in TEXT_CHANNELS and candidate.channel not in _NOT_SHOWN:
            note = Note(
                "not_numbers",
                normalizing.text_for_numbers(column.name, candidate.channel),
            )
            if note not in plan.notes:  # several languages may know the name
                plan.notes.append(note)
            continue
        if candidate.channel == "map_slot" and not text and not _may_be_slots(column.values):
            plan.notes.append(Note("not_a_map", normalizing.no_map(column.name)))
            continue
        found.append(candidate)
    return found


def _may_be_slots(values: pl.Series) -> bool:
    some = sample(values)
    return not some.size or bool(np.mean((some == np.floor(some)) & (some >= 0) & (some <= 15)) > 0.9)


def add_hemispheres(open_: dict[int, list[Candidate]], columns: Sequence[RawColumn]) -> None:
    """A column of N and S, or E and W, right behind the latitudes or longitudes is their sign, whatever its name."""
    places = {
        channel: {index for index, found in open_.items() if any(c.channel == channel for c in found)}
        for channel in hemisphere.SIGNS.values()
    }
    for index, found in open_.items():
        channel = hemisphere.holds_signs(columns[index].values) if not found else None
        if channel is not None and index - 1 in places[hemisphere.SIGNS[channel]]:
            found.append(Candidate(channel, "any"))


def by_language(open_: dict[int, list[Candidate]], votes: Counter[str]) -> None:
    """Where languages disagree on a word, the language of the other headers decides. `votes` is filled."""
    for found in open_.values():
        languages = {candidate.language for candidate in found}
        if len(languages) == 1:
            votes[next(iter(languages))] += 1
    for index, found in open_.items():
        channels = {candidate.channel for candidate in found}
        languages = {candidate.language for candidate in found}
        if len(channels) < 2 or len(languages) < 2:
            continue
        ranked = sorted(languages, key=lambda language: -votes[language])
        if votes[ranked[0]] > votes[ranked[1]]:
            open_[index] = [candidate for candidate in found if candidate.language == ranked[0]]


def drop_fallbacks(
    open_: dict[int, list[Candidate]],
    settled: dict[int, tuple[str, str | None]],
    columns: Sequence[RawColumn],
    plan: Plan,
) -> None:
    """A pedal stands for the throttle only where nothing is the throttle itself, and then only the first of them."""
    primary = {c.channel for found in open_.values() for c in found if not c.fallback} | {
        ch for ch, _ in settled.values()
    }
    used: set[str] = set()
    for index in sorted(open_):
        kept = []
        for candidate in open_[index]:
            if not candidate.fallback:
                kept.append(candidate)
            elif candidate.channel not in primary and candidate.channel not in used:
                kept.append(candidate)
                used.add(candidate.channel)
                plan.notes.append(
                    Note(
                        "stand_in",
                        normalizing.stands_in(columns[index].name, candidate.channel),
                    )
                )
        open_[index] = kept


def one_of(
    index: int,
    found: list[Candidate],
    columns: Sequence[RawColumn],
    certain: set[str],
    where: str,
) -> str | None:
    channels = list(dict.fromkeys(candidate.channel for candidate in found))
    if len(channels) <= 1:
        return channels[0] if channels else None
    column = columns[index]
    if "time" in channels:
        if "time" not in certain and column.unit is None:
            return "time"
        channels.remove("time")
    if speed := _speed_of(channels, certain):
        return speed
    fitting = [channel for channel in channels if _plausible(column, channel)]
    if len(fitting) == 1:
        return fitting[0]
    options = fitting or channels
    if len(options) == 1:
        return options[0]
    if speed := _speed_of(options, certain):
        return speed
    if column.unit is not None and parse_unit(column.unit) is not None:
        texts = tuple(f"{column.name}={channel}:{column.unit}" for channel in options)
        unit_too = ""
    else:
        texts = unit_choices.options(column.name, options, sample(column.values))
        unit_too = ", and its unit is unknown"
    raise AmbiguousColumn(
        f"column {column.name!r} can be "
        + " or ".join(f"{channel} ({CHANNELS[channel].meaning})" for channel in options)
        + unit_too,
        where=where,
        options=texts,
        expected="a column that fits one meaning",
    )


def _speed_of(channels: Sequence[str], certain: set[str]) -> str | None:
    """Where a speed is the receiver's or the wheel's and nothing else, the other columns tell which."""
    if set(channels) != {"gps_speed_mps", "wheel_speed_mps"}:
        return None
    if "gps_speed_mps" in certain:
        return "wheel_speed_mps"
    receiver = {"lat_deg", "lon_deg"} <= certain or bool(certain & {"gps_hdop", "gps_satellites", "gps_fix"})
    return "gps_speed_mps" if receiver or "wheel_speed_mps" in certain else None


def _plausible(column: RawColumn, channel: str) -> bool:
    """Can the values be this channel's? Judged in the stated unit, in the canonical one where none is stated; a speed
    without one in any."""
    values = sample(column.values)
    if not values.size:
        return True
    _, unit = unit_for(channel, column.unit)
    if unit is None and base_name(channel) in unit_choices.SPEEDS:
        return bool(unit_choices.possible(channel, values))
    if unit is not None:
        values = values * unit.factor + unit.offset
    if channel not in CHANNELS:
        return False
    limits = CHANNELS[channel]
    inside = float(np.mean((values >= limits.low) & (values <= limits.high)))
    return inside > 0.98


def sample(values: pl.Series, most: int = 20_000) -> FloatArray:
    """At most so many of a column's numbers, evenly taken; empty for text."""
    if values.dtype != pl.Float64:
        return np.zeros(0)
    step = max(1, values.len() // most)
    return values.gather_every(step).drop_nulls().to_numpy()
