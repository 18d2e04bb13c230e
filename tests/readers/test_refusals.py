"""Files that can't become a ride: each refused in words that name the file, what was found and what to do."""

# ruff: noqa: E501 - the table has one form a line
from __future__ import annotations

import io
import sys
import zipfile
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from build_logs import Form, write
from contract import GARBAGE

from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.ingest import ImportOptions, read_rides

HEADER = "Time [s],Coolant temp [C],Engine speed [rpm]"


def rows(count: int, text: str = "{t:.1f},80.0,5000") -> str:
    return "".join(text.format(t=n / 10, n=n) + "\n" for n in range(count))


def workbook() -> bytes:
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w") as archive:
        archive.writestr("[Content_Types].xml", "<x/>")
        archive.writestr("xl/workbook.xml", "<x/>")
    return store.getvalue()


REFUSED: dict[str, tuple[bytes, str]] = {
    **{name: (content, "") for name, content in GARBAGE.items()},
    "header_only.csv": (f"{HEADER}\n".encode(), "not one row"),
    "header_and_blank_lines.csv": (f"{HEADER}\n\n\n".encode(), "not one row"),
    "no_header.csv": (rows(50).encode(), "no line that names the columns"),
    "no_time.csv": (b"Coolant temp [C],Engine speed [rpm]\n80,5000\n81,5100\n82,5200\n", "no column is known as the time"),
    "time_stands_still.csv": (f"{HEADER}\n{'5.0,80,5000' + chr(10)}".encode() * 1 + b"5.0,81,5000\n5.0,82,5000\n", "same time"),
    "one_row.csv": (f"{HEADER}\n0.0,80,5000\n".encode(), "only 1 row"),
    "times_unreadable.csv": ((HEADER + "\n" + rows(40, "soon,80.0,5000")).encode(), "no times"),
    "no_seconds.csv": (("Time,Coolant temp [C],Engine speed [rpm]\n" + "10:15,80,5000\n10:16,81,5000\n" * 9).encode(), "no seconds"),
    "decimal_commas_in_comma_file.csv": ((HEADER + "\n" + rows(60, "{n},5,80,3,5000")).encode(), "decimal commas"),
    "rows_cut.csv": ((HEADER + "\n" + rows(60, "{t:.1f},80")).encode(), "rows do not fit"),
    "second_header.csv": ((HEADER + "\n" + rows(30) + "Time [s],Throttle [%],Coolant temp [C]\n" + rows(30)).encode(), "second header"),
    "unit_conflict.csv": ((HEADER + "\n" + rows(60, "{t:.1f},180 F,5000")).encode(), "header gives"),
    "twins_that_differ.csv": (b"Time [s],RPM,RPM\n0,1,2\n1,2,3\n2,3,4\n", "values differ"),
    "workbook.xlsx": (workbook(), "spreadsheet"),
    "workbook_named.csv": (workbook(), "spreadsheet"),
    "old_workbook.csv": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 512, "old spreadsheet"),
    "other.xml": (b"<?xml version='1.0'?><kml><Document/></kml>", "XML"),
    "gpx_doctype.gpx": (b'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaa">]><gpx version="1.1"><trk><trkseg/></trk></gpx>',
                        "document type"),
    "gpx_no_track.gpx": (b'<gpx version="1.1"><wpt lat="1" lon="2"/></gpx>', "only way points"),
    "gpx_untimed.gpx": (b'<gpx version="1.1"><trk><trkseg><trkpt lat="1" lon="2"/><trkpt lat="1" lon="2.1"/></trkseg></trk></gpx>',
                        "has a time"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refusal(name: str, tmp_path: Path) -> None:
    content, words = REFUSED[name]
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputRefused) as caught:
        read_rides([path], ImportOptions())
    error = caught.value
    assert name in error.where
    assert words in error.one_line()
    assert "fault of ridelog" not in error.found
    assert error.expected
    assert error.to_do
    assert "\n" not in error.one_line()


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="no such file"):
        read_rides([tmp_path / "gone.csv"], ImportOptions())
    with pytest.raises(InputRefused, match="folder"):
        read_rides([tmp_path], ImportOptions())


def test_a_refused_row_is_named_by_its_line(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["a remark", HEADER, *(["0,80,5000"] * 5), *(["1,5,80,3,5000"] * 5)]) + "\n")
    with pytest.raises(InputRefused, match="row 8 has 5 values, the header names 3"):
        read_rides([path], ImportOptions())


@pytest.mark.parametrize(
    ("header", "cells", "options"),
    [
        ("Time [s],Speed [km/h],RPM", "{t:.1f},50.0,5000", ("Speed=gps_speed_mps:km/h", "Speed=wheel_speed_mps:km/h")),
        ("Time [s],Temp [C],RPM", "{t:.1f},20.0,5000", ("Temp=coolant_c:C", "Temp=ambient_c:C")),
        ("Time [s],Coolant,RPM", "{t:.1f},128.0,5000", ("Coolant=coolant_c:C", "Coolant=coolant_c:F")),
        ("Time [s],Wheel speed,RPM", "{t:.1f},50.0,5000", ("Wheel speed=wheel_speed_mps:km/h",)),
        ("Time,Coolant [C],RPM", "{n}0,80.0,5000", ("Time=time:s", "Time=time:ms")),
        ("Date and time,Coolant [C],RPM", "03/05/2026 10:00:{n:02d},80.0,5000", ("Date and time=time:dmy", "Date and time=time:mdy")),
    ],
)  # fmt: skip
def test_two_meanings_ask_and_the_options_settle_it(
    header: str, cells: str, options: tuple[str, ...], tmp_path: Path
) -> None:
    from ridelog.ingest import parse_column_option

    path = tmp_path / "log.csv"
    count = 550 if header.startswith("Time,") else 60
    path.write_text(header + "\n" + rows(count, cells))
    with pytest.raises(AmbiguousColumn) as caught:
        read_rides([path], ImportOptions())
    assert set(options) <= set(caught.value.options)
    for option in options:
        assert option in caught.value.one_line()
        assert read_rides([path], ImportOptions(columns=(parse_column_option(option),)))


def test_nothing_of_a_preamble_reaches_notes_or_messages(tmp_path: Path) -> None:
    name = "Somebody Somewhere"
    path = tmp_path / "log.csv"
    path.write_bytes(write(Form(before=(f"Rider: {name}", f"# {name}"))))
    ride = read_rides([path], ImportOptions())[0]
    assert all(name not in note.sentence() for note in ride.notes)
    assert all(name not in str(info) for info in ride.channels.values())
    path.write_text(f"Rider: {name}\nName {name}\n")
    with pytest.raises(InputRefused) as caught:
        read_rides([path], ImportOptions())
    assert name not in caught.value.one_line()
