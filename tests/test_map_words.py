"""Map columns whose words the bike file learns only later: what the log wrote is kept, and a corrected file counts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from ridelog.advice import default_advice
from ridelog.analyze import analyze
from ridelog.bike import Bike, parse_bike
from ridelog.ingest import ImportOptions, read_rides
from ridelog.results import Analysis
from ridelog.ride import Ride
from ridelog.store.library import Library

N = 600
BIKE = 'schema = 1\nid = "example"\n[maps]\nconservative_slot = 2\nslot_values = {{ {} }}\n'
LATE = '"std" = 1, "soft" = 2'


def bike(slots: str) -> Bike:
    return parse_bike(BIKE.format(slots), "example.bike.toml")


def log(tmp_path: Path, words: tuple[str, str] = ("std", "soft")) -> Path:
    path = tmp_path / "a.csv"
    rows = [f"{n / 2},{100 + n % 3},{8000 + n % 50},100,{90 + n % 2},{words[n // 100 % 2]}" for n in range(N)]
    path.write_text(
        "Time [s],Coolant [C],Engine speed [rpm],Throttle [%],GPS speed [km/h],Map\n" + "\n".join(rows) + "\n"
    )
    return path


def ride_of(path: Path, known: Bike | None) -> Ride:
    (ride,) = read_rides([path], ImportOptions(bike=known, bike_id=known.id if known else None))
    return ride


def analyze_ride(ride: Ride, known: Bike | None) -> Analysis:
    return analyze(ride, known, default_advice())[0]


def reasons(ride: Ride, known: Bike | None) -> list[str]:
    return [item.reason for item in analyze_ride(ride, known).cannot_tell if item.question == "map_in_use"]


@pytest.mark.parametrize(
    ("at_import", "words"),
    [
        (None, ("std", "soft")),
        ('"1" = 1, "2" = 2', ("std", "soft")),
        ('"std" = 1, "2" = 2', ("std", "soft")),
        ('"2" = 1, "soft" = 2', ("std", "soft")),
        ('"1" = 1, "2" = 2', ("0", "7")),
        ('"1" = 1, "2" = 2', ("1", "3")),
    ],
)
def test_a_bike_file_corrected_after_the_import_counts(
    at_import: str | None, words: tuple[str, str], tmp_path: Path
) -> None:
    path = log(tmp_path, words)
    right = bike(f'"{words[0]}" = 1, "{words[1]}" = 2')
    late = ride_of(path, bike(at_import) if at_import else None)
    early = ride_of(path, right)
    kept = late.samples["raw.Map"].drop_nulls().to_list()[::100][:2]
    assert [one if isinstance(one, str) else f"{one:g}" for one in kept] == list(words)
    assert "raw.Map" not in early.samples.columns
    library = Library.open(tmp_path / "library")
    library.add(replace(late, bike=None), [path])
    late = library.load(late.id)
    one, other = analyze_ride(late, right), analyze_ride(early, right)
    assert other.adherence is not None
    assert one.adherence == other.adherence
    assert [segment.verdict for segment in one.segments] == [segment.verdict for segment in other.segments]
    assert reasons(late, right) == []


def test_words_without_a_slot_are_named_with_the_line_to_add(tmp_path: Path) -> None:
    known = bike('"std" = 1, "2" = 2')
    ride = ride_of(log(tmp_path), known)
    (reason,) = reasons(ride, known)
    assert "'soft'" in reason
    assert "'std'" not in reason
    assert 'slot_values = { "std" = 1, "2" = 2, "soft" = SLOT }' in reason
    assert "no map switch" not in reason
    assert any("'soft'" in note.text for note in ride.notes if note.kind == "map_unread")


def test_the_time_of_an_unknown_word_is_unknown_and_not_the_map_before(tmp_path: Path) -> None:
    known = bike('"soft" = 2, "1" = 1')
    result = analyze_ride(ride_of(log(tmp_path), known), known)
    assert result.adherence is not None
    assert result.adherence.unknown_s == pytest.approx(result.adherence.advised_s / 2, rel=0.1)


def test_without_a_bike_the_reason_is_the_missing_file_and_not_a_missing_switch(tmp_path: Path) -> None:
    ride = ride_of(log(tmp_path), None)
    (reason,) = reasons(ride, None)
    assert "no bike file" in reason
    assert "no map switch" not in reason
