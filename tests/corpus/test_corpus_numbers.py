"""How numbers go wrong: decimal signs, thousands, units behind values, words for nothing, spreadsheets, raw counts."""

# ruff: noqa: E501 - the tables have one case a line
from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from corpus_files import (
    HEADER,
    START,
    Form,
    clock,
    kinds,
    lines,
    note,
    read,
    refused,
    same_ride,
    text,
    timed,
    with_cell,
    with_column,
    write,
)

from ridelog.bike import parse_bike
from ridelog.errors import AmbiguousColumn


@pytest.mark.parametrize("separator", [";", "\t"])
@pytest.mark.parametrize("late", [False, True])
def test_decimal_commas(separator: str, late: bool, tmp_path: Path) -> None:
    # `late`: nothing but whole numbers for half the file.
    found = lines(Form(separator=separator, decimal=","))
    if late:
        names, rows = found[0], [row.split(separator) for row in found[1:]]
        for number, row in enumerate(rows):
            row[0] = f"{number * 500}"
            if number < 300:
                row[1], row[3], row[4] = (cell.split(",")[0] for cell in (row[1], row[3], row[4]))
        ride = read(tmp_path, text([names.replace("[s]", "[ms]"), *(separator.join(row) for row in rows)]))
        same_ride(ride, within={"coolant_c": 1.0, "throttle_pct": 1.0, "gps_speed_mps": 1 / 3.6})
        assert ride.samples["coolant_c"][-1] == 88.8
        note(ride, "decimal_comma")
    else:
        same_ride(read(tmp_path, text(found)))


def test_decimal_commas_in_quotation_marks(tmp_path: Path) -> None:
    ride = read(tmp_path, write(Form(decimal=",", quote_all=True)))
    same_ride(ride)
    note(ride, "decimal_comma")


@pytest.mark.parametrize("sign", [".", ",", "'", "’", "\u202f", "\u00a0", " "])
def test_signs_between_thousands(sign: str, tmp_path: Path) -> None:
    separator = ";" if sign in ".," else ","
    ride = read(tmp_path, write(Form(separator=separator, cell={2: lambda v: f"{v:,.0f}".replace(",", sign)})))
    same_ride(ride)
    note(ride, "cells_grouped")


def test_units_behind_the_values(tmp_path: Path) -> None:
    cells = {
        1: lambda v: f"{v:.1f} °C",
        2: lambda v: f"{v:.0f}rpm",
        3: lambda v: f"{v:.1f}%",
        4: lambda v: f"{v:.1f} km/h",
    }
    bare = ("Time", "Coolant temp", "Engine speed", "Throttle", "GPS speed", "Gear")
    ride = read(tmp_path, write(Form(header=bare, cell=cells)))
    same_ride(ride)
    note(ride, "cells_unit_in_cell")


def test_units_behind_the_values_against_the_header(tmp_path: Path) -> None:
    refused(tmp_path, with_cell(1, lambda _n, cell: f"{cell} F"), "header gives")


def test_a_few_values_in_another_unit_are_none(tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(1, lambda n, cell: f"{cell} F" if n in (50, 51) else cell))
    assert ride.samples["coolant_c"].null_count() == 2
    assert note(ride, "cells_other_unit").rows == 2


@pytest.mark.parametrize(
    "word", ["NaN", "nan", "NA", "N/A", "null", "-", "--", "", "#N/A", "#DIV/0!", "----", "inf", "1e400", "-nan(ind)", "1.#QNAN", "-1.#INF"]
)  # fmt: skip
def test_words_that_stand_for_nothing(word: str, tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(1, lambda n, cell: word if n in (50, 51, 400) else cell))
    assert ride.samples.height == 600
    assert ride.samples["coolant_c"].null_count() == 3
    assert ride.samples["coolant_c"].is_finite().all()
    if word:
        assert {one.rows for one in ride.notes if one.kind in ("cells_missing", "cells_not_finite")} == {3}


@pytest.mark.parametrize("digits", [0xFF10, 0x660])
def test_digits_of_other_scripts(digits: int, tmp_path: Path) -> None:
    table = {48 + n: digits + n for n in range(10)}
    same_ride(read(tmp_path, with_cell(2, lambda _n, cell: cell.translate(table))))


@pytest.mark.parametrize("minus", ["\u2212", "\u2013", "\uff0d"])
def test_a_minus_of_another_kind(minus: str, tmp_path: Path) -> None:
    content = with_cell(1, lambda n, cell: f"{minus}{n}.5" if n < 12 else cell)
    ride = read(tmp_path, content)
    assert ride.samples["coolant_c"].head(12).to_list() == [-n - 0.5 for n in range(12)]
    assert note(ride, "cells_odd_characters").rows == 12


# -- what a spreadsheet leaves ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("date", ["1-May", "May-26", "01. Mai", "5-févr"])
@pytest.mark.parametrize("rows", [range(100, 101), range(100, 400)])
def test_numbers_turned_into_dates(date: str, rows: range, tmp_path: Path) -> None:
    refused(tmp_path, with_cell(1, lambda n, cell: date if n in rows else cell), "spreadsheet")


@pytest.mark.parametrize("head", ["Time", "Time [s]", "Date and time"])
@pytest.mark.parametrize("days", [0, 46_145])
def test_times_as_parts_of_a_day(head: str, days: int, tmp_path: Path) -> None:
    refused(tmp_path, timed(head, lambda t: f"{days + (29_700 + t) / 86_400:.9f}"), "spreadsheet")


@pytest.mark.parametrize("digits", [2, 5])
@pytest.mark.parametrize(("head", "factor"), [("Timestamp", 1000), ("Timestamp [ms]", 1000), ("Timestamp [s]", 1)])
def test_long_stamps_rounded(digits: int, head: str, factor: int, tmp_path: Path) -> None:
    content = timed(head, lambda t: f"{(START.timestamp() + t) * factor:.{digits}E}")
    refused(tmp_path, content, "spreadsheet")


def test_long_stamps_rounded_to_a_few_values(tmp_path: Path) -> None:
    # 1.77779E+12 stands for 16.7 minutes: ten rows of it are no clock of 600 rows.
    content = timed("Timestamp [ms]", lambda t: f"{(START.timestamp() + t * 30) * 1000:.6E}")
    refused(tmp_path, content, "share")


def test_times_without_their_seconds(tmp_path: Path) -> None:
    refused(tmp_path, timed("Time", lambda t: clock(t)[:5]), "no seconds")


@pytest.mark.parametrize("last", [65_536, 1_048_576])
def test_a_table_that_ends_where_spreadsheets_end(last: int, tmp_path: Path) -> None:
    content = "Time [s],Coolant temp [C]\n" + "".join(f"{n / 20:.2f},80\n" for n in range(last - 1))
    note(read(tmp_path, content), "spreadsheet_end")
    assert "spreadsheet_end" not in kinds(read(tmp_path, content + f"{last / 20:.2f},80\n"))


# -- counts and states ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("written", [lambda v: hex(int(v) + 40), lambda v: f"{int(v) + 160:02X}h"])
def test_counts_in_hexadecimal_are_no_temperature(written: Callable[[float], str], tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(1, lambda _n, cell: written(float(cell))))
    assert "coolant_c" not in ride.samples.columns
    assert "raw.Coolant temp" in ride.samples.columns
    note(ride, "not_numbers")


def test_raw_counts_are_no_temperature(tmp_path: Path) -> None:
    counts = lambda _n, cell: f"{float(cell) * 37:.0f}"  # noqa: E731
    refused(tmp_path, with_cell(1, counts, head="Coolant temp"), "neither C nor F nor kelvin")
    ride = read(tmp_path, with_cell(1, counts))
    assert "coolant_c" not in ride.samples.columns
    assert "ATTENTION" in note(ride, "unit_contradiction").text


@pytest.mark.parametrize("full", [1023, 4095])
def test_raw_counts_are_no_opening(full: int, tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(3, lambda _n, cell: f"{float(cell) / 100 * full:.0f}", head="Throttle"))
    assert "throttle_pct" not in ride.samples.columns
    note(ride, "raw_counts")


@pytest.mark.parametrize(("on", "off"), [("1", "0"), ("TRUE", "false"), ("ein", "aus"), ("oui", "non"), ("On", "Off")])
def test_states_in_words(on: str, off: str, tmp_path: Path) -> None:
    ride = read(tmp_path, with_column("Fan", lambda n: on if n // 50 % 2 else off))
    assert ride.samples["fan_on"].to_list() == [float(n // 50 % 2) for n in range(600)]


def test_map_words_go_through_the_bike_file(tmp_path: Path) -> None:
    bike = parse_bike(
        'schema = 1\nid = "b"\n[maps]\nconservative_slot = 2\nslot_values = { "hard" = 1, "soft" = 2 }\n', "b.toml"
    )
    content = with_column("Map", lambda n: "hard" if n < 300 else "soft" if n < 590 else "between")
    ride = read(tmp_path, content, bike=bike)
    assert ride.samples["map_slot"].to_list() == [1.0] * 300 + [2.0] * 290 + [None] * 10
    without = read(tmp_path, content)
    assert "map_slot" not in without.samples.columns
    assert "map_unread" in kinds(without)


def test_what_is_asked_for_names_its_options(tmp_path: Path) -> None:
    error = refused(tmp_path, with_cell(4, lambda _n, cell: cell, head="GPS speed"), "without a unit")
    assert isinstance(error, AmbiguousColumn)
    for option in error.options:
        read(tmp_path, with_cell(4, lambda _n, cell: cell, head="GPS speed"), "log.csv", option)
    assert HEADER[4] not in error.options
