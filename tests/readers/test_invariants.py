"""What holds for every log, whatever is in it, however it is written and whatever happened to it."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, note, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from contract import check_log, check_ride, left_out
from random_logs import BEGUN, CHANNELS, PLAIN, Content, Damaged, Style, Written, contents, damages, styles, written

from ridelog.errors import InputRefused, RidelogError
from ridelog.ingest import ImportOptions, import_files, read_rides
from ridelog.readers.base import ReadOptions
from ridelog.readers.delimited import DelimitedReader
from ridelog.ride import Ride
from ridelog.store.library import Library

ANY = settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
)
IN_FILE = {"gps_speed_mps": 3.6}
DATED = ("iso", "iso offset", "unix s", "unix ms")


def rides_of(tmp_path: Path, data: bytes, options: ImportOptions | None = None) -> list[Ride]:
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    rides = read_rides([path], options or ImportOptions())
    for ride in rides:
        check_ride(ride)
    return rides


def facts(ride: Ride) -> dict[str, object]:
    """All that a ride says of what was measured; not how it was written, nor where it came from."""
    return {
        "start": ride.start_utc,
        "timezone": ride.timezone,
        "gaps": ride.gaps,
        "distance": ride.distance_m,
        "peak": ride.peak_c,
        "quality": ride.quality,
        "channels": {
            name: (info.unit, info.rate_hz, info.resolution, info.coverage, info.held, info.origin)
            for name, info in ride.channels.items()
        },
    }


@ANY
@given(contents(), styles())
def test_what_was_measured_comes_back(tmp_path: Path, content: Content, style: Style) -> None:
    (ride,) = rides_of(tmp_path, written(content, style).data())
    assert ride.samples.height == content.rows
    np.testing.assert_allclose(ride.samples["t_s"], content.times_s, atol=1e-6)
    for name, texts in content.columns.items():
        factor = IN_FILE.get(name, 1.0)
        truth = [None if text is None else float(text) for text in texts]
        if all(value is None for value in truth):
            assert name not in ride.samples.columns
            continue
        found = [None if value is None else value * factor for value in ride.samples[name].to_list()]
        assert [value is None for value in found] == [value is None for value in truth], name
        assert found == pytest.approx(truth, abs=1e-9), name
    assert (ride.start_utc == BEGUN) == (content.clock in DATED)


@ANY
@given(contents(), styles(), styles())
def test_one_content_in_two_dialects_is_one_ride(tmp_path: Path, content: Content, one: Style, other: Style) -> None:
    (first,), (second,) = (rides_of(tmp_path, written(content, style).data()) for style in (one, other))
    assert first.samples.select(sorted(first.samples.columns)).equals(
        second.samples.select(sorted(second.samples.columns))
    )
    assert facts(first) == facts(second)


def check_refusal(error: RidelogError) -> None:
    """A plain reason, a place and a way out; never a fault of the program."""
    assert "fault of ridelog" not in error.found
    assert error.expected
    assert error.to_do
    assert "log.csv" in error.where


def check_accounts(tmp_path: Path, damaged: Damaged) -> None:
    """Rows in = rows kept + rows reported, in the reader's table and in the rides made of it."""
    path = tmp_path / "log.csv"
    path.write_bytes(damaged.data)
    try:
        (log,) = DelimitedReader().read(path, ReadOptions(path.name))
    except InputRefused:
        event("refused by the reader")
        return
    check_log(log)
    if damaged.rows_below is not None:
        assert log.rows_in == damaged.rows_below
    try:
        rides = rides_of(tmp_path, damaged.data, ImportOptions(format="delimited"))
    except RidelogError:
        event("refused later")
        return
    event("read")
    told = list(rides[0].notes)
    for ride in rides[1:]:
        told.extend(one for one in ride.notes if one not in rides[0].notes)
    assert sum(ride.samples.height for ride in rides) + left_out(told) == log.rows_in


@ANY
@given(contents(), styles(), st.data())
def test_damaged_lines_are_kept_or_reported_and_nothing_is_made_up(
    tmp_path: Path, content: Content, style: Style, data: st.DataObject
) -> None:
    damaged = data.draw(damages(written(content, style), bytes_too=False))
    note(damaged.data.decode(style.encoding))
    check_accounts(tmp_path, damaged)
    try:
        rides = rides_of(tmp_path, damaged.data)
    except InputRefused:
        return
    for ride in rides:
        check_rows_are_true(ride, content)


def check_rows_are_true(ride: Ride, content: Content) -> None:
    """Every sample is a row of the content, or part of one: none of its values stands in another row's place."""
    if "engine_rpm" not in ride.channels:
        return
    row_of = {float(text): at for at, text in enumerate(content.columns["engine_rpm"]) if text is not None}
    placed: list[tuple[float, float]] = []
    for sample in ride.samples.iter_rows(named=True):
        speed = sample["engine_rpm"]
        if speed is None:
            continue
        assert speed in row_of, speed
        at = row_of[speed]
        placed.append((sample["t_s"], content.times_s[at]))
        for name, texts in content.columns.items():
            value = sample.get(name)
            if value is not None:
                assert texts[at] is not None, (name, at)
                assert value * IN_FILE.get(name, 1.0) == pytest.approx(float(str(texts[at])), abs=1e-9), (name, at)
    for t_s, true_s in placed:
        assert t_s - placed[0][0] == pytest.approx(true_s - placed[0][1], abs=1e-6)


@ANY
@given(contents(), styles(), st.data())
def test_any_damage_gives_sound_rides_or_a_refusal_in_words(
    tmp_path: Path, content: Content, style: Style, data: st.DataObject
) -> None:
    damaged = data.draw(damages(written(content, style), bytes_too=True))
    check_accounts(tmp_path, damaged)
    try:
        rides_of(tmp_path, damaged.data)
    except RidelogError as error:
        check_refusal(error)


@ANY
@given(contents(), styles(), st.integers(0, 10_000))
def test_a_log_cut_off_anywhere_keeps_true_rows_only(
    tmp_path: Path, content: Content, style: Style, place: int
) -> None:
    whole = written(content, style)
    data = whole.data()
    top = len(whole.data(()))
    cut = data[: top + place % (len(data) - top)]
    try:
        rides = rides_of(tmp_path, cut)
    except RidelogError as error:
        check_refusal(error)
        return
    for ride in rides:
        check_rows_are_true(ride, content)


@settings(ANY, max_examples=15)
@given(contents(), styles(), st.data())
def test_importing_twice_gives_the_same_bytes(
    tmp_path_factory: pytest.TempPathFactory, content: Content, style: Style, data: st.DataObject
) -> None:
    log: Written = written(content, style)
    content_bytes = data.draw(st.one_of(st.just(log.data()), damages(log, bytes_too=True).map(lambda d: d.data)))
    stored: list[dict[str, bytes]] = []
    for _ in range(2):
        folder = tmp_path_factory.mktemp("twice")
        (folder / "log.csv").write_bytes(content_bytes)
        library = Library.open(folder / "library")
        import_files(library, [folder / "log.csv"], ImportOptions())
        stored.append({path.name: path.read_bytes() for path in sorted((folder / "library").rglob("*.parquet"))})
    assert stored[0] == stored[1]


def test_the_generators_reach_what_they_are_for(tmp_path: Path) -> None:
    """A plain example goes through, so that the properties above are not all about refusals."""
    times = tuple(0.5 * n for n in range(30))
    columns = {
        "coolant_c": tuple(f"{80 + n / 10:.1f}" for n in range(30)),
        "engine_rpm": tuple(str(4000 + n) for n in range(30)),
    }
    content = Content("s", times, columns)
    assert set(columns) <= set(CHANNELS)
    (ride,) = rides_of(tmp_path, written(content, PLAIN).data())
    assert ride.samples.height == 30
    check_rows_are_true(ride, content)
