"""A bike's confirmed columns are used for its next log with the same header, and only where the log allows it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from ridelog import ingest
from ridelog.bike import Bike, parse_bike
from ridelog.ingest import ImportOptions, Outcome, import_files, parse_column_option, read_rides, remembered
from ridelog.ride import Ride
from ridelog.store.library import Library

N = 400
BIKE = parse_bike('schema = 1\nid = "b7"\n', "b7.toml")
OTHER = parse_bike('schema = 1\nid = "b8"\n', "b8.toml")

Table = dict[str, list[object]]
SPEED: Table = {
    "Time [s]": [n / 2 for n in range(N)],
    "Speed": [n % 90 for n in range(N)],
    "Engine speed [rpm]": [3000 + n % 100 * 40 for n in range(N)],
}


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library.open(tmp_path / "library")


def put(tmp_path: Path, name: str, columns: Table) -> Path:
    path = tmp_path / name
    rows = [",".join(columns)] + [",".join(str(values[n]) for values in columns.values()) for n in range(N)]
    path.write_text("\n".join(rows) + "\n")
    return path


def changed(columns: Table, **others: list[object]) -> Table:
    return {name: others.get(name, values) for name, values in columns.items()}


def another(columns: Table = SPEED) -> Table:
    """Another ride in the same form."""
    return changed(columns, **{"Engine speed [rpm]": [4000 + n % 90 * 30 for n in range(N)]})


def load(library: Library, path: Path, *choices: str, bike: Bike | None = BIKE) -> Outcome:
    said = ImportOptions(
        bike=bike, bike_id=bike.id if bike else None, columns=tuple(parse_column_option(one) for one in choices)
    )
    (outcome,) = import_files(library, [path], said)
    return outcome


def ride(library: Library, outcome: Outcome) -> Ride:
    assert outcome.status == "stored", outcome.reason
    return library.load(outcome.ride_id or "")


def notes(outcome: Outcome, kind: str) -> list[str]:
    return [note.text for note in outcome.notes if note.kind == kind]


def test_the_next_log_with_the_header_is_read_in_the_same_way(tmp_path: Path, library: Library) -> None:
    first = load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:mph")
    (told,) = notes(first, "confirmed")
    assert "'Speed' as speed from a wheel or the gearbox, in miles per hour" in told
    second = load(library, put(tmp_path, "b.csv", another()))
    # 0.44704 m/s to the mile per hour, exactly: NIST SP 811, B.8.
    assert ride(library, second).samples["wheel_speed_mps"][10] == pytest.approx(10 * 0.44704)
    (told,) = notes(second, "remembered")
    day = library.column_mappings("b7")[0].meanings[0].confirmed_utc.date().isoformat()
    assert "'Speed'" in told
    assert "wheel_speed_mps:mph" in told
    assert f"confirmed {day}" in told
    assert notes(second, "confirmed") == []


def test_the_order_of_the_columns_does_not_matter(tmp_path: Path, library: Library) -> None:
    load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:km/h")
    columns = dict(reversed(another().items()))
    assert "wheel_speed_mps" in ride(library, load(library, put(tmp_path, "b.csv", columns))).channels


@pytest.mark.parametrize(
    "columns",
    [
        {**SPEED, "Gear": [1 + n % 5 for n in range(N)]},
        {"Time [s]": SPEED["Time [s]"], "Speed": SPEED["Speed"]},
        {("Engine [rpm]" if name.startswith("Engine") else name): values for name, values in SPEED.items()},
        {("Engine speed" if name.startswith("Engine") else name): values for name, values in SPEED.items()},
    ],
)  # fmt: skip
def test_another_header_is_another_question(columns: Table, tmp_path: Path, library: Library) -> None:
    load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:km/h")
    outcome = load(library, put(tmp_path, "b.csv", columns))
    assert outcome.status == "refused"
    assert "--column 'Speed=" in str(outcome.reason)


@pytest.mark.parametrize("bike", [OTHER, None])
def test_another_bike_or_none_is_another_question(bike: Bike | None, tmp_path: Path, library: Library) -> None:
    load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:km/h")
    assert load(library, put(tmp_path, "b.csv", another()), bike=bike).status == "refused"


def test_without_a_bike_nothing_is_remembered(tmp_path: Path, library: Library) -> None:
    outcome = load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:km/h", bike=None)
    assert outcome.status == "stored"
    assert notes(outcome, "confirmed") == []
    with library._catalogue.read() as db:
        assert db.execute("SELECT count(*) FROM header").fetchone() == (0,)


def test_the_option_wins_and_replaces(tmp_path: Path, library: Library) -> None:
    load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:km/h")
    second = load(library, put(tmp_path, "b.csv", another()), "Speed=gps_speed_mps:mph")
    assert "gps_speed_mps" in ride(library, second).channels
    assert notes(second, "remembered") == []
    third = changed(another(), Speed=[n % 70 for n in range(N)])
    assert "gps_speed_mps:mph" in notes(load(library, put(tmp_path, "c.csv", third)), "remembered")[0]


def test_what_is_said_of_one_column_leaves_the_others(tmp_path: Path, library: Library) -> None:
    both = {**SPEED, "Coolant": [70 + n // 7 for n in range(N)]}
    load(library, put(tmp_path, "a.csv", both), "Speed=wheel_speed_mps:km/h", "Coolant=coolant_c:C")
    second = load(library, put(tmp_path, "b.csv", another(both)), "Speed=gps_speed_mps:km/h")
    assert {"gps_speed_mps", "coolant_c"} <= set(ride(library, second).channels)
    assert {one.column: one.channel for one in library.column_mappings("b7")[0].meanings} == {
        "Speed": "gps_speed_mps",
        "Coolant": "coolant_c",
    }


def test_a_column_left_out_stays_out(tmp_path: Path, library: Library) -> None:
    load(library, put(tmp_path, "a.csv", SPEED), "Speed=raw")
    assert "raw.Speed" in ride(library, load(library, put(tmp_path, "b.csv", another()))).samples.columns


def test_a_file_that_is_refused_teaches_nothing(tmp_path: Path, library: Library) -> None:
    both = {**SPEED, "Coolant": [70 + n // 7 for n in range(N)]}
    assert load(library, put(tmp_path, "a.csv", both), "Speed=wheel_speed_mps:km/h").status == "refused"
    assert library.column_mappings("b7") == []


def test_a_file_that_was_there_already_teaches_nothing(tmp_path: Path, library: Library) -> None:
    path = put(tmp_path, "a.csv", SPEED)
    load(library, path, "Speed=wheel_speed_mps:km/h")
    library.forget_columns("b7")
    assert load(library, path, "Speed=gps_speed_mps:km/h").status == "already_stored"
    assert library.column_mappings("b7") == []


def test_a_large_file_that_was_there_already_needs_no_option(
    tmp_path: Path, library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ingest, "_LARGE_BYTES", 0)
    path = put(tmp_path, "a.csv", SPEED)
    load(library, path, "Speed=wheel_speed_mps:km/h", bike=None)
    assert load(library, path, bike=None).status == "already_stored"


def test_what_is_said_holds_for_the_next_file_of_the_same_call(tmp_path: Path, library: Library) -> None:
    """Answers and options are the call's; what it remembers serves the calls after it."""
    said = ImportOptions(bike=BIKE, bike_id="b7", columns=(parse_column_option("Speed=wheel_speed_mps:km/h"),))
    paths = [put(tmp_path, "a.csv", SPEED), put(tmp_path, "b.csv", another())]
    assert [one.status for one in import_files(library, paths, said)] == ["stored", "stored"]
    assert len(library.column_mappings("b7")) == 1


def test_a_file_read_without_storing_uses_them_too(tmp_path: Path, library: Library) -> None:
    load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:km/h")
    options = ImportOptions(bike=BIKE, bike_id="b7", remembered=remembered(library, "b7"))
    (found,) = read_rides([put(tmp_path, "b.csv", another())], options)
    assert "wheel_speed_mps" in found.channels


def test_rides_alike_but_for_the_way_they_were_told_are_the_same(tmp_path: Path, library: Library) -> None:
    load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:km/h")
    path = put(tmp_path, "b.csv", another())
    by_memory = ride(library, load(library, path))
    by_option = ride(
        other := Library.open(tmp_path / "other"), load(other, path, "Speed=wheel_speed_mps:km/h")
    )  # fmt: skip
    assert by_memory.samples.equals(by_option.samples)
    assert replace(by_memory, notes=()).channels == replace(by_option, notes=()).channels


# -- what the next log does not allow ---------------------------------------------------------------------------------


def test_a_logger_that_changed_its_unit_is_noticed(tmp_path: Path, library: Library) -> None:
    """C was confirmed; the next log holds what only F can be."""
    warm = {**SPEED, "Coolant": [70 + n // 7 for n in range(N)]}
    load(library, put(tmp_path, "a.csv", warm), "Speed=wheel_speed_mps:km/h", "Coolant=coolant_c:C")
    hot = changed(another(warm), Coolant=[180 + n // 7 for n in range(N)])
    outcome = load(library, put(tmp_path, "b.csv", hot))
    assert "outside -39 to 160 C" in notes(outcome, "remembered_not_used")[0]
    assert ride(library, outcome).samples["coolant_c"][0] == pytest.approx((180 - 32) / 1.8)


def test_a_few_values_that_cannot_be_are_no_reason_to_ask_again(tmp_path: Path, library: Library) -> None:
    warm = {**SPEED, "Coolant": [70 + n // 7 for n in range(N)]}
    load(library, put(tmp_path, "a.csv", warm), "Speed=wheel_speed_mps:km/h", "Coolant=coolant_c:C")
    torn = changed(another(warm), Coolant=[3276.7 if n % 5 == 0 else 70 + n // 7 for n in range(N)])
    outcome = load(library, put(tmp_path, "b.csv", torn))
    assert notes(outcome, "remembered_not_used") == []
    assert "Coolant" in notes(outcome, "remembered")[0]


def test_texts_where_numbers_were_confirmed_are_noticed(tmp_path: Path, library: Library) -> None:
    load(library, put(tmp_path, "a.csv", SPEED), "Speed=wheel_speed_mps:km/h")
    outcome = load(library, put(tmp_path, "b.csv", changed(another(), Speed=["fast", "slow"] * (N // 2))))
    assert "holds text" in notes(outcome, "remembered_not_used")[0]


@pytest.mark.parametrize(
    ("order", "day", "other"), [("dmy", "03/04/2026", "04/25/2026"), ("mdy", "03/04/2026", "25/04/2026")]
)
def test_dates_in_the_other_order_are_noticed(
    order: str, day: str, other: str, tmp_path: Path, library: Library
) -> None:
    def log(date: str) -> Table:
        return {
            "Time": [f"{date} 10:{n // 60:02d}:{n % 60:02d}" for n in range(N)],
            "RPM": [4000 + n for n in range(N)],
        }

    load(library, put(tmp_path, "a.csv", log(day)), f"Time=time:{order}")
    again = load(library, put(tmp_path, "b.csv", log("05/06/2026")))
    start = ride(library, again).id[:8]
    assert start == ("20260605" if order == "dmy" else "20260506")
    outcome = load(library, put(tmp_path, "c.csv", log(other)))
    assert "a month 25 can't be" in notes(outcome, "remembered_not_used")[0]
    assert ride(library, outcome).id.startswith("20260425")


def test_a_time_column_that_was_confirmed_is_the_time_again(tmp_path: Path, library: Library) -> None:
    columns: Table = {
        "Stamp": [n * 100 for n in range(N)],
        "Time [s]": [n // 2 for n in range(N)],
        "Engine speed [rpm]": [4000 + n for n in range(N)],
    }
    load(library, put(tmp_path, "a.csv", columns), "Stamp=time:ms")
    again = ride(library, load(library, put(tmp_path, "b.csv", another(columns))))
    assert again.duration_s == pytest.approx((N - 1) * 0.1)
