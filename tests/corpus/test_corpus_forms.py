"""The one log in other formats: archives, columnar files, bus traces, satellite tracks, measurement files."""

# ruff: noqa: E501 - the table has one form a line
from __future__ import annotations

import gzip
import importlib.util
import io
import lzma
import sys
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from corpus_files import COLUMN, HEADER, START, TRUTH, Form, read, same_ride, write

from ridelog.ride import Ride

LOG = write(Form())
PATH_ONLY = ("gps_speed_mps",)
DEGREE_M = 78_158.06
"""Metres in a degree of longitude at 45.5 degrees north (geodesic on WGS 84, geographiclib 2.1)."""


@dataclass(frozen=True)
class Other:
    """The log as another kind of file: its bytes, its name, the channels it can hold and how finely."""

    make: Callable[[Path], bytes]
    name: str
    only: tuple[str, ...] = ("coolant_c", "engine_rpm", "throttle_pct", "gps_speed_mps", "gear")
    within: dict[str, float] = field(default_factory=dict)
    needs: str | None = None
    time_s: float = 1e-6
    description: str | None = None
    sparse: bool = False


def zipped(**files: bytes) -> bytes:
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name.replace("__", "."), content)
    return store.getvalue()


def columns() -> dict[str, list[float]]:
    return {name: [row[n] for row in TRUTH] for n, name in enumerate(HEADER)}


def arrow(*, stamps: bool = False, narrow: bool = False) -> pa.Table:
    table = pa.table(columns())
    if narrow:
        table = pa.table({name: table[name].cast(pa.float32() if n not in (0, 2, 5) else pa.float64())
                          for n, name in enumerate(HEADER)})  # fmt: skip
    if stamps:
        moments = [START + timedelta(seconds=row[0]) for row in TRUTH]
        table = table.set_column(0, "Timestamp", pa.array(moments, pa.timestamp("us", "UTC")))
    return table


def parquet(**more: bool) -> bytes:
    sink = io.BytesIO()
    pq.write_table(arrow(**more), sink)
    return sink.getvalue()


def ipc(new: Callable[..., object]) -> bytes:
    sink = io.BytesIO()
    table = arrow()
    with new(sink, table.schema) as writer:  # type: ignore[attr-defined]
        writer.write_table(table)
    return sink.getvalue()


def places() -> list[tuple[float, float]]:
    found, lon = [], 7.5
    for row in TRUTH:
        found.append((45.5, lon))
        lon += row[4] / 3.6 * 0.5 / DEGREE_M
    return found


def gpx(version: str, speed: Callable[[float], str], root: str = "") -> bytes:
    points = "".join(
        f'<trkpt lat="{lat:.8f}" lon="{lon:.8f}"><ele>100</ele>'
        f"<time>{(START + timedelta(seconds=row[0])).isoformat().replace('+00:00', 'Z')}</time>{speed(row[4])}</trkpt>"
        for row, (lat, lon) in zip(TRUTH, places(), strict=True)
    )
    space = f"http://www.topografix.com/GPX/{version.replace('.', '/')}"
    return f'<gpx version="{version}" creator="t" xmlns="{space}" {root}><trk><trkseg>{points}</trkseg></trk></gpx>'.encode()


def sentence(body: str) -> str:
    total = 0
    for char in body.encode():
        total ^= char
    return f"${body}*{total:02X}"


def nmea(talker: str = "GN", front: Callable[[float], str] = lambda _t: "", kind: str = "RMC") -> bytes:
    rows = []
    for row, (lat, lon) in zip(TRUTH, places(), strict=True):
        moment = START + timedelta(seconds=row[0])
        clock = f"{moment:%H%M%S}.{moment.microsecond // 10_000:02d}"
        place = f"{int(lat) * 100 + lat % 1 * 60:010.5f},N,{int(lon) * 100 + lon % 1 * 60:011.5f},E"
        knots = row[4] / 1.852
        if kind == "RMC":
            rows.append(
                front(row[0]) + sentence(f"{talker}RMC,{clock},A,{place},{knots:.4f},090.0,{moment:%d%m%y},,,A")
            )
        else:
            rows.append(front(row[0]) + sentence(f"{talker}ZDA,{clock},{moment:%d,%m,%Y},00,00"))
            rows.append(front(row[0]) + sentence(f"{talker}GGA,{clock},{place},1,09,0.9,100.0,M,48.0,M,,"))
            rows.append(front(row[0]) + sentence(f"{talker}VTG,090.0,T,,M,{knots:.4f},N,{row[4]:.4f},K,A"))
    return ("\r\n".join(rows) + "\r\n").encode()


def replies(layout: str = "({t:.6f}) can0 {id}#{data}", number: str = "7E8") -> bytes:
    """SAE J1979 service 01: coolant A-40, engine speed (256A+B)/4, throttle A*100/255, speed A km/h."""
    rows = []
    for row in TRUTH:
        t = 1_777_796_100.0 + row[0]
        rpm, opening = round(row[2] * 4), round(row[3] * 2.55)
        parts = [f"05{round(row[1]) + 40:02X}", f"0C{rpm:04X}", f"11{opening:02X}", f"0D{round(row[4]):02X}"]
        for place, part in enumerate(parts):
            data = f"{len(part) // 2 + 1:02X}41{part}".ljust(16, "0")
            rows.append(layout.format(t=t + place * 3e-4, id=number, data=data))
    return ("\n".join(rows) + "\n").encode()


DESCRIPTION = """VERSION ""
BU_: Box
BO_ 256 Motor: 8 Box
 SG_ Coolant_temp : 0|16@1+ (0.1,-40) [-40|300] "degC" Box
 SG_ Engine_speed : 16|16@1+ (1,0) [0|16000] "rpm" Box
 SG_ Throttle : 32|16@1+ (0.1,0) [0|100] "%" Box
 SG_ Gear : 48|8@1+ (1,0) [0|8] "" Box
"""


def frames() -> bytes:
    rows = []
    for row in TRUTH:
        words = [round((row[1] + 40) * 10), round(row[2]), round(row[3] * 10)]
        data = "".join(f"{word & 255:02X}{word >> 8:02X}" for word in words) + f"{int(row[5]):02X}00"
        rows.append(f"({1_777_796_100.0 + row[0]:.6f}) can0 100#{data}")
    return ("\n".join(rows) + "\n").encode()


def measurement(version: str) -> Callable[[Path], bytes]:
    def make(folder: Path) -> bytes:
        asammdf = pytest.importorskip("asammdf", reason="needs asammdf (extra 'mdf')")
        import numpy as np

        times = np.array([row[0] for row in TRUTH])
        with asammdf.MDF(version=version) as file:
            file.start_time = START
            signals = []
            for n, (name, unit) in enumerate([*head.rstrip("]").split(" ["), ""][:2] for head in HEADER):
                if n:
                    signals.append(asammdf.Signal(np.array([row[n] for row in TRUTH]), times, name=name, unit=unit))
            file.append(signals, common_timebase=True)
            return Path(file.save(folder / "made.mf4", overwrite=True)).read_bytes()

    return make


COARSE = {"coolant_c": 0.51, "engine_rpm": 0.13, "throttle_pct": 0.2, "gps_speed_mps": 0.51 / 3.6}
REPLIED = ("coolant_c", "engine_rpm", "throttle_pct")
FINE = {"gps_speed_mps": 1e-4}
DERIVED = {"gps_speed_mps": 0.35}

FORMS: dict[str, Other] = {
    "gzip": Other(lambda _: gzip.compress(LOG), "log.csv.gz"),
    "xz": Other(lambda _: lzma.compress(LOG), "log.csv.xz"),
    "gzip under another name": Other(lambda _: gzip.compress(LOG), "log.csv"),
    "zip": Other(lambda _: zipped(log__csv=LOG), "log.zip"),
    "zip with a note and a picture": Other(
        lambda _: zipped(read_me__txt=b"A fine day.\nSee you.\n", view__png=b"\x89PNG\r\n\x1a\n" + b"\0" * 99, log__csv=LOG), "log.zip"),
    "zip in two-byte letters": Other(lambda _: zipped(log__csv=LOG.decode().encode("utf-16")), "log.zip"),
    "Parquet": Other(lambda _: parquet(), "log.parquet"),
    "Parquet, moments": Other(lambda _: parquet(stamps=True), "log.parquet"),
    "Parquet, single precision": Other(lambda _: parquet(narrow=True), "log.parquet", within={"coolant_c": 1e-4}),
    "Parquet under another name": Other(lambda _: parquet(), "log.csv"),
    "Arrow file": Other(lambda _: ipc(pa.ipc.new_file), "log.arrow"),
    "Arrow stream": Other(lambda _: ipc(pa.ipc.new_stream), "log.arrows"),
    "Parquet in gzip": Other(lambda _: gzip.compress(parquet()), "log.parquet.gz"),
    "GPX 1.0": Other(lambda _: gpx("1.0", lambda v: f"<speed>{v / 3.6:.5f}</speed>"), "log.gpx", PATH_ONLY, FINE),
    "GPX 1.1": Other(lambda _: gpx("1.1", lambda _v: ""), "log.gpx", PATH_ONLY, DERIVED),
    "GPX 1.1, speed of another namespace": Other(
        lambda _: gpx("1.1", lambda v: f'<extensions><x:speed unit="km/h">{v:.1f}</x:speed></extensions>', 'xmlns:x="urn:x"'),
        "log.gpx", PATH_ONLY, FINE),
    "GPX 1.1 with a mark": Other(lambda _: b"\xef\xbb\xbf" + gpx("1.1", lambda _v: ""), "log.gpx", PATH_ONLY, DERIVED),
    "GPX in gzip": Other(lambda _: gzip.compress(gpx("1.1", lambda _v: "")), "log.gpx.gz", PATH_ONLY, DERIVED),
    "GPX under another name": Other(lambda _: gpx("1.1", lambda _v: ""), "log.txt", PATH_ONLY, DERIVED),
    "NMEA, one sentence a moment": Other(lambda _: nmea(), "log.nmea", PATH_ONLY, FINE),
    "NMEA, older talker": Other(lambda _: nmea("GP"), "log.nmea", PATH_ONLY, FINE),
    "NMEA, three sentences a moment": Other(lambda _: nmea(kind="GGA"), "log.nmea", PATH_ONLY, FINE),
    "NMEA behind a counter": Other(lambda _: nmea(front=lambda t: f"{t * 1000 + 4000:.0f} "), "log.txt", PATH_ONLY, FINE),
    "bus trace, replies of service 01": Other(lambda _: replies(), "log.log", REPLIED, COARSE, sparse=True),
    "bus trace, replies to 29-bit identifiers": Other(lambda _: replies(number="18DAF110"), "log.log", REPLIED, COARSE, sparse=True),
    "bus trace with a description": Other(
        lambda _: frames(), "log.log", ("coolant_c", "engine_rpm", "throttle_pct", "gear"), time_s=2e-6, description=DESCRIPTION, needs="cantools"),
    "measurement file 3": Other(measurement("3.30"), "log.mdf", needs="asammdf"),
    "measurement file 4": Other(measurement("4.10"), "log.mf4", needs="asammdf"),
}  # fmt: skip


def ride_of(tmp_path: Path, form: Other) -> Ride:
    more: dict[str, object] = {}
    if form.description is not None:
        (tmp_path / "bus.dbc").write_text(form.description)
        more["description"] = tmp_path / "bus.dbc"
    return read(tmp_path, form.make(tmp_path), form.name, **more)


@pytest.mark.parametrize("name", FORMS)
def test_every_other_form_gives_the_same_ride(name: str, tmp_path: Path) -> None:
    form = FORMS[name]
    if form.needs and importlib.util.find_spec(form.needs) is None:
        pytest.skip(f"needs {form.needs}")
    ride = ride_of(tmp_path, form)
    if not form.sparse:
        same_ride(ride, only=form.only, within=form.within, time_s=form.time_s)
        return
    # One quantity a frame: every channel has rows of its own.
    for channel in form.only:
        held = ride.samples.select("t_s", channel).drop_nulls()
        assert held["t_s"].to_list() == pytest.approx([row[0] for row in TRUTH], abs=2e-3)
        true = [row[COLUMN[channel]] for row in TRUTH]
        assert held[channel].to_list() == pytest.approx(true, abs=form.within[channel])


@pytest.mark.parametrize(
    "name", ["Parquet, moments", "GPX 1.0", "GPX 1.1", "NMEA, one sentence a moment", "NMEA behind a counter"]
)
def test_forms_with_a_date_place_the_ride(name: str, tmp_path: Path) -> None:
    assert ride_of(tmp_path, FORMS[name]).start_utc == START
