"""Comma and dot in whole files: decimal sign or sign between thousands, on the fast path and on the careful one."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridelog.ingest import ImportOptions, read_rides
from ridelog.ride import Ride

N = 600


def read(tmp_path: Path, header: str, *columns: list[str], separator: str = ";") -> Ride:
    quoted = [[f'"{c}"' if separator == "," and "," in c else c for c in column] for column in columns]
    rows = [separator.join([str(n), *(column[n % len(column)] for column in quoted)]) for n in range(N)]
    (tmp_path / "log.csv").write_text("\n".join([header.replace(";", separator), *rows]) + "\n", encoding="utf-8")
    return read_rides([tmp_path / "log.csv"], ImportOptions())[0]


def kinds(ride: Ride) -> set[str]:
    return {note.kind for note in ride.notes}


@pytest.mark.parametrize("separator", [";", ",", "\t"])
@pytest.mark.parametrize("sign", [",", "."])
@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize(
    ("header", "channel"),
    [
        ("RPM", "engine_rpm"),
        ("EGT [C]", "exhaust_gas_c"),
        ("Altitude [m]", "elevation_m"),
        ("Oddity", "raw.Oddity"),
    ],
)
def test_thousands_of_any_channel(  # noqa: PLR0917 - every pair of them is one case
    header: str, channel: str, late: bool, sign: str, separator: str, tmp_path: Path
) -> None:
    # `late`: the first rows hold no sign at all, so that nothing but the later ones tells.
    column = ["980"] * 400 + [f"1{sign}050"] * 200 if late else ["980", f"1{sign}050"]
    ride = read(tmp_path, f"Time [s];Coolant [C];{header}", ["90"], column, separator=separator)
    assert set(ride.samples[channel]) == {980.0, 1050.0}
    assert "cells_grouped" in kinds(ride)
    assert "decimal_comma" not in kinds(ride)


@pytest.mark.parametrize("sign", [",", "."])
def test_thousands_below_zero_and_late(sign: str, tmp_path: Path) -> None:
    ride = read(tmp_path, "Time [s];Coolant [C];Oddity", ["90"], ["-980"] * 400 + [f"-1{sign}050"] * 200)
    assert set(ride.samples["raw.Oddity"]) == {-980.0, -1050.0}
    assert "cells_grouped" in kinds(ride)


def test_engine_speeds_that_are_all_thousands(tmp_path: Path) -> None:
    for sign in ",.":
        late = ["0"] * 400 + [f"3{sign}050", f"8{sign}500"] * 100
        for cells in ([f"3{sign}050", f"8{sign}500"], late):
            ride = read(tmp_path, "Time [s];Coolant [C];RPM", ["90"], cells)
            assert set(ride.samples["engine_rpm"]) - {0.0} == {3050.0, 8500.0}


def test_a_dot_among_decimal_commas_stands_between_thousands(tmp_path: Path) -> None:
    ride = read(
        tmp_path, "Zeit [s];Wassertemp [C];Höhe [m];Druck", ["90,5"], ["980", "1.050", "1.250"], ["1.013", "1.012"]
    )
    assert set(ride.samples["elevation_m"]) == {980.0, 1050.0, 1250.0}
    assert set(ride.samples["raw.Druck"]) == {1013.0, 1012.0}
    assert {"decimal_comma", "cells_grouped"} <= kinds(ride)


def test_three_decimals_behind_a_comma_beside_decimal_dots(tmp_path: Path) -> None:
    ride = read(tmp_path, "Time [s];Coolant [C];EGT [C];RPM", ["90,125", "96,250"], ["400.5"], ["3000"], separator=",")
    assert set(ride.samples["coolant_c"]) == {90.125, 96.25}
    assert "decimal_sign" in kinds(ride)
    assert "unit_contradiction" not in kinds(ride)


@pytest.mark.parametrize("sign", [",", "."])
def test_three_decimals_stay_decimals(sign: str, tmp_path: Path) -> None:
    ride = read(
        tmp_path, "Time [s];Coolant [C];Battery [V]", [f"90{sign}125", f"91{sign}000"], [f"13{sign}850", f"13{sign}9"]
    )
    assert set(ride.samples["coolant_c"]) == {90.125, 91.0}
    assert set(ride.samples["battery_v"]) == {13.85, 13.9}
    assert "cells_grouped" not in kinds(ride)


def test_a_header_in_other_letters_is_the_same_header(tmp_path: Path) -> None:
    header = "Time [s],Coolant [C],RPM"
    rows = [f"{n},90,5000" for n in range(100)]
    for other in (header.upper(), header.lower(), header):
        (tmp_path / "log.csv").write_text("\n".join([header, *rows[:50], other, *rows[50:]]) + "\n")
        ride = read_rides([tmp_path / "log.csv"], ImportOptions())[0]
        assert ride.samples.height == 100
        assert "repeated_header" in kinds(ride)
