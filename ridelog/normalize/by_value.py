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
    begin = f"{name}: the unit {told[:16]!r} is not known" if told else f"{name} has no unit"
    if high > 290.0 and low > 230.0 and high < _HOTTEST_K:
        return Found(_K, Note("unit_by_value", f"{begin}; its values ({low:g} to {high:g}) fit kelvin alone"))
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
        text = f"{begin}; its values ({low:g} to {peak:g}) were taken as C"
        if peak > 85.0:
            as_f = f"{_F.convert(low):.0f} to {_F.convert(peak):.0f}"
            text += f" (as F they would be {as_f} C; if so: --column '{name}={channel}:F')"
        return Found(_C, Note("unit_by_value", text))
    if 135.0 < high < 275.0:
        return Found(_F, Note("unit_by_value", f"{begin}; its values (up to {high:g}) fit F alone"))
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
                f"ATTENTION: {name} is labelled {text}, but half of its values are above "
                f"{middle:g}, which is possible in F only; it was read as F",
            ),
        )
    if stated == _C and middle > 290.0 and high < _HOTTEST_K:
        return Found(
            _K,
            Note(
                "unit_contradiction",
                f"ATTENTION: {name} is labelled {text}, but half of its values are above "
                f"{middle:g}, which is possible in kelvin only; it was read as kelvin",
            ),
        )
    if (stated == _C and middle > 275.0) or (stated == _F and middle > 300.0) or (stated == _K and middle > _HOTTEST_K):
        return Found(
            None,
            Note(
                "unit_contradiction",
                f"ATTENTION: {name} is labelled {text}, but half of its values are above {middle:g}, which is possible "
                f"in no unit; it was kept as it is, unnamed",
            ),
            keep_raw=True,
        )
    if stated == _F and 60.0 < high <= 125.0:
        celsius = (high - 32) / 1.8
        return Found(
            stated,
            Note(
                "unit_doubt",
                f"ATTENTION: {name} is labelled {text} and reaches {high:g}, {celsius:.0f} C; if "
                "the engine did get warm the label is wrong and the column is in C",
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
                f"{name} has the unit {unit_text[:16]!r}, which is not known for {channel}; it was "
                f"kept as it is: --column '{name}={channel}:UNIT' tells",
            ),
            keep_raw=True,
        )
    if base in _TEMPERATURES and coolant is not None:
        return _temperature(values, name, base, coolant)
    if base == "engine_rpm" and values.size and 2.0 < float(values.max()) <= 20.0:
        return Found(
            Unit("1/min", 1000.0),
            Note("unit_by_value", f"{name} has no unit; its values fit thousands of turns a minute"),
        )
    if base == "baro_kpa" and values.size:
        middle = float(np.median(values))
        for text in ("kPa", "hPa", "Pa", "bar", "psi"):
            unit = parse_unit(text)
            if unit is not None and CHANNELS[base].low <= unit.convert(middle) <= CHANNELS[base].high:
                note = (
                    None if text == "kPa" else Note("unit_by_value", f"{name} has no unit; its values fit {text} alone")
                )
                return Found(unit, note)
        return Found(
            None,
            Note("unit_unknown", f"{name} has no unit and fits none of air pressure; kept as it is"),
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
                f"{name} has no unit and most of its values are outside {limits.low:g} to "
                f"{limits.high:g} {limits.unit}; it was kept as it is",
            ),
            keep_raw=True,
        )
    if (
        base in ("elevation_m", "fuel_kpa", "exhaust_gas_c", "head_c", "intake_air_c", "ambient_c")
        and limits.unit != "1"
    ):
        return Found(None, Note("unit_assumed", f"{name} has no unit and was taken as {limits.unit}"))
    return Found(None)


def _temperature(values: FloatArray, name: str, base: str, coolant: Unit) -> Found:
    """An unlabelled temperature has the unit of the file's coolant, if that is plausible for it."""
    text = {_F: "F", _K: "K"}.get(coolant, "C")
    converted = values * coolant.factor + coolant.offset
    limits = CHANNELS[base]
    inside = float(np.mean((converted >= limits.low) & (converted <= limits.high))) if values.size else 1.0
    if inside > 0.9:
        return Found(coolant, Note("unit_assumed", f"{name} has no unit and was taken as {text}, the coolant's unit"))
    for other, word in ((_C, "C"), (_F, "F"), (_K, "K")):
        again = values * other.factor + other.offset
        if other != coolant and float(np.mean((again >= limits.low) & (again <= limits.high))) > 0.9:
            return Found(
                other, Note("unit_by_value", f"{name} has no unit; its values fit {word}, not the coolant's {text}")
            )
    return Found(None, Note("unit_unknown", f"{name} has no unit and fits none; it was kept as it is"), keep_raw=True)


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
        return Found(
            None, Note("raw_counts", f"{name} reaches {high:g}, as raw counts do; it was kept as it is"), keep_raw=True
        )
    if high > 110.0 and low >= 0.0 and bool((values == np.floor(values)).all()):
        return Found(
            _COUNTS_8,
            Note("unit_by_value", f"{name} has no unit; its whole numbers up to {high:g} were read as counts to 255"),
        )
    # An engine that only idles also stays under 1 %, but does not span from shut to open.
    if 0.6 <= high <= 1.05 and shut < 0.3 and high - low > 0.5:
        return Found(
            RATIO,
            Note("unit_by_value", f"{name} has no unit; its values from {low:g} to {high:g} were read as a share of 1"),
        )
    if 3.0 <= high <= 5.2 and low >= 0.2 and high - low > 1.5:
        return Found(
            ROUGH_VOLTS,
            Note("unit_by_value", f"{name} has no unit; its values from {low:g} to {high:g} were read as volts of 5"),
        )
    return Found(None)


_NEVER_PERCENT = 6.0
"""A ride on which the throttle stays under this many percent is none. Common practice, no source."""


def _never_percent(values: FloatArray, name: str, *, stated: bool) -> Found:
    """A throttle that can't be in percent: converted where one scale clearly fits, else kept as it came."""
    low, high = float(values.min()), float(values.max())
    shut = float(np.quantile(values, 0.05))
    says = "is labelled %" if stated else "has no unit"
    begin = (
        f"ATTENTION: {name} {says}, but lies between {low:g} and {high:g} while engine or road speed vary, which no "
    )
    begin += "throttle in percent does"
    kind = "unit_contradiction" if stated else "unit_by_value"
    whole = bool((values == np.floor(values)).all()) and high > 1.0
    if low >= -0.05 and high <= 1.05 and shut < 0.25 and high - low > 0.2:
        return Found(RATIO, Note(kind, f"{begin}; it was read as a share of 1"))
    if low >= 0.0 and 1.4 < high <= 5.3 and high - low > 0.5 and not whole:
        return Found(
            ROUGH_VOLTS,
            Note(kind, f"{begin}; it was read as volts of a 5 V supply, so that shut and open are only known roughly"),
        )
    return Found(
        None,
        Note(kind, f"{begin}, and no other scale clearly fits; it was kept as it is, unnamed: "
             f"--column '{name}=throttle_pct:UNIT' tells (%, V or 1 for a share of 1)"),
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
            Note("unit_unknown", f"{name} has the unit {unit_text[:16]!r}, which is no speed; it was kept as it is"),
            keep_raw=True,
        )
    if ratio is not None:
        fits = [text for text, unit in _SPEEDS.items() if abs(ratio * unit.factor - 1.0) < 0.10]
        if stated is None and len(fits) == 1:
            return Found(
                _SPEEDS[fits[0]],
                Note("unit_by_value", f"{name} has no unit; beside the positions its values are {fits[0]}"),
            )
        if stated is not None and len(fits) == 1 and abs(ratio * stated.factor - 1.0) > 0.3:
            return Found(
                _SPEEDS[fits[0]],
                Note(
                    "unit_contradiction",
                    f"ATTENTION: {name} is labelled {unit_text}, but beside the positions its values can only be "
                    f"{fits[0]}; it was read so. {column_option(f'{name}={channel}:{unit_text}')} keeps to the label",
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
