"""GPX: the schema's own verdicts, segments, times, and what is left out."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from ridelog.errors import InputRefused, LimitExceeded
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers import gpx_runs
from ridelog.readers.base import ReadOptions
from ridelog.readers.gpx import GpxReader
from ridelog.readers.limits import Limits
from ridelog.ride import RawLog, Ride

NAMESPACE = 'xmlns="http://www.topografix.com/GPX/1/1"'
FIRST = '<trkpt lat="45.5" lon="7.5"><ele>100</ele><time>2026-05-03T08:00:00Z</time></trkpt>'
LAST = '<trkpt lat="45.502" lon="7.5"><ele>102</ele><time>2026-05-03T08:00:20Z</time></trkpt>'


def document(points: str, *, root: str = f'version="1.1" creator="test" {NAMESPACE}') -> bytes:
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<gpx {root}><trk><trkseg>{points}</trkseg></trk></gpx>'.encode()


def log_of(tmp_path: Path, content: bytes) -> RawLog:
    path = tmp_path / "track.gpx"
    path.write_bytes(content)
    return GpxReader().read(path, ReadOptions("track.gpx"))[0]


def ride_of(tmp_path: Path, content: bytes) -> Ride:
    path = tmp_path / "track.gpx"
    path.write_bytes(content)
    return read_rides([path], ImportOptions())[0]


def kinds(log: RawLog) -> set[str]:
    return {note.kind for note in log.notes}


def point(inner: str = "<ele>101</ele><time>2026-05-03T08:00:10Z</time>", lat: str = "45.501", lon: str = "7.5") -> str:
    return f'<trkpt lat="{lat}" lon="{lon}">{inner}</trkpt>'


# Verdicts of the published GPX 1.1 schema on small files (a copy of it loaded in xmlschema 4.3.2). What it allows is
# read without a note.
VALID = {
    "fractional seconds": point("<time>2026-05-03T08:00:10.250Z</time>"),
    "offset": point("<time>2026-05-03T10:00:10+02:00</time>"),
    "north pole": point(lat="90.0"),
    "date line": point(lon="-180.0"),
    "extension": point("<time>2026-05-03T08:00:10Z</time><extensions><x:y xmlns:x='urn:x'>1</x:y></extensions>"),
}


@pytest.mark.parametrize("name", VALID)
def test_what_the_schema_allows_needs_no_note(name: str, tmp_path: Path) -> None:
    log = log_of(tmp_path, document(FIRST + VALID[name] + LAST))
    assert log.height == 3
    assert log.notes == ()


# What the schema forbids and files hold all the same: read where the meaning is plain, else left out, and told.
INVALID = {
    "time before ele": (point("<time>2026-05-03T08:00:10Z</time><ele>101</ele>"), "gpx_order", 3),
    "space for T": (point("<ele>101</ele><time>2026-05-03 08:00:10Z</time>"), "gpx_time_form", 3),
    "empty time": (point("<time/>"), "left_out_untimed", 2),
    "empty ele": (point("<ele/><time>2026-05-03T08:00:10Z</time>"), "gpx_empty", 3),
    "ele with exponent": (point("<ele>1.5e3</ele><time>2026-05-03T08:00:10Z</time>"), "gpx_odd", 3),
    "ele NaN": (point("<ele>NaN</ele><time>2026-05-03T08:00:10Z</time>"), "gpx_unreadable", 3),
    "ele with comma": (point("<ele>101,5</ele><time>2026-05-03T08:00:10Z</time>"), "gpx_unreadable", 3),
    "speed child": (point("<time>2026-05-03T08:00:10Z</time><speed>5</speed>"), "gpx_speed", 3),
    "course child": (point("<time>2026-05-03T08:00:10Z</time><course>90</course>"), "gpx_foreign", 3),
    "extension of no namespace": (
        point("<time>2026-05-03T08:00:10Z</time><extensions><temp xmlns=''>5</temp></extensions>"),
        "gpx_extensions",
        3,
    ),
    "plain extension": (
        point("<time>2026-05-03T08:00:10Z</time><extensions><temp>5</temp></extensions>"),
        "gpx_extensions",
        3,
    ),
    "beyond the pole": (point(lat="90.1"), "left_out_bad_position", 2),
    "longitude 180": (point(lon="180.0"), "gpx_longitude", 3),
    "longitude 181": (point(lon="181.0"), "left_out_bad_position", 2),
    "decimal comma": (point(lat="45,501"), "left_out_bad_position", 2),
    "no latitude": ('<trkpt lon="7.5"><time>2026-05-03T08:00:10Z</time></trkpt>', "left_out_bad_position", 2),
    "unknown fix": (point("<time>2026-05-03T08:00:10Z</time><fix>rtk</fix>"), "gpx_fix", 3),
}


@pytest.mark.parametrize("name", INVALID)
def test_what_the_schema_forbids_is_told(name: str, tmp_path: Path) -> None:
    inner, kind, height = INVALID[name]
    log = log_of(tmp_path, document(FIRST + inner + LAST))
    assert kind in kinds(log)
    assert log.height == height
    assert log.rows_in == 3


def test_a_bare_point_is_valid_and_has_no_time(tmp_path: Path) -> None:
    log = log_of(tmp_path, document(FIRST + '<trkpt lat="45.501" lon="7.5"/>' + LAST))
    assert {note.kind: note.rows for note in log.notes} == {"left_out_untimed": 1}
    assert log.height == 2


@pytest.mark.parametrize(
    "root",
    [
        "",
        'version="1.1"',
        f'version="1.0" {NAMESPACE}',
        'version="1.1" xmlns="http://www.topografix.com/GPX/1/0"',
        'version="1.0" xmlns="http://www.topografix.com/GPX/1/0"',
        f'version="9" {NAMESPACE}',
    ],
)
def test_other_versions_and_namespaces_are_read_and_told(root: str, tmp_path: Path) -> None:
    log = log_of(tmp_path, document(FIRST + LAST, root=root))
    assert log.height == 2
    assert kinds(log) == {"gpx_version"}


def test_a_prefixed_namespace(tmp_path: Path) -> None:
    text = document(FIRST + point() + LAST).decode()
    for tag in ("gpx", "trk", "trkseg", "trkpt", "ele", "time"):
        text = (
            text.replace(f"<{tag} ", f"<g:{tag} ").replace(f"<{tag}>", f"<g:{tag}>").replace(f"</{tag}>", f"</g:{tag}>")
        )
    log = log_of(tmp_path, text.replace("xmlns=", "xmlns:g=").encode())
    assert log.height == 3
    assert log.notes == ()


def test_missing_elevation_is_missing_not_zero(tmp_path: Path) -> None:
    ride = ride_of(tmp_path, document(FIRST + point("<time>2026-05-03T08:00:10Z</time>") + LAST))
    assert ride.samples["elevation_m"].to_list() == [100.0, None, 102.0]


def test_times_without_zone_are_flagged(tmp_path: Path) -> None:
    ride = ride_of(tmp_path, document(FIRST.replace("Z<", "<") + point().replace("Z<", "<") + LAST.replace("Z<", "<")))
    assert "zone_unknown" in {note.kind for note in ride.notes}
    assert ride.start_utc is None
    assert "time_utc" not in ride.samples.columns
    assert ride.id.startswith("20260503-0800-")


def test_naive_and_zoned_times_mixed(tmp_path: Path) -> None:
    ride = ride_of(tmp_path, document(FIRST + point().replace("Z<", "<") + LAST))
    assert ride.samples["t_s"].to_list() == [0.0, 10.0, 20.0]
    assert "mixed_zones" in {note.kind for note in ride.notes}


def test_unreadable_times_are_left_out_and_told(tmp_path: Path) -> None:
    ride = ride_of(tmp_path, document(FIRST + point("<time>0000-00-00T00:00:00Z</time>") + LAST))
    assert ride.samples["t_s"].to_list() == [0.0, 20.0]
    assert "left_out_no_time" in {note.kind for note in ride.notes}


def test_midnight_written_as_24(tmp_path: Path) -> None:
    one = '<trkpt lat="45.5" lon="7.5"><time>2026-05-03T23:59:50Z</time></trkpt>'
    two = '<trkpt lat="45.501" lon="7.5"><time>2026-05-03T24:00:00Z</time></trkpt>'
    three = '<trkpt lat="45.502" lon="7.5"><time>2026-05-04T00:00:10Z</time></trkpt>'
    assert ride_of(tmp_path, document(one + two + three)).samples["t_s"].to_list() == [0.0, 10.0, 20.0]


def test_segments_are_never_bridged(tmp_path: Path) -> None:
    north = "".join(point(f"<time>2026-05-03T08:00:{10 + n}Z</time>", lat=f"{45.5 + n * 1e-4:.4f}") for n in range(10))
    far = "".join(point(f"<time>2026-05-03T08:00:{20 + n}Z</time>", lat=f"{46.5 + n * 1e-4:.4f}") for n in range(10))
    ride = ride_of(tmp_path, document(north + "</trkseg><trkseg>" + far))
    # 0.001 degree of latitude at 45.5 degrees north is 111.1416 m (Karney's geodesic, geographiclib 2.1).
    assert ride.distance_m == pytest.approx(2 * 9 / 10 * 111.1416, rel=1e-3)
    assert [(gap.start_s, gap.end_s) for gap in ride.gaps] == [(9.0, 10.0)]
    speed = ride.samples["gps_speed_mps"].to_numpy()
    np.testing.assert_allclose(speed, 11.114, rtol=2e-3)
    assert ride.channels["gps_speed_mps"].origin == "derived"


def test_a_speed_extension_needs_a_unit(tmp_path: Path) -> None:
    def extension(speed: str) -> str:
        return f"<extensions><x:speed xmlns:x='urn:x'{speed}</x:speed></extensions></trkpt>"

    without = document((FIRST + LAST).replace("</trkpt>", extension(">36")))
    log = log_of(tmp_path, without)
    assert {column.name for column in log.columns} >= {"extensions speed"}
    assert ride_of(tmp_path, without).channels["gps_speed_mps"].origin == "derived"
    ride = ride_of(tmp_path, document((FIRST + LAST).replace("</trkpt>", extension(" unit='km/h'>36"))))
    assert ride.channels["gps_speed_mps"].origin == "logged"
    assert ride.samples["gps_speed_mps"].to_list() == [10.0, 10.0]


def test_fix_hdop_and_satellites(tmp_path: Path) -> None:
    extra = "<fix>3d</fix><sat>9</sat><hdop>0.9</hdop></trkpt>"
    ride = ride_of(tmp_path, document((FIRST + LAST).replace("</trkpt>", extra)))
    assert ride.samples.select("gps_fix", "gps_satellites", "gps_hdop").row(0) == (1.0, 9.0, 0.9)


def test_a_cut_file_keeps_the_points_before(tmp_path: Path) -> None:
    whole = document(FIRST + point() + LAST)
    for cut in (whole.index(b"45.502"), whole.index(b"102<"), whole.index(b"</trkseg>")):
        log = log_of(tmp_path, whole[:cut])
        assert "cut_file" in kinds(log)
        assert log.height == (3 if cut == whole.index(b"</trkseg>") else 2)
        assert log.columns[0].values.null_count() == 0


@pytest.mark.parametrize("lead", [b"\xef\xbb\xbf", b"\n  ", b"\xef\xbb\xbf\r\n"])
def test_a_mark_or_blanks_before_the_declaration(lead: bytes, tmp_path: Path) -> None:
    assert log_of(tmp_path, lead + document(FIRST + LAST)).height == 2


def test_utf16(tmp_path: Path) -> None:
    text = document(FIRST + point() + LAST).decode().replace('encoding="UTF-8"', 'encoding="UTF-16"')
    assert log_of(tmp_path, text.encode("utf-16")).height == 3


def test_points_in_comments_are_no_points(tmp_path: Path) -> None:
    hidden = point() * 3
    log = log_of(tmp_path, document(FIRST + f"<!--{hidden}-->" + LAST + f"<name><![CDATA[{hidden}]]></name>"))
    assert log.height == 2


def test_way_points_and_routes_are_not_the_track(tmp_path: Path) -> None:
    other = '<wpt lat="1" lon="2"><time>2020-01-01T00:00:00Z</time></wpt><rte><rtept lat="1" lon="2"/></rte><trk>'
    assert log_of(tmp_path, document(FIRST + LAST).replace(b"<trk>", other.encode())).height == 2


def test_depth_and_size_limits(tmp_path: Path) -> None:
    path = tmp_path / "track.gpx"
    path.write_bytes(document(FIRST + "<a>" * 100 + "</a>" * 100 + LAST))
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_XML_DEPTH"):
        GpxReader().read(path, ReadOptions("track.gpx"))
    path.write_bytes(document(point(f"<extensions>{'<a>' * 100}{'</a>' * 100}</extensions>")))
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_XML_DEPTH"):
        GpxReader().read(path, ReadOptions("track.gpx"))
    path.write_bytes(document(FIRST + point() + LAST))
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_ROWS"):
        GpxReader().read(path, ReadOptions("track.gpx", Limits(max_rows=2)))


def test_no_entity_expands(tmp_path: Path) -> None:
    bomb = (
        b'<?xml version="1.0"?><!DOCTYPE g [<!ENTITY a "b">]><gpx version="1.1"><trk><trkseg>&a;</trkseg></trk></gpx>'
    )
    with pytest.raises(InputRefused, match="document type"):
        log_of(tmp_path, bomb)


def test_plain_runs_and_single_points_read_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    parts = []
    for n in range(400):
        inner = f"<time>2026-05-03T08:{n // 60:02d}:{n % 60:02d}Z</time>"
        if n % 7:
            inner = f"<ele>{100 + n}</ele>" + inner
        if n % 50 == 3:
            inner += "<!-- here --><sat>7</sat>"
        lat, lon = f"{45.5 + n * 1e-5:.5f}", "7.5"
        parts.append(f'<trkpt lon="{lon}" lat="{lat}">{inner}</trkpt>' if n % 90 == 40 else point(inner, lat, lon))
    content = document("\n ".join(parts))
    quick = log_of(tmp_path, content)
    for size in (64, 1000):
        monkeypatch.setattr(gpx_runs, "_BLOCK", size)
        torn = log_of(tmp_path, content)
        assert all(a.values.equals(b.values) for a, b in zip(quick.columns, torn.columns, strict=True))
    monkeypatch.setattr(gpx_runs.Runs, "_cut", lambda _, block: block)
    slow = log_of(tmp_path, content)
    assert [column.name for column in quick.columns] == [column.name for column in slow.columns]
    assert all(a.values.equals(b.values) for a, b in zip(quick.columns, slow.columns, strict=True))
    assert quick.height == 400


def test_values_are_those_of_a_reference_library(tmp_path: Path) -> None:
    import gpxpy

    content = document(FIRST + point() + LAST)
    ride = ride_of(tmp_path, content)
    points = gpxpy.parse(content.decode()).tracks[0].segments[0].points
    assert ride.samples["lat_deg"].to_list() == [p.latitude for p in points]
    assert ride.samples["lon_deg"].to_list() == [p.longitude for p in points]
    assert ride.samples["elevation_m"].to_list() == [p.elevation for p in points]
    assert ride.samples["time_utc"].to_list() == [p.time.astimezone(UTC) for p in points if p.time]
    assert ride.start_utc == datetime(2026, 5, 3, 8, tzinfo=UTC)
