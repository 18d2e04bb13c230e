"""How the shape of a table goes wrong: what stands above, between and beside the rows."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from corpus_files import HEADER, Form, iso, kinds, lines, note, read, refused, same_ride, text, timed, write

BARE = ("Time", "Coolant temp", "Engine speed", "Throttle", "GPS speed", "Gear")
UNITS = ("s", "°C", "rpm", "%", "km/h", "")


@pytest.mark.parametrize("before", [["A ride"], ["Rider;Somebody", "", "cool, damp"], ['it is 21" high', "x"]])
def test_lines_above_the_header(before: list[str], tmp_path: Path) -> None:
    ride = read(tmp_path, text([*before, *lines()]))
    same_ride(ride)
    note(ride, "preamble")


def test_a_row_of_units(tmp_path: Path) -> None:
    ride = read(tmp_path, write(Form(header=BARE, units_row=UNITS)))
    same_ride(ride)
    note(ride, "units_row")


def test_header_and_units_again_in_the_middle(tmp_path: Path) -> None:
    found = lines(Form(header=BARE, units_row=UNITS))
    ride = read(tmp_path, text([*found[:300], *found[:2], *found[300:]]))
    same_ride(ride)
    note(ride, "repeated_header")
    assert len(ride.gaps) == 1


def test_another_header_in_the_middle(tmp_path: Path) -> None:
    found = lines()
    later = [found[0] + ",Battery [V]", *(row + ",13.5" for row in found[300:])]
    error = refused(tmp_path, text([*found[:300], *later]), "second header")
    assert "301" in error.where
    assert "split the file above row 301" in error.to_do


@pytest.mark.parametrize("head", [[], ["0,1,2,3,4,5"]])
def test_rows_without_a_header(head: list[str], tmp_path: Path) -> None:
    refused(tmp_path, text([*head, *lines()[1:]]), "no line that names the columns")


def test_a_column_twice_with_the_same_values(tmp_path: Path) -> None:
    found = lines()
    ride = read(tmp_path, text([found[0] + ",Gear", *(row + "," + row.split(",")[5] for row in found[1:])]))
    same_ride(ride)
    note(ride, "same_column")


def test_a_column_twice_with_other_values(tmp_path: Path) -> None:
    found = lines()
    head = found[0] + ",Coolant temp [C]"
    refused(tmp_path, text([head, *(f"{row},{50 + n % 9}" for n, row in enumerate(found[1:]))]), "values differ")


def test_a_few_short_rows(tmp_path: Path) -> None:
    found = lines()
    for at in (101, 102, 103):
        found[at] = found[at].rsplit(",", 1)[0]
    ride = read(tmp_path, text(found))
    same_ride(ride, only=("coolant_c", "engine_rpm", "throttle_pct", "gps_speed_mps"))
    assert note(ride, "short_rows").rows == 3
    assert ride.samples["gear"].null_count() == 3


def test_many_short_rows(tmp_path: Path) -> None:
    found = lines()
    found[100:112] = [row.rsplit(",", 2)[0] for row in found[100:112]]
    error = refused(tmp_path, text(found), "rows do not fit")
    assert "101" in error.where


def test_a_few_long_rows(tmp_path: Path) -> None:
    found = lines()
    found[100] = found[100].replace(".", ",")
    ride = read(tmp_path, text(found))
    same_ride(ride, rows=[n for n in range(600) if n != 99])
    assert "line 101 has 10, the header names 6" in note(ride, "left_out_long_rows").sentence()


def test_decimal_commas_between_commas(tmp_path: Path) -> None:
    found = lines()
    refused(tmp_path, text([found[0], *(row.replace(".", ",") for row in found[1:])]), "decimal commas")


@pytest.mark.parametrize("rows_only", [False, True])
def test_a_separator_at_the_end(rows_only: bool, tmp_path: Path) -> None:
    found = lines()
    ride = read(tmp_path, text([found[0] + ("" if rows_only else ","), *(row + "," for row in found[1:])]))
    same_ride(ride)
    assert ride.notes == ()


def test_blank_lines_are_no_rows(tmp_path: Path) -> None:
    ride = read(tmp_path, text([one for row in lines() for one in (row, "")]))
    same_ride(ride)
    assert ride.gaps == ()


def test_blanks_around_names_and_values(tmp_path: Path) -> None:
    found = [",".join(f"  {cell} " for cell in row.split(",")) for row in lines()]
    same_ride(read(tmp_path, text(found)))


@pytest.mark.parametrize("mark", ["LAP 1", "# a stop", "MARK;2", "LAP,,,,,", '"Lap 2",,,,,'])
def test_a_mark_between_the_rows(mark: str, tmp_path: Path) -> None:
    found = lines()
    ride = read(tmp_path, text([*found[:100], mark, *found[100:]]))
    same_ride(ride)
    told = [one for one in ride.notes if one.kind in ("left_out_marker", "left_out_no_time")]
    assert [one.rows for one in told] == [1]


def test_columns_in_another_order(tmp_path: Path) -> None:
    ride = read(tmp_path, write(Form(order=(5, 2, 4, 0, 3, 1))))
    same_ride(ride)
    assert ride.notes == ()


def test_rows_from_last_to_first(tmp_path: Path) -> None:
    for content in (text([lines()[0], *reversed(lines()[1:])]), timed("Timestamp", iso)):
        found = content.rstrip("\n").split("\n")
        if content.startswith("Timestamp"):
            found = [found[0], *reversed(found[1:])]
        ride = read(tmp_path, text(found))
        same_ride(ride)
        note(ride, "reversed")


@pytest.mark.parametrize("away", [1, 3, 7])
def test_rows_a_little_out_of_order(away: int, tmp_path: Path) -> None:
    found = lines()
    for at in range(1, 580, 11):
        found[at], found[at + away] = found[at + away], found[at]
    ride = read(tmp_path, text(found))
    same_ride(ride)
    note(ride, "out_of_order")


@pytest.mark.parametrize("seed", range(5))
def test_rows_sorted_by_something_else(seed: int, tmp_path: Path) -> None:
    found = lines()
    rows = sorted(found[1:], key=lambda row: row.split(",")[2 + seed % 3])
    if seed > 2:
        random.Random(seed).shuffle(rows)  # noqa: S311
    ride = read(tmp_path, text([found[0], *rows]))
    same_ride(ride)
    note(ride, "out_of_order")


def test_rows_sorted_by_something_else_under_whole_seconds(tmp_path: Path) -> None:
    found = timed(HEADER[0], lambda t: f"{t:.0f}").rstrip("\n").split("\n")
    rows = sorted(found[1:], key=lambda row: float(row.split(",")[2]))
    refused(tmp_path, text([found[0], *rows]), "runs backwards")


def test_every_row_twice(tmp_path: Path) -> None:
    found = lines()
    ride = read(tmp_path, text([found[0], *(row for row in found[1:] for _ in range(2))]))
    same_ride(ride)
    assert note(ride, "left_out_copies").rows == 600


def test_every_row_twice_and_a_recording_that_begins_inside(tmp_path: Path) -> None:
    found = lines()
    double = [row for row in found[1:] for _ in range(2)]
    ride = read(tmp_path, text([found[0], *double[:600], found[0], *double[600:]]))
    same_ride(ride)
    assert len(ride.gaps) == 1
    assert {"left_out_copies", "repeated_header"} <= kinds(ride)


def test_one_time_and_two_values(tmp_path: Path) -> None:
    found = lines()
    other = found[70].split(",")
    other[1] = "1.0"
    ride = read(tmp_path, text([*found[:70], ",".join(other), *found[70:]]))
    same_ride(ride)
    assert note(ride, "left_out_same_time").rows == 1


def test_a_clock_of_whole_seconds_under_a_faster_log(tmp_path: Path) -> None:
    ride = read(tmp_path, timed(HEADER[0], lambda t: f"{int(t)}"))
    same_ride(ride)
    note(ride, "stamps_spread")
