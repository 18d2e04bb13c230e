"""Parquet and Arrow files of other programs: types, units, structure, damage, limits, and ridelog's own exports."""

from __future__ import annotations

import decimal
import math
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ridelog.channels import CHANNELS, TIME, unit_of
from ridelog.errors import InputRefused, LimitExceeded
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers.arrow_table import ArrowTableReader
from ridelog.readers.base import Reader, ReadOptions
from ridelog.readers.limits import Limits
from ridelog.ride import ChannelInfo, RawColumn, RawLog, Ride
from ridelog.store.parquet import write_ride

READER = ArrowTableReader()
FORMS = ("parquet", "file", "stream")


def write(table: pa.Table, path: Path, form: str) -> Path:
    """The table as a file of one form."""
    if form == "parquet":
        pq.write_table(table, path)
    else:
        new = pa.ipc.new_file if form == "file" else pa.ipc.new_stream
        with pa.OSFile(str(path), "wb") as sink, new(sink, table.schema) as writer:
            writer.write_table(table)
    return path


def read(path: Path, limits: Limits | None = None) -> RawLog:
    """The one table of a file, checked for what holds for every table."""
    (log,) = READER.read(path, ReadOptions("log.parquet", limits or Limits()))
    assert log.rows_in == log.height
    for column in log.columns:
        assert len(column.values) == log.height
        assert column.values.dtype in (pl.Float64, pl.String)
        if column.values.dtype == pl.Float64:
            assert column.values.is_finite().all()
    return log


def column(log: RawLog, name: str) -> RawColumn:
    """The column with this name."""
    (found,) = [one for one in log.columns if one.name == name]
    return found


@pytest.mark.parametrize("form", FORMS)
def test_numbers_of_every_type_become_numbers(tmp_path: Path, form: str) -> None:
    kinds = [
        pa.int8(), pa.int16(), pa.int32(), pa.int64(), pa.uint8(), pa.uint16(), pa.uint32(), pa.uint64(),
        pa.float16(), pa.float32(), pa.float64(), pa.bool_(),
    ]  # fmt: skip
    columns: dict[str, Any] = {"time": pa.array([0.0, 0.1, 0.2])}
    for kind in kinds:
        make = {pa.float16(): np.float16, pa.bool_(): bool}.get(kind, int)
        columns[str(kind)] = pa.array([None, make(1), make(0)], kind)
    columns["exact"] = pa.array([decimal.Decimal("90.5"), None, decimal.Decimal("-1.25")], pa.decimal128(10, 2))
    columns["category"] = pa.array(["low", None, "high"]).dictionary_encode()
    log = read(write(pa.table(columns), tmp_path / "x", form))
    for kind in kinds:
        assert column(log, str(kind)).values.to_list() == [None, 1.0, 0.0]
    assert column(log, "exact").values.to_list() == [90.5, None, -1.25]
    assert column(log, "category").values.to_list() == ["low", None, "high"]


@pytest.mark.parametrize("form", FORMS)
def test_units_come_from_the_field_or_from_the_name(tmp_path: Path, form: str) -> None:
    fields = [
        pa.field("Time", pa.float64(), metadata={"unit": "s"}),
        pa.field("Water Temp [°F]", pa.float64()),
        pa.field("Engine Speed", pa.int32(), metadata={"units": "1/min"}),
        pa.field("Speed (km/h)", pa.float64(), metadata={"unit": ""}),
        pa.field("Gear", pa.int8()),
    ]
    rows = [[0.0, 0.1], [194.0, 195.0], [1800, 1900], [0.0, 1.0], [1, 1]]
    arrays = [pa.array(row, field.type) for row, field in zip(rows, fields, strict=True)]
    log = read(write(pa.Table.from_arrays(arrays, schema=pa.schema(fields)), tmp_path / "x", form))
    assert [(one.name, one.unit) for one in log.columns] == [
        ("Time", "s"),
        ("Water Temp", "°F"),
        ("Engine Speed", "1/min"),
        ("Speed", "km/h"),
        ("Gear", None),
    ]


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_moments_keep_their_digits_whatever_the_unit(tmp_path: Path, unit: str) -> None:
    whole = datetime(2026, 7, 24, 9, 59, 59, tzinfo=UTC)
    moments = [whole, whole + timedelta(seconds=1)]
    if unit in ("us", "ns"):
        moments.append(whole + timedelta(seconds=1, microseconds=123_457))
    count = [round((moment - datetime(1970, 1, 1, tzinfo=UTC)) / timedelta(microseconds=1)) for moment in moments]
    zoned = pa.array(moments, pa.timestamp(unit, "+02:00"))
    naive = pa.array([moment.replace(tzinfo=None) for moment in moments], pa.timestamp(unit))
    log = read(write(pa.table({"time": zoned, "local time": naive, "noted": zoned}), tmp_path / "x", "file"))
    assert column(log, "time").unit == "us"
    assert column(log, "time").values.to_list() == [float(number) for number in count]
    texts = [moment.replace(tzinfo=None).isoformat(timespec="microseconds") for moment in moments]
    assert column(log, "local time").values.to_list() == texts
    assert column(log, "noted").values.to_list() == [text + "Z" for text in texts]


@pytest.mark.parametrize("form", FORMS)
def test_days_clock_times_and_lengths_of_time(tmp_path: Path, form: str) -> None:
    table = pa.table(
        {
            "date": pa.array([date(2026, 7, 24), None], pa.date32()),
            "clock": pa.array([time(9, 59, 59, 250_000), time(0, 0, 0)], pa.time64("us")),
            "elapsed": pa.array([timedelta(seconds=1.5), timedelta(0)], pa.duration("ms")),
        }
    )
    log = read(write(table, tmp_path / "x", form))
    assert column(log, "date").values.to_list() == ["2026-07-24", None]
    assert column(log, "clock").values.to_list() == ["09:59:59.250000", "00:00:00.000000"]
    assert column(log, "elapsed").values.to_list() == [1.5, 0.0]
    assert column(log, "elapsed").unit == "s"


@pytest.mark.parametrize("form", FORMS)
def test_times_no_calendar_holds_count_as_none(tmp_path: Path, form: str) -> None:
    far = 2**62
    table = pa.table(
        {
            "time": pa.array([0.0, 1.0, 2.0]),
            "when": pa.array([0, far, -far], pa.timestamp("us")),
            "noted": pa.array([0, far, None], pa.timestamp("us", "UTC")),
            "day": pa.array([0, 2**31 - 1, -(2**31)], pa.date32()),
        }
    )
    log = read(write(table, tmp_path / "x", form))
    assert column(log, "when").values.to_list() == ["1970-01-01T00:00:00.000000", None, None]
    assert column(log, "noted").values.to_list() == ["1970-01-01T00:00:00.000000Z", None, None]
    assert column(log, "day").values.to_list() == ["1970-01-01", None, None]
    assert [(note.kind, note.rows) for note in log.notes] == [
        ("cells_no_time", 2),
        ("cells_no_time", 1),
        ("cells_no_time", 2),
    ]


@pytest.mark.parametrize("form", FORMS)
def test_no_value_that_is_no_number_passes(tmp_path: Path, form: str) -> None:
    # NaN > 105 is true in two table libraries: it must never leave a reader.
    table = pa.table(
        {
            "time": [0.0, 1.0, 2.0, 3.0],
            "coolant": [90.0, math.nan, math.inf, -math.inf],
            "rpm": pa.array([1.0, None, math.nan, 2.0]),
        }
    )
    log = read(write(table, tmp_path / "x", form))
    assert column(log, "coolant").values.to_list() == [90.0, None, None, None]
    assert column(log, "rpm").values.to_list() == [1.0, None, None, 2.0]
    assert {note.text.split(":")[0]: note.rows for note in log.notes} == {"coolant": 3, "rpm": 1}


@pytest.mark.parametrize("form", FORMS)
def test_structures_become_columns_and_lists_are_left_out(tmp_path: Path, form: str) -> None:
    table = pa.table(
        {
            "time": [0.0, 1.0],
            "gps": pa.array([{"lat": 45.0, "fix": {"quality": 1}}, None]),
            "list": pa.array([[1, 2], [3]]),
            "bytes": pa.array([b"\0", b"\1"]),
            "nothing": pa.nulls(2),
        }
    )
    log = read(write(table, tmp_path / "x", form))
    assert [one.name for one in log.columns] == ["time", "gps.lat", "gps.fix.quality"]
    assert column(log, "gps.lat").values.to_list() == [45.0, None]
    assert column(log, "gps.fix.quality").values.to_list() == [1.0, None]
    (note,) = log.notes
    assert note.kind == "left_out_columns"
    assert all(name in note.text for name in ("list", "bytes", "nothing"))


def test_structures_without_a_bottom_are_left_out(tmp_path: Path) -> None:
    value: Any = 1
    for _ in range(8):
        value = {"a": value}
    log = read(write(pa.table({"time": [0.0], "deep": pa.array([value])}), tmp_path / "x", "file"))
    assert [one.name for one in log.columns] == ["time"]
    assert "nested too deeply" in log.notes[0].text


@pytest.mark.parametrize("form", FORMS)
def test_numbers_written_as_text_are_read_with_care(tmp_path: Path, form: str) -> None:
    table = pa.table(
        {
            "time": ["0,0", "0,5", "1,0", "1,5", "2,0", "2,5"],
            "coolant": ["90,5", " 91 ", "", "n/a", "92,0", "93,5"],
            "note": ["start", "", "  ", "a, b", "c", "end"],
        }
    )
    log = read(write(table, tmp_path / "x", form))
    assert column(log, "time").values.to_list() == [0.0, 0.5, 1.0, 1.5, 2.0, 2.5]
    assert column(log, "coolant").values.to_list() == [90.5, 91.0, None, None, 92.0, 93.5]
    assert column(log, "note").values.to_list() == ["start", None, None, "a, b", "c", "end"]
    assert [(note.kind, note.rows) for note in log.notes] == [("cells_missing", 1)]


def test_an_unnamed_index_of_times_is_the_time(tmp_path: Path) -> None:
    index = pa.array(np.array(["2026-07-24T10:00:00", "2026-07-24T10:00:01"], "datetime64[ns]"))
    log = read(write(pa.table({"rpm": [1.0, 2.0], "__index_level_0__": index}), tmp_path / "x", "parquet"))
    assert column(log, "time").values.to_list() == ["2026-07-24T10:00:00.000000", "2026-07-24T10:00:01.000000"]
    log = read(write(pa.table({"time": [1.0, 2.0], "__index_level_0__": index}), tmp_path / "x", "parquet"))
    assert [one.name for one in log.columns] == ["time", "__index_level_0__"]


def test_many_row_groups_and_batches_are_one_table(tmp_path: Path) -> None:
    table = pa.table({"time": pa.array(range(1000), pa.int64()), "word": ["a", "b"] * 500})
    pq.write_table(table, tmp_path / "x", row_group_size=77)
    assert column(read(tmp_path / "x"), "time").values.to_list() == [float(number) for number in range(1000)]
    for new in (pa.ipc.new_file, pa.ipc.new_stream):
        with pa.OSFile(str(tmp_path / "y"), "wb") as sink, new(sink, table.schema) as writer:
            writer.write_table(table, max_chunksize=77)
        assert column(read(tmp_path / "y"), "word").values.to_list() == ["a", "b"] * 500


@pytest.mark.parametrize("compression", ["snappy", "gzip", "zstd", "lz4", "brotli", "none"])
def test_every_usual_compression(tmp_path: Path, compression: str) -> None:
    pq.write_table(pa.table({"time": [0.0, 1.0]}), tmp_path / "x", compression=compression)
    assert column(read(tmp_path / "x"), "time").values.to_list() == [0.0, 1.0]


def test_polars_and_reference_agree(tmp_path: Path) -> None:
    frame = pl.DataFrame(
        {"time": np.arange(500) / 10, "coolant": np.linspace(20.0, 110.0, 500), "gear": [1, None] * 250}
    )
    frame.write_parquet(tmp_path / "x")
    frame.write_ipc(tmp_path / "y")
    for name in ("x", "y"):
        log = read(tmp_path / name)
        got = pl.DataFrame({one.name: one.values for one in log.columns})
        assert got.equals(frame.cast(pl.Float64))


def a_ride() -> Ride:
    """A small ride with every kind of column the store knows."""
    t_s = [0.0, 0.1, 0.30000000000000004, 1.0]
    start = datetime(2026, 7, 24, 8, 0, 0, 250_000, tzinfo=UTC)
    stamps = [start + timedelta(seconds=seconds) for seconds in t_s]
    samples = pl.DataFrame(
        {
            TIME: t_s,
            "coolant_c": [20.0, None, 20.5, 1 / 3],
            "coolant_c.2": [None, 21.0, None, None],
            "engine_rpm": [1500.0, 1600.0, None, 1e-300],
            "time_utc": pl.Series(stamps, dtype=pl.Datetime("us", "UTC")),
            "raw.Oil level": [1.0, 2.0, None, 3.0],
            "raw.Remark": ["a", None, "b", "c"],
        }
    )
    info = {
        name: ChannelInfo(name, unit_of(name), 10.0, None, 1.0, False, "logged", "x.csv")
        for name in samples.columns[1:]
    }
    return Ride("dune-1", samples, info, (), (), start, "UTC")


def test_an_export_of_ridelog_comes_back_with_the_same_samples(tmp_path: Path) -> None:
    ride = a_ride()
    write_ride(ride, tmp_path / "ride.parquet")
    log = read(tmp_path / "ride.parquet")
    assert not log.notes
    assert TIME not in [one.name for one in log.columns]
    for name in ride.samples.columns[1:]:
        found = column(log, name.removeprefix("raw."))
        if name == "time_utc":
            assert found.unit == "us"
            assert found.values.cast(pl.Int64).cast(pl.Datetime("us", "UTC")).to_list() == ride.samples[name].to_list()
            continue
        assert found.values.to_list() == ride.samples[name].to_list()
        if name.partition(".")[0] in CHANNELS:
            assert found.unit == unit_of(name)


def test_an_export_is_imported_as_the_same_ride(tmp_path: Path) -> None:
    ride = a_ride()
    write_ride(ride, tmp_path / "ride.parquet")
    (found,) = read_rides([tmp_path / "ride.parquet"], ImportOptions())
    assert found.samples.columns == ride.samples.columns
    assert found.samples.drop(TIME).equals(ride.samples.drop(TIME))
    # The clock of an export that tells the day is kept to the microsecond.
    assert found.samples[TIME].to_list() == pytest.approx(ride.samples[TIME].to_list(), abs=5e-7)
    assert found.start_utc == ride.start_utc


def test_a_start_that_stands_in_no_column_is_told(tmp_path: Path) -> None:
    ride = a_ride()
    write_ride(replace(ride, samples=ride.samples.drop("time_utc")), tmp_path / "ride.parquet")
    log = read(tmp_path / "ride.parquet")
    assert column(log, TIME).values.to_list() == ride.samples[TIME].to_list()
    (note,) = log.notes
    assert "2026-07-24T08:00:00.250000+00:00" in note.text
    assert "--start" in note.text


def test_the_raw_prefix_of_another_program_is_its_own(tmp_path: Path) -> None:
    log = read(write(pa.table({"time": [0.0], "raw.x": [1.0]}), tmp_path / "x", "parquet"))
    assert [one.name for one in log.columns] == ["time", "raw.x"]


# Damage


@pytest.mark.parametrize("form", FORMS)
def test_a_cut_file_is_refused_wherever_it_was_cut(tmp_path: Path, form: str) -> None:
    table = pa.table({"time": np.arange(200) / 10, "coolant": np.linspace(20, 90, 200), "word": ["ab", "c"] * 100})
    whole = write(table, tmp_path / "x", form).read_bytes()
    for keep in range(8, len(whole), 41):
        (tmp_path / "y").write_bytes(whole[:keep])
        if form == "stream" and keep > len(whole) - 9:
            continue
        with pytest.raises(InputRefused, match=r"log\.parquet"):
            read(tmp_path / "y")


def test_a_stream_cut_between_its_batches_says_that_rows_may_be_missing(tmp_path: Path) -> None:
    table = pa.table({"time": np.arange(300) / 10})
    sizes: list[int] = []
    with pa.OSFile(str(tmp_path / "x"), "wb") as sink, pa.ipc.new_stream(sink, table.schema) as writer:
        for batch in table.to_batches(max_chunksize=100):
            writer.write_batch(batch)
            sink.flush()
            sizes.append(sink.tell())
    whole = (tmp_path / "x").read_bytes()
    assert not read(tmp_path / "x").notes
    (tmp_path / "x").write_bytes(whole[: sizes[1]])
    log = read(tmp_path / "x")
    assert log.height == 200
    assert [note.kind for note in log.notes] == ["no_end_mark"]


def test_a_damaged_page_with_a_checksum_is_refused(tmp_path: Path) -> None:
    table = pa.table({"time": np.random.default_rng(1).random(5000)})
    pq.write_table(table, tmp_path / "x", write_page_checksum=True, compression="none", use_dictionary=False)
    data = bytearray((tmp_path / "x").read_bytes())
    data[len(data) // 2] ^= 1
    (tmp_path / "x").write_bytes(data)
    with pytest.raises(InputRefused, match="damaged"):
        read(tmp_path / "x")


def test_files_that_cannot_be_read_say_why(tmp_path: Path) -> None:
    for content, why in (
        (b"PARE" + bytes(100), "encrypted"),
        (b"FEA1" + bytes(100), "first Feather version"),
        (b"PAR1PAR1", "damaged"),
        (b"ARROW1\0\0", "damaged"),
        (b"something else", "first bytes"),
    ):
        (tmp_path / "x").write_bytes(content)
        with pytest.raises(InputRefused, match=why):
            read(tmp_path / "x")
    with pytest.raises(InputRefused, match="no rows"):
        read(write(pa.table({"time": pa.array([], pa.float64())}), tmp_path / "x", "parquet"))
    with pytest.raises(InputRefused, match="no column"):
        read(write(pa.table({"list": pa.array([[1]])}), tmp_path / "x", "file"))


@pytest.mark.parametrize("form", FORMS)
def test_limits_hold(tmp_path: Path, form: str) -> None:
    path = write(pa.table({"time": [0.0] * 1000, "word": ["abc"] * 1000}), tmp_path / "x", form)
    for limits, setting in (
        (Limits(max_rows=999), "RIDELOG_MAX_ROWS"),
        (Limits(max_columns=1), "RIDELOG_MAX_COLUMNS"),
        (Limits(max_bytes=5000), "RIDELOG_MAX_BYTES"),
    ):
        with pytest.raises(LimitExceeded, match=setting):
            read(path, limits)
    wide = pa.table({"time": [0.0], "s": pa.array([{f"c{number}": 1 for number in range(50)}])})
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_COLUMNS"):
        read(write(wide, tmp_path / "x", form), Limits(max_columns=40))


def test_a_small_file_of_many_rows_meets_the_limit(tmp_path: Path) -> None:
    pq.write_table(pa.table({"time": pa.array([0.0] * 3_000_000)}), tmp_path / "x", compression="zstd")
    assert (tmp_path / "x").stat().st_size < 20_000
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_ROWS"):
        read(tmp_path / "x", Limits(max_rows=1_000_000))


def test_it_is_told_by_its_content(tmp_path: Path) -> None:
    assert isinstance(READER, Reader)
    table = pa.table({"time": [0.0, 1.0]})
    for form in FORMS:
        assert READER.sniff(write(table, tmp_path / "x", form).read_bytes(), "x.csv").score >= 0.9
    for other in (b"", b"time,rpm\n1,2\n", b"PAR", b"\xff\xff\xff\xff\xff\xff\xff\xff" + bytes(50), b"<gpx/>"):
        assert READER.sniff(other, "x.parquet").score == 0.0


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_damaged_files_read_or_are_refused(tmp_path: Path, data: st.DataObject) -> None:
    form = data.draw(st.sampled_from(FORMS))
    table = pa.table(
        {
            "time": pa.array([0.0, 0.5, None], pa.float64()),
            "word": pa.array(["a", "bb", None]),
            "kind": pa.array(["x", "y", "x"]).dictionary_encode(),
            "gps": pa.array([{"lat": 1.0}, None, {"lat": 2.0}]),
            "at": pa.array([1, 2, 3], pa.timestamp("us", "UTC")),
        }
    )
    content = bytearray(write(table, tmp_path / "x", form).read_bytes())
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(8, len(content) - 1))
        content[at] = data.draw(st.integers(0, 255))
    (tmp_path / "y").write_bytes(content)
    try:
        read(tmp_path / "y")
    except InputRefused:
        return
