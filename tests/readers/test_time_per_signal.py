"""A time column for each signal: one axis for all, and two clocks of one row left alone."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from contract import check_log, check_ride, left_out

from ridelog.errors import InputRefused
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers.base import ReadOptions
from ridelog.readers.delimited import DelimitedReader
from ridelog.readers.time_per_signal import signal_groups
from ridelog.ride import RawLog, Ride

HEADER = "Time [s],Coolant temp [C],Time [s],Engine speed [rpm]"


def put(tmp_path: Path, lines: Sequence[str]) -> Path:
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def read(tmp_path: Path, lines: Sequence[str]) -> RawLog:
    path = put(tmp_path, lines)
    (log,) = DelimitedReader().read(path, ReadOptions(path.name))
    check_log(log)
    return log


def rides(tmp_path: Path, lines: Sequence[str]) -> list[Ride]:
    found = read_rides([put(tmp_path, lines)], ImportOptions())
    for ride in found:
        check_ride(ride)
    return found


def notes(log: RawLog | Ride) -> dict[str, int | None]:
    return {note.kind: note.rows for note in log.notes}


Samples = list[tuple[str, str]]


def side_by_side(header: str, *signals: Samples) -> list[str]:
    """The samples (time, value) of each signal in a pair of columns."""
    longest = max(len(signal) for signal in signals)
    rows = [[signal[n] if n < len(signal) else ("", "") for signal in signals] for n in range(longest)]
    return [header, *(",".join(cell for pair in row for cell in pair) for row in rows)]


def as_table(header: str, *signals: Samples) -> list[str]:
    """The same samples of one recording in an ordinary table: a row a time, blanks between."""
    times = sorted({t for signal in signals for t, _ in signal}, key=float)
    found = [dict(signal) for signal in signals]
    return [header, *(",".join((t, *(signal.get(t, "") for signal in found))) for t in times)]


def coolant(count: int, step: float = 1.0, start: float = 0.0) -> Samples:
    return [(f"{start + n * step:.2f}", f"{40 + n % 50}.0") for n in range(count)]


def rpm(count: int, step: float = 0.1, start: float = 0.0) -> Samples:
    return [(f"{start + n * step:.2f}", f"{3000 + 7 * (n % 400)}") for n in range(count)]


# -- one axis ---------------------------------------------------------------------------------------------------------


def test_each_sample_at_its_own_time(tmp_path: Path) -> None:
    log = read(tmp_path, side_by_side(HEADER, coolant(3), rpm(7, step=0.5)))
    assert [column.name for column in log.columns] == ["Time", "Coolant temp", "Engine speed"]
    assert log.columns[0].values.to_list() == [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
    assert log.columns[1].values.to_list() == [40.0, None, 41.0, None, 42.0, None, None]
    assert log.columns[2].values.to_list() == [3000.0 + 7 * n for n in range(7)]
    assert log.rows_in == 10
    assert notes(log) == {"time_per_signal": None, "left_out_joined": 3}
    assert log.row_lines is not None
    assert log.row_lines.tolist() == [2, 3, 3, 5, 4, 7, 8]


def test_a_clock_that_begins_again_in_each_signal(tmp_path: Path) -> None:
    lines = side_by_side(HEADER, coolant(60) + coolant(90), rpm(600) + rpm(900))
    found = rides(tmp_path, lines)
    tables = [as_table("Time [s],Coolant temp [C],Engine speed [rpm]", coolant(n), rpm(10 * n)) for n in (60, 90)]
    assert [ride.samples.height for ride in found] == [600, 900]
    for ride, table in zip(found, tables, strict=True):
        (expected,) = rides(tmp_path, table)
        assert ride.samples.equals(expected.samples)


def test_a_repeated_header_keeps_recordings_apart(tmp_path: Path) -> None:
    lines = side_by_side(HEADER, coolant(30), rpm(300))
    log = read(tmp_path, [*lines, *lines])
    assert log.height == 600
    assert log.breaks == (300,)


def test_signals_whose_clocks_begin_again_unequally_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="begins again") as caught:
        read(tmp_path, side_by_side(HEADER, coolant(60), rpm(600) + rpm(900)))
    assert "log.csv" in caught.value.where


def test_times_that_do_not_meet_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="have ended"):
        read(tmp_path, side_by_side(HEADER, coolant(60), rpm(700, start=50_000.0)))


def test_midnight(tmp_path: Path) -> None:
    def clock(t: float) -> str:
        t = (t + 86_340) % 86_400
        return f"{int(t) // 3600:02d}:{int(t) // 60 % 60:02d}:{t % 60:06.3f}"

    signals = [[(clock(float(t)), v) for t, v in signal] for signal in (coolant(120), rpm(1200))]
    (ride,) = rides(tmp_path, side_by_side("Time,Coolant temp [C],Time,Engine speed [rpm]", *signals))
    np.testing.assert_allclose(ride.samples["t_s"], np.arange(1200) / 10, atol=1e-9)
    assert ride.samples["coolant_c"].drop_nulls().to_list() == [float(v) for _, v in coolant(120)]


def test_several_values_at_one_time(tmp_path: Path) -> None:
    samples = coolant(30)
    samples[5:5] = [(samples[4][0], "77.0")]
    log = read(tmp_path, side_by_side(HEADER, samples, rpm(300)))
    assert log.columns[1].values.drop_nulls()[4] == 77.0
    assert notes(log)["several_values"] == 1


def test_values_without_their_time_are_left_out_and_counted(tmp_path: Path) -> None:
    samples = coolant(30)
    samples[5] = ("", samples[5][1])
    log = read(tmp_path, side_by_side(HEADER, samples, rpm(300)))
    assert notes(log)["left_out_untimed"] == 1
    assert log.rows_in == 330


def test_several_columns_go_by_one_clock_and_a_signal_may_be_empty(tmp_path: Path) -> None:
    header = "Time [s],Coolant,Ambient,Time [s],rpm,Time [s],Gear"
    lines = [header, *(f"{n},{40 + n},20,{n / 4},{3000 + n},," for n in range(40))]
    log = read(tmp_path, lines)
    assert [column.name for column in log.columns] == ["Time", "Coolant", "Ambient", "rpm", "Gear"]
    assert log.columns[4].values.null_count() == log.height
    assert log.columns[2].values.drop_nulls().len() == 40


# -- two clocks of one row --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "header",
    [
        "Time [s],Time UTC,Coolant,rpm",
        "Time [s],Coolant,GPS time,rpm",
        "Time [s],Coolant,Time [ms],rpm",
        "Local time,Coolant,UTC time,rpm",
        "Time,Coolant,Date,rpm",
        "Time,Coolant,Lap Time,rpm",
        "Lap,Time,Coolant,Time",
        "Time,Coolant,T,rpm",
        "Time,Coolant,rpm",
        "Coolant,rpm",
        "",
    ],
)
def test_headers_of_other_tables(header: str) -> None:
    names = [cell.partition(" [") for cell in header.split(",")]
    assert signal_groups([name for name, _, _ in names], [unit.rstrip("]") or None for _, _, unit in names]) is None


@pytest.mark.parametrize(
    ("header", "name"),
    [
        ("Time,Coolant,Time,rpm", "Time"),
        ("Time 1,Coolant,Time 2,rpm", "time"),
        ("Time1,Coolant,Time2,rpm", "time"),
        ("Time Coolant,Coolant,Time rpm,rpm", "time"),
        ("Coolant time,Coolant,rpm time,rpm", "time"),
        ("Zeit Drehzahl,Drehzahl,Zeit Gang,Gang", "zeit"),
        ("Temps,Régime,Temps,Rapport", "Temps"),
    ],
)
def test_headers_of_signals_with_their_times(header: str, name: str) -> None:
    found = signal_groups(header.split(","), [None] * 4)
    assert found is not None
    assert found[0] == name
    assert [(group.time, group.values) for group in found[1]] == [(0, (1,)), (2, (3,))]


def test_times_that_are_all_the_same_are_kept_once(tmp_path: Path) -> None:
    log = read(tmp_path, side_by_side(HEADER, rpm(50), rpm(50)))
    assert [column.name for column in log.columns] == ["Time", "Coolant temp", "Engine speed"]
    assert notes(log) == {"same_column": None}


@pytest.mark.parametrize("apart_s", [4000.0, 48.21, -3600.0])
def test_two_clocks_of_one_row_stay_what_they_are(tmp_path: Path, apart_s: float) -> None:
    lines = [HEADER, *(f"{n / 10:.2f},{40 + n % 9},{n / 10 + apart_s:.3f},{3000 + n}" for n in range(300))]
    log = read(tmp_path, lines)
    assert log.height == 300
    assert len(log.columns) == 4
    (ride,) = rides(tmp_path, lines)
    assert ride.samples.height == 300


@pytest.mark.parametrize("unit", [" [ms]", "", " [s]"])
def test_a_signal_that_starts_a_little_late(tmp_path: Path, unit: str) -> None:
    header = f"Time{unit},Coolant temp [C],Time{unit},Engine speed [rpm]"
    factor = 1 if unit == " [s]" else 1000
    lines = [header, *(f"{n * factor},{40 + n % 9},{(n + 3) * factor},{3000 + n}" for n in range(300))]
    log = read(tmp_path, lines)
    assert log.height == 303
    assert "time_per_signal" in notes(log)


def test_a_time_that_is_no_clock_stays_what_it_is(tmp_path: Path) -> None:
    lines = [HEADER, *(f"{n / 10:.2f},{40 + n % 9},{95 + n // 100}.5,{3000 + n}" for n in range(400))]
    log = read(tmp_path, lines)
    assert log.height == 400
    assert "time_per_signal" not in notes(log)


# -- any log ----------------------------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    every=st.tuples(st.integers(2, 40), st.integers(1, 7)),
    length_s=st.floats(30.0, 90.0),
    late=st.integers(0, 40),
    ragged=st.booleans(),
)
def test_the_same_ride_as_in_one_table(
    tmp_path: Path, every: tuple[int, int], length_s: float, late: int, ragged: bool
) -> None:
    one = coolant(int(length_s / (every[0] / 20)), every[0] / 20, late / 20)
    other = rpm(int(length_s / (every[1] / 20)), every[1] / 20)
    lines = side_by_side(HEADER, one, other)
    if ragged:
        lines = [line.rstrip(",") for line in lines]
    log = read(tmp_path, lines)
    assert log.height + left_out(log.notes) == log.rows_in
    found = rides(tmp_path, lines)
    expected = rides(tmp_path, as_table("Time [s],Coolant temp [C],Engine speed [rpm]", one, other))
    assert len(found) == len(expected) == 1
    assert found[0].samples.equals(expected[0].samples)


def test_coarse_times_of_signals_of_different_rates(tmp_path: Path) -> None:
    def stamps(count: int, rate: int, first: int) -> Samples:
        return [(f"10:00:{n // rate:02d}", f"{first + n % 40}") for n in range(count)]

    header = "Time,Coolant temp [C],Time,Engine speed [rpm]"
    (ride,) = rides(tmp_path, side_by_side(header, stamps(60, 2, 60), stamps(300, 10, 3000)))
    assert "coarse_times" in notes(ride)
    np.testing.assert_allclose(ride.samples["t_s"], np.arange(300) / 10, atol=1e-9)
    warm = ride.samples.drop_nulls("coolant_c")
    np.testing.assert_allclose(warm["t_s"], np.arange(60) / 2, atol=1e-9)
    assert warm["coolant_c"].to_list() == [60.0 + n % 40 for n in range(60)]
