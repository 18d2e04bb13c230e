"""ASAM MDF files: groups on one time base, start, text, invalid values, damage."""

from __future__ import annotations

import random
import struct
import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from ridelog.errors import InputRefused, LimitExceeded
from ridelog.readers import mdf
from ridelog.readers.base import Reader, ReadOptions
from ridelog.readers.limits import Limits
from ridelog.readers.mdf import MdfReader
from ridelog.readers.mdf_blocks import BrokenBlocksError, Start, read_facts
from ridelog.ride import RawColumn, RawLog

READER = MdfReader()
VERSIONS = ("3.30", "4.10")
BEGUN = datetime(2026, 7, 24, 10, 0, 0, 250_000, tzinfo=UTC)


def write(
    path: Path, groups: list[list[Any]], version: str = "4.10", start: datetime | None = BEGUN, **more: Any
) -> Path:
    """A file with a channel group for each list of signals, written by the library."""
    asammdf = pytest.importorskip("asammdf", reason="needs asammdf (extra 'mdf')")
    with asammdf.MDF(version=version) as file:
        if start is not None:
            file.start_time = start
        for signals in groups:
            file.append(signals, common_timebase=True)
        saved = Path(file.save(path, overwrite=True, **more))
    if saved != path:
        saved.replace(path)
    return path


def signal(name: str, values: Any, times: Any, unit: str = "", **more: Any) -> Any:
    """One signal of the library."""
    asammdf = pytest.importorskip("asammdf", reason="needs asammdf (extra 'mdf')")
    return asammdf.Signal(np.asarray(values), np.asarray(times, float), name=name, unit=unit, **more)


def read(path: Path, limits: Limits | None = None) -> RawLog:
    """The one table of a file, checked for what holds for every table."""
    (log,) = READER.read(path, ReadOptions("log.mf4", limits or Limits()))
    left_out = sum(note.rows or 0 for note in log.notes if note.kind.startswith("left_out_"))
    assert log.rows_in == log.height + left_out
    for column in log.columns:
        assert len(column.values) == log.height
        if column.values.dtype == pl.Float64:
            assert column.values.is_finite().all()
    return log


def column(log: RawLog, name: str) -> RawColumn:
    """The column with this name."""
    (found,) = [one for one in log.columns if one.name == name]
    return found


def kinds(log: RawLog) -> list[str]:
    """Kinds of its notes."""
    return [note.kind for note in log.notes]


@pytest.mark.parametrize("version", VERSIONS)
def test_groups_with_their_own_rates_share_one_time_base(tmp_path: Path, version: str) -> None:
    fast, slow = [0.0, 0.1, 0.2, 0.3], [0.05, 0.2]
    path = write(
        tmp_path / "x",
        [
            [
                signal("Coolant temp", [20.0, 21.5, np.nan, np.inf], fast, "°C"),
                signal("rpm", np.array([0, 1, 60_000, 65_535], "u2"), fast, "1/min"),
                signal("Speed [km/h]", np.array([-1, 0, 1, 2], "i1"), fast),
            ],
            [
                signal("Ambient temp", [18.0, 19.0], slow, "degC"),
                signal("rpm", np.array([7, 8], "f4"), slow, "1/min"),
                signal("Map", np.array([b"soft", b"hard"]), slow, encoding="utf-8"),
            ],
        ],
        version,
        datetime(2026, 7, 24, 12, 0, 0, 250_000, tzinfo=timezone(timedelta(hours=2))),
    )
    log = read(path)
    origin = 1_784_887_200_250_000.0
    assert column(log, "time").unit == "us"
    assert [stamp - origin for stamp in column(log, "time").values] == [0.0, 50e3, 100e3, 200e3, 300e3]
    assert column(log, "Coolant temp").values.to_list() == [20.0, None, 21.5, None, None]
    assert column(log, "Coolant temp").unit == "°C"
    assert column(log, "rpm").values.to_list() == [0.0, None, 1.0, 60_000.0, 65_535.0]
    assert column(log, "Speed").values.to_list() == [-1.0, None, 0.0, 1.0, 2.0]
    assert column(log, "Speed").unit == "km/h"
    assert column(log, "Ambient temp").values.to_list() == [None, 18.0, None, 19.0, None]
    assert column(log, "rpm 2").values.to_list() == [None, 7.0, None, 8.0, None]
    assert column(log, "Map").values.to_list() == [None, "soft", None, "hard", None]
    assert kinds(log) == ["cells_not_finite", "joined_groups", "same_name"]
    assert log.notes[0].rows == 2
    assert "'rpm 2' from group 2" in log.notes[2].text


def test_values_are_converted_and_invalid_ones_count_as_none(tmp_path: Path) -> None:
    times = [0.0, 1.0, 2.0]
    scaled = {"a": 0.5, "b": -40.0}
    states = {"val_0": 0, "text_0": b"off", "val_1": 1, "text_1": b"on", "default_addr": b"?"}
    path = write(
        tmp_path / "x",
        [
            [
                signal("Coolant", np.array([0, 100, 255], "u1"), times, "C", conversion=scaled),
                signal("Fan", np.array([0, 1, 9], "u1"), times, conversion=states),
                signal("Gear", np.array([1, 2, 3], "u1"), times, invalidation_bits=np.array([False, True, False])),
                signal("Slot", np.array([b"1", b"", b"2"]), times, encoding="utf-8"),
                signal("Picture", np.zeros((3, 4), "u1"), times),
            ]
        ],
    )
    log = read(path)
    assert column(log, "Coolant").values.to_list() == [-40.0, 10.0, 87.5]
    assert column(log, "Fan").values.to_list() == ["off", "on", "?"]
    assert column(log, "Gear").values.to_list() == [1.0, None, 3.0]
    assert column(log, "Slot").values.to_list() == [1.0, None, 2.0]
    assert [(note.kind, note.rows) for note in log.notes] == [
        ("cells_invalid", 1),
        ("left_out_columns", None),
    ]
    assert "Picture" in log.notes[1].text


@pytest.mark.parametrize("compression", [0, 1, 2])
def test_values_are_those_that_were_written(tmp_path: Path, compression: int) -> None:
    draw = np.random.default_rng(5)
    times = np.cumsum(draw.uniform(0.001, 0.1, 2000))
    kinds_of = ["u1", "i1", "u2", "i2", "u4", "i4", "u8", "i8", "f4", "f8"]
    wanted = {kind: draw.integers(0, 100, 2000).astype(kind) for kind in kinds_of}
    path = write(
        tmp_path / "x", [[signal(k, v, times) for k, v in wanted.items()]], start=BEGUN, compression=compression
    )
    log = read(path)
    for kind, values in wanted.items():
        assert np.array_equal(column(log, kind).values.to_numpy(), values.astype(float))
    origin = 1_784_887_200_250_000.0
    assert np.allclose(column(log, "time").values.to_numpy() - origin, times * 1e6, atol=1.0)


@pytest.mark.parametrize("version", VERSIONS)
def test_a_start_at_the_time_of_import_is_no_start(tmp_path: Path, version: str) -> None:
    # Library and writers put the present where a file has no start: a ride of long ago would become one of today.
    signals = [[signal("rpm", [1.0, 2.0], [0.0, 1.5])]]
    for start in (None, datetime.now(UTC) - timedelta(minutes=5)):
        log = read(write(tmp_path / "x", signals, version, start))
        assert column(log, "time").values.to_list() == [0.0, 1.5]
        assert column(log, "time").unit == "s"
        assert kinds(log) == ["start_unknown"]
        assert "--start" in log.notes[0].text
    log = read(write(tmp_path / "x", signals, version, datetime.now(UTC) - timedelta(hours=1)))
    assert "start_unknown" not in kinds(log)


def test_a_local_start_stays_local(tmp_path: Path) -> None:
    # Version 3 without a zone, and version 4 with its local flag (bit 0 of the flags behind the two zone fields).
    path = write(tmp_path / "x", [[signal("rpm", [1.0, 2.0], [0.0, 1.5])]], "3.30")
    log = read(path)
    wanted = ["2026-07-24T10:00:00.250000", "2026-07-24T10:00:01.750000"]
    assert column(log, "time").values.to_list() == wanted
    path = write(tmp_path / "x", [[signal("rpm", [1.0, 2.0], [0.0, 1.5])]], "4.10")
    data = bytearray(path.read_bytes())
    data[64 + 84] |= 1
    path.write_bytes(data)
    log = read(path)
    assert column(log, "time").values.to_list() == wanted
    assert column(log, "time").unit is None


def test_a_clock_that_was_never_set_is_no_start(tmp_path: Path) -> None:
    path = write(tmp_path / "x", [[signal("rpm", [1.0, 2.0], [0.0, 1.5])]])
    data = bytearray(path.read_bytes())
    for nanoseconds in (0, 315_532_800 * 10**9, 2**64 - 1):
        data[64 + 72 : 64 + 80] = struct.pack("<Q", nanoseconds)
        path.write_bytes(data)
        with path.open("rb") as file:
            assert read_facts(file).start == Start()
    assert column(read(path), "time").unit == "s"


def test_times_under_zero_in_an_unsigned_counter_are_put_right(tmp_path: Path) -> None:
    wrap_s = 2.0**64 / 1e9
    times = [wrap_s - 2.0, wrap_s - 1.0, 0.0, 1.0]
    log = read(write(tmp_path / "x", [[signal("rpm", [1.0, 2.0, 3.0, 4.0], times)]], start=None))
    assert column(log, "time").values.to_list() == pytest.approx([-2.0, -1.0, 0.0, 1.0], abs=1e-5)
    assert [(note.kind, note.rows) for note in log.notes if note.kind == "time_wrap"] == [("time_wrap", 2)]


def test_records_without_a_time_that_can_be_true_are_left_out(tmp_path: Path) -> None:
    times = [0.0, np.nan, 1.0, 5e9, np.inf, 2.0]
    log = read(write(tmp_path / "x", [[signal("rpm", [1.0, 2.0, 3.0, 4.0, 5.0, 6.0], times)]], start=None))
    assert column(log, "rpm").values.to_list() == [1.0, 3.0, 6.0]
    assert log.rows_in == 6
    with pytest.raises(InputRefused, match="no record has a time"):
        read(write(tmp_path / "x", [[signal("rpm", [1.0], [np.nan])]]))


def test_records_out_of_order_or_of_one_time_are_told_when_groups_are_joined(tmp_path: Path) -> None:
    groups = [
        [signal("rpm", [1.0, 2.0, 3.0, 4.0], [0.0, 2.0, 1.0, 1.0])],
        [signal("Coolant", [20.0, 21.0], [0.0, 1.0])],
    ]
    log = read(write(tmp_path / "x", groups, start=None))
    assert column(log, "time").values.to_list() == [0.0, 1.0, 2.0]
    assert column(log, "rpm").values.to_list() == [1.0, 4.0, 2.0]
    assert column(log, "Coolant").values.to_list() == [20.0, 21.0, None]
    assert {"sorted", "left_out_same_time"} <= set(kinds(log))
    # A group alone goes out as it stands: the clock of the import tells resets from disorder.
    log = read(write(tmp_path / "x", groups[:1], start=None))
    assert column(log, "time").values.to_list() == [0.0, 2.0, 1.0, 1.0]


@pytest.mark.parametrize("version", VERSIONS)
def test_a_cut_file_is_refused_or_has_lost_nothing(tmp_path: Path, version: str) -> None:
    path = write(tmp_path / "x", [[signal("rpm", np.arange(300.0), np.arange(300.0))]], version)
    whole = path.read_bytes()
    refused = 0
    for keep in (4, 63, 100, 500, len(whole) // 2, len(whole) - 2000, len(whole) - 100, len(whole) - 1):
        path.write_bytes(whole[:keep])
        try:
            log = read(path)
        except InputRefused as error:
            assert str(error).startswith("log.mf4: the file is damaged or cut off (")  # noqa: PT017
            assert str(tmp_path) not in str(error)  # noqa: PT017
            refused += 1
        else:
            assert column(log, "rpm").values.to_list() == list(range(300))
    assert refused >= 6


def test_chains_that_lead_in_a_circle_are_refused(tmp_path: Path) -> None:
    # The reading library would follow such a chain for ever.
    for version, kind, link, size in (
        ("4.10", b"##DG\0\0", 24, 8),
        ("4.10", b"##CN\0\0", 24, 8),
        ("3.30", b"DG", 4, 4),
        ("3.30", b"CN", 4, 4),
    ):
        path = write(tmp_path / "x", [[signal("rpm", [1.0], [0.0])]], version)
        data = bytearray(path.read_bytes())
        at = data.rindex(kind, 64)
        data[at + link : at + link + size] = at.to_bytes(size, "little")
        path.write_bytes(data)
        with pytest.raises(InputRefused, match="circle"):
            read(path)


def test_damaged_files_read_or_are_refused(tmp_path: Path) -> None:
    source = random.Random(4)  # noqa: S311 - the same damage every time
    whole = {
        version: write(
            tmp_path / "x",
            [
                [
                    signal("rpm", np.arange(20.0), np.arange(20.0)),
                    signal("note", np.array([b"a", b"b"] * 10), np.arange(20.0), encoding="utf-8"),
                ],
                [signal("Coolant", np.arange(5.0), np.arange(5.0))],
            ],
            version,
        ).read_bytes()
        for version in VERSIONS
    }
    for round_ in range(16):
        data = bytearray(whole[VERSIONS[round_ % 2]])
        for _ in range(source.randint(1, 3)):
            data[source.randrange(64, len(data))] = source.randrange(256)
        (tmp_path / "y").write_bytes(data)
        try:
            read(tmp_path / "y")
        except InputRefused as error:
            assert "Traceback" not in str(error)  # noqa: PT017


def test_a_reading_that_falls_or_never_ends_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "x", [[signal("rpm", [1.0, 2.0], [0.0, 1.0])]])
    monkeypatch.setattr(mdf, "_PATIENCE_S", 0.001)
    with pytest.raises(InputRefused, match="did not come to an end"):
        read(path)
    monkeypatch.setattr(mdf, "_PATIENCE_S", 60.0)
    monkeypatch.setattr(mdf.mdf_worker, "__name__", "ridelog.readers.no_such_worker")
    with pytest.raises(InputRefused, match="ended with status"):
        read(path)


def test_files_that_are_something_else_are_refused(tmp_path: Path) -> None:
    if sys.modules.get("asammdf", ...) is None:
        pytest.skip("needs asammdf (extra 'mdf')")
    pytest.importorskip("asammdf", reason="needs asammdf (extra 'mdf')")
    for content in (b"MDF     ", b"MDF     4.10    " + bytes(200), b"MDF     x.yz    " + bytes(200), bytes(100)):
        (tmp_path / "x").write_bytes(content)
        with pytest.raises(InputRefused, match="damaged"):
            read(tmp_path / "x")
    with pytest.raises(InputRefused, match="no channel"):
        read(write(tmp_path / "x", []))


def test_limits_hold(tmp_path: Path) -> None:
    path = write(tmp_path / "x", [[signal("rpm", np.arange(1000.0), np.arange(1000.0))]], compression=1)
    for limits, setting in (
        (Limits(max_rows=999), "RIDELOG_MAX_ROWS"),
        (Limits(max_columns=1), "RIDELOG_MAX_COLUMNS"),
        (Limits(max_bytes=10_000), "RIDELOG_MAX_BYTES"),
    ):
        with pytest.raises(LimitExceeded, match=setting):
            read(path, limits)


def test_without_the_library_the_refusal_names_the_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "asammdf", None)
    (tmp_path / "x").write_bytes(b"MDF     4.10    " + bytes(200))
    with pytest.raises(InputRefused, match=r"ridelog\[mdf\]"):
        read(tmp_path / "x")


def test_it_is_told_by_its_content() -> None:
    assert isinstance(READER, Reader)
    assert READER.sniff(b"MDF     4.10    " + bytes(100), "x.csv").score == 1.0
    assert READER.sniff(b"UnFinMF 4.10    " + bytes(100), "x.csv").score == 1.0
    for other in (b"", b"time,rpm\n1,2\n", b"MDF,rpm\n", b"PAR1", b"<gpx/>"):
        assert READER.sniff(other, "x.mf4").score == 0.0


def test_blocks_that_lie_outside_are_found(tmp_path: Path) -> None:
    block = b"##HD" + bytes(4) + struct.pack("<QQ", 104, 6) + struct.pack("<6Q", 5000, 0, 0, 0, 0, 0) + bytes(32)
    path = tmp_path / "x"
    path.write_bytes(b"MDF     4.10    ".ljust(64, b"\0") + block)
    with path.open("rb") as file, pytest.raises(BrokenBlocksError, match="byte 5,000"):
        read_facts(file)
