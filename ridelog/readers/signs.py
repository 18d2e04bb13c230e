"""Which of comma and dot is the decimal sign of a column, and which stands between thousands.

A cell such as 1,050 can mean both. What else stands in the column decides, then what its channel can be, then the sign
of the rest of the file.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import polars as pl

from ridelog.channels import CHANNELS
from ridelog.ride import Candidate
from ridelog.units import Unit, parse_unit
from ridelog.words import reading

Decimal = Literal[".", ","]

_OTHER: dict[Decimal, Decimal] = {".": ",", ",": "."}
_WORD: dict[Decimal, str] = {".": "dot", ",": "comma"}

_PEAK_AT_LEAST = {"engine_rpm": 300.0, "coolant_c": 15.0, "exhaust_gas_c": 60.0, "head_c": 15.0, "baro_kpa": 45.0,
                  "battery_v": 5.0}  # fmt: skip
"""The least that the highest value of a whole log is, in the channel's unit; common practice, no source."""

_UNLABELLED = {
    "C": (Unit("C"), Unit("C", 1 / 1.8, -32 / 1.8), Unit("C", 1.0, -273.15)),
    "m/s": (Unit("m/s"), Unit("m/s", 1 / 3.6)),
    "kPa": (Unit("kPa"), Unit("kPa", 0.1)),
}
"""Units a column without one may be in, by canonical unit."""


@dataclass(frozen=True)
class Signs:
    """How a lone group of three digits behind a comma or a dot is read: True where the sign stands between thousands.
    `why` is what to tell of a choice that the rest of the file does not suggest."""

    comma_groups: bool
    dot_groups: bool
    why: str | None = None

    def groups(self, sign: Decimal) -> bool:
        """Does this sign stand between thousands?"""
        return self.comma_groups if sign == "," else self.dot_groups


def usual(decimal: Decimal) -> Signs:
    """The reading in a file of this decimal sign: the other one stands between thousands."""
    return Signs(decimal == ".", decimal == ",")


def lone_group(sign: Decimal) -> str:
    """Pattern of a cell that can be a number with three decimals or thousands: 1,050 but not 0,125."""
    return rf"^[+-]?[1-9]\d{{0,2}}{re.escape(sign)}\d{{3}}$"


def signs_of(cells: pl.Series, decimal: Decimal, channel: str | None = None, unit: str | None = None) -> Signs:
    """The reading of one column (its cells stripped, null where empty), in a file of this decimal sign.

    `channel` is what the column's name says it holds, None where that is open; `unit` the unit in its header.
    """
    signs = usual(decimal)
    if not cells.str.contains(r"^[+-]?[1-9]\d{0,2}[.,]\d{3}(?:\D|$)").any():
        return signs  # no cell is a lone group, with or without a unit behind it
    if cells.str.contains(r"[.,]\d{3}\s*[^\d\s.,]").any():
        cells = cells.str.replace(r"\s*[^\d\s.,+-][^\d]{0,11}$", "")
    for sign in (",", "."):
        signs = _one_sign(cells, sign, decimal, signs, channel, unit)
    return signs


def _one_sign(  # noqa: PLR0917 - all are given
    cells: pl.Series, sign: Decimal, decimal: Decimal, so_far: Signs, channel: str | None, unit: str | None
) -> Signs:
    lone = cells.str.contains(lone_group(sign)).fill_null(value=False)
    if not lone.any():
        return so_far
    # A lone group of the other sign is as open as this one.
    rest = cells.filter(~lone & ~cells.str.contains(lone_group(_OTHER[sign]))).drop_nulls()
    groups, why = _decide(cells.filter(lone), rest, sign, decimal, channel, unit)
    if groups == so_far.groups(sign):
        return so_far
    return Signs(groups, so_far.dot_groups, why) if sign == "," else Signs(so_far.comma_groups, groups, why)


def _decide(  # noqa: PLR0917 - all are given
    lone: pl.Series, rest: pl.Series, sign: Decimal, decimal: Decimal, channel: str | None, unit: str | None
) -> tuple[bool, str | None]:
    """Is the sign one between thousands, and what to tell if that is not what the file suggests?"""
    this, other = re.escape(sign), re.escape(_OTHER[sign])
    as_decimal = rest.str.contains(rf"^[+-]?(?:\d*|\d{{1,3}}(?:{other}\d{{3}})+){this}\d+$").any()
    as_group = rest.str.contains(rf"^[+-]?\d{{1,3}}(?:{this}\d{{3}}){{2,}}$|^[+-]?\d[\d{this}]*{other}\d*$").any()
    if as_decimal != as_group:
        what = reading.SIGN_SHOWN
        return bool(as_group), _told(sign, groups=bool(as_group), why=what)
    if as_decimal:
        return decimal != sign, None
    plain = rest.cast(pl.Float64, strict=False).drop_nulls().abs()
    top = float(plain.max() or 0.0)  # type: ignore[arg-type]
    small = lone.str.replace(sign, ".", literal=True).cast(pl.Float64, strict=False).abs()
    as_decimals = max(top, float(small.max() or 0.0))  # type: ignore[arg-type]
    as_thousands = max(top, 1000.0 * float(small.max() or 0.0))  # type: ignore[arg-type]
    fits_decimals = fits(channel, unit, as_decimals)
    fits_thousands = fits(channel, unit, as_thousands) and top < 1000.0
    if fits_decimals != fits_thousands:
        other_top = as_decimals if fits_thousands else as_thousands
        what = reading.sign_fits(other_top, channel)
        return fits_thousands, _told(sign, groups=fits_thousands, why=what)
    if 100.0 <= top < 1000.0:
        what = reading.sign_in_thousands(top)
        return True, _told(sign, groups=True, why=what)
    return decimal != sign, None


def _told(sign: Decimal, *, groups: bool, why: str) -> str:
    role = reading.THOUSANDS if groups else reading.DECIMAL
    return reading.sign_read(_WORD[sign], role, why)


def only_channel(candidates: Sequence[Candidate]) -> str | None:
    """The one channel a name stands for, None where it can be several, the time or nothing known."""
    channels = {one.channel for one in candidates}
    return next(iter(channels)) if len(channels) == 1 and channels <= CHANNELS.keys() else None


def fits(channel: str | None, unit: str | None, peak: float) -> bool:
    """Can the highest value of a column of this channel be `peak`, as written? True where nothing tells."""
    if channel is None or channel not in CHANNELS:
        return True
    limits = CHANNELS[channel]
    stated = parse_unit(unit) if unit else None
    if stated is not None and stated.canonical != limits.unit:
        return True
    units = (stated,) if stated is not None else _UNLABELLED.get(limits.unit, (Unit(limits.unit),))
    low = _PEAK_AT_LEAST.get(channel, float("-inf"))
    return any(low <= one.convert(peak) <= limits.high for one in units)
