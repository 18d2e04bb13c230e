"""Cells as text -> numbers, column by column, with a report of every cell that did not simply parse.

Polars parses what is plain; only the distinct texts that are left go through Python one by one.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

import polars as pl

from ridelog.readers import naming
from ridelog.units import Unit, fold, parse_unit

Decimal = Literal[".", ","]

_MISSING_WORDS = """
nan na n/a n.a. null none nil nul - -- --- ---- ----- ---.- --.- ? ?? * ** ***
#n/a #div/0! #wert! #value! #nv #ref! invalid ungueltig ungültig missing
"""
MISSING = frozenset((*_MISSING_WORDS.split(), "no data"))
"""What programs write where there is no value."""

_NOT_FINITE_WORDS = """
inf +inf -inf infinity -infinity ∞ -∞ nan(ind) -nan(ind) -nan +nan 1.#inf -1.#inf 1.#qnan -1.#qnan 1.#ind -1.#ind 1.#j
"""
NOT_FINITE = frozenset(_NOT_FINITE_WORDS.split())

_PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?")
_COMMA_DECIMAL = re.compile(r"([+-]?\d*),(\d+)((?:[eE][+-]?\d{1,3})?)")
_GROUPED_DOT = re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+(?:,\d+)?")
_GROUPED_COMMA = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?")
_GROUPED_OTHER = re.compile(r"[+-]?\d{1,3}(?:['’ \u00a0\u2009\u202f]\d{3})+(?:[.,]\d+)?")
_WITH_UNIT = re.compile(r"([+-]?[\d.,]+)\s*([^\d\s.,+-][^\d]{0,11})")

_LOOKED_AT = 500
_NUMBERS_FROM_SHARE = 0.8
"""A column in which fewer of the filled cells are numbers stays text."""


@dataclass(frozen=True)
class Parsed:
    """One column. `values` is Float64 (finite or null) or String (null where empty). Counts are cells; `example` of a
    kind is (row index, text). `unit` is the unit glued to its values, if any."""

    values: pl.Series
    unit: str | None = None
    counts: Counter[str] = field(default_factory=Counter)
    examples: dict[str, tuple[int, str]] = field(default_factory=dict)

    @property
    def is_number(self) -> bool:
        """True where the column became numbers."""
        return self.values.dtype == pl.Float64


def file_decimal(columns: list[pl.Series], separator: str) -> Decimal:
    """The decimal sign of a file, from all cells of all columns that are not times: the sign more cells can only
    mean."""
    commas = dots = 0
    for column in columns:
        commas += int(column.str.contains(r"^\s*\"?[+-]?\d*,(?:\d{1,2}|\d{4,})\"?\s*$").sum() or 0)
        commas += int(column.str.contains(r"^\s*\"?[+-]?\d{1,3}(?:\.\d{3})+,\d+\"?\s*$").sum() or 0)
        dots += int(column.str.contains(r"^\s*\"?[+-]?\d*\.(?:\d{1,2}|\d{4,})\"?\s*$").sum() or 0)
        dots += int(column.str.contains(r"^\s*\"?[+-]?\d{1,3}(?:,\d{3})+\.\d+\"?\s*$").sum() or 0)
    if commas == dots == 0:
        # Only groups of three digits: where a comma splits columns it can't be the decimal sign unless it is quoted.
        threes = sum(int(column.str.contains(r"^\s*\"?[+-]?\d+,\d{3}\"?\s*$").sum() or 0) for column in columns)
        return "," if threes and separator != "," else "."
    return "," if commas > dots else "."


def parse_column(text: pl.Series, decimal: Decimal, *, large: bool = False, unit: str | None = None) -> Parsed:
    """Numbers of a column of cells.

    `large`: values with dots between thousands (8.500) are then possible. `unit` is the one in the header, if any: a
    few cells with a unit behind them must agree with it; where most have one it is the column's.
    """
    counts: Counter[str] = Counter()
    examples: dict[str, tuple[int, str]] = {}
    text = text.str.strip_chars().str.strip_chars('"\u00a0').str.strip_chars()
    text = text.set(text == "", None)
    if text.null_count() == text.len():
        return Parsed(pl.Series(text.name, [None], dtype=pl.Float64).new_from_index(0, text.len()))
    source = text
    if decimal == ",":
        text = text.str.replace_all(r"^([+-]?\d*),(\d+)$", "${1}.${2}")
        grouped = source.str.contains(r"^[+-]?\d{1,3}(\.\d{3})+$")
        text = text.set(grouped, None) if _grouped_means_thousands(source, grouped, large=large) else text
    elif large:
        grouped = source.str.contains(r"^[+-]?\d{1,3}\.\d{3}$")
        text = text.set(grouped, None) if _grouped_means_thousands(source, grouped, large=True) else text
    values = text.cast(pl.Float64, strict=False)
    odd = source.is_not_null() & (values.is_null() | ~values.is_finite()).fill_null(value=True)
    if not odd.any():
        return Parsed(values, None, counts, examples)
    filled = source.len() - source.null_count()
    # Texts that are no numbers at all are told by the first of them; counting all different ones could take long.
    first = source.filter(odd).head(_LOOKED_AT).to_list()
    strange = sum(_one(cell, decimal, large=large)[1] == "text" for cell in first)
    if strange > 0.5 * len(first) and int(odd.sum() or 0) > (1 - _NUMBERS_FROM_SHARE) * filled:
        return _as_text(source)
    distinct = source.filter(odd).value_counts()
    times: dict[str, int] = dict(zip(distinct[source.name].to_list(), distinct["count"].to_list(), strict=True))
    known = {cell: _one(cell, decimal, large=large) for cell in times}
    if sum(times[cell] for cell, (_, kind, _) in known.items() if kind == "text") > (1 - _NUMBERS_FROM_SHARE) * filled:
        return _as_text(source)
    found, known = _one_unit(known, times, filled, unit)
    for cell, (_, kind, _) in known.items():
        if kind != "plain":
            counts[kind] += times[cell]
    replacement = {cell: value for cell, (value, _, _) in known.items()}
    fixed = source.replace_strict(replacement, default=None, return_dtype=pl.Float64)
    values = pl.select(pl.when(odd).then(fixed).otherwise(values)).to_series().rename(source.name)
    for kind in counts:
        cell = next(text for text, (_, other, _) in known.items() if other == kind)
        examples[kind] = (int(source.index_of(cell) or 0), cell)
    return Parsed(values, found, counts, examples)


Cell = tuple[float | None, str, str | None]

_OTHER: Cell = (None, "other_unit", None)


def _one_unit(
    known: dict[str, Cell], times: dict[str, int], filled: int, header: str | None
) -> tuple[str | None, dict[str, Cell]]:
    """The unit most cells bear (None where few bear one), and the cells with those of another unit emptied."""
    units: Counter[Unit | str] = Counter()
    for cell, (_, _, unit) in known.items():
        if unit:
            units[parse_unit(unit) or unit] += times[cell]
    if not units:
        return None, known
    common, often = units.most_common(1)[0]
    if often >= 0.5 * filled:
        allowed = {common}
        text = next(unit for _, _, unit in known.values() if unit and (parse_unit(unit) or unit) == common)
    else:
        allowed, text = ({parse_unit(header) or header} if header else set()), None
    kept = {
        c: one if one[2] is None or (parse_unit(one[2]) or one[2]) in allowed else _OTHER for c, one in known.items()
    }
    return text, kept


def _as_text(source: pl.Series) -> Parsed:
    """A column that stays text, but for the words that say there is no value."""
    empty = source.str.to_lowercase().is_in(list(MISSING)).fill_null(value=False)
    if not empty.any():
        return Parsed(source)
    row = int(empty.arg_max() or 0)
    return Parsed(
        source.set(empty, None), None, Counter(missing=int(empty.sum() or 0)), {"missing": (row, str(source[row]))}
    )


def _grouped_means_thousands(source: pl.Series, grouped: pl.Series, *, large: bool) -> bool:
    """Are texts such as 8.500 thousands? Only where every value with a dot has this form, plain ones stay under 1000,
    and the quantity is one that is large (engine speed)."""
    if not large or not grouped.any():
        return False
    dotted = source.str.contains(".", literal=True)
    if int(dotted.sum() or 0) != int(grouped.sum() or 0):
        return False
    plain = source.filter(~dotted.fill_null(value=False)).cast(pl.Float64, strict=False).drop_nulls()
    top = float(plain.max() or 0.0)  # type: ignore[arg-type]
    return top < 1000.0


def _one(cell: str, decimal: Decimal, *, large: bool) -> Cell:  # noqa: PLR0911 - one return a case
    """One text: its value, what had to be done ('plain', 'missing', 'grouped' ...) and the unit glued to it."""
    word = cell.casefold()
    if word in MISSING:
        return None, "missing", None
    if word in NOT_FINITE:
        return None, "not_finite", None
    plain = unicodedata.normalize("NFKC", cell).replace("−", "-").replace("–", "-").strip()
    value = _number(plain, decimal, large=large)
    if value is not None:
        if value in (float("inf"), float("-inf")):
            return None, "not_finite", None
        grouped = any(
            pattern.fullmatch(plain) for pattern in (_GROUPED_DOT, _GROUPED_COMMA, _GROUPED_OTHER)
        ) and not _PLAIN.fullmatch(plain)
        if grouped or (large and _GROUPED_DOT.fullmatch(plain)):
            return value, "grouped", None
        return value, "plain" if plain == cell else "odd_characters", None
    if match := _WITH_UNIT.fullmatch(plain):
        unit = naming.mend(match[2]).strip()
        value = _number(match[1], decimal, large=large)
        if value is not None and naming.is_unit(unit):
            return value, "unit_in_cell", fold(unit)
    return None, "text", None


def _number(text: str, decimal: Decimal, *, large: bool) -> float | None:  # noqa: PLR0911 - one return a case
    if decimal == ".":
        if large and _GROUPED_DOT.fullmatch(text) and "," not in text:
            return float(text.replace(".", ""))
        if _PLAIN.fullmatch(text):
            return float(text)
        if _GROUPED_COMMA.fullmatch(text):
            return float(text.replace(",", ""))
        if match := _COMMA_DECIMAL.fullmatch(text):
            return float(f"{match[1] or '0'}.{match[2]}{match[3]}")
    else:
        if match := _COMMA_DECIMAL.fullmatch(text):
            return float(f"{match[1] or '0'}.{match[2]}{match[3]}")
        if _GROUPED_DOT.fullmatch(text) and (large or "," in text or text.count(".") > 1):
            return float(text.replace(".", "").replace(",", "."))
        if _PLAIN.fullmatch(text):
            return float(text)
    if _GROUPED_OTHER.fullmatch(text):
        text = re.sub(r"['’ \u00a0\u2009\u202f]", "", text)
        return float(text.replace(",", "."))
    return None
