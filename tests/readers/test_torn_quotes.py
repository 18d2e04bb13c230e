"""Logs cut off anywhere, and signs that only some programs take for line ends."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridelog.errors import InputRefused
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers import delimited_fast
from ridelog.ride import Ride

ROWS = 40


def read(tmp_path: Path, text: str) -> Ride:
    path = tmp_path / "a.csv"
    path.write_bytes(text.encode())
    (ride,) = read_rides([path], ImportOptions())
    return ride


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_a_quoted_log_cut_anywhere_loses_its_last_rows_only(separator: str, newline: str, tmp_path: Path) -> None:
    lines = [separator.join(('"Time [s]"', '"Coolant [C]"'))]
    lines += [separator.join((f'"{n},5"', f'"{80 + n % 9},{n % 10}"')) for n in range(ROWS)]
    whole = newline.join(lines) + newline
    ends = [len(newline.join(lines[: n + 1])) for n in range(ROWS + 1)]
    for cut in (*range(ends[5], ends[-5], 7), *range(ends[-5], len(whole))):
        kept = sum(end <= cut for end in ends) - 1
        ride = read(tmp_path, whole[:cut])
        # The row being written may be kept where its last cell is whole, or left out; none before it is lost.
        assert kept - 1 <= ride.samples.height <= kept + 1, cut
        full = min(kept, ride.samples.height) - 1
        assert ride.samples["coolant_c"].to_list()[:full] == [80 + n % 9 + n % 10 / 10 for n in range(full)]


def test_a_lone_quote_higher_up_is_still_an_ordinary_sign(tmp_path: Path) -> None:
    rows = [f"{n},{80 + n % 9},x\n" for n in range(ROWS)]
    rows[7] = rows[7].replace("x", 'x"')
    ride = read(tmp_path, "Time [s],Coolant [C],Remark\n" + "".join(rows) + '40,80,"x')
    assert ride.samples.height >= ROWS


@pytest.mark.parametrize("sign", ["\x0b", "\x0c", "\x1c", "\x1d", "\x1e", "\x85", "\u2028", "\u2029"])
@pytest.mark.parametrize("units", [False, True])
@pytest.mark.parametrize("careful", [False, True])
@pytest.mark.parametrize("place", ["preamble", "header", "row", "every_20th"])
def test_other_line_signs_lose_no_row(sign: str, units: bool, careful: bool, place: str, tmp_path: Path) -> None:
    lines = [f"a remark{sign if place == 'preamble' else ' '}and more"]
    name = f"Re{sign}mark" if place == "header" else "Remark"
    lines.append(
        f"Time,Coolant temp,Engine speed,{name}" if units else f"Time [s],Coolant temp [C],Engine speed [rpm],{name}"
    )
    lines += ["s,C,rpm,-"] if units else []
    for n in range(400):
        here = (place == "row" and n == 200) or (place == "every_20th" and n % 20 == 0)
        cell = f'"{80 + n % 9}"' if careful and n == 300 else str(80 + n % 9)
        lines.append(f"{n},{cell},{5000 + n},{f'a{sign}b' if here else 'ab'}")
    ride = read(tmp_path, "\n".join(lines) + "\n")
    assert ride.samples.height == 400
    assert ride.samples["engine_rpm"].to_list() == [5000.0 + n for n in range(400)]
    assert ride.samples["coolant_c"].to_list() == [80.0 + n % 9 for n in range(400)]


def test_a_line_longer_than_any_row_inside_a_batch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(delimited_fast, "BATCH_BYTES", 64 * 1024 * 1024)
    with pytest.raises(InputRefused, match="line 62 is longer"):
        read(
            tmp_path,
            "Time [s],Coolant [C]\n" + "".join(f"{n},80\n" for n in range(60)) + "1," * 6_000_000 + "\n61,80\n",
        )


@pytest.mark.parametrize("cell", ['""80.5', '"80.5"x', '"80"".5', '80"."5"', '8"0.5', '"80.5" x', '"', '"""'])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_marks_that_do_not_enclose_a_cell_cost_no_more_than_the_cell(cell: str, separator: str, tmp_path: Path) -> None:
    # Found by fuzzing: the parser failed at a cell that begins with a mark and goes on behind the closing one.
    rows = [[str(n), str(80 + n % 9), str(4000 + n)] for n in range(ROWS)]
    rows[7][1] = cell
    text = "\n".join(separator.join(row) for row in [["Time [s]", "Coolant [C]", "RPM"], *rows]) + "\n"
    ride = read(tmp_path, text)
    assert ride.samples["engine_rpm"].to_list() == [4000.0 + n for n in range(ROWS)]
    coolant = ride.samples["coolant_c"].to_list()
    assert coolant[:7] + coolant[8:] == [80.0 + n % 9 for n in range(ROWS) if n != 7]


@pytest.mark.parametrize("around", ['"{}"', ' "{}"', '"{}" ', '  "{}"  '])
def test_blanks_around_enclosed_cells_change_nothing(around: str, tmp_path: Path) -> None:
    rows = [(f"{n},0", f"{80 + n % 9},5") for n in range(ROWS)]
    text = "Time [s],Coolant [C]\n" + "".join(",".join(around.format(c) for c in row) + "\n" for row in rows)
    ride = read(tmp_path, text)
    assert ride.samples["coolant_c"].to_list() == [80.5 + n % 9 for n in range(ROWS)]


def test_a_lone_mark_in_a_comment_does_not_open_the_cells(tmp_path: Path) -> None:
    rows = [f'"{n},0","{80 + n % 9},5"\n' for n in range(ROWS)]
    rows.insert(9, '# front tyre 21"\n')
    ride = read(tmp_path, "Time [s],Coolant [C]\n" + "".join(rows))
    assert ride.samples["coolant_c"].to_list() == [80.5 + n % 9 for n in range(ROWS)]
