"""What each column of a log holds: names propose, units and values decide, and where two things still fit ridelog
asks."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS, RAW_PREFIX, base_name
from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.normalize import hemisphere, unit_choices, unknown
from ridelog.normalize.twins import alike
from ridelog.ride import Candidate, Meaning, Note, RawColumn
from ridelog.units import TIME_UNITS_S, Unit, fold, parse_unit

_TEXT_CHANNELS = frozenset(("map_slot", "gear", "fan_on", "gps_fix"))
_NOT_SHOWN = frozenset(("time", "date", *hemisphere.SIGNS))
"""What a column can hold without being a channel itself."""

_DATE_ORDERS = ("dmy", "mdy", "ymd")
_DATED = re.compile(r"\d{4}[-/.]\d|\d[-/.]\d{4}|\d[-/.]\d{1,2}[-/.]\d\d")
_EPOCH_S = (1.0e9, 4.1e9)
"""September 2001 to 2099 in Unix time; only a preference hangs on it."""

_ZONE_WORDS = (
    "utc",
    "gmt",
    "z",
    "local",
    "lokal",
    "hh:mm:ss",
    "hh:mm:ss.sss",
    "h:m:s",
    "iso",
    "iso8601",
    "iso 8601",
    "unix",
    "epoch",
)

ROUGH_VOLTS = Unit("%", 20.0)
"""A throttle sensor's volts as a share of its 5 V supply; the stops are learned later from the log itself."""

ROUGH_DEGREES = Unit("%", 100.0 / 90.0)
"""A throttle plate's angle as a share of a right angle; the stops are learned later from the log itself."""

RATIO = Unit("%", 100.0)
"""A share 0 to 1 as percent."""


@dataclass(frozen=True)
class ColumnChoice:
    """What the user said of a column: `names` are the ways its header may be written, `channel` a canonical channel,
    "time", "date" or "raw", `unit` a unit text or None."""

    names: tuple[str, ...]
    channel: str
    unit: str | None = None

    def fits(self, column: RawColumn) -> bool:
        """Is this column meant?"""
        return fold(column.name) in {fold(name) for name in self.names}


@dataclass
class Plan:
    """The meaning of every column, and notes on how it was found. `time` lists the time columns, best first;
    `languages` counts those that the names of the columns belong to."""

    meanings: list[Meaning]
    time: list[int]
    date: int | None
    chosen: frozenset[int]
    notes: list[Note] = field(default_factory=list)
    languages: Counter[str] = field(default_factory=Counter)


def unit_for(channel: str, unit_text: str | None) -> tuple[bool, Unit | None]:  # noqa: PLR0911 - one return a case
    """Does a unit text go with a channel, and the conversion it names. No text, or one nobody knows, goes with any."""
    if unit_text is None or not unit_text.strip():
        return True, None
    if channel in hemisphere.SIGNS:
        return True, None
    if channel in ("time", "date"):
        key = fold(unit_text).strip("[]() .")
        return key in TIME_UNITS_S or key in _DATE_ORDERS or key in _ZONE_WORDS or key.startswith(
            ("utc", "gmt", "yyyy", "hh", "dd")
        ), None
    unit = parse_unit(unit_text)
    if unit is None:
        return True, None
    wanted = CHANNELS[channel].unit
    if unit.canonical == wanted:
        return True, unit
    if channel == "throttle_pct":
        special = {"V": Unit("%", ROUGH_VOLTS.factor * unit.factor), "deg": ROUGH_DEGREES, "1": RATIO}.get(
            unit.canonical
        )
        return special is not None, special
    if channel == "lambda" and unit.canonical == "%":
        return False, None
    return False, None


def decide(
    columns: Sequence[RawColumn],
    proposals: Sequence[tuple[Candidate, ...]],
    choices: Sequence[ColumnChoice],
    where: str,
) -> Plan:
    """The meaning of every column.

    `proposals` holds, column by column, what the name can mean. Raises AmbiguousColumn where a column fits two
    channels, InputRefused where no column can be the time or two columns of one name differ.
    """
    plan = Plan([], [], None, frozenset())
    open_: dict[int, list[Candidate]] = {}
    settled: dict[int, tuple[str, str | None]] = {}
    for index, column in enumerate(columns):
        choice = next((c for c in choices if c.fits(column)), None)
        if choice is not None:
            settled[index] = (choice.channel, choice.unit if choice.unit is not None else column.unit)
        else:
            open_[index] = _possible(column, proposals[index], plan)
    for choice in choices:
        if not any(choice.fits(column) for column in columns):
            plan.notes.append(
                Note("column_choice", f"no column is named {choice.names[0]!r}; what was said of it was not used")
            )
    plan.chosen = frozenset(settled)
    _by_language(open_, plan.languages)
    _add_hemispheres(open_, columns)
    _drop_fallbacks(open_, settled, columns, plan)
    for index, found in open_.items():
        certain = {f[0].channel for i, f in open_.items() if i != index and len({c.channel for c in f}) == 1}
        certain |= {channel for channel, _ in settled.values()}
        channel = _one_of(index, found, columns, certain, where)
        if channel in CHANNELS and len({candidate.channel for candidate in found}) > 1:
            plan.notes.append(
                Note("taken_as", f"{columns[index].name!r} was taken as {CHANNELS[channel].meaning} ({channel})")
            )
        settled[index] = (channel, columns[index].unit) if channel else ("raw", None)
    not_understood = [i for i, found in open_.items() if not found and not proposals[i]]
    _number(settled, columns, proposals, plan, where)
    _choose_time(columns, plan, where)
    plan.notes.extend(unknown.note([columns[index] for index in not_understood]))
    return plan


def _possible(column: RawColumn, proposals: tuple[Candidate, ...], plan: Plan) -> list[Candidate]:
    """Candidates that the unit and the kind of values allow."""
    found = []
    text = column.values.dtype == pl.String
    for candidate in proposals:
        fits, _ = unit_for(candidate.channel, column.unit)
        if not fits:
            continue
        if text and candidate.channel not in _TEXT_CHANNELS and candidate.channel not in _NOT_SHOWN:
            plan.notes.append(
                Note(
                    "not_numbers",
                    f"{column.name} bears the name of {candidate.channel}, but holds text; it was kept as it is",
                )
            )
            continue
        if candidate.channel == "map_slot" and not text and not _may_be_slots(column.values):
            plan.notes.append(
                Note("not_a_map", f"{column.name} does not hold map numbers (perhaps a pressure); it was kept as it is")
            )
            continue
        found.append(candidate)
    return found


def _may_be_slots(values: pl.Series) -> bool:
    some = sample(values)
    return not some.size or bool(np.mean((some == np.floor(some)) & (some >= 0) & (some <= 15)) > 0.9)


def _add_hemispheres(open_: dict[int, list[Candidate]], columns: Sequence[RawColumn]) -> None:
    """A column of N and S, or E and W, right behind the latitudes or longitudes is their sign, whatever its name."""
    places = {
        channel: {index for index, found in open_.items() if any(c.channel == channel for c in found)}
        for channel in hemisphere.SIGNS.values()
    }
    for index, found in open_.items():
        channel = hemisphere.holds_signs(columns[index].values) if not found else None
        if channel is not None and index - 1 in places[hemisphere.SIGNS[channel]]:
            found.append(Candidate(channel, "any"))


def _by_language(open_: dict[int, list[Candidate]], votes: Counter[str]) -> None:
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


def _drop_fallbacks(
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
                        f"{columns[index].name} stands in for {candidate.channel}: no column bears its own name",
                    )
                )
        open_[index] = kept


def _one_of(
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
    if column.unit is not None:
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
        to_do="say which: " + " or ".join(f"--column '{text}'" for text in texts),
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


def sample(values: pl.Series, most: int = 20_000) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """At most so many of a column's numbers, evenly taken; empty for text."""
    if values.dtype != pl.Float64:
        return np.zeros(0)
    step = max(1, values.len() // most)
    return values.gather_every(step).drop_nulls().to_numpy()


def _number(
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
                twin = Note("same_column", f"{column.name} stands there twice with the same values; kept once")
            elif units[0] != units[1] and alike(other.values, units[0], column.values, units[1]):
                twin = Note(
                    "same_column",
                    f"{column.name} stands there in {other_text or 'no unit'} and in {unit_text or 'no unit'} with the "
                    f"same values; kept in {other_text or 'no unit'}",
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
                        f"{column.name} stands there in two units with different values; the one in "
                        f"{unit_text or 'no unit'} was taken as a second sensor",
                    )
                )
            kept.append(indices[place])
    return kept


def _sensor_number(proposals: tuple[Candidate, ...], channel: str) -> int:
    return next((candidate.number for candidate in proposals if candidate.channel == channel), 1)


def _choose_time(columns: Sequence[RawColumn], plan: Plan, where: str) -> None:
    """Order the time columns: the user's own first, then those whose stamps repeat least, of these one with a date."""
    times = [meaning.column for meaning in plan.meanings if meaning.channel == "time"]
    plan.date = next((meaning.column for meaning in plan.meanings if meaning.channel == "date"), None)
    if not times and plan.date is not None and columns[plan.date].values.dtype == pl.String:
        times, plan.date = [plan.date], None
    if not times:
        names = ", ".join(repr(column.name) for column in columns[:12])
        raise InputRefused(
            f"no column is known as the time (the columns are {names}{', ...' if len(columns) > 12 else ''})",
            where=where,
            expected="a column of times",
            to_do="name it: --column 'NAME=time:s' (or ms, us, min)",
        )
    finest = max(_fineness(columns[index].values) for index in times)

    def rank(index: int) -> tuple[bool, bool, bool, int]:
        coarse = _fineness(columns[index].values) < 0.9 * finest
        return index not in plan.chosen, coarse, not _bears_date(columns[index].values), index

    plan.time = sorted(times, key=rank)


def _bears_date(values: pl.Series) -> bool:
    """Does a time column tell the day by itself: a date in its texts, or seconds (or parts of them) since 1970?"""
    first = values.drop_nulls().head(1).to_list()
    if not first:
        return False
    if isinstance(first[0], str):
        return bool(_DATED.search(first[0]))
    return any(_EPOCH_S[0] <= first[0] * factor <= _EPOCH_S[1] for factor in (1.0, 1e-3, 1e-6))


def _fineness(values: pl.Series) -> float:
    """Share of rows whose stamp differs from the row before: 1 for a clock finer than the rows."""
    head = values.head(20_000)
    if head.len() < 2:
        return 0.0
    changed = (head != head.shift(1)).sum() or 0
    return float(changed) / (head.len() - 1)
