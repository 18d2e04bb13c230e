"""The final name of every column: second sensors of a kind, columns that stand there twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from ridelog.channels import CHANNELS, RAW_PREFIX
from ridelog.errors import InputRefused
from ridelog.normalize.channel_units import unit_for
from ridelog.normalize.plan import Plan
from ridelog.normalize.twins import alike
from ridelog.ride import Candidate, Meaning, Note, RawColumn
from ridelog.units import fold
from ridelog.words import normalizing


def number(
    settled: dict[int, tuple[str, str | None]],
    columns: Sequence[RawColumn],
    proposals: Sequence[tuple[Candidate, ...]],
    plan: Plan,
    where: str,
) -> None:
    """The final name of every column: second sensors of a kind get `.2`; the same column twice is kept once."""
    by_channel: dict[str, list[int]] = {}
    for index in sorted(settled):
        by_channel.setdefault(settled[index][0], []).append(index)
    names: dict[int, str] = {}
    for channel, indices in by_channel.items():
        if channel in ("time", "date"):
            names.update(dict.fromkeys(indices, channel))
        elif channel == "raw":
            names.update(_raw_names(indices, columns))
        else:
            in_order = sorted(indices, key=lambda index: (_sensor_number(proposals[index], channel), index))
            kept = _without_twins(in_order, [(columns[i], settled[i][1]) for i in in_order], channel, plan, where)
            names.update((i, channel if place == 1 else f"{channel}.{place}") for place, i in enumerate(kept, start=1))
    for index in sorted(names):
        channel, unit_text = settled[index]
        unit = None
        if channel in CHANNELS:
            if unit_text is None and columns[index].name == names[index]:
                unit_text = CHANNELS[channel].unit  # a canonical name carries its unit
            unit = unit_for(channel, unit_text)[1]
        plan.meanings.append(Meaning(index, names[index], unit, unit_text))


def _raw_names(indices: Sequence[int], columns: Sequence[RawColumn]) -> dict[int, str]:
    seen: Counter[str] = Counter()
    names = {}
    for index in indices:
        name = columns[index].name.removeprefix(RAW_PREFIX)
        seen[name] += 1
        names[index] = RAW_PREFIX + (name if seen[name] == 1 else f"{name} ({seen[name]})")
    return names


def _without_twins(
    indices: Sequence[int], columns: Sequence[tuple[RawColumn, str | None]], channel: str, plan: Plan, where: str
) -> list[int]:
    """Columns (with their units) of one channel, those left out that repeat another's name and values. One in another
    unit whose values differ is a second sensor. Raises InputRefused where name and unit are the same."""
    kept: list[int] = []
    for place, (column, unit_text) in enumerate(columns):
        same = [k for k in range(place) if indices[k] in kept and fold(columns[k][0].name) == fold(column.name)]
        twin, differs = None, False
        for k in same:
            other, other_text = columns[k]
            units = unit_for(channel, other_text)[1], unit_for(channel, unit_text)[1]
            if other.values.equals(column.values, check_names=False) and units[0] == units[1]:
                twin = Note("same_column", normalizing.same_values(column.name))
            elif units[0] != units[1] and alike(other.values, units[0], column.values, units[1]):
                twin = Note(
                    "same_column",
                    normalizing.same_in_units(column.name, other_text or "no unit", unit_text or "no unit"),
                )
            elif units[0] == units[1]:
                differs = True
        if twin is not None:
            plan.notes.append(twin)
        elif differs:
            raise InputRefused(
                f"two columns are named {column.name!r} and their values differ",
                where=where,
                expected="one name a column",
                to_do="rename one of them in the header",
            )
        else:
            if same:
                plan.notes.append(
                    Note(
                        "second_sensor",
                        normalizing.second_sensor(column.name, unit_text or "no unit"),
                    )
                )
            kept.append(indices[place])
    return kept


def _sensor_number(proposals: tuple[Candidate, ...], channel: str) -> int:
    return next((candidate.number for candidate in proposals if candidate.channel == channel), 1)
