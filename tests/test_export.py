"""Exports: each format read back by a reader that is not ours, and nothing of the trimmed ends left anywhere."""

from __future__ import annotations

import io
import json
import math
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import gpxpy
import numpy as np
import polars as pl
import pyarrow.parquet as pq
import pytest
from defusedxml import ElementTree
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from ridelog.channels import unit_of
from ridelog.errors import UsageError
from ridelog.export import export, replacing, trim, write_atomically
from ridelog.intervals import Interval
from ridelog.results import Segment
from ridelog.ride import ChannelInfo, Note, QualityMark, Ride, SourceFile
from ridelog.store.parquet import read_ride

START = datetime(2026, 5, 1, 8, 30, tzinfo=UTC)
WGS84 = Geod(ellps="WGS84")
SECRET = "home-of-rider"  # noqa: S105 - what must not be seen in a trimmed file
GPX = "{http://www.topografix.com/GPX/1/1}"


def channel(name: str, *, held: bool = False) -> ChannelInfo:
    return ChannelInfo(name, unit_of(name), 10.0, 0.1, 1.0, held, "logged", f"{SECRET}.csv, {name}")


def make_ride(columns: dict[str, list[float | None]] | pl.DataFrame, **facts: object) -> Ride:
    samples = pl.DataFrame(columns)
    ride = Ride(
        id="20260501-abc",
        samples=samples,
        channels={name: channel(name) for name in samples.columns[1:]},
        sources=(SourceFile(f"{SECRET}.csv", "ab" * 32, 10, "csv"),),
        gaps=(),
        start_utc=START,
        timezone="+02:00",
        notes=(Note("preamble", f"a line says {SECRET}", 1, SECRET),),
        bike="enduro-07",
        extra={"device": SECRET},
    )
    return replace(ride, **facts)  # type: ignore[arg-type]


def straight_ride(metres: float = 1000.0, speed_mps: float = 10.0, **facts: object) -> Ride:
    """North along a meridian at constant speed, ten samples a second, 1 m heights, coolant that climbs."""
    t_s = np.arange(0, metres / speed_mps + 0.05, 0.1).round(6)
    lat = 50.0 + np.degrees(t_s * speed_mps / 6_365_400.0)
    columns = {
        "t_s": t_s, "coolant_c": np.round(70 + t_s / 10, 1), "lat_deg": lat, "lon_deg": np.full(t_s.size, 10.0),
        "elevation_m": np.full(t_s.size, 100.0), "raw.place": np.full(t_s.size, SECRET),
    }  # fmt: skip
    return make_ride(pl.DataFrame(columns), **facts)


def segment(start_s: float, end_s: float) -> Segment:
    return Segment(
        start_s, end_s, "heavy_drag", ("slow_climb",), "sure", 9000.0, 8.0, 0.25, 0.2, 0.3, None, None, None, None,
        None, None, None, 80.0, 92.5, "conservative", None, None, None, "unknown", "deep drag for 20 s",
    )  # fmt: skip


# -- the ride itself --------------------------------------------------------------------------------------------------


def test_parquet_is_the_ride(tmp_path: Path) -> None:
    ride = straight_ride()
    export(ride, tmp_path / "a.PARQUET")
    back = read_ride(tmp_path / "a.PARQUET")
    assert back.samples.equals(ride.samples)
    assert replace(back, samples=ride.samples) == ride


@settings(max_examples=40, deadline=None)
@given(cells=st.lists(st.none() | st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=20))
def test_csv_keeps_every_digit_and_names_units(
    cells: list[float | None], tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("csv") / "a.csv"
    stamps = [START + timedelta(milliseconds=250 * n) for n in range(len(cells))]
    samples = pl.DataFrame({
        "t_s": [n / 3 for n in range(len(cells))], "coolant_c": cells, "raw.Öl": cells,
        "time_utc": pl.Series(stamps, dtype=pl.Datetime("us", "UTC")),
    }, schema_overrides={"coolant_c": pl.Float64, "raw.Öl": pl.Float64})  # fmt: skip
    ride = make_ride(samples)
    channels = {**ride.channels, "raw.Öl": replace(ride.channels["raw.Öl"], unit="psi")}
    export(replace(ride, channels=channels), path)
    header, *lines = path.read_text(encoding="utf-8").splitlines()
    assert header == "t_s,coolant_c,raw.Öl [psi],time_utc"
    rows = [line.split(",") for line in lines]
    # Python's own float() is the outside judge of the digits.
    assert [float(row[0]) for row in rows] == samples["t_s"].to_list()
    assert [float(row[1]) if row[1] else None for row in rows] == cells
    assert [datetime.fromisoformat(row[3]) for row in rows] == stamps


# -- track ------------------------------------------------------------------------------------------------------------


def points_of(path: Path) -> list[list[tuple[float, float]]]:
    """Positions by track segment, as gpxpy reads them."""
    read = gpxpy.parse(path.read_text(encoding="utf-8"))
    return [[(p.latitude, p.longitude) for p in part.points] for track in read.tracks for part in track.segments]


def test_gpx_as_another_reader_sees_it(tmp_path: Path) -> None:
    ride = straight_ride(metres=50)
    export(ride, tmp_path / "a.gpx")
    read = gpxpy.parse((tmp_path / "a.gpx").read_text(encoding="utf-8"))
    points = read.tracks[0].segments[0].points
    assert len(points) == ride.samples.height
    assert (points[3].latitude, points[3].elevation) == (pytest.approx(ride.samples["lat_deg"][3], abs=1e-8), 100.0)
    assert points[3].time == START + timedelta(seconds=0.3)
    assert SECRET not in (tmp_path / "a.gpx").read_text(encoding="utf-8")


def test_gpx_keeps_to_the_published_schema(tmp_path: Path) -> None:
    """What the published schema of GPX 1.1 (namespace topografix.com/GPX/1/1) asks: root attributes version, fixed to
    1.1, and creator; a sequence in which trk holds trkseg, that trkpt, and a point ele before time; lat and lon are
    decimals, -90 to 90 and -180 to short of 180; ele is a decimal, time an xsd:dateTime in UTC."""
    edge = {"t_s": [0.0, 1.0, 2.0, 3.0], "lat_deg": [90.0, 1e-7, -90.0, 5.0], "lon_deg": [180.0, -1e-7, -180.0, 179.99],
            "elevation_m": [None, 1e-6, -12.5, 4000.0]}  # fmt: skip
    for start in (START, None):
        export(make_ride(edge, start_utc=start), tmp_path / "a.gpx")
        root = ElementTree.parse(tmp_path / "a.gpx").getroot()
        assert (root.tag, root.get("version"), root.get("creator")) == (f"{GPX}gpx", "1.1", "ridelog")
        assert [child.tag for child in root] == [f"{GPX}trk"]
        points = list(root.iter(f"{GPX}trkpt"))
        assert len(points) == 4
        for point in points:
            lat, lon = point.get("lat"), point.get("lon")
            for number in (lat, lon, point.findtext(f"{GPX}ele") or "0"):
                assert re.fullmatch(r"-?\d+(\.\d+)?", number), "xsd:decimal knows no exponent"
            assert -90 <= float(lat) <= 90
            assert -180 <= float(lon) < 180
            tags = [child.tag.removeprefix(GPX) for child in point]
            assert tags == [name for name in ("ele", "time") if name in tags]
            assert ("time" in tags) == (start is not None)
            time = point.findtext(f"{GPX}time")
            assert time is None or re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", time)
        assert points[0].find(f"{GPX}ele") is None
        assert points[2].findtext(f"{GPX}ele") == "-12.500"


def test_a_track_is_cut_at_gaps_and_where_positions_are_missing(tmp_path: Path) -> None:
    t_s = [0.0, 1.0, 2.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 30.0]
    lat: list[float | None] = [50.0 + n / 1000 for n in range(10)]
    lat[5] = None
    ride = make_ride({"t_s": t_s, "lat_deg": lat, "lon_deg": [10.0] * 10}, gaps=(Interval(13.0, 14.0),))
    export(ride, tmp_path / "a.gpx")
    assert [len(part) for part in points_of(tmp_path / "a.gpx")] == [3, 3, 2, 1]


def test_excluded_and_repeated_positions_are_left_out(tmp_path: Path) -> None:
    lat: list[float | None] = [50.0, 50.0, 0.0, 50.1, 50.1, 50.2]
    ride = make_ride(
        {"t_s": [0.0, 0.1, 0.2, 0.3, 0.4, 0.5], "lat_deg": lat, "lon_deg": [10.0] * 6},
        quality=(QualityMark("lon_deg", "null island", 0.2, 0.2, "excluded", ""),),
    )
    export(ride, tmp_path / "a.gpx")
    assert points_of(tmp_path / "a.gpx") == [[(50.0, 10.0), (50.0, 10.0), (50.1, 10.0), (50.1, 10.0), (50.2, 10.0)]]
    held = {**ride.channels, "lat_deg": channel("lat_deg", held=True)}
    export(replace(ride, channels=held), tmp_path / "b.gpx")
    assert points_of(tmp_path / "b.gpx") == [[(50.0, 10.0), (50.1, 10.0), (50.2, 10.0)]]


# -- flagged stretches ------------------------------------------------------------------------------------------------


def features_of(path: Path) -> list[dict[str, object]]:
    document = json.loads(path.read_text(encoding="utf-8"))
    assert document["type"] == "FeatureCollection"
    found: list[dict[str, object]] = document["features"]
    for feature in found:
        assert set(feature) == {"type", "geometry", "properties"}  # RFC 7946, section 3.2
    return found


def test_geojson_holds_each_stretch_with_its_figures(tmp_path: Path) -> None:
    ride = straight_ride()
    export(ride, tmp_path / "a.geojson", segments=[segment(10.0, 30.0)])
    (feature,) = features_of(tmp_path / "a.geojson")
    geometry, properties = feature["geometry"], feature["properties"]
    assert geometry["type"] == "LineString"  # type: ignore[index]
    line = geometry["coordinates"]  # type: ignore[index]
    assert len(line) == 201
    assert line[0] == [10.0, pytest.approx(float(ride.samples["lat_deg"][100]), abs=1e-7)]  # longitude first: 3.1.1
    assert properties["kind"] == "heavy_drag"  # type: ignore[index]
    assert properties["also"] == ["slow_climb"]  # type: ignore[index]
    assert properties["mean_grade"] is None  # type: ignore[index]
    assert properties["start_utc"] == "2026-05-01T08:30:10+00:00"  # type: ignore[index]
    assert SECRET not in (tmp_path / "a.geojson").read_text(encoding="utf-8")


def test_geojson_at_holes_at_the_antimeridian_and_without_position(tmp_path: Path) -> None:
    """RFC 7946: section 3.1.9 (cut at the antimeridian), 3.2 (geometry null where there is none)."""
    t_s = [float(n) for n in range(8)] + [60.0, 61.0, 62.0]
    lon: list[float | None] = [179.97, 179.98, 179.99, -179.99, -179.98, -179.97, -179.96, -179.95, None, None, None]
    ride = make_ride({"t_s": t_s, "lat_deg": [1.0 + n / 10 for n in range(11)], "lon_deg": lon})
    export(ride, tmp_path / "a.geojson", segments=[segment(0, 7), segment(60, 62), segment(4, 4.5)])
    first, unseen, short = features_of(tmp_path / "a.geojson")
    assert first["geometry"] == {"type": "MultiLineString", "coordinates": [
        [[179.97, 1.0], [179.98, 1.1], [179.99, 1.2], [180.0, 1.25]],
        [[-180.0, 1.25], [-179.99, 1.3], [-179.98, 1.4], [-179.97, 1.5], [-179.96, 1.6], [-179.95, 1.7]],
    ]}  # fmt: skip
    for feature in (unseen, short):  # a line needs two positions: 3.1.4
        assert feature["geometry"] is None
        assert "no position" in feature["properties"]["geometry_reason"]  # type: ignore[index]
    back = make_ride({"t_s": [0.0, 1.0], "lat_deg": [0.0, 1.0], "lon_deg": [-179.5, 179.5]})
    export(back, tmp_path / "b.geojson", segments=[segment(0, 1)])
    assert features_of(tmp_path / "b.geojson")[0]["geometry"]["coordinates"] == [  # type: ignore[index]
        [[-179.5, 0.0], [-180.0, 0.5]], [[180.0, 0.5], [179.5, 1.0]],
    ]  # fmt: skip


def test_a_stretch_with_a_hole_in_it_is_in_two_lines(tmp_path: Path) -> None:
    ride = straight_ride()
    holed = ride.samples.with_columns(pl.when(pl.col("t_s").is_between(15, 20)).then(None).otherwise("lat_deg")
                                      .alias("lat_deg"))  # fmt: skip
    export(replace(ride, samples=holed), tmp_path / "a.geojson", segments=[segment(10.0, 30.0)])
    geometry = features_of(tmp_path / "a.geojson")[0]["geometry"]
    assert geometry["type"] == "MultiLineString"  # type: ignore[index]
    assert [len(line) for line in geometry["coordinates"]] == [50, 100]  # type: ignore[index]


# -- trimmed ends -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ends_m", [5.0, 100.0, 333.0])
def test_trimming_takes_that_way_off_both_ends(ends_m: float) -> None:
    """The way that is gone, measured by a reference library's geodesic."""
    ride = straight_ride()
    cut, _ = trim(ride, [], ends_m)
    lat = ride.samples["lat_deg"]
    for inner, outer in ((cut.samples["lat_deg"][0], lat[0]), (cut.samples["lat_deg"][-1], lat[-1])):
        _, _, gone_m = WGS84.inv(10.0, outer, 10.0, inner)
        assert ends_m <= gone_m <= ends_m + 15.0
    assert cut.samples["t_s"][0] == 0.0
    assert cut.start_utc is not None
    assert START + timedelta(seconds=ends_m / 10) <= cut.start_utc <= START + timedelta(seconds=ends_m / 10 + 1.5)
    assert cut.peak_c == cut.samples["coolant_c"].max()


def test_a_rest_at_the_start_does_not_use_up_the_way() -> None:
    """A receiver at rest wanders; ten minutes of that must not count as metres ridden (common practice, no source)."""
    chance = np.random.default_rng(7)
    ride = straight_ride()
    rest = 6000
    wander = chance.normal(0.0, 1.5, (2, rest)) / 111_000.0
    t_s = np.arange(rest + ride.samples.height) / 10.0
    lat = np.concatenate([50.0 + wander[0], ride.samples["lat_deg"].to_numpy()])
    lon = np.concatenate([10.0 + wander[1], ride.samples["lon_deg"].to_numpy()])
    cut, _ = trim(make_ride(pl.DataFrame({"t_s": t_s, "lat_deg": lat, "lon_deg": lon})), [], 100.0)
    _, _, gone_m = WGS84.inv(10.0, 50.0, cut.samples["lon_deg"][0], cut.samples["lat_deg"][0])
    assert gone_m >= 85.0


@pytest.mark.parametrize("ending", ["parquet", "csv", "gpx", "geojson"])
def test_nothing_of_the_ends_or_the_person_is_left(tmp_path: Path, ending: str) -> None:
    ride = straight_ride(
        quality=(QualityMark("coolant_c", "spike", 1.0, 50.0, "kept", SECRET),
                 QualityMark("raw.place", "stuck", 1.0, 50.0, "kept", "")),
        gaps=(Interval(2.0, 3.0), Interval(40.0, 41.0)),
    )  # fmt: skip
    path = tmp_path / f"a.{ending}"
    export(ride, path, segments=[segment(0.0, 5.0), segment(15.0, 30.0)], trim_ends_m=200.0)
    if ending == "parquet":
        back = read_ride(path)
        assert back.sources == ()
        assert back.samples.columns == ["t_s", "coolant_c", "lat_deg", "lon_deg", "elevation_m"]
        assert [(m.channel, m.start_s) for m in back.quality] == [("coolant_c", 0.0)]
        assert len(back.gaps) == 1
        assert back.gaps[0].start_s < 40.0
        seen = repr((pq.read_schema(path).metadata, pq.read_schema(path).to_string(truncate_metadata=False)))
        lat = back.samples["lat_deg"].to_list()
    else:
        seen = path.read_text(encoding="utf-8")
        if ending == "csv":
            lat = pl.read_csv(io.StringIO(seen))["lat_deg"].to_list()
        elif ending == "gpx":
            lat = [point[0] for part in points_of(path) for point in part]
        else:
            (feature,) = features_of(path)
            assert feature["properties"]["start_s"] == 0.0  # type: ignore[index]
            assert feature["properties"]["end_s"] < 15.0  # type: ignore[index]
            lat = [point[1] for point in feature["geometry"]["coordinates"]]  # type: ignore[index]
    assert SECRET not in seen
    assert SECRET.encode() not in path.read_bytes()
    metres = np.radians(np.array(lat) - 50.0) * 6_365_400.0
    assert metres.min() >= 199.9
    assert metres.max() <= 800.1


def test_a_stale_position_in_the_middle_does_not_show_the_start() -> None:
    """A receiver that starts anew may first repeat an old place; the import marks it, trimming takes it out."""
    ride = straight_ride()
    at_home = pl.col("t_s").is_between(50, 52)
    samples = ride.samples.with_columns(pl.when(at_home).then(50.0).otherwise("lat_deg").alias("lat_deg"))
    mark = QualityMark("lat_deg", "stuck", 50.0, 52.1, "excluded", "")
    cut, _ = trim(replace(ride, samples=samples, quality=(mark,)), [], 100.0)
    lat = cut.samples["lat_deg"]
    assert lat.null_count() == 21
    assert cut.samples["coolant_c"].null_count() == 0
    assert lat.min() > 50.0008  # type: ignore[operator]


def test_a_trim_that_leaves_nothing_or_can_not_be_measured_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="nothing of the ride is left"):
        export(straight_ride(), tmp_path / "a.csv", trim_ends_m=501.0)
    with pytest.raises(UsageError, match="nothing of the ride is left"):
        export(straight_ride(), tmp_path / "a.csv", trim_ends_m=1e6)
    blind = make_ride({"t_s": [0.0, 1.0], "coolant_c": [70.0, 71.0]})
    with pytest.raises(UsageError, match="no usable position"):
        export(blind, tmp_path / "a.csv", trim_ends_m=100.0)
    assert not list(tmp_path.iterdir())


# -- trouble ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["gpx", "geojson"])
def test_no_position_is_said(tmp_path: Path, ending: str) -> None:
    nowhere = {"t_s": [0.0, 1.0], "lat_deg": [None, 50.0], "lon_deg": [10.0, None]}
    for columns in ({"t_s": [0.0, 1.0]}, nowhere):
        with pytest.raises(UsageError, match="no usable position"):
            export(make_ride(columns), tmp_path / f"a.{ending}", segments=[])
    assert not list(tmp_path.iterdir())


def test_an_unknown_ending_names_the_known_ones(tmp_path: Path) -> None:
    for name in ("a.xlsx", "a", "a.gpx.zip"):
        with pytest.raises(UsageError, match=r"\.parquet, \.csv, \.geojson, \.gpx"):
            export(straight_ride(), tmp_path / name)


def test_a_failed_write_leaves_the_old_file(tmp_path: Path) -> None:
    old = tmp_path / "a.html"
    old.write_text("old", encoding="utf-8")
    with pytest.raises(RuntimeError), replacing(old) as target:  # noqa: PT012 - what happens inside is the case
        target.write_text("half", encoding="utf-8")
        raise RuntimeError
    assert old.read_text(encoding="utf-8") == "old"
    write_atomically(old, b"new")
    assert old.read_bytes() == b"new"
    (tmp_path / "folder.csv").mkdir()
    for place in (tmp_path / "none" / "a.csv", tmp_path / "folder.csv", old / "a.csv"):
        for attempt in (
            lambda place=place: write_atomically(place, b"x"),
            lambda place=place: export(straight_ride(), place),
        ):
            with pytest.raises(UsageError) as caught:
                attempt()
            assert caught.value.to_do
    link = tmp_path / "link.html"
    link.symlink_to(old)
    write_atomically(link, b"through")
    assert old.read_bytes() == b"through"
    assert link.is_symlink()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.html", "folder.csv", "link.html"]


def test_a_long_track_is_measured_in_one_go() -> None:
    """An hour at rest, then a ride: the search for the first metre must not depend on how the samples lie."""
    ride = straight_ride(metres=300.0)
    t_s = np.concatenate([np.arange(36_000) / 10.0, 3600.0 + ride.samples["t_s"].to_numpy()])
    lat = np.concatenate([np.full(36_000, 50.0), ride.samples["lat_deg"].to_numpy()])
    long = make_ride(pl.DataFrame({"t_s": t_s, "lat_deg": lat, "lon_deg": np.full(t_s.size, 10.0)}))
    cut, _ = trim(long, [], 100.0)
    assert math.isclose(cut.samples.height, 101, abs_tol=4)  # 10 m/s, ten samples a second, 100 m left
