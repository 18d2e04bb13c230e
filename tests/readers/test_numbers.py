"""Cells of text -> numbers."""

from __future__ import annotations

import math

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.readers.numbers import file_decimal, parse_column


def parse(*cells: str | None, decimal: str = ".", large: bool = False, unit: str | None = None):
    return parse_column(pl.Series("x", cells, dtype=pl.String), decimal, large=large, unit=unit)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1299.5", ".", 1299.5),
        ("+5", ".", 5.0),
        ("-.5", ".", -0.5),
        ("5.", ".", 5.0),
        ("1e3", ".", 1000.0),
        (" 90.5 ", ".", 90.5),
        ('"90.5"', ".", 90.5),
        ("1.299,5", ",", 1299.5),
        ("90,5", ",", 90.5),
        ("90,5", ".", 90.5),
        (",5", ",", 0.5),
        ("1,299.5", ".", 1299.5),
        ("1'299.5", ".", 1299.5),
        ("1 299,5", ",", 1299.5),
        ("1\u202f299", ".", 1299.0),
        ("\u22125", ".", -5.0),
        ("\uff19\uff10", ".", 90.0),
        ("1.234.567", ",", 1234567.0),
    ],
)  # fmt: skip
def test_one_cell(cell: str, decimal: str, value: float) -> None:
    parsed = parse(cell, "1", decimal=decimal)
    assert parsed.values[0] == value


@pytest.mark.parametrize(
    "cell", ["", " ", "-", "--", "NaN", "nan", "N/A", "null", "inf", "-inf", "1e400", "1.#QNAN", "#DIV/0!"]
)
def test_nothing_is_null(cell: str) -> None:
    parsed = parse(cell, *["5"] * 9)
    assert parsed.values[0] is None
    assert parsed.values.null_count() == 1


@pytest.mark.parametrize("cell", ["12:30", "1-May", "0x1F", "1_000", "5 6", "1,2,3", "1.2.3", "--5", "5-", "1'00"])
def test_what_is_no_number_is_told(cell: str) -> None:
    parsed = parse(cell, *["5"] * 9)
    assert parsed.values.to_list() == [None, *[5.0] * 9]
    assert parsed.counts == {"text": 1}
    assert parsed.examples["text"] == (0, cell)


def test_a_column_of_words_stays_text() -> None:
    parsed = parse("on", "off", "-", None, "on")
    assert not parsed.is_number
    assert parsed.values.to_list() == ["on", "off", None, None, "on"]


def test_units_behind_the_values() -> None:
    parsed = parse("92 °C", "93°C", "94 degC")
    assert parsed.values.to_list() == [92.0, 93.0, 94.0]
    assert parsed.unit in ("deg c", "degc")
    mixed = parse(*["92 C"] * 9, "200 F")
    assert mixed.values.to_list() == [*[92.0] * 9, None]
    assert mixed.counts["other_unit"] == 1
    stray = parse(*["92"] * 9, "93 C", unit="°C")
    assert stray.values[-1] == 93.0
    assert parse(*["92"] * 9, "93 F", unit="°C").values[-1] is None


def test_the_decimal_sign_is_that_of_the_whole_file() -> None:
    comma = [pl.Series(["1,5", "2"]), pl.Series(["1.200", "3"])]
    assert file_decimal(comma, ";") == ","
    assert file_decimal([pl.Series(["1.5"]), pl.Series(["1,200"])], ";") == "."
    assert file_decimal([pl.Series(["8,500"])], ";") == ","
    assert file_decimal([pl.Series(["8,500"])], ",") == "."
    assert file_decimal([pl.Series(["12"])], ";") == "."


def test_a_dot_is_a_thousands_sign_only_for_large_quantities() -> None:
    assert parse("8.500", "950", large=True).values.to_list() == [8500.0, 950.0]
    assert parse("8.500", "950", large=False).values.to_list() == [8.5, 950.0]
    assert parse("8.500", "1200", large=True).values.to_list() == [8.5, 1200.0]


@settings(deadline=None)
@given(
    st.lists(st.none() | st.floats(allow_nan=False, allow_infinity=False, width=32), min_size=1, max_size=40),
    st.sampled_from([".", ","]),
)
def test_numbers_survive_being_written(values: list[float | None], decimal: str) -> None:
    cells = [None if v is None else f"{v:.6f}".replace(".", decimal) for v in values]
    parsed = parse(*cells, decimal=decimal)
    expected = [None if v is None else float(f"{v:.6f}") for v in values]
    assert parsed.values.to_list() == expected


@settings(deadline=None)
@given(st.lists(st.text(max_size=12), min_size=1, max_size=30), st.sampled_from([".", ","]), st.booleans())
def test_any_text_gives_finite_numbers_or_text_and_accounts_for_the_rest(
    cells: list[str], decimal: str, large: bool
) -> None:
    parsed = parse(*cells, decimal=decimal, large=large)
    assert parsed.values.len() == len(cells)
    if parsed.is_number:
        assert all(v is None or math.isfinite(v) for v in parsed.values.to_list())
        filled = sum(bool(cell.strip().strip('"\u00a0').strip()) for cell in cells)
        told = sum(parsed.counts[kind] for kind in ("missing", "not_finite", "text", "other_unit"))
        assert parsed.values.count() + told == filled
