"""What stands in a file never acts on the screen that shows it: no control characters in errors, notes and names."""

from __future__ import annotations

import re
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from ridelog.errors import InputRefused
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers.arrow_table import ArrowTableReader
from ridelog.readers.base import ReadOptions
from ridelog.readers.naming import split_unit
from ridelog.ride import Note

CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")


@pytest.mark.parametrize("sign", ["\0", "\x1b[31m", "\x7f", "\x9b2J", "\a"])
def test_errors_and_notes_write_control_characters_out(sign: str) -> None:
    error = InputRefused(f"a{sign}b", where=f"c{sign}", expected=f"{sign}d", to_do=f"e{sign}e")
    error.with_where(f"f{sign}")
    note = Note("kind", f"g{sign}", 1, f"h{sign}")
    for text in (str(error), error.found, error.where, error.expected, error.to_do, note.text, note.sentence()):
        assert not CONTROL.search(text)
    assert f"\\x{ord(sign[0]):02x}" in error.found
    assert Note("kind", "two\nlines\tof text").text == "two lines of text"


@pytest.mark.parametrize("name", ["Coolant\x1b[2J temp", "\0Coolant temp", "Coolant\ttemp", "Coolant temp\x7f"])
def test_names_have_no_control_characters(name: str) -> None:
    assert not CONTROL.search(split_unit(name)[0])


def test_a_file_with_control_characters_is_told_without_them(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = "".join(f"{n},80,{'on' if n % 7 else chr(27) + '[31m'}\n" for n in range(60))
    path.write_text("Time [s],Coolant [C],Map\x1b]0;x\x07\n" + rows, encoding="utf-8")
    (ride,) = read_rides([path], ImportOptions())
    assert not any(CONTROL.search(note.sentence()) for note in ride.notes)
    assert not any(CONTROL.search(name) for name in ride.samples.columns)


@pytest.mark.parametrize("names", [["", "coolant"], ["time", ""], ["", ""], ["\0", "\x1b"]])
def test_columns_without_a_name_get_one(names: list[str], tmp_path: Path) -> None:
    # Found by fuzzing.
    values = pa.array([0.5 * n for n in range(20)])
    pq.write_table(pa.Table.from_arrays([values, values], names=names), tmp_path / "a.parquet")
    (log,) = ArrowTableReader().read(tmp_path / "a.parquet", ReadOptions("a.parquet"))
    assert all(column.name and not CONTROL.search(column.name) for column in log.columns)


@pytest.mark.parametrize("content", [b"", b"Time,Foo\n1,2\n", b"PK\x03\x04" + bytes(50), b"\x1f\x8b\xff"])
def test_a_file_name_with_control_characters_is_told_without_them(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "a\x1b[31m.csv"
    try:
        path.write_bytes(content)
    except OSError:
        pytest.skip("this system has no such file names")
    with pytest.raises(InputRefused) as caught:
        read_rides([path], ImportOptions())
    assert not CONTROL.search(str(caught.value))
