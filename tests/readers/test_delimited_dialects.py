"""One log written in many forms reads to the same canonical ride."""

# ruff: noqa: E501 - the table has one form a line
from __future__ import annotations

import sys
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from build_logs import START, STEP_S, Form, clock, iso, long, number, per_signal, truth, write
from contract import check_ride

from ridelog.ingest import ImportOptions, read_rides
from ridelog.ride import Ride

KMH = 1 / 3.6
GERMAN = (
    "Zeit [s]",
    "Kühlmitteltemperatur [°C]",
    "Drehzahl [1/min]",
    "Drosselklappe [%]",
    "GPS-Geschwindigkeit [km/h]",
    "Gang",
)
BARE = ("Time", "Coolant temp", "Engine speed", "Throttle", "GPS speed", "Gear")
FAHRENHEIT = {1: lambda c: f"{c * 1.8 + 32:.2f}"}
MPH = {4: lambda v: f"{v / 1.609344:.4f}"}


def insert(at: int, *new: str):
    return lambda lines: [*lines[:at], *new, *lines[at:]]


FORMS: dict[str, Form] = {
    "comma": Form(),
    "semicolon": Form(separator=";"),
    "tab": Form(separator="\t"),
    "bar": Form(separator="|"),
    "semicolon, decimal comma": Form(separator=";", decimal=","),
    "tab, decimal comma": Form(separator="\t", decimal=","),
    "comma, quoted decimal comma": Form(decimal=",", quote_all=True),
    "CR LF": Form(newline="\r\n"),
    "CR alone": Form(newline="\r"),
    "mixed line ends": Form(bytes_edit=lambda d: d.replace(b"\n", b"\r\n", 40).replace(b"\r\n", b"\r", 3)),
    "byte order mark": Form(encoding="utf-8-sig"),
    "UTF-16 with mark": Form(encoding="utf-16"),
    "UTF-16 without mark": Form(encoding="utf-16-le"),
    "UTF-16 big end": Form(bytes_edit=lambda d: b"\xfe\xff" + d.decode().encode("utf-16-be")),
    "German": Form(separator=";", decimal=",", header=GERMAN),
    "German, Windows-1252": Form(separator=";", decimal=",", header=GERMAN, encoding="cp1252", newline="\r\n"),
    "German, spelled out": Form(header=tuple(h.replace("ü", "ue") for h in GERMAN)),
    "degree sign saved wrongly": Form(header=("Time [s]", "Coolant temp [Â°C]", *Form().header[2:])),
    "names saved wrongly": Form(header=tuple(h.encode().decode("cp1252") for h in GERMAN)),
    "names in capitals": Form(header=tuple(h.upper() for h in Form().header)),
    "names with underscores": Form(header=("t_s", "coolant_temp_c", "engine_speed_rpm", "throttle_%", "gps_speed_km/h", "gear")),
    "names run together": Form(header=("Time[s]", "CoolantTemp[C]", "EngineSpeed[rpm]", "Throttle[%]", "GpsSpeed[km/h]", "Gear")),
    "units in round brackets": Form(header=tuple(h.replace("[", "(").replace("]", ")") for h in Form().header)),
    "units behind the names": Form(header=tuple(h.replace("[", "").replace("]", "") for h in Form().header)),
    "row of units": Form(header=BARE, units_row=("s", "C", "rpm", "%", "km/h", "")),
    "row of bracketed units": Form(header=BARE, units_row=("[s]", "[°C]", "[1/min]", "[%]", "[km/h]", "[-]")),
    "preamble": Form(before=("Ride log", "Bike;\"12\" wheel\"", "", "Note, cool and damp")),
    "preamble with odd quotes": Form(before=('a "b', '"c"', "d")),
    "quoted header": Form(edit=lambda lines: [",".join(f'"{c}"' for c in lines[0].split(",")), *lines[1:]]),
    "everything quoted": Form(quote_all=True),
    "columns in another order": Form(order=(4, 0, 5, 1, 3, 2)),
    "blank lines": Form(edit=lambda lines: [x for line in lines for x in (line, "")]),
    "lines of separators": Form(edit=insert(30, ",,,,,")),
    "separator at the end": Form(edit=lambda lines: [line + "," for line in lines]),
    "separator at the end of rows only": Form(edit=lambda lines: [lines[0], *(line + "," for line in lines[1:])]),
    "padded": Form(cell={n: (lambda v: f"  {v:.1f} ") for n in (1, 2, 3, 4, 5)}),
    "comments": Form(edit=insert(50, "# a remark", "#another, one")),
    "no line end at the end": Form(last_newline=False),
    "empty bytes at the end": Form(bytes_edit=lambda d: d + b"\0" * 4096),
    "milliseconds": Form(header=("Time [ms]", *Form().header[1:]), time=lambda t: f"{t * 1000:.0f}"),
    "milliseconds from a running counter": Form(header=("Time [ms]", *Form().header[1:]), time=lambda t: f"{t * 1000 + 48210:.0f}"),
    "milliseconds, no unit": Form(header=("Time", *Form().header[1:]), time=lambda t: f"{t * 1000:.0f}"),
    "microseconds": Form(header=("Time (us)", *Form().header[1:]), time=lambda t: f"{t * 1e6:.0f}"),
    "seconds, no unit": Form(header=("Time", *Form().header[1:])),
    "minutes": Form(header=("Time [min]", *Form().header[1:]), time=lambda t: f"{t / 60:.9f}"),
    "clock time": Form(header=("Time", *Form().header[1:]), time=clock),
    "clock time, decimal comma": Form(separator=";", header=("Time", *Form().header[1:]), time=lambda t: clock(t).replace(".", ",")),
    "clock time, odd widths": Form(header=("Time", *Form().header[1:]), time=lambda t: clock(t).removesuffix(".0")),
    "ISO in UTC": Form(header=("Timestamp", *Form().header[1:]), time=iso),
    "ISO with offset": Form(header=("Timestamp", *Form().header[1:]), time=lambda t: (START + timedelta(seconds=t)).astimezone(
        datetime.fromisoformat("2026-01-01T00:00:00+02:00").tzinfo).isoformat(timespec="milliseconds")),
    "day first with dots": Form(header=("Date and time", *Form().header[1:]),
                                time=lambda t: (START + timedelta(seconds=t)).strftime("%d.%m.%Y %H:%M:%S.%f")),
    "Unix seconds": Form(header=("Timestamp", *Form().header[1:]), time=lambda t: f"{START.timestamp() + t:.1f}"),
    "Unix milliseconds": Form(header=("Timestamp", *Form().header[1:]), time=lambda t: f"{(START.timestamp() + t) * 1000:.0f}"),
    "Fahrenheit by label": Form(header=("Time [s]", "Coolant temp [°F]", *Form().header[2:]), cell=FAHRENHEIT),
    "Fahrenheit by values": Form(header=("Time [s]", "Coolant temp", *Form().header[2:]), cell=FAHRENHEIT),
    "Fahrenheit under a wrong label": Form(cell=FAHRENHEIT),
    "kelvin by label": Form(header=("Time [s]", "Coolant temp [K]", *Form().header[2:]), cell={1: lambda c: f"{c + 273.15:.2f}"}),
    "kelvin by values": Form(header=("Time [s]", "Coolant", *Form().header[2:]), cell={1: lambda c: f"{c + 273.15:.2f}"}),
    "miles per hour": Form(header=(*Form().header[:4], "GPS speed [mph]", "Gear"), cell=MPH),
    "knots": Form(header=(*Form().header[:4], "GPS speed [kn]", "Gear"), cell={4: lambda v: f"{v / 1.852:.4f}"}),
    "metres per second": Form(header=(*Form().header[:4], "GPS speed [m/s]", "Gear"), cell={4: lambda v: f"{v / 3.6:.4f}"}),
    "units in the cells": Form(header=BARE, cell={
        1: lambda v: f"{v:.1f} °C", 3: lambda v: f"{v:.1f}%", 4: lambda v: f"{v:.1f} km/h"}),
    "thousands by apostrophe": Form(cell={2: lambda v: f"{v:,.0f}".replace(",", "'")}),
    "thousands by dot": Form(separator=";", decimal=",", cell={2: lambda v: f"{v:,.0f}".replace(",", ".")}),
    "thousands by dot, decimal dot": Form(separator=";", cell={2: lambda v: f"{v:,.0f}".replace(",", ".")}),
    "thousands by comma, tab": Form(separator="\t", cell={2: lambda v: f"{v:,.0f}"}),
    "share of one": Form(header=(*Form().header[:3], "Throttle", *Form().header[4:]), cell={3: lambda v: f"{v / 100:.4f}"}),
    "neutral as a word": Form(cell={5: lambda v: f"{v:.0f}."}),
    "header repeated without a reset": Form(edit=lambda lines: [*lines[:300], lines[0], *lines[300:]]),
    "rows reversed": Form(edit=lambda lines: [lines[0], *reversed(lines[1:])]),
    "two rows swapped": Form(edit=lambda lines: [*lines[:70], lines[71], lines[70], *lines[72:]]),
    "one row twice": Form(edit=lambda lines: [*lines[:70], lines[69], *lines[70:]]),
    "a torn row": Form(edit=lambda lines: [*lines[:300], "1,2,3,4,5,6,7,8", *lines[300:]]),
    "long format": Form(edit=long("Time [s]", "Channel", "Value")),
    "long format with a column of units": Form(edit=long("Time [s]", "Signal", "Value", "Unit", columns="tcvu")),
    "long format, columns in another order": Form(edit=long("Value", "Units", "Name", "Time [s]", columns="vuct")),
    "long format, German": Form(separator=";", decimal=",", header=GERMAN, edit=long(
        "Zeit [s]", "Kanal", "Wert", "Einheit", separator=";", columns="tcvu")),
    "long format, tab and decimal comma": Form(separator="\t", decimal=",", edit=long("t_s", "Parameter", "Value", separator="\t")),
    "long format, channel by channel": Form(edit=long("Time [s]", "Channel", "Value", by="channel")),
    "long format, in blocks": Form(edit=long("Time [s]", "Channel", "Value", by="block")),
    "long format, clock time": Form(time=clock, edit=long("Time", "Channel", "Value")),
    "long format, clock time, channel by channel": Form(time=clock, edit=long("Time", "Channel", "Value", by="channel")),
    "long format, milliseconds": Form(time=lambda t: f"{t * 1000:.0f}", edit=long("Time [ms]", "Channel", "Value")),
    "long format under a preamble": Form(edit=lambda lines: ["Ride log", "Channel,12", "", *long("Time [s]", "Channel", "Value")(lines)]),
    "long format, everything quoted": Form(edit=lambda lines: ['"' + line.replace(",", '","') + '"' for line in long(
        "Time [s]", "Channel", "Value")(lines)]),
    "long format, thousands by dot": Form(separator=";", decimal=",", cell={2: lambda v: f"{v:,.0f}".replace(",", ".")}, edit=long(
        "Time [s]", "Channel", "Value", separator=";")),
    "long format, header again": Form(edit=lambda lines: insert(1501, "Time [s],Channel,Value")(
        long("Time [s]", "Channel", "Value")(lines))),
    "a time column for each signal": Form(edit=per_signal()),
    "a numbered time column for each signal": Form(edit=per_signal(name="Time {number} [s]")),
    "a time column named for each signal": Form(edit=per_signal(name="Time {} [s]")),
    "a time column for each signal, all in step": Form(edit=per_signal(down=0)),
    "a time column for each signal, decimal comma": Form(separator=";", decimal=",", header=GERMAN, edit=per_signal(";", name="Zeit [s]")),
    "a time column for each signal, clock times": Form(time=clock, edit=per_signal(name="Time")),
    "a time column for each signal, ISO": Form(time=iso, edit=per_signal(name="Time")),
    "a time column for each signal, rows cut short": Form(edit=per_signal(ragged=True)),
    "a time column for each signal, milliseconds": Form(time=lambda t: f"{t * 1000:.0f}", edit=per_signal(name="Time [ms]")),
    "word for nothing": Form(edit=lambda lines: [*lines[:10], *(line.rsplit(",", 1)[0] + ",NaN" for line in lines[10:12]), *lines[12:]]),
}  # fmt: skip


def ride_of(tmp_path: Path, form: Form) -> Ride:
    path = tmp_path / "log.csv"
    path.write_bytes(write(form))
    rides = read_rides([path], ImportOptions())
    assert len(rides) == 1
    return rides[0]


@pytest.mark.parametrize("name", FORMS)
def test_every_form_gives_the_same_ride(name: str, tmp_path: Path) -> None:
    ride = ride_of(tmp_path, FORMS[name])
    check_ride(ride)
    rows = truth()
    if name == "no line end at the end":
        rows = rows[:-1]  # its last cell, a whole number, may have lost digits: left out and said
        assert "left_out_cut_line" in {note.kind for note in ride.notes}
    assert ride.samples.height == len(rows)
    tolerance = {"minutes": 1e-6}.get(name, 1e-9)
    np.testing.assert_allclose(ride.samples["t_s"], [row[0] for row in rows], atol=tolerance)
    columns = (("coolant_c", 1, 0.006, 1.0), ("engine_rpm", 2, 1e-9, 1.0), ("throttle_pct", 3, 0.006, 1.0),
               ("gps_speed_mps", 4, 1e-4, KMH))  # fmt: skip
    for channel, column, atol, factor in columns:
        np.testing.assert_allclose(
            ride.samples[channel], [row[column] * factor for row in rows], atol=atol, err_msg=channel
        )
    gear = ride.samples["gear"].to_numpy()
    missing = np.isnan(gear)
    assert missing.sum() == (2 if name == "word for nothing" else 0)
    np.testing.assert_array_equal(gear[~missing], np.array([row[5] for row in rows])[~missing])


def test_at_least_as_many_forms_as_promised() -> None:
    assert len(FORMS) >= 25


def test_a_clean_form_needs_no_note(tmp_path: Path) -> None:
    assert ride_of(tmp_path, FORMS["comma"]).notes == ()


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("UTF-16 with mark", "encoding"),
        ("German, Windows-1252", "encoding"),
        ("CR alone", "line_ends"),
        ("empty bytes at the end", "nul_tail"),
        ("names saved wrongly", "mended_names"),
        ("preamble", "preamble"),
        ("row of units", "units_row"),
        ("milliseconds, no unit", "time_unit"),
        ("Unix milliseconds", "time_unit"),
        ("Fahrenheit by values", "unit_by_value"),
        ("Fahrenheit under a wrong label", "unit_contradiction"),
        ("share of one", "unit_by_value"),
        ("thousands by apostrophe", "cells_grouped"),
        ("units in the cells", "cells_unit_in_cell"),
        ("a torn row", "left_out_long_rows"),
        ("one row twice", "left_out_same_time"),
        ("two rows swapped", "out_of_order"),
        ("rows reversed", "reversed"),
        ("comments", "left_out_marker"),
        ("header repeated without a reset", "repeated_header"),
        ("word for nothing", "cells_missing"),
        ("day first with dots", "zone_unknown"),
        ("long format", "long_format"),
        ("long format, channel by channel", "channel_by_channel"),
        ("long format, header again", "repeated_header"),
        ("a time column for each signal", "time_per_signal"),
        ("a time column named for each signal", "time_per_signal"),
        ("a time column for each signal, rows cut short", "short_rows"),
    ],
)
def test_every_repair_is_told(name: str, kind: str, tmp_path: Path) -> None:
    assert kind in {note.kind for note in ride_of(tmp_path, FORMS[name]).notes}


def test_dates_place_the_ride(tmp_path: Path) -> None:
    for name in ("ISO in UTC", "ISO with offset", "Unix seconds", "Unix milliseconds"):
        ride = ride_of(tmp_path, FORMS[name])
        assert ride.start_utc == START, name
        assert ride.samples["time_utc"][-1] == START + timedelta(seconds=STEP_S * (len(truth()) - 1)), name
        assert ride.id.startswith("20260503-0815-")
    clock_only = ride_of(tmp_path, FORMS["clock time"])
    assert clock_only.start_utc is None
    assert clock_only.id.startswith("undated-")
    assert "time_utc" not in clock_only.samples.columns


def test_numbers_are_written_as_the_forms_say() -> None:
    assert number(8500.25, 2, ",") == "8500,25"
