"""Cells of text -> numbers."""

from __future__ import annotations

import math

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.errors import InputRefused
from ridelog.readers.numbers import file_decimal, parse_column


def parse(*cells: str | None, decimal: str = ".", channel: str | None = None, unit: str | None = None):
    return parse_column(pl.Series("x", cells, dtype=pl.String), decimal, channel=channel, unit=unit)  # type: ignore[arg-type]


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


@pytest.mark.parametrize("cell", ["12:30", "0x1F", "1_000", "5 6", "1,2,3", "1.2.3", "--5", "5-", "1'00"])
def test_what_is_no_number_is_told(cell: str) -> None:
    parsed = parse(cell, *["5"] * 9)
    assert parsed.values.to_list() == [None, *[5.0] * 9]
    assert parsed.counts == {"text": 1}
    assert parsed.examples["text"] == (0, cell)


@pytest.mark.parametrize("cell", ["1-May", "May-26", "01. Mai", "5-févr", "3-août", "1-mag", "12-dic", "7-okt"])
def test_a_date_among_numbers_is_a_spreadsheets(cell: str) -> None:
    with pytest.raises(InputRefused, match="spreadsheet"):
        parse(cell, *["5"] * 9)
    assert parse(cell, *["gone by"] * 9).values[0] == cell


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


# Cells, the file's decimal sign, what the column is by its name (and unit), and the values they mean.
THOUSANDS = [
    # Plain values of three digits beside groups of three: nothing but thousands.
    (["950", "1,050", "8,500"], ",", None, None, [950, 1050, 8500]),
    (["950", "1.050", "8.500"], ".", None, None, [950, 1050, 8500]),
    (["980", "1,050", "-"], ",", "exhaust_gas_c", "C", [980, 1050, None]),
    (["980", "1.050", "1.250"], ",", "elevation_m", "m", [980, 1050, 1250]),
    (["-980", "-1,050"], ",", None, None, [-980, -1050]),
    # In a file of decimal commas a dot can only be this, whatever the channel.
    (["1.050", "1.250"], ",", None, None, [1050, 1250]),
    (["1.050", "1.250"], ",", "elevation_m", "m", [1050, 1250]),
    (["1.050,5", "1.250"], ",", None, None, [1050.5, 1250]),
    (["1,050", "1,250"], ".", None, None, [1050, 1250]),
    (["1,050", "90.5"], ",", None, None, [1050, 90.5]),
    # Only one reading is possible for the channel.
    (["8,500", "3,000", "0"], ",", "engine_rpm", None, [8500, 3000, 0]),
    (["8.500", "3.000", "0"], ".", "engine_rpm", "rpm", [8500, 3000, 0]),
    (["1,013", "1,011"], ",", "baro_kpa", "hPa", [1013, 1011]),
]
DECIMALS = [
    (["90,125", "91,250"], ".", "coolant_c", "C", [90.125, 91.25]),
    (["90.125", "91.250"], ",", "coolant_c", "C", [90.125, 91.25]),
    (["190,125", "91,250"], ".", "coolant_c", "F", [190.125, 91.25]),
    (["13,850", "13,900"], ".", "battery_v", "V", [13.85, 13.9]),
    (["1,013", "1,011"], ".", "baro_kpa", "bar", [1.013, 1.011]),
    (["47,125", "47,126"], ".", "lat_deg", None, [47.125, 47.126]),
    (["8,500", "0,950"], ".", None, None, [8.5, 0.95]),
    (["8.500", "0.950"], ",", None, None, [8.5, 0.95]),
    (["8.500", "7.25"], ",", None, None, [8.5, 7.25]),
    (["8,500", "7,25", "980"], ".", None, None, [8.5, 7.25, 980]),
    (["8.500", "1200"], ".", "engine_rpm", None, [8.5, 1200]),
    (["8.500", "90"], ".", None, None, [8.5, 90]),
    (["8.500", "3.000"], ".", "engine_rpm", "krpm", [8.5, 3.0]),
    (["100", "99.125"], ".", "coolant_c", "C", [100, 99.125]),
]


@pytest.mark.parametrize(("cells", "decimal", "channel", "unit", "values"), THOUSANDS)
def test_three_digits_behind_a_sign_are_thousands(
    cells: list[str], decimal: str, channel: str | None, unit: str | None, values: list[float | None]
) -> None:
    parsed = parse(*cells, decimal=decimal, channel=channel, unit=unit)
    assert parsed.values.to_list() == values
    assert parsed.counts["grouped"] == sum("." in cell or "," in cell for cell in cells if cell != "90.5")


@pytest.mark.parametrize(("cells", "decimal", "channel", "unit", "values"), DECIMALS)
def test_three_digits_behind_a_sign_are_decimals(
    cells: list[str], decimal: str, channel: str | None, unit: str | None, values: list[float]
) -> None:
    parsed = parse(*cells, decimal=decimal, channel=channel, unit=unit)
    assert parsed.values.to_list() == values
    assert parsed.counts["grouped"] == 0
    # What the rest of the file does not suggest is told.
    sign = "," if any("," in cell for cell in cells) else "."
    assert (parsed.signs is not None and parsed.signs.why is not None) == (sign != decimal)


@pytest.mark.parametrize(("cells", "decimal"), [(["92 C", "1,050 C", "850 C"], ","), (["92", "1.050 C", "850"], ",")])
def test_a_unit_behind_the_cells_changes_nothing(cells: list[str], decimal: str) -> None:
    assert parse(*cells, decimal=decimal, channel="exhaust_gas_c", unit="C").values.to_list() == [92, 1050, 850]


@settings(deadline=None)
@given(st.lists(st.integers(100, 9_999), min_size=4, max_size=40), st.sampled_from(".,"), st.sampled_from(".,"))
def test_whole_numbers_with_signs_between_thousands_survive(values: list[int], sign: str, decimal: str) -> None:
    values = [*values, 500, 7500]
    cells = [f"{value:,}".replace(",", sign) for value in values]
    assert parse(*cells, decimal=decimal).values.to_list() == values


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
@given(
    st.lists(st.text(max_size=12), min_size=1, max_size=30),
    st.sampled_from([".", ","]),
    st.sampled_from([None, "engine_rpm", "coolant_c", "baro_kpa"]),
)
def test_any_text_gives_finite_numbers_or_text_and_accounts_for_the_rest(
    cells: list[str], decimal: str, channel: str | None
) -> None:
    parsed = parse(*cells, decimal=decimal, channel=channel)
    assert parsed.values.len() == len(cells)
    if parsed.is_number:
        assert all(v is None or math.isfinite(v) for v in parsed.values.to_list())
        filled = sum(bool(cell.strip().strip('"\u00a0').strip()) for cell in cells)
        told = sum(parsed.counts[kind] for kind in ("missing", "not_finite", "text", "other_unit"))
        assert parsed.values.count() + told == filled


def test_a_column_read_twice_gives_the_same_notes_in_the_same_order() -> None:
    # Examples once came in whatever order a table of different cells had.
    cells = [f"{n}'{500 + n}" for n in range(1, 60)] + ["n/a", "12 C", "abc", "--"] * 3
    read = [parse_column(pl.Series("x", cells), ".") for _ in range(8)]
    assert all(one.examples == read[0].examples for one in read)
    assert all(list(one.counts) == list(read[0].counts) for one in read)
    assert read[0].examples["grouped"] == (0, "1'501")
