"""Ride files: exact round trip, metadata both libraries can see, damage told in words."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType

import polars as pl
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ridelog.channels import CHANNELS, TIME, unit_of
from ridelog.errors import LibraryError
from ridelog.intervals import Interval
from ridelog.ride import ChannelInfo, Note, QualityMark, Ride, SourceFile
from ridelog.store import parquet
from ridelog.store.parquet import RIDE_KEY, SCHEMA_KEY, read_report, read_ride, write_ride

finite = st.floats(allow_nan=False, allow_infinity=False)
maybe = st.none() | st.floats(0, 1e6)
words = st.text(st.characters(exclude_categories=("Cs",)), max_size=30)
NUMERIC = [name for name in CHANNELS if name != "time_utc"] + ["coolant_c.2", "raw.Ölstand [%]"]


@st.composite
def rides(draw: st.DrawFn) -> Ride:
    """Any ride a reader could make: any channels, nulls, gaps, texts, and none of it at all."""
    steps = draw(st.lists(st.integers(1, 10**6), max_size=12))
    rows = len(steps) + 1 if draw(st.booleans()) or steps else 0
    times = [0.0]
    for step in steps:
        times.append(times[-1] + step / 1000)
    columns = {TIME: pl.Series(times[:rows], dtype=pl.Float64)}
    for name in draw(st.lists(st.sampled_from(NUMERIC), unique=True, max_size=6)):
        cells = draw(st.lists(st.none() | finite, min_size=rows, max_size=rows))
        columns[name] = pl.Series(cells, dtype=pl.Float64)
    if draw(st.booleans()):
        columns["raw.note"] = pl.Series(
            draw(st.lists(st.none() | words, min_size=rows, max_size=rows)), dtype=pl.String
        )
    if draw(st.booleans()):
        stamps = [datetime(2026, 5, 1, tzinfo=UTC) + timedelta(seconds=t) if draw(st.booleans()) else None
                  for t in times[:rows]]  # fmt: skip
        columns["time_utc"] = pl.Series(stamps, dtype=pl.Datetime("us", "UTC"))
    channels = {
        name: ChannelInfo(
            name, unit_of(name), draw(maybe), draw(maybe), draw(st.floats(0, 1)), draw(st.booleans()),
            draw(st.sampled_from(["logged", "derived", "estimated"])), draw(words),
        )
        for name in columns if name != TIME
    }  # fmt: skip
    return Ride(
        id=draw(words),
        samples=pl.DataFrame(columns),
        channels=channels,
        sources=tuple(draw(st.lists(st.builds(SourceFile, words, words, st.integers(0, 2**40), words), max_size=3))),
        gaps=tuple(draw(st.lists(st.builds(Interval, finite, finite), max_size=3))),
        start_utc=draw(st.none() | st.datetimes(timezones=st.just(UTC))),
        timezone=draw(st.none() | words),
        notes=tuple(draw(st.lists(st.builds(Note, words, words, st.none() | st.integers(0, 9), st.none() | words),
                                  max_size=2))),
        quality=tuple(draw(st.lists(
            st.builds(QualityMark, words, words, finite, finite, st.sampled_from(["excluded", "kept", "repaired"]),
                      words), max_size=2))),
        bike=draw(st.none() | words),
        ambient_c=draw(st.none() | finite),
        condition=draw(st.sampled_from(["healthy", "faulty", "unknown"])),
        distance_m=draw(maybe),
        peak_c=draw(maybe),
        extra=draw(st.dictionaries(words, words, max_size=2)),
    )  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ride=rides())
def test_what_is_written_is_read(ride: Ride, tmp_path: Path) -> None:
    path = tmp_path / "ride.parquet"
    write_ride(ride, path)
    back = read_ride(path)
    assert back.samples.schema == ride.samples.schema
    assert back.samples.equals(ride.samples, null_equal=True)
    assert replace(back, samples=ride.samples) == ride
    report = read_report(path)
    assert (report.rows, report.duration_s) == (ride.samples.height, ride.duration_s)
    assert (report.notes, report.channels, report.extra) == (ride.notes, ride.channels, ride.extra)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ride=rides())
def test_a_ride_file_holds_no_nan_and_explains_itself_to_both_libraries(ride: Ride, tmp_path: Path) -> None:
    path = tmp_path / "ride.parquet"
    write_ride(ride, path)
    schema, footer, polars = pq.read_schema(path), pq.read_metadata(path).metadata, pl.read_parquet_metadata(path)
    for key in (SCHEMA_KEY, RIDE_KEY):
        assert schema.metadata[key.encode()] == footer[key.encode()] == polars[key].encode()
    assert polars[SCHEMA_KEY] == "1"
    assert json.loads(polars[RIDE_KEY])["rows"] == ride.samples.height
    for name in ride.samples.columns:
        assert schema.field(name).metadata[b"unit"].decode() == unit_of(name)
    for name, info in ride.channels.items():
        metadata = {key.decode(): value.decode() for key, value in schema.field(name).metadata.items()}
        assert metadata["source"] == info.source
        assert metadata["origin"] == info.origin
        assert metadata["held"] == str(info.held).lower()
        for key in ("rate_hz", "resolution", "coverage"):
            value = getattr(info, key)
            assert (float(metadata[key]) if key in metadata else None) == value
    back = pl.read_parquet(path)
    assert back.select(pl.selectors.float().is_finite().all(ignore_nulls=True)).row(0) == (True,) * len(
        back.select(pl.selectors.float()).columns
    )


@pytest.mark.parametrize(
    ("columns", "complaint"),
    [
        ({"t_s": [0.0, 1.0], "coolant_c": [90.0, float("nan")]}, "coolant_c"),
        ({"t_s": [0.0, 1.0], "coolant_c": [float("inf"), None]}, "coolant_c"),
        ({"t_s": [0.0, 0.0], "coolant_c": [90.0, 91.0]}, "rise"),
        ({"t_s": [0.5, 1.0], "coolant_c": [90.0, 91.0]}, "from 0"),
        ({"t_s": [0.0, None], "coolant_c": [90.0, 91.0]}, "without a time"),
        ({"coolant_c": [90.0, 91.0], "t_s": [0.0, 1.0]}, "first column"),
    ],
)
def test_samples_that_break_their_promise_are_never_written(
    tmp_path: Path, maker: ModuleType, columns: dict[str, list[float | None]], complaint: str
) -> None:
    ride = replace(maker.ride(1), samples=pl.DataFrame(columns))
    with pytest.raises(ValueError, match=complaint):
        write_ride(ride, tmp_path / "ride.parquet")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), float("-inf")])
@pytest.mark.parametrize("place", [0, 500, 999])
def test_one_value_that_is_none_is_met_wherever_it_stands(bad: float, place: int) -> None:
    values: list[float | None] = [1.0, None] * 500
    values[place] = bad
    frame = pl.DataFrame({"t_s": [float(n) for n in range(1000)], "coolant_c": values})
    with pytest.raises(ValueError, match="infinity in coolant_c"):
        parquet.check_samples(frame)
    both = [float("inf"), float("-inf"), *values[2:]]
    with pytest.raises(ValueError, match="infinity in coolant_c"):
        parquet.check_samples(frame.with_columns(coolant_c=pl.Series(both)))


def test_numbers_near_the_end_of_the_scale_are_numbers() -> None:
    parquet.check_samples(pl.DataFrame({"t_s": [0.0, 1.0, 2.0], "raw.x": [1.7e308, 1.7e308, -1.7e308]}))


def test_some_columns(tmp_path: Path, maker: ModuleType) -> None:
    ride = maker.ride(1)
    write_ride(ride, tmp_path / "ride.parquet")
    part = read_ride(tmp_path / "ride.parquet", ["engine_rpm"])
    assert part.samples.equals(ride.samples.select("t_s", "engine_rpm"))
    assert list(part.channels) == ["engine_rpm"]
    with pytest.raises(ValueError, match="oil_c"):
        read_ride(tmp_path / "ride.parquet", ["oil_c"])


def test_row_groups_bound_the_memory_of_a_write(
    tmp_path: Path, maker: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parquet, "ROW_GROUP_ROWS", 100)
    ride = maker.ride(1, rows=350)
    write_ride(ride, tmp_path / "ride.parquet")
    assert pq.read_metadata(tmp_path / "ride.parquet").num_row_groups == 4
    assert read_ride(tmp_path / "ride.parquet").samples.equals(ride.samples)


def damage(data: bytes, how: str) -> bytes:
    """The bytes of a ride file, spoilt."""
    if how == "empty":
        return b""
    if how == "text":
        return b"t_s;coolant_c\n0;90\n"
    if how == "tail cut":
        return data[:-5]
    if how == "half":
        return data[: len(data) // 2]
    return data[:4] + bytes(len(data) - 8) + data[-4:]  # zeroed


@pytest.mark.parametrize("how", ["empty", "text", "tail cut", "half", "zeroed"])
def test_a_damaged_file_says_what_to_do(tmp_path: Path, maker: ModuleType, how: str) -> None:
    path = tmp_path / "ride.parquet"
    write_ride(maker.ride(1), path)
    path.write_bytes(damage(path.read_bytes(), how))
    for read in (read_ride, read_report):
        with pytest.raises(LibraryError) as caught:
            read(path)
        assert "import the log again" in caught.value.to_do
        assert str(path) in caught.value.where


@pytest.mark.parametrize(
    "columns",
    [
        {"coolant_c": float("nan")},
        {"engine_rpm": float("inf")},
        {"coolant_c": "warm"},
        {"t_s": 0.0},
        {"t_s": None},
        {"t_s": "noon"},
        {"engine_rpm": "gone"},
        {"t_s": "gone"},
    ],
)
def test_samples_that_break_their_promise_are_not_read(
    tmp_path: Path, maker: ModuleType, columns: dict[str, float | str | None]
) -> None:
    """A whole Parquet file with the metadata of a ride, and columns no import writes."""
    path = tmp_path / "ride.parquet"
    write_ride(maker.ride(1), path)
    table = pq.read_table(path)
    frame = pl.DataFrame(table)
    for name, value in columns.items():
        kind = pl.String if isinstance(value, str) else pl.Float64
        frame = frame.drop(name) if value == "gone" else frame.with_columns(pl.lit(value, dtype=kind).alias(name))
    pq.write_table(frame.to_arrow().replace_schema_metadata(table.schema.metadata), path)
    with pytest.raises(LibraryError, match="damaged") as caught:
        read_ride(path)
    assert next(iter(columns)) in caught.value.found or "time" in caught.value.found
    assert "import the log again" in caught.value.to_do


def test_a_missing_file_and_a_foreign_one(tmp_path: Path, maker: ModuleType) -> None:
    with pytest.raises(LibraryError, match="gone"):
        read_ride(tmp_path / "none.parquet")
    maker.ride(1).samples.write_parquet(tmp_path / "foreign.parquet")
    with pytest.raises(LibraryError, match="not a ride file"):
        read_report(tmp_path / "foreign.parquet")
    ride = maker.ride(1)
    newer = {SCHEMA_KEY: "9", RIDE_KEY: "{}"}
    ride.samples.write_parquet(tmp_path / "newer.parquet", metadata=newer)
    with pytest.raises(LibraryError, match="version 9"):
        read_ride(tmp_path / "newer.parquet")
    ride.samples.write_parquet(tmp_path / "odd.parquet", metadata={SCHEMA_KEY: "1", RIDE_KEY: '{"id": 1}'})
    with pytest.raises(LibraryError, match="damaged"):
        read_ride(tmp_path / "odd.parquet")
