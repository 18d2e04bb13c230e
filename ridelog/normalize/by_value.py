"""Units that no label tells, or that a label tells wrongly: found from the values where only one fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.channels import CHANNELS, base_name
from ridelog.errors import AmbiguousColumn, column_option
from ridelog.normalize import unit_choices
from ridelog.normalize.channel_units import RATIO, ROUGH_VOLTS
from ridelog.results import FloatArray
from ridelog.ride import Note
from ridelog.units import Unit, parse_unit
from ridelog.words import column_units

_C, _F, _K = Unit("C"), Unit("C", 1 / 1.8, -32 / 1.8), Unit("C", 1.0, -273.15)
_SPEEDS = {
    "m/s": Unit("m/s"),
    "km/h": Unit("m/s", 1 / 3.6),
    "mph": Unit("m/s", 0.44704),
    "kn": Unit("m/s", 1852.0 / 3600),
    "0.1 km/h": Unit("m/s", 1 / 36),
}
_HOTTEST_K = 430.0
_MOST_BARS = 12.0
"""Gauges show no more bars than this. Common practice, no source."""
_COUNTS_8 = Unit("%", 100.0 / 255.0)
_TEMPERATURES = frozenset(name for name, channel in CHANNELS.items() if channel.unit == "C")


@dataclass(frozen=True)
class Found:
    """The unit to convert with (None: keep the column as it came, unnamed) and what to tell."""

    unit: Unit | None
    note: Note | None = None
    keep_raw: bool = False


def coolant_unit(values: FloatArray, unit_text: str | None, name: str, channel: str, where: str) -> Found:
    """Unit of a coolant column (or another engine temperature of its kind); `values` in the order of the ride.

    A warm engine's coolant runs at 50 to 135 C, 135 to 275 F, 320 to 410 K: over a whole ride only one fits, but for an
    engine that never got warm. Common practice, no source.
    """
    stated = parse_unit(unit_text) if unit_text else None
    if not values.size:
        return Found(stated or _C)
    middle, high = float(np.median(values)), float(np.quantile(values, 0.95))
    low = float(values.min())
    if stated is not None:
        return _contradicted(stated, unit_text or "", middle, high, name)
    told = (unit_text or "").strip()
    begin = column_units.unit_not_known(name, told[:16]) if told else column_units.unit_missing(name)
    if high > 290.0 and low > 230.0 and high < _HOTTEST_K:
        return Found(_K, Note("unit_by_value", column_units.kelvin_alone(begin, low, high)))
    peak, start = float(values.max()), float(np.median(values[: max(5, values.size // 200)]))
    whole = bool((values == np.floor(values)).all())
    if whole and low >= 0.0 and 0.0 < peak <= _MOST_BARS and values.size >= 60:
        raise AmbiguousColumn(
            f"{name!r} has no unit and holds whole numbers from {low:g} to {peak:g}: the bars of a gauge, or the "
            "degrees of an engine that never got warm",
            where=where,
            options=(f"{name}={channel}:C", f"{name}=raw"),
            expected="a temperature with its unit",
            to_do="",
        )
    if high <= 120.0 and not (peak > 105.0 and 45.0 < start < 104.0):
        text = column_units.taken_as_c(begin, low, peak)
        if peak > 85.0:
            as_f = f"{_F.convert(low):.0f} to {_F.convert(peak):.0f}"
            text += column_units.as_f(as_f, name, channel)
        return Found(_C, Note("unit_by_value", text))
    if 135.0 < high < 275.0:
        return Found(_F, Note("unit_by_value", column_units.f_alone(begin, high)))
    options = tuple(f"{name}={channel}:{unit}" for unit in ("C", "F"))
    found = f"{name!r} has no unit" if not told else f"the unit {told[:16]!r} of {name!r} is not known"
    either = f"they can be C or F ({_F.convert(start):.0f} to {_F.convert(peak):.0f} C)"
    raise AmbiguousColumn(
        f"{found} and its values start at {start:g} and reach {peak:g}: "
        + (either if high <= 135.0 else "they fit neither C nor F nor kelvin"),
        where=where,
        options=options,
        expected="a temperature with its unit",
        to_do=f"; or, to keep it unnamed, {column_option(f'{name}=raw')}" if high > 135.0 else "",
    )


def _contradicted(stated: Unit, text: str, middle: float, high: float, name: str) -> Found:
    """A label that the values can't have loses, loudly: no coolant spends half a ride above 135 C."""
    if stated == _C and 135.0 < middle < 275.0:
        return Found(
            _F,
            Note(
                "unit_contradiction",
                column_units.label_wrong_f(name, text, middle),
            ),
        )
    if stated == _C and middle > 290.0 and high < _HOTTEST_K:
        return Found(
            _K,
            Note(
                "unit_contradiction",
                column_units.label_wrong_k(name, text, middle),
            ),
        )
    if (stated == _C and middle > 275.0) or (stated == _F and middle > 300.0) or (stated == _K and middle > _HOTTEST_K):
        return Found(
            None,
            Note(
                "unit_contradiction",
                column_units.label_impossible(name, text, middle),
            ),
            keep_raw=True,
        )
    if stated == _F and 60.0 < high <= 125.0:
        celsius = (high - 32) / 1.8
        return Found(
            stated,
            Note(
                "unit_doubt",
                column_units.label_doubted(name, text, high, celsius),
            ),
        )
    return Found(stated)


def other_unit(  # noqa: PLR0911 - one return a case
    values: FloatArray, unit_text: str | None, name: str, channel: str, coolant: Unit | None
) -> Found:
    """Unit of any other channel but speed. A stated unit is believed; a text nobody knows keeps the column unnamed."""
    base = base_name(channel)
    stated = parse_unit(unit_text) if unit_text else None
    if stated is not None:
        return Found(stated)
    if unit_text and unit_text.strip():
        return Found(
            None,
            Note(
                "unit_unknown",
                column_units.unit_not_of(name, unit_text[:16], channel),
            ),
            keep_raw=True,
        )
    if base in _TEMPERATURES and coolant is not None:
        return _temperature(values, name, base, coolant)
    if base == "engine_rpm" and values.size and 2.0 < float(values.max()) <= 20.0:
        return Found(
            Unit("1/min", 1000.0),
            Note("unit_by_value", column_units.thousands_of_turns(name)),
        )
    if base == "baro_kpa" and values.size:
        middle = float(np.median(values))
        for text in ("kPa", "hPa", "Pa", "bar", "psi"):
            unit = parse_unit(text)
            if unit is not None and CHANNELS[base].low <= unit.convert(middle) <= CHANNELS[base].high:
                note = None if text == "kPa" else Note("unit_by_value", column_units.fits_alone(name, text))
                return Found(unit, note)
        return Found(
            None,
            Note("unit_unknown", column_units.no_air_pressure(name)),
            keep_raw=True,
        )
    return _as_canonical(values, name, base)


def _as_canonical(values: FloatArray, name: str, base: str) -> Found:
    limits = CHANNELS[base]
    if values.size and float(np.mean((values >= limits.low) & (values <= limits.high))) < 0.5:
        return Found(
            None,
            Note(
                "unit_unknown",
                column_units.outside(name, limits.low, limits.high, limits.unit),
            ),
            keep_raw=True,
        )
    if (
        base in ("elevation_m", "fuel_kpa", "exhaust_gas_c", "head_c", "intake_air_c", "ambient_c")
        and limits.unit != "1"
    ):
        return Found(None, Note("unit_assumed", column_units.taken_as(name, limits.unit)))
    return Found(None)


def _temperature(values: FloatArray, name: str, base: str, coolant: Unit) -> Found:
    """An unlabelled temperature has the unit of the file's coolant, if that is plausible for it."""
    text = {_F: "F", _K: "K"}.get(coolant, "C")
    converted = values * coolant.factor + coolant.offset
    limits = CHANNELS[base]
    inside = float(np.mean((converted >= limits.low) & (converted <= limits.high))) if values.size else 1.0
    if inside > 0.9:
        return Found(coolant, Note("unit_assumed", column_units.coolants_unit(name, text)))
    for other, word in ((_C, "C"), (_F, "F"), (_K, "K")):
        again = values * other.factor + other.offset
        if other != coolant and float(np.mean((again >= limits.low) & (again <= limits.high))) > 0.9:
            return Found(other, Note("unit_by_value", column_units.not_coolants_unit(name, word, text)))
    return Found(None, Note("unit_unknown", column_units.fits_none(name)), keep_raw=True)


def throttle(values: FloatArray, name: str, *, stated: bool, ridden: bool) -> Found:  # noqa: PLR0911 - one a case
    """Percent, a share of 1, volts of a 5 V supply, or counts of one byte: told apart by how far the values reach.

    `stated`: the header says percent. `ridden`: engine or road speed vary as on a ride, which no throttle does that
    stays under a few percent; percent is then not believed, whoever says so.
    """
    if not values.size:
        return Found(None)
    low, high = float(values.min()), float(values.max())
    if ridden and high < _NEVER_PERCENT:
        return _never_percent(values, name, stated=stated)
    if stated:
        return Found(None)
    shut = float(np.quantile(values, 0.05))
    if high > 260.0:
        return Found(None, Note("raw_counts", column_units.raw_counts(name, high)), keep_raw=True)
    if high > 110.0 and low >= 0.0 and bool((values == np.floor(values)).all()):
        return Found(
            _COUNTS_8,
            Note("unit_by_value", column_units.counts_to_255(name, high)),
        )
    # An engine that only idles also stays under 1 %, but does not span from shut to open.
    if 0.6 <= high <= 1.05 and shut < 0.3 and high - low > 0.5:
        return Found(
            RATIO,
            Note("unit_by_value", column_units.share_of_one(name, low, high)),
        )
    if 3.0 <= high <= 5.2 and low >= 0.2 and high - low > 1.5:
        return Found(
            ROUGH_VOLTS,
            Note("unit_by_value", column_units.volts_of_five(name, low, high)),
        )
    return Found(None)


_NEVER_PERCENT = 6.0
"""A ride on which the throttle stays under this many percent is none. Common practice, no source."""


def _never_percent(values: FloatArray, name: str, *, stated: bool) -> Found:
    """A throttle that can't be in percent: converted where one scale clearly fits, else kept as it came."""
    low, high = float(values.min()), float(values.max())
    shut = float(np.quantile(values, 0.05))
    begin = column_units.never_percent(name, low, high, stated=stated)
    kind = "unit_contradiction" if stated else "unit_by_value"
    whole = bool((values == np.floor(values)).all()) and high > 1.0
    if low >= -0.05 and high <= 1.05 and shut < 0.25 and high - low > 0.2:
        return Found(RATIO, Note(kind, column_units.read_as_share(begin)))
    if low >= 0.0 and 1.4 < high <= 5.3 and high - low > 0.5 and not whole:
        return Found(
            ROUGH_VOLTS,
            Note(kind, column_units.read_as_volts(begin)),
        )
    return Found(
        None,
        Note(kind, column_units.kept_unnamed(begin, name)),
        keep_raw=True,
    )  # fmt: skip


def speed_unit(  # noqa: PLR0917 - all are given
    ratio: float | None, unit_text: str | None, name: str, channel: str, where: str, values: FloatArray
) -> Found:
    """Unit of a speed column. `ratio`: written speed over speed from the positions (m/s), None where there are none.
    `values` as written, for the units that are possible."""
    stated = parse_unit(unit_text) if unit_text else None
    if unit_text and stated is None:
        return Found(
            None,
            Note("unit_unknown", column_units.no_speed(name, unit_text[:16])),
            keep_raw=True,
        )
    if ratio is not None:
        fits = [text for text, unit in _SPEEDS.items() if abs(ratio * unit.factor - 1.0) < 0.10]
        if stated is None and len(fits) == 1:
            return Found(
                _SPEEDS[fits[0]],
                Note("unit_by_value", column_units.by_positions(name, fits[0])),
            )
        if unit_text and stated is not None and len(fits) == 1 and abs(ratio * stated.factor - 1.0) > 0.3:
            return Found(
                _SPEEDS[fits[0]],
                Note(
                    "unit_contradiction",
                    column_units.label_wrong_speed(
                        name, unit_text, fits[0], column_option(f"{name}={channel}:{unit_text}")
                    ),
                ),
            )
    if stated is not None:
        return Found(stated)
    options = unit_choices.options(name, (channel,), values)
    raise AmbiguousColumn(
        f"{name!r} is a speed without a unit; its values can be "
        + " or ".join(option.rpartition(":")[2] for option in options),
        where=where,
        options=options,
        expected="a speed with its unit",
    )
