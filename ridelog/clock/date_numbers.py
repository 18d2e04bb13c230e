"""Dates written as one number: 20260503, 3052026, and the six digits of 030526 or 260503."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

import polars as pl

from ridelog.clock.texts import Order, parse_order
from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.ride import Note
from ridelog.units import fold
from ridelog.words import clocks

_ORDERS: tuple[Order, ...] = ("dmy", "ymd", "mdy")
_WRITTEN: dict[Order, str] = {"dmy": "DDMMYY", "ymd": "YYMMDD", "mdy": "MMDDYY"}

_LABELS: dict[str, Order] = {
    **dict.fromkeys(("ddmmyy", "ttmmjj", "jjmmaa", "ggmmaa", "ddmmaa", "ddmmjj"), "dmy"),
    **dict.fromkeys(("yymmdd", "jjmmtt", "aammjj", "aammgg", "aammdd", "jjmmdd"), "ymd"),
    "mmddyy": "mdy",
}
"""How the languages of the name tables abbreviate day, month and year; four letters of the year count as two."""

_LABEL = re.compile(r"[a-z]{6}(?:[a-z]{2})?")
_DIGITS = r"^\s*\d{5,8}\s*$"

_SIX = (10_100, 991_231)
_EIGHT = (1_011_900, 31_122_100)
_MOST_DAYS = 1_000
"""A column with more different values is no date of a ride."""

_TOGETHER_DAYS = 31
"""The days of one log lie so near to each other; read in the wrong order, neighbours lie months or years apart."""


@dataclass(frozen=True)
class DateNumbers:
    """The dates as texts YYYY-MM-DD, null where there is none, and what is told of them."""

    texts: pl.Series
    notes: tuple[Note, ...]


def said_order(name: str, unit: str | None) -> Order | None:
    """The order of day, month and year that a column's unit or name gives: 'dmy', 'Date (DDMMYY)'."""
    if (order := parse_order(unit)) is not None:
        return order
    for text in _LABEL.findall(fold(f"{unit or ''} {name}").replace(".", "").replace("-", "").replace("/", "")):
        short = re.sub(r"([yja])\1{3}", r"\1\1", text)
        if short in _LABELS:
            return _LABELS[short]
    return None


def date_numbers(days: pl.Series, *, name: str, order: Order | None, time_name: str) -> DateNumbers | None:
    """Dates from a column of numbers (or of texts of digits), None where they are none.

    `order` is the one the header or the user gives. Otherwise the values of the whole file decide: which readings are
    days of the calendar, and in which of them the days lie together. Raises AmbiguousColumn where several do, and
    InputRefused where the given order does not fit; `time_name` names the time column for the option that settles it.
    """
    days, numbers = _numbers(days)
    if not numbers:
        return None
    eight = numbers[0] >= _EIGHT[0]
    readings: dict[Order, dict[int, date]] = {}
    for one in _ORDERS:
        read = {number: _day(number, one, eight=eight) for number in numbers}
        if found := {number: day for number, day in read.items() if day is not None}:
            readings[one] = found
    whole = [one for one in _ORDERS if len(readings.get(one, ())) == len(numbers)]
    chosen = order if order is not None else _chosen(readings, whole, eight=eight)
    if order is not None and order not in whole:
        wrong = next(number for number in numbers if number not in readings.get(order, ()))
        raise InputRefused(
            f"{wrong} is no date written as {_shown(order, eight=eight)}",
            where=f"column {name}",
            expected="a day, a month and a year in that order",
            to_do="correct what is said of the order of its dates",
        )
    if not whole:
        return None
    if chosen is None:
        first = int(days.drop_nulls()[0])
        shown = " or ".join(f"{readings[one][first]} ({_shown(one, eight=eight)})" for one in whole)
        options = tuple(f"{time_name}=time:{one}" for one in whole)
        raise AmbiguousColumn(
            f"{first:0{8 if eight else 6}d} can be {shown}, and no date in the file tells which",
            where=f"column {name}",
            options=options,
            expected="dates of one reading",
        )
    mapping = {float(number): day.isoformat() for number, day in readings[chosen].items()}
    texts = days.replace_strict(mapping, default=None, return_dtype=pl.String)
    if eight and chosen == "ymd":
        return DateNumbers(texts, ())
    how = clocks.AS_SAID if order is not None else clocks.ONLY_READING
    note = Note("date_numbers", clocks.date_numbers(name, _shown(chosen, eight=eight), how))
    return DateNumbers(texts, (note,))


def _numbers(days: pl.Series) -> tuple[pl.Series, list[int]]:
    """The column as numbers, and its different values; none of them where they are no numbers of a date."""
    if days.dtype == pl.String:
        if not days.drop_nulls().str.contains(_DIGITS).all():
            return days, []
        days = days.str.strip_chars().cast(pl.Float64)
    days = days.set(days == 0, None)  # a receiver without a fix writes zeros
    distinct = days.drop_nulls().unique().sort()
    if not 0 < distinct.len() <= _MOST_DAYS or bool((distinct != distinct.floor()).any()):
        return days, []
    numbers = [int(one) for one in distinct.to_list()]
    fits = any(low <= numbers[0] and numbers[-1] <= high for low, high in (_SIX, _EIGHT))
    return days, numbers if fits else []


def _chosen(readings: dict[Order, dict[int, date]], whole: list[Order], *, eight: bool) -> Order | None:
    """The one order that fits; None where several do."""
    if eight and "ymd" in whole:
        return "ymd"  # eight digits with the year in front are the standard's own form (ISO 8601)
    if len(whole) > 1:
        together = [one for one in whole if _span(readings[one]) <= _TOGETHER_DAYS]
        whole = together or whole
    if len(whole) > 1 and all(readings[one] == readings[whole[0]] for one in whole):
        whole = whole[:1]
    return whole[0] if len(whole) == 1 else None


def _span(days: dict[int, date]) -> int:
    return (max(days.values()) - min(days.values())).days


def _shown(order: Order, *, eight: bool) -> str:
    return _WRITTEN[order].replace("YY", "YYYY") if eight else _WRITTEN[order]


def _day(number: int, order: Order, *, eight: bool) -> date | None:
    if order == "ymd":
        year, month, day = number // 10_000, number // 100 % 100, number % 100
    else:
        turns = 10_000 if eight else 100
        year = number % turns
        a, b = number // turns // 100, number // turns % 100
        day, month = (a, b) if order == "dmy" else (b, a)
    if not eight:
        year += 2000 if year < 70 else 1900
    if not 1900 <= year <= 2100:
        return None
    try:
        return date(year, month, day)
    except ValueError:
        return None
