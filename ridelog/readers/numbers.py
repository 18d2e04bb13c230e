"""Cells as text -> numbers, column by column, with a report of every cell that did not simply parse.

Polars parses what is plain; only the distinct texts that are left go through Python one by one.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from ridelog.readers import naming
from ridelog.readers.redated import refuse_redated
from ridelog.readers.signs import Decimal, Signs, lone_group, signs_of
from ridelog.units import Unit, fold, parse_unit

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
_LONE_COMMA, _LONE_DOT = re.compile(lone_group(",")), re.compile(lone_group("."))
_WITH_UNIT = re.compile(r"([+-]?[\d.,]+)\s*([^\d\s.,+-][^\d]{0,11})")

_HEMISPHERE = r"(?i)^[NSEWO]\s*\d|\d['\"′″’”]*\s*[NSEWO]$"

_LOOKED_AT = 500
_NUMBERS_FROM_SHARE = 0.8
"""A column in which fewer of the filled cells are numbers stays text."""


@dataclass(frozen=True)
class Parsed:
    """One column. `values` is Float64 (finite or null) or String (null where empty). Counts are cells; `example` of a
    kind is (row index, text). `unit` is the unit glued to its values, if any; `signs` how comma and dot were read."""

    values: pl.Series
    unit: str | None = None
    counts: Counter[str] = field(default_factory=Counter)
    examples: dict[str, tuple[int, str]] = field(default_factory=dict)
    signs: Signs | None = None

    @property
    def is_number(self) -> bool:
        """True where the column became numbers."""
        return self.values.dtype == pl.Float64


def file_decimal(columns: Sequence[pl.Series], separator: str, channels: Sequence[str | None] = ()) -> Decimal:
    """The decimal sign of a file, from all cells of all columns that are not times: the sign more cells can only
    mean. `channels` are what the columns hold by their names, None where that is open."""
    commas = dots = 0
    with_comma = [column.filter(column.str.contains(",", literal=True)) for column in columns]
    if not any(cells.len() for cells in with_comma):
        return "."  # no cell can mean anything else, and looking for a comma is quicker than any pattern
    for column, cells in zip(columns, with_comma, strict=True):
        commas += int(cells.str.contains(r"^\s*\"?[+-]?(?:\d*,(?:\d{1,2}|\d{4,})|0?,\d{3})\"?\s*$").sum() or 0)
        commas += int(cells.str.contains(r"^\s*\"?[+-]?\d{1,3}(?:\.\d{3})+,\d+\"?\s*$").sum() or 0)
        dots += int(column.str.contains(r"^\s*\"?[+-]?(?:\d*\.(?:\d{1,2}|\d{4,})|0?\.\d{3})\"?\s*$").sum() or 0)
        dots += int(cells.str.contains(r"^\s*\"?[+-]?\d{1,3}(?:,\d{3})+\.\d+\"?\s*$").sum() or 0)
    if commas == dots == 0 and separator != ",":
        # Only groups of three digits: where a comma splits columns it can't be the decimal sign unless it is quoted.
        for number, column in enumerate(columns):
            text = _bare(column)
            if text.str.contains(r"^[+-]?\d+,\d{3}$").any():
                channel = channels[number] if number < len(channels) else None
                if not signs_of(text, ",", channel).comma_groups:
                    return ","
        return "."
    return "," if commas > dots else "."


_AROUND = r"^[\s\"\u{a0}]|[\s\"\u{a0}]$"
"""A cell with a blank or a quotation mark around what it says; most columns have none."""


def _bare(text: pl.Series) -> pl.Series:
    """Cells without what stands around them, null where nothing is left."""
    if text.str.contains(_AROUND).any():
        text = text.str.strip_chars().str.strip_chars('"\u00a0').str.strip_chars()
    return text.set(text == "", None)


def parse_column(text: pl.Series, decimal: Decimal, *, channel: str | None = None, unit: str | None = None) -> Parsed:
    """Numbers of a column of cells in a file of one decimal sign.

    `channel` is what the column's name says it holds: where 1,050 can be two numbers it helps to tell which. `unit` is
    the one in the header, if any: a few cells with a unit behind them must agree with it; where most have one it is the
    column's.
    """
    counts: Counter[str] = Counter()
    examples: dict[str, tuple[int, str]] = {}
    text = _bare(text)
    if text.null_count() == text.len():
        return Parsed(pl.Series(text.name, [None], dtype=pl.Float64).new_from_index(0, text.len()))
    source = text
    signs = signs_of(source, decimal, channel, unit)
    if decimal == "," or not signs.comma_groups:
        # Lone groups that are thousands are left as they are: they do not parse, and are put right one by one.
        text = text.str.replace_all(r"^([+-]?\d*),(\d+)$", "${1}.${2}")
        if signs.comma_groups:
            text = text.set(source.str.contains(lone_group(",")), None)
    if signs.dot_groups:
        text = text.set(source.str.contains(lone_group(".")), None)
    values = text.cast(pl.Float64, strict=False)
    odd = source.is_not_null() & (values.is_null() | ~values.is_finite()).fill_null(value=True)
    if not odd.any():
        return Parsed(values, None, counts, examples, signs)
    refuse_redated(source, odd, channel)
    if _holds_words(source, odd, channel):
        return _as_text(source)
    filled = source.len() - source.null_count()
    # Texts that are no numbers at all are told by the first of them; counting all different ones could take long.
    first = source.filter(odd).head(_LOOKED_AT).to_list()
    strange = sum(_one(cell, signs)[1] == "text" for cell in first)
    if strange > 0.5 * len(first) and int(odd.sum() or 0) > (1 - _NUMBERS_FROM_SHARE) * filled:
        return _as_text(source)
    picked = source.filter(odd)
    # In the order of the file: the same file gives the same notes and examples, each time it is read.
    distinct = picked.unique(maintain_order=True).to_list()
    times: dict[str, int] = dict(zip(distinct, picked.unique_counts().to_list(), strict=True))
    known = {cell: _one(cell, signs) for cell in times}
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
    return Parsed(values, found, counts, examples, signs)


def _holds_words(source: pl.Series, odd: pl.Series, channel: str | None) -> bool:
    """N among whole numbers is neutral, no fault, and S behind a latitude south, no seconds: gears and positions in
    words are read as such later on."""
    if channel in ("lat_deg", "lon_deg"):
        return bool(source.filter(odd).head(_LOOKED_AT).str.contains(_HEMISPHERE).any())
    if channel != "gear" or not source.filter(~odd & source.is_not_null()).str.contains(r"^\d$").all():
        return False
    words = source.filter(odd).unique().head(_LOOKED_AT).to_list()
    return any(fold(word) not in MISSING for word in words) and all(len(word) <= 16 for word in words)


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


def _one(cell: str, signs: Signs) -> Cell:
    """One text: its value, what had to be done ('plain', 'missing', 'grouped' ...) and the unit glued to it."""
    word = cell.casefold()
    if word in MISSING:
        return None, "missing", None
    if word in NOT_FINITE:
        return None, "not_finite", None
    plain = unicodedata.normalize("NFKC", cell).replace("−", "-").replace("–", "-").strip()
    value, kind = _number(plain, signs)
    if value is not None:
        if value in (float("inf"), float("-inf")):
            return None, "not_finite", None
        return value, "odd_characters" if kind == "plain" and plain != cell else kind, None
    if match := _WITH_UNIT.fullmatch(plain):
        unit = naming.mend(match[2]).strip()
        value, _ = _number(match[1], signs)
        if value is not None and naming.is_unit(unit):
            return value, "unit_in_cell", fold(unit)
    return None, "text", None


def _number(text: str, signs: Signs) -> tuple[float | None, str]:  # noqa: PLR0911 - one return a case
    """The value of a plain text, and whether it was 'plain' or 'grouped'."""
    if _LONE_COMMA.fullmatch(text):
        if signs.comma_groups:
            return float(text.replace(",", "")), "grouped"
        return float(text.replace(",", ".")), "plain"
    if signs.dot_groups and _LONE_DOT.fullmatch(text):
        return float(text.replace(".", "")), "grouped"
    if _PLAIN.fullmatch(text):
        return float(text), "plain"
    if match := _COMMA_DECIMAL.fullmatch(text):
        return float(f"{match[1] or '0'}.{match[2]}{match[3]}"), "plain"
    if _GROUPED_COMMA.fullmatch(text):
        return float(text.replace(",", "")), "grouped"
    if _GROUPED_DOT.fullmatch(text):
        return float(text.replace(".", "").replace(",", ".")), "grouped"
    if _GROUPED_OTHER.fullmatch(text):
        text = re.sub(r"['’ \u00a0\u2009\u202f]", "", text)
        return float(text.replace(",", ".")), "grouped"
    return None, "text"
