"""Long format, one value a row: the same ride as the table it was made of, and no ordinary table taken for it."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from build_logs import Form, long, truth, write
from contract import check_log, check_ride, left_out

from ridelog.errors import InputRefused, LimitExceeded
from ridelog.ingest import ColumnChoice, ImportOptions, read_rides
from ridelog.readers.base import ReadOptions
from ridelog.readers.delimited import DelimitedReader
from ridelog.readers.limits import Limits
from ridelog.readers.naming import long_role
from ridelog.readers.registry import built_in
from ridelog.ride import RawLog, Ride

HEADER = "Time [s],Channel,Value"
WIDE = "Time [s],Coolant temp [C],Engine speed [rpm],Map"


def read(tmp_path: Path, lines: Sequence[str], limits: Limits | None = None) -> RawLog:
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    (log,) = DelimitedReader().read(path, ReadOptions(path.name, limits or Limits()))
    check_log(log)
    return log


def rides(tmp_path: Path, lines: Sequence[str], **options: object) -> list[Ride]:
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = read_rides([path], ImportOptions(**options))  # type: ignore[arg-type]
    for ride in found:
        check_ride(ride)
    return found


def columns(log: RawLog) -> dict[str, list[object]]:
    return {column.name: column.values.to_list() for column in log.columns}


def notes(log: RawLog | Ride) -> dict[str, int | None]:
    return {note.kind: note.rows for note in log.notes}


def same(one: Sequence[Ride], other: Sequence[Ride]) -> bool:
    return len(one) == len(other) and all(a.samples.equals(b.samples) for a, b in zip(one, other, strict=True))


# -- pivoting ---------------------------------------------------------------------------------------------------------


def test_a_row_a_time_and_a_column_a_channel(tmp_path: Path) -> None:
    log = read(
        tmp_path, [HEADER, "0.0,Coolant temp [C],40.5", "0.0,rpm,3000", "0.5,rpm,3100", "1.0,Coolant temp [C],41.0"]
    )
    assert columns(log) == {"Time": [0.0, 0.5, 1.0], "Coolant temp": [40.5, None, 41.0], "rpm": [3000.0, 3100.0, None]}
    assert [column.unit for column in log.columns] == ["s", "C", None]
    assert log.rows_in == 4
    assert notes(log) == {"long_format": None, "left_out_joined": 1}
    assert log.row_lines is not None
    assert log.row_lines.tolist() == [2, 4, 5]


def test_several_values_at_one_time_are_told_and_the_last_stands(tmp_path: Path) -> None:
    lines = [HEADER, *(f"{n}.0,{name},{n}" for n in range(10) for name in ("Coolant", "rpm"))]
    lines[6:6] = ["1.0,Coolant,7.5", "1.0,Coolant,"]
    log = read(tmp_path, lines)
    assert columns(log)["Coolant"][:3] == [0.0, 1.0, 2.0]
    lines[6:8] = lines[7:5:-1]
    lines[5], lines[7] = lines[7], lines[5]
    log = read(tmp_path, lines)
    told = {note.kind: note for note in log.notes}
    assert told["several_values"].rows == 2
    assert told["several_values"].example is not None
    assert "Coolant" in told["several_values"].example
    assert told["blank_values"].rows == 1
    assert log.height == 10


def test_a_blank_never_replaces_a_value(tmp_path: Path) -> None:
    log = read(
        tmp_path,
        [
            HEADER,
            "0.0,rpm,3000",
            "0.0,rpm,",
            "0.0,Coolant,40",
            "1.0,rpm,3100",
            "1.0,Coolant,41",
            "2.0,Coolant,42",
            "3.0,Coolant,43",
        ],
    )
    assert columns(log)["rpm"] == [3000.0, 3100.0, None, None]
    assert notes(log)["blank_values"] == 1


def test_rows_without_a_channel_are_left_out_and_counted(tmp_path: Path) -> None:
    lines = [
        HEADER,
        *(f"{n}.0,{name},{n}" for n in range(10) for name in ("Coolant", "rpm")),
        "10.0,,12",
        '11.0," ",13',
        "12.0,rpm,1",
    ]
    log = read(tmp_path, lines)
    assert notes(log)["left_out_no_channel"] == 2
    assert log.height == 11


def test_rows_without_a_time_stay_apart_and_are_left_to_the_clock(tmp_path: Path) -> None:
    lines = [HEADER, *(f"{n}.0,{name},{n}" for n in range(20) for name in ("Coolant", "rpm"))]
    lines[9] = ",Coolant,99"
    (ride,) = rides(tmp_path, lines)
    assert 99.0 not in ride.samples["coolant_c"].to_list()
    assert notes(ride)["left_out_no_time"] == 1
    lines[10:12] = reversed(lines[10:12])  # and where the rows have to be put in order as well
    lines[20], lines[23] = lines[23], lines[20]
    (ride,) = rides(tmp_path, lines)
    assert 99.0 not in ride.samples["coolant_c"].to_list()
    assert notes(ride)["left_out_no_time"] == 1


def test_words_as_values_and_numbers_of_several_kinds(tmp_path: Path) -> None:
    lines = ["Time [s];Signal;Wert"]
    for n in range(30):
        lines += [
            f"{n},0;Map;{'rain' if n < 9 else 'sand'}",
            f"{n},0;Kühlmittel;{40 + n},5",
            f"{n},0;Drehzahl;{3 + n / 100:.2f}0",
        ]
    lines[5] = "1,0;Kühlmittel;n/a"
    log = read(tmp_path, lines)
    found = columns(log)
    assert found["Map"] == ["rain"] * 9 + ["sand"] * 21
    assert found["Kühlmittel"][:3] == [40.5, None, 42.5]
    assert "cells_missing" in notes(log)


@pytest.mark.parametrize(
    "header", ["Time,Sensor,Reading", "Temps [s],Voie,Valeur", "Zeit [s],Messgroesse,Messwert", "Tid [s],Givare,Värde"]
)
def test_words_of_the_languages(tmp_path: Path, header: str) -> None:
    assert "long_format" in notes(
        read(tmp_path, [header, *(f"{n}.5,{c},{n}" for n in range(9) for c in ("rpm", "Map"))])
    )


def test_capitals_make_no_other_channel(tmp_path: Path) -> None:
    lines = [HEADER, *(f"{n}.0,{'RPM' if n < 5 else 'rpm'},{n}" for n in range(10))]
    assert columns(read(tmp_path, lines))["RPM"] == [float(n) for n in range(10)]


def test_columns_beside_are_named(tmp_path: Path) -> None:
    log = read(
        tmp_path, ["Time [s],Device,Channel,Value", *(f"{n}.0,left,{c},{n}" for n in range(9) for c in ("rpm", "Map"))]
    )
    (note,) = [note for note in log.notes if note.kind == "other_columns"]
    assert "Device" in note.text


# -- units ------------------------------------------------------------------------------------------------------------


def test_units_of_a_column_of_units(tmp_path: Path) -> None:
    lines = ["Time [s],Channel,Value,Unit"]
    for n in range(20):
        lines += [
            f"{n}.0,Coolant temp,{100 + n}.0,{'°F' if n % 2 else 'F'}",
            f"{n}.0,GPS speed,{n}.0,mph",
            f"{n}.0,Gear,2,",
        ]
    (ride,) = rides(tmp_path, lines)
    np.testing.assert_allclose(ride.samples["coolant_c"], [(68 + n) / 1.8 for n in range(20)])
    np.testing.assert_allclose(ride.samples["gps_speed_mps"], [n * 0.44704 for n in range(20)])


@pytest.mark.parametrize("name", ["Coolant temp", "Coolant temp [C]"])
def test_a_unit_that_changes_is_refused(tmp_path: Path, name: str) -> None:
    lines = ["Time [s],Channel,Value,Unit", *(f"{n}.0,{name},{n + 40}.0,{'C' if n < 9 else 'F'}" for n in range(20))]
    with pytest.raises(InputRefused) as caught:
        read(tmp_path, lines)
    assert "row 11" in caught.value.where
    assert "'C'" in caught.value.found
    assert "'F'" in caught.value.found


# -- order of recording -----------------------------------------------------------------------------------------------


def wide_and_long(rows: Sequence[tuple[float, ...]], by: str, step: int = 1) -> tuple[list[str], list[str]]:
    wide = ["Time [s],Coolant temp [C],Engine speed [rpm],Gear"]
    for number, (t, coolant, rpm, gear) in enumerate(rows):
        wide.append(f"{t:.2f},{coolant:.1f},{rpm:.0f},{gear:.0f}" if number % step == 0 else f"{t:.2f},,{rpm:.0f},")
    found = long(*HEADER.split(","), by=by)(wide)
    return wide, [found[0], *(line for line in found[1:] if not line.endswith(","))]


def some_rows(count: int, start: float = 0.0, step: float = 0.25) -> list[tuple[float, ...]]:
    return [(start + n * step, 40 + n % 17, 3000 + 7 * (n % 90), 1 + n // 30 % 5) for n in range(count)]


@pytest.mark.parametrize("by", ["row", "channel", "block"])
@pytest.mark.parametrize("parts", [[(200, 0.0)], [(200, 0.0), (150, 0.0)], [(200, 4000.0), (90, 0.5), (120, 0.0)]])
def test_a_clock_that_begins_again(tmp_path: Path, by: str, parts: list[tuple[int, float]]) -> None:
    wide, narrow = wide_and_long([row for count, start in parts for row in some_rows(count, start)], by)
    found = rides(tmp_path, narrow)
    assert same(found, rides(tmp_path, wide))
    assert [ride.samples.height for ride in found] == [count for count, _ in parts]


@pytest.mark.parametrize("by", ["row", "channel", "block"])
def test_channels_of_different_rates(tmp_path: Path, by: str) -> None:
    wide, narrow = wide_and_long(some_rows(200) + some_rows(120), by, step=5)
    assert same(rides(tmp_path, narrow), rides(tmp_path, wide))


def test_a_clock_that_begins_again_with_a_rare_channel_first(tmp_path: Path) -> None:
    lines = [HEADER]
    for _ in range(2):
        for n in range(100):
            lines += [f"{n}.0,Gear,{1 + n // 50}"] if n % 50 == 0 else []
            lines += [f"{n}.0,rpm,{3000 + n}", f"{n}.0,Coolant,{60 + n / 10}"]
    lines.insert(202, "0.0,Ambient,20.0")
    found = rides(tmp_path, lines)
    assert [ride.samples.height for ride in found] == [100, 100]


def test_blocks_with_different_numbers_of_recordings_are_refused(tmp_path: Path) -> None:
    lines = [HEADER, *(f"{n % 50}.0,rpm,{n}" for n in range(100)), *(f"{n}.0,Coolant,{n}" for n in range(50))]
    with pytest.raises(InputRefused, match="channel by channel"):
        read(tmp_path, lines)


def test_a_repeated_header_keeps_recordings_apart(tmp_path: Path) -> None:
    lines = [HEADER, *(f"{n}.0,{c},{n}" for n in range(9) for c in ("rpm", "Coolant"))]
    log = read(tmp_path, [*lines, *lines])
    assert log.breaks == (9,)
    assert log.height == 18


@pytest.mark.parametrize("by", ["row", "channel", "block"])
def test_midnight(tmp_path: Path, by: str) -> None:
    wide = ["Time,Coolant temp [C],Engine speed [rpm]"]
    for n in range(240):
        t = (86_280 + n) % 86_400
        wide.append(f"{t // 3600:02d}:{t // 60 % 60:02d}:{t % 60:02d},{60 + n % 9},{3000 + n}")
    (found,) = rides(tmp_path, long("Time", "Channel", "Value", by=by)(wide))
    (expected,) = rides(tmp_path, wide)
    assert found.samples.equals(expected.samples)


@pytest.mark.parametrize("by", ["row", "channel"])
@pytest.mark.parametrize("day", ["2026-05-02", "2.5.2026", "20260502"])
def test_a_date_in_a_column_of_its_own(tmp_path: Path, by: str, day: str) -> None:
    narrow = [f"Date,{HEADER.replace('Time [s]', 'Time')}"]
    cells = [(n, c, v) for n in range(200) for c, v in (("rpm", 3000 + n), ("Coolant", 60 + n % 9))]
    for n, c, v in sorted(cells, key=lambda one: (one[1], one[0])) if by == "channel" else cells:
        narrow.append(f"{day},10:{n // 60:02d}:{n % 60:02d},{c},{v}")
    (ride,) = rides(tmp_path, narrow, timezone="UTC")
    assert ride.samples.height == 200
    assert ride.start_utc is not None
    assert ride.start_utc.isoformat() == "2026-05-02T10:00:00+00:00"
    assert ride.samples["engine_rpm"].to_list() == [3000.0 + n for n in range(200)]


def test_times_coarser_than_the_rows(tmp_path: Path) -> None:
    wide = ["Time,Coolant temp [C],Engine speed [rpm]"]
    wide += [f"10:00:{n // 10:02d},{60 + n % 9},{3000 + n}" for n in range(300)]
    (found,) = rides(tmp_path, long("Time", "Channel", "Value")(wide))
    (expected,) = rides(tmp_path, wide)
    assert found.samples.equals(expected.samples)
    assert "coarse_times" in notes(found)


@pytest.mark.parametrize("by", ["row", "channel", "block"])
def test_coarse_times_of_channels_of_different_rates(tmp_path: Path, by: str) -> None:
    wide = ["Time,Coolant temp [C],Engine speed [rpm]"]
    wide += [f"10:00:{n // 10:02d},{60 + n // 5 if n % 5 == 0 else ''},{3000 + n}" for n in range(300)]
    narrow = long("Time", "Channel", "Value", by=by)(wide)
    (found,) = rides(tmp_path, [line for line in narrow if not line.endswith(",")])
    (expected,) = rides(tmp_path, wide)
    assert found.samples.equals(expected.samples)


# -- what is not long format ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "header",
    ["time,coolant,rpm", "Time,Coolant,Signal", "Time,Value,rpm", "Time,Channel,Coolant", "Time,Signal,Value,rpm"],
)
def test_ordinary_tables_stay_what_they_are(tmp_path: Path, header: str) -> None:
    width = header.count(",")
    log = read(tmp_path, [header, *(f"{n}.0" + ",1.5" * width for n in range(30))])
    assert [column.name for column in log.columns] == header.split(",")
    assert "long_format" not in notes(log)
    texts = read(tmp_path, [header, *(f"{n}.0,N" + ",1.5" * (width - 1) for n in range(30))])
    assert texts.height == 30 or "long_format" in notes(texts)


@pytest.mark.parametrize("header", ["time,channel,value", "time,lap,value"])
def test_numbers_are_no_names_of_channels(tmp_path: Path, header: str) -> None:
    log = read(tmp_path, [header, *(f"{n}.0,{n % 3},1.5" for n in range(30))])
    assert log.height == 30
    assert "long_format" not in notes(log)


def test_remarks_are_no_names_of_channels(tmp_path: Path) -> None:
    log = read(tmp_path, ["Time,Name,Value,Coolant", *(f"{n}.0,start,1.5,60" for n in range(30))])
    assert log.height == 30


def test_long_format_under_other_words_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="looks like long format") as caught:
        read(
            tmp_path, ["Time [s],What,How much", *(f"{n}.0,{c},{n}" for n in range(9) for c in ("rpm", "Coolant temp"))]
        )
    assert "'What'" in caught.value.to_do


def test_events_beside_times_are_no_long_format(tmp_path: Path) -> None:
    log = read(tmp_path, ["Time [s],Date,What", *(f"{n}.0,2026-05-03,{c}" for n in range(9) for c in ("Map", "Gear"))])
    assert log.height == 18


def test_the_users_word_on_a_column_stands_over_its_header(tmp_path: Path) -> None:
    lines = ["Time [s],Name,Value", *(f"{n}.0,rider,{60 + n % 9}.5" for n in range(40))]
    choice = ColumnChoice(("Value",), "coolant_c", "C")
    (ride,) = rides(tmp_path, lines, columns=(choice,))
    assert ride.samples["coolant_c"].to_list() == [60 + n % 9 + 0.5 for n in range(40)]


@pytest.mark.parametrize("by", ["row", "channel", "block"])
def test_the_reader_is_sure_of_it_and_no_other_is(by: str) -> None:
    data = write(Form(edit=long(*HEADER.split(","), by=by)))
    scores = {reader.name: reader.sniff(data, "log").score for reader in built_in()}
    assert scores.pop("delimited") >= 0.9
    assert all(score < 0.5 for score in scores.values())


def test_every_language_has_its_words() -> None:
    for word, role in (("Channel", "channel"), ("kanaal", "channel"), ("Größe", "channel"), ("valore", "value"),
                       ("unité", "unit"), ("Enhet", "unit"), ("Coolant", None), ("x" * 500, None)):  # fmt: skip
        assert long_role(word) == role


# -- limits and options -----------------------------------------------------------------------------------------------


def test_too_many_channels(tmp_path: Path) -> None:
    lines = [HEADER, *(f"0.0,c{n},1" for n in range(60)), *(f"1.0,c{n},1" for n in range(60))]
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_COLUMNS"):
        read(tmp_path, lines, Limits(max_columns=50))


def test_too_many_cells(tmp_path: Path) -> None:
    lines = [HEADER, *(f"{n},c{n % 100},1" for n in range(1000))]
    with pytest.raises(LimitExceeded, match="cells"):
        read(tmp_path, lines, Limits(max_rows=2000))


def test_the_users_word_on_a_channel(tmp_path: Path) -> None:
    lines = ["Stamp,Channel,Value", *(f"{n * 500},{c},{100 + n}" for n in range(30) for c in ("T probe", "rpm"))]
    choices = (ColumnChoice(("Stamp",), "time", "ms"), ColumnChoice(("T probe",), "coolant_c", "F"))
    (ride,) = rides(tmp_path, lines, columns=choices)
    np.testing.assert_allclose(ride.samples["coolant_c"], [(68 + n) / 1.8 for n in range(30)])
    assert ride.duration_s == 14.5


# -- any log ----------------------------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    parts=st.lists(st.integers(40, 120), min_size=1, max_size=3),
    step=st.sampled_from([0.05, 0.25, 1.0]),
    every=st.integers(1, 6),
    by=st.sampled_from(["row", "channel", "block"]),
    shuffled=st.booleans(),
)
def test_the_same_ride_as_in_columns(
    *, tmp_path: Path, parts: list[int], step: float, every: int, by: str, shuffled: bool
) -> None:
    wide, narrow = wide_and_long([row for count in parts for row in some_rows(count, step=step)], by, every)
    if shuffled and by == "row":  # the channels of one time come in any order
        rows = [narrow[0]]
        at = 1
        while at < len(narrow):
            end = at
            while end < len(narrow) and narrow[end].split(",")[0] == narrow[at].split(",")[0]:
                end += 1
            group = narrow[at:end]
            rows += group[at % len(group) :] + group[: at % len(group)]
            at = end
        narrow = rows
    log = read(tmp_path, narrow)
    assert log.rows_in == len(narrow) - 1
    assert log.height + left_out(log.notes) == log.rows_in
    assert same(rides(tmp_path, narrow), rides(tmp_path, wide))


def test_the_same_bytes_as_in_columns(tmp_path: Path) -> None:
    (expected,) = rides(tmp_path, write(Form()).decode().splitlines())
    for by in ("row", "channel", "block"):
        (found,) = rides(tmp_path, write(Form(edit=long(*HEADER.split(","), by=by))).decode().splitlines())
        one, other = tmp_path / "one.parquet", tmp_path / "other.parquet"
        expected.samples.write_parquet(one)
        found.samples.write_parquet(other)
        assert one.read_bytes() == other.read_bytes()
    assert expected.samples.height == len(truth())
    assert pl.Float64 in expected.samples.dtypes
