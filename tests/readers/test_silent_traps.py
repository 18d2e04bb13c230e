"""Ways in which a table library returns wrong rows without an error: each must be caught here.

The traps were met with polars 2.1 and pyarrow 26; every test says what would happen without the check.
"""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from ridelog.errors import InputRefused
from ridelog.ingest import ImportOptions, read_rides
from ridelog.ride import Ride

HEADER = "Time [s],Coolant temp [C],Engine speed [rpm]"


def read(tmp_path: Path, text: str | bytes, name: str = "log.csv") -> Ride:
    path = tmp_path / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    rides = read_rides([path], ImportOptions())
    assert len(rides) == 1
    return rides[0]


def table(rows: int, header: str = HEADER, extra: str = "") -> str:
    return header + "\n" + "".join(f"{n / 10:.1f},{80 + n % 7}.5,{5000 + n % 90}{extra}\n" for n in range(rows))


def table_of(columns: dict[str, object], path: Path) -> None:
    pq.write_table(pa.table(columns), path)


def kinds(ride: Ride) -> set[str]:
    return {note.kind for note in ride.notes}


def test_a_lone_quote_in_the_header_loses_no_row(tmp_path: Path) -> None:
    # The parser takes everything up to the next quote for one cell: 0 of 1,000 rows, no error.
    ride = read(tmp_path, table(1000, HEADER + ',wheel 21" travel', ",4"))
    assert ride.samples.height == 1000
    assert 'raw.wheel 21" travel' in ride.samples.columns


@pytest.mark.parametrize("line", [5, 500, 950])
def test_a_lone_quote_in_a_row_loses_no_row(tmp_path: Path, line: int) -> None:
    lines = table(1000, HEADER + ",Note", ",fine").splitlines()
    lines[line] = lines[line].replace("fine", '21" rim')
    ride = read(tmp_path, "\n".join(lines) + "\n")
    assert ride.samples.height == 1000
    assert "quotes" in kinds(ride)
    assert '21" rim' in ride.samples["raw.Note"].to_list()


def test_odd_quotes_in_a_preamble_lose_no_row(tmp_path: Path) -> None:
    ride = read(tmp_path, 'made "by\nhand" "\n' + table(200))
    assert ride.samples.height == 200


def test_a_quoted_separator_is_no_separator(tmp_path: Path) -> None:
    ride = read(tmp_path, table(50, HEADER + ",Note", ',"one, two"'))
    assert ride.samples.height == 50
    assert set(ride.samples["raw.Note"]) == {"one, two"}


def test_a_short_row_is_padded_and_told(tmp_path: Path) -> None:
    # The parser pads with nulls and says nothing.
    lines = table(500, HEADER + ",Gear", ",3").splitlines()
    lines[200] = lines[200].removesuffix(",3")
    ride = read(tmp_path, "\n".join(lines) + "\n")
    note = next(note for note in ride.notes if note.kind == "short_rows")
    assert note.rows == 1
    assert "line 201" in str(note.example)
    assert ride.samples["gear"].null_count() == 1


def test_one_short_and_one_long_row_do_not_cancel_out(tmp_path: Path) -> None:
    lines = table(500, HEADER + ",Gear", ",").splitlines()
    lines[100], lines[300] = lines[100].removesuffix(","), lines[300] + ",9"
    ride = read(tmp_path, "\n".join(lines) + "\n")
    assert {"short_rows", "left_out_long_rows"} <= kinds(ride)
    assert ride.samples.height == 499


def test_integers_for_hundreds_of_rows_and_then_a_fraction(tmp_path: Path) -> None:
    rows = [f"{n / 10:.1f},{80 if n < 900 else 80.5},5000" for n in range(1000)]
    ride = read(tmp_path, HEADER + "\n" + "\n".join(rows) + "\n")
    assert ride.samples["coolant_c"][-1] == 80.5


@pytest.mark.parametrize("separator", [";", "\t"])
def test_a_decimal_comma_that_first_shows_after_many_blanks(tmp_path: Path, separator: str) -> None:
    header = HEADER.replace(",", separator)
    rows = [separator.join((f"{n}", "" if n < 700 else f"{n % 9},1", "5000")) for n in range(1000)]
    ride = read(tmp_path, header + "\n" + "\n".join(rows) + "\n")
    assert ride.samples["coolant_c"].null_count() == 700
    assert ride.samples["coolant_c"][-1] == pytest.approx(999 % 9 + 0.1)


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("NaN", "cells_missing"),
        ("nan", "cells_missing"),
        ("-nan(ind)", "cells_not_finite"),
        ("1.#QNAN", "cells_not_finite"),
        ("inf", "cells_not_finite"),
        ("1e400", "cells_not_finite"),
        ("-", "cells_missing"),
        ("#DIV/0!", "cells_missing"),
        ("N/A", "cells_missing"),
        ("null", "cells_missing"),
        ("soon", "cells_text"),
    ],
)
@pytest.mark.parametrize("line", [7, 1500])
def test_no_word_becomes_a_number_or_infinity(tmp_path: Path, word: str, kind: str, line: int) -> None:
    # One parser reads NaN as a number that is above every threshold, 1e400 as infinity; text turns the column to text.
    lines = table(2000).splitlines()
    cells = lines[line].split(",")
    lines[line] = ",".join((cells[0], word, cells[2]))
    ride = read(tmp_path, "\n".join(lines) + "\n")
    column = ride.samples["coolant_c"]
    assert column.null_count() == 1
    assert column.is_finite().all()
    note = next(note for note in ride.notes if note.kind == kind)
    assert note.rows == 1
    assert f"line {line + 1}" in str(note.example)


def test_padded_and_grouped_cells_are_not_turned_to_null(tmp_path: Path) -> None:
    lines = [HEADER, *(f"{n / 10:.1f}, 90.5,8'500" for n in range(50))]
    ride = read(tmp_path, "\n".join(lines) + "\n")
    assert set(ride.samples["coolant_c"]) == {90.5}
    assert set(ride.samples["engine_rpm"]) == {8500.0}


@pytest.mark.parametrize("late", [False, True])
def test_a_dot_between_thousands_is_no_decimal_sign(tmp_path: Path, late: bool) -> None:
    values = ["950"] * 500 + ["8.500"] * 20 if late else ["950", "8.500"] * 100
    text = HEADER + "\n" + "".join(f"{n / 10:.1f},80.5,{v}\n" for n, v in enumerate(values))
    ride = read(tmp_path, text)
    assert set(ride.samples["engine_rpm"]) == {950.0, 8500.0}
    assert "cells_grouped" in kinds(ride)


def test_dots_between_thousands_in_a_decimal_comma_file(tmp_path: Path) -> None:
    text = HEADER.replace(",", ";") + "\n" + "".join(f"{n};80,5;{'8.500' if n > 400 else '950'}\n" for n in range(600))
    assert set(read(tmp_path, text).samples["engine_rpm"]) == {950.0, 8500.0}


def test_a_cut_last_line_is_left_out(tmp_path: Path) -> None:
    # "210" may have been "2101": a valid number, and wrong.
    ride = read(tmp_path, table(100).removesuffix("\n")[:-1])
    assert ride.samples.height == 99
    note = next(note for note in ride.notes if note.kind == "left_out_cut_line")
    assert "line 101" in str(note.example)


def test_a_whole_last_line_without_a_line_end_is_kept_where_that_can_be_told(tmp_path: Path) -> None:
    text = "Time [s],RPM,Coolant temp [C]\n" + "".join(f"{n / 10:.1f},5000,{80 + n % 5}.5\n" for n in range(50))
    assert read(tmp_path, text.removesuffix("\n")).samples.height == 50
    assert read(tmp_path, text.removesuffix("5\n")).samples.height == 49


def test_a_latin_byte_far_down_is_not_swallowed(tmp_path: Path) -> None:
    lines = [line.encode() for line in table(3000, HEADER + ",Note", ",fine").splitlines()]
    lines[2500] = lines[2500].replace(b"fine", "Höhe".encode("cp1252"))
    ride = read(tmp_path, b"\n".join(lines) + b"\n")
    assert "encoding" in kinds(ride)
    assert ride.samples["raw.Note"][2499] == "Höhe"


def test_reading_a_strange_file_is_no_matter_of_luck(tmp_path: Path) -> None:
    lines = [line.encode() for line in table(60).splitlines()]
    lines[8] += b"\xb0"
    found = {read(tmp_path, b"\n".join(lines) + b"\n", f"{n}.csv").samples.height for n in range(20)}
    assert len(found) == 1


def test_empty_bytes_in_the_middle_tear_no_row_into_another(tmp_path: Path) -> None:
    data = table(400).encode()
    cut = data.index(b"\n20.0,") + 3
    ride = read(tmp_path, data[:cut] + b"\0" * 512 + data[cut + 9 :])
    assert "nul_bytes" in kinds(ride)
    assert set(ride.samples["engine_rpm"].drop_nulls()) <= {float(5000 + n) for n in range(90)}
    assert 397 <= ride.samples.height <= 400


def test_blank_lines_are_not_rows(tmp_path: Path) -> None:
    lines = table(300).splitlines()
    for at in (250, 200, 10):
        lines.insert(at, "")
    ride = read(tmp_path, "\n".join(lines) + "\n\n\n")
    assert ride.samples.height == 300
    assert ride.gaps == ()


def test_columns_are_found_by_name_never_by_place(tmp_path: Path) -> None:
    names, cells = HEADER.split(","), ("{t}", "81.5", "5100")
    order = [2, 0, 1]
    text = ",".join(names[n] for n in order) + "\n"
    text += "".join(",".join(cells[n].format(t=row / 10) for n in order) + "\n" for row in range(30))
    ride = read(tmp_path, text)
    assert set(ride.samples["coolant_c"]) == {81.5}
    assert set(ride.samples["engine_rpm"]) == {5100.0}


def test_the_same_column_twice(tmp_path: Path) -> None:
    ride = read(tmp_path, "Time [s],RPM,RPM\n" + "".join(f"{n},500{n % 9},500{n % 9}\n" for n in range(30)))
    assert ride.samples.columns == ["t_s", "engine_rpm"]
    assert "same_column" in kinds(ride)


def test_two_sensors_of_a_kind_are_both_kept(tmp_path: Path) -> None:
    text = "Time [s],Coolant temp 2 [C],Coolant temp 1 [C]\n" + "".join(f"{n},7{n % 9},8{n % 9}\n" for n in range(30))
    ride = read(tmp_path, text)
    assert ride.samples["coolant_c"][3] == 83.0
    assert ride.samples["coolant_c.2"][3] == 73.0
    assert ride.channels["coolant_c.2"].source.endswith("Coolant temp 2")


def test_a_hole_is_a_gap(tmp_path: Path) -> None:
    # A sum of all steps made 1.3 s of riding into 600 s.
    rows = [*np.arange(0, 10, 0.1), *np.arange(610, 620, 0.1)]
    text = "Time [s],Coolant temp [C],GPS speed [km/h]\n" + "".join(f"{t:.1f},95,36\n" for t in rows)
    ride = read(tmp_path, text)
    assert len(ride.gaps) == 1
    assert ride.gaps[0].length_s == pytest.approx(600.1)
    assert ride.distance_m == pytest.approx(10.0 * 19.8, rel=1e-6)
    assert ride.channels["coolant_c"].coverage == pytest.approx(19.8 / 619.9)


def test_rows_of_a_large_file_are_all_there_whatever_the_batch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from ridelog.readers import delimited_fast

    text = table(5000, HEADER + ",Map", ",A")
    whole = read(tmp_path, text)
    for size in (100, 1000, 4097):
        monkeypatch.setattr(delimited_fast, "BATCH_BYTES", size)
        parts = read(tmp_path, text)
        assert parts.samples.equals(whole.samples)
        assert parts.notes == whole.notes


def test_fast_and_careful_paths_agree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from ridelog.readers import delimited

    draw = random.Random(3)  # noqa: S311
    lines = [HEADER + ",Gear,Note"]
    lines += [
        f"{n / 20:.2f},{draw.uniform(20, 110):.2f},{draw.randint(1500, 9000)},{draw.choice(['', '1', '2'])},x"
        for n in range(3000)
    ]
    text = "\n".join(lines) + "\n"
    fast = read(tmp_path, text)
    monkeypatch.setattr(delimited, "read_fast", lambda *_: None)
    careful = read(tmp_path, text)
    assert careful.samples.equals(fast.samples)
    assert careful.channels == fast.channels


def test_no_value_that_is_no_number_leaves_a_table_of_another_program(tmp_path: Path) -> None:
    # [90, NaN, 106] has two values above 105 in two table libraries.
    table_of({"Time [s]": [0.0, 1.0, 2.0], "Coolant temp [C]": [90.0, float("nan"), 106.0]}, tmp_path / "log.parquet")
    ride = read_rides([tmp_path / "log.parquet"], ImportOptions())[0]
    assert ride.samples["coolant_c"].to_list() == [90.0, None, 106.0]
    assert int((ride.samples["coolant_c"] > 105).sum()) == 1


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_rows_keep_their_order_in_a_large_table(form: str, tmp_path: Path) -> None:
    # A lazy join loses the order of 200,000 rows; differences from row to row are nonsense then.
    n = np.arange(200_000)
    columns = {"Time [s]": n / 20, "Coolant temp [C]": 80.0 + n % 9, "Engine speed [rpm]": 3000.0 + n % 4999}
    path = tmp_path / f"log.{form}"
    if form == "parquet":
        table_of(columns, path)
    else:
        pl.DataFrame(columns).write_csv(path)
    ride = read_rides([path], ImportOptions())[0]
    np.testing.assert_allclose(ride.samples["t_s"], n / 20)
    np.testing.assert_array_equal(ride.samples["engine_rpm"], 3000 + n % 4999)
    assert ride.gaps == ()


def test_no_value_is_carried_over_an_hour_without_one(tmp_path: Path) -> None:
    # A join to the last value before, without a tolerance, fills the hour; windows leave it out as if it had not been.
    rows = [f"{t},{'' if 600 <= t < 4200 else 95},{4000 + t % 7}" for t in range(4800)]
    ride = read(tmp_path, HEADER + "\n" + "\n".join(rows) + "\n")
    assert ride.samples["coolant_c"].null_count() == 3600
    assert ride.samples.filter(pl.col("t_s").is_between(600, 4199))["coolant_c"].null_count() == 3600
    assert ride.channels["coolant_c"].coverage == pytest.approx(1200 / 4800, abs=0.01)
    assert any(mark.kind == "dropout" and mark.channel == "coolant_c" for mark in ride.quality)


def test_counts_without_a_sign_fall_below_zero_nowhere(tmp_path: Path) -> None:
    # In a type without a sign 5 - 9 is 252, and 4 - 65,530 a step of 10 that never was.
    count = np.array([(65_530 + 10 * n) % 65_536 for n in range(400)], dtype=np.uint16)
    gear = np.array([5, 4, 3, 2, 1] * 80, dtype=np.uint8)
    rpm = np.array([9000, 8000, 7000, 6000, 5000] * 80, dtype=np.uint16)
    table_of({"Time [ms]": count, "Engine speed [rpm]": rpm, "Gear": gear}, tmp_path / "log.parquet")
    ride = read_rides([tmp_path / "log.parquet"], ImportOptions())[0]
    np.testing.assert_allclose(ride.samples["t_s"], np.arange(400) / 100)
    assert "counter_wrap" in kinds(ride)
    assert ride.samples["gear"].diff().min() == -1.0
    assert ride.quality == ()


def test_a_void_fix_is_no_place_and_no_speed(tmp_path: Path) -> None:
    def sealed(body: str) -> str:
        total = 0
        for char in body.encode():
            total ^= char
        return f"${body}*{total:02X}\r\n"

    # One library gives latitude and longitude 0.0 for a sentence without a fix.
    void = "".join(sealed(f"GPRMC,1200{n:02d}.00,V,,,,,,,240726,,,N") for n in range(5))
    good = "".join(
        sealed(f"GPRMC,1200{n:02d}.00,A,4530.0000,N,00730.0000,E,10.0,090.0,240726,,,A") for n in range(5, 9)
    )
    ride = read(tmp_path, void + good, "log.nmea")
    for channel, value in (("lat_deg", 45.5), ("lon_deg", 7.5)):
        assert set(ride.samples[channel].drop_nulls()) == {value}
    assert 0.0 not in ride.samples["gps_speed_mps"].drop_nulls().to_list()


def test_no_call_that_loses_rows_or_values_without_an_error(repository: Path) -> None:
    # Not used at all, so that nobody has to remember what each needs to be safe.
    words = ("join_asof", "group_by_dynamic", "truncate_ragged_lines", "ignore_errors", "extra_columns", 'how="right"')
    sources = list((repository / "ridelog").rglob("*.py"))
    assert len(sources) > 100
    found = [(path.name, word) for path in sources for word in words if word in path.read_text(encoding="utf-8")]
    assert found == []


def test_a_map_column_in_kilopascal_is_a_pressure(tmp_path: Path) -> None:
    text = "Time [s],MAP [kPa],RPM\n" + "".join(f"{n},{60 + n % 40},5000\n" for n in range(60))
    ride = read(tmp_path, text)
    assert "map_slot" not in ride.samples.columns
    assert "raw.MAP" in ride.samples.columns
    unlabelled = read(tmp_path, text.replace(" [kPa]", ""))
    assert "map_slot" not in unlabelled.samples.columns
    assert "not_a_map" in kinds(unlabelled)


@pytest.mark.parametrize("line", ["[log]", "{settings}", "[log] 3", "MZ 12", "<no comment>"])
def test_a_preamble_may_begin_with_any_sign(tmp_path: Path, line: str) -> None:
    assert read(tmp_path, line + "\n" + table(60)).samples.height == 60


@pytest.mark.parametrize("sign", ["\x0b", "\x0c", "\x1c", "\u2028", "\x85"])
def test_other_line_signs_do_not_shift_the_rows(tmp_path: Path, sign: str) -> None:
    # Python's own splitting also ends lines at these, the parser does not: a row would be lost.
    ride = read(tmp_path, f"a remark{sign}more of it\n" + table(60))
    assert ride.samples.height == 60
    assert ride.samples["engine_rpm"][0] == 5000.0


def test_cells_without_end_are_no_trouble(tmp_path: Path) -> None:
    for cell in (
        " " * 200_000,
        "." * 200_000,
        "[" * 200_000,
        '"' + "x" * 150_000 + '"',
        "1" * 200_000,
        "_" * 100_000 + "[C]",
    ):
        ride = read(tmp_path, table(30, HEADER + "," + cell, ",1"))
        assert ride.samples.height == 30
        ride = read(tmp_path, cell + "\n" + table(30))
        assert ride.samples.height == 30


def test_only_a_ridelog_error_leaves_a_reader(tmp_path: Path) -> None:
    draw = random.Random(11)  # noqa: S311
    good = table(80).encode()
    for number in range(150):
        data = bytearray(good)
        for _ in range(draw.randint(1, 30)):
            data[draw.randrange(len(data))] = draw.randrange(256)
        path = tmp_path / f"{number}.csv"
        path.write_bytes(bytes(data[: draw.randint(1, len(data))]))
        reasons = []
        try:
            read_rides([path], ImportOptions())
        except InputRefused as error:
            reasons.append(error.found)
        assert not [reason for reason in reasons if "fault of ridelog" in reason], data
