"""One entry a reader: bytes in, a checked ride or a refusal in words out. Anything else that comes out is a fault.

Both the long search (fuzz_reader.py) and the short test (test_fuzz_short.py) call `run`.
"""

from __future__ import annotations

import bz2
import gzip
import io
import json
import lzma
import random
import re
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "readers"))

import fuzz_seeds
from contract import check_log, check_ride

from ridelog.errors import InputRefused, RidelogError
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers import mdf, mdf_worker
from ridelog.readers.arrow_table import ArrowTableReader
from ridelog.readers.base import HEAD_BYTES, Reader, ReadOptions
from ridelog.readers.can_text import CanTextReader
from ridelog.readers.delimited import DelimitedReader
from ridelog.readers.gpx import GpxReader
from ridelog.readers.limits import Limits
from ridelog.readers.nmea import NmeaReader

LIMITS = Limits(max_bytes=64 * 1024 * 1024, max_rows=1_000_000)
"""Low enough that a few bytes which ask for more are refused before they hurt."""

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")
_FAULT = "which is a fault of ridelog"


@dataclass(frozen=True)
class Target:
    """One thing to fuzz. `reader` is None for whole files, whose format is found by content. `loose` takes an input
    apart into the bytes worth changing and the way back to a file, so that checksums and packing do not hide the
    rest."""

    name: str
    reader: Reader | None
    ending: str
    seeds: Callable[[], list[bytes]]
    tokens: tuple[bytes, ...]
    loose: Callable[[bytes], tuple[bytes, Callable[[bytes], bytes]]] = lambda data: (data, lambda changed: changed)
    described: bool = False


def run(target: Target, data: bytes, folder: Path) -> bool:
    """Read `data` through the reader and through the whole import. True where it is a log. Lets every exception out
    that is no RidelogError, and an AssertionError where a table or a ride breaks its promises."""
    path = folder / f"log{target.ending}"
    description: Path | None = None
    if target.described:
        told, _, data = data.partition(fuzz_seeds.SPLIT)
        description = folder / "bus.dbc"
        description.write_bytes(told)
    path.write_bytes(data)
    if target.reader is not None:
        opinion = target.reader.sniff(data[:HEAD_BYTES], path.name)
        assert 0.0 <= opinion.score <= 1.0
        assert opinion.reason
        try:
            logs = target.reader.read(path, ReadOptions(path.name, LIMITS, (), description))
        except InputRefused as error:
            _check_refusal(error)
            return False
        assert logs
        for log in logs:
            check_log(log)
    options = ImportOptions(
        format=target.reader.name if target.reader else None, description=description, limits=LIMITS
    )
    try:
        rides = read_rides([path], options)
    except RidelogError as error:
        if _FAULT in error.found and error.__cause__ is not None:
            raise error.__cause__ from None
        _check_refusal(error)
        return target.reader is not None
    for ride in rides:
        check_ride(ride)
        for note in ride.notes:
            assert not _CONTROL.search(note.sentence()), repr(note.sentence())
    return True


def _check_refusal(error: RidelogError) -> None:
    assert error.found
    assert error.expected
    assert error.to_do
    assert not _CONTROL.search(str(error)), repr(str(error))


@contextmanager
def in_process() -> Iterator[None]:
    """Read MDF files in this process: coverage does not reach into another one, and starting one costs a second."""

    def _run(words: list[str], **_: Any) -> subprocess.CompletedProcess[bytes]:
        path, folder, bounds = words[-3:]
        with _little_memory():
            mdf_worker.main(Path(path), Path(folder), mdf_worker.Bounds(**json.loads(bounds)))
        return subprocess.CompletedProcess(words, 0)

    kept = mdf.subprocess, mdf_worker._bound_memory
    stand_in: Any = SimpleNamespace(run=_run, DEVNULL=subprocess.DEVNULL, TimeoutExpired=subprocess.TimeoutExpired)
    mdf.subprocess, mdf_worker._bound_memory = stand_in, lambda _: None
    try:
        yield
    finally:
        mdf.subprocess, mdf_worker._bound_memory = kept


@contextmanager
def _little_memory() -> Iterator[None]:
    """At most 1 GiB more address space than now: what the process of its own is there for."""
    try:
        import resource

        now = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    except (ImportError, OSError):  # other systems have no such bound
        yield
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (now + 1024**3, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


# -- ways past checksums and packing -----------------------------------------------------------------------------------


def _sealed_again(data: bytes) -> bytes:
    def _seal(found: re.Match[bytes]) -> bytes:
        total = 0
        for byte in found[1]:
            total ^= byte
        return b"$%b*%02X" % (found[1], total)

    return re.sub(rb"\$([^$*\r\n]*)\*[0-9A-Fa-f]{0,2}", _seal, data)


def _nmea(data: bytes) -> tuple[bytes, Callable[[bytes], bytes]]:
    return data, _sealed_again


_OPEN: dict[bytes, tuple[Callable[[bytes], bytes], Callable[[bytes], bytes]]] = {
    b"\x1f\x8b": (gzip.decompress, lambda data: gzip.compress(data, mtime=0)),
    b"\xfd7zXZ\0": (lzma.decompress, lzma.compress),
    b"BZh": (bz2.decompress, bz2.compress),
}


def _packed(data: bytes) -> tuple[bytes, Callable[[bytes], bytes]]:
    for magic, (unpack, pack) in _OPEN.items():
        if data.startswith(magic):
            try:
                return unpack(data), pack
            except Exception:  # damaged already: then its bytes are what there is to change
                break
    if data.startswith(b"PK"):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                members = [(info, archive.read(info)) for info in archive.infolist()]
        except Exception:
            return data, lambda changed: changed
        if members:
            return members[0][1], lambda changed: _zipped([(members[0][0], changed), *members[1:]])
    return data, lambda changed: changed


def _zipped(members: list[tuple[zipfile.ZipInfo, bytes]]) -> bytes:
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w") as archive:
        for info, content in members:
            archive.writestr(info.filename, content, info.compress_type)
    return store.getvalue()


# -- the targets -------------------------------------------------------------------------------------------------------

# ruff: noqa: E501 - tokens stand side by side
_NUMBERS = (b"-0", b"1e308", b"-1e-308", b"inf", b"NaN", b"99999999999999999999", b"65535", b"4294967295", b"0", b"-40")
_TIMES = (
    b"23:59:59.9", b"24:00:00", b"00:00", b"2026-03-29T02:30:00", b"1970-01-01", b"9999-12-31", b"0001-01-01T00:00:00Z",
    b"31.12.2026 23:59:60", b"1785000000", b"1785000000000", b"+02:00", b"Z", b"12:00 AM",
)  # fmt: skip
_TEXT = (
    b"\r\n",
    b"\r",
    b"\0",
    b"\xef\xbb\xbf",
    b"\xff\xfe",
    b"\xa0",
    b"\xc2\xb0",
    b"\xe2\x88\x92",
    b"\xf0\x9f\x8f\x8d",
)

_ALL = (
    Target(
        "delimited", DelimitedReader(), ".csv", fuzz_seeds.delimited,
        (b",", b";", b"\t", b"|", b'"', b'""', b"#", b"'", b"[s]", b"[ms]", b"(us)", b"[C]", b"[\xc2\xb0F]", b"[km/h]",
         b"Time", b"Date", b"Timestamp", b"Coolant temp", b"Engine speed", b"RPM", b"Throttle", b"GPS speed", b"Gear",
         b"Lat", b"Lon", b"lat_deg", b"Map", b"Fan", b"N", b"on", b"OFF", b"n/a", b"--", b"1.234,5", b"1,234.5", b"1'234",
         *_NUMBERS, *_TIMES, *_TEXT),
    ),
    Target(
        "gpx", GpxReader(), ".gpx", fuzz_seeds.gpx,
        (b"<trkpt ", b"</trkpt>", b"<trkseg>", b"</trkseg>", b"<trk>", b"</trk>", b'lat="', b'lon="', b"<time>",
         b"</time>", b"<ele>", b"</ele>", b"<extensions>", b"</extensions>", b"<speed>", b"<fix>3d</fix>", b"<sat>",
         b"<hdop>", b"<rte><rtept ", b"<wpt ", b"<!--", b"-->", b"<![CDATA[", b"]]>", b"<!DOCTYPE x [", b"<!ENTITY a ",
         b"&a;", b"&#0;", b"&#x110000;", b'xmlns:x="urn:x"', b"<?xml version='1.0' encoding='utf-16'?>", b"<?pi ?>",
         *_NUMBERS, *_TIMES, *_TEXT),
    ),
    Target(
        "nmea", NmeaReader(), ".nmea", fuzz_seeds.nmea,
        (b"$GPRMC,", b"$GNGGA,", b"$GPVTG,", b"$GPGLL,", b"$GPZDA,", b"$PABC,", b"*00", b",A,", b",V,", b",,,,", b",N,",
         b",S,", b",E,", b",W,", b"235959.99", b"000000.00", b"240000", b"235960", b"290224", b"000000", b"311299",
         b"4530.0000", b"9000.0000", b"18000.0000", b"00000.0000", *_NUMBERS, *_TEXT),
        loose=_nmea,
    ),
    Target(
        "can-text", CanTextReader(), ".log", fuzz_seeds.can_text,
        (b"(1436509052.249713) ", b" can0 ", b"7E8#", b"7EF#", b"18DAF110#", b"##1", b"#R", b" R", b" T", b"0341", b"0441",
         b"0641", b"4100", b"20000004#", b"FFFFFFFF", *_NUMBERS, *_TEXT),
    ),
    Target(
        "can-described", CanTextReader(), ".log", fuzz_seeds.can_described,
        (b"BO_ 256 A: 8 Box\n", b' SG_ B : 0|16@1+ (1,0) [0|0] "rpm" Box\n', b" SG_ C m0 : ", b" M : ", b" m1M : ", b"@0-",
         b"@1+", b"(0,0)", b"(1e308,1e308)", b"[1|0]", b"|64", b"|0", b"2566844158", b"2147483648", b'VAL_ 256 B 0 "off" ;\n',
         b"SG_MUL_VAL_ 260 C A 0-4294967295;\n", b"SIG_VALTYPE_ 259 B : 1;\n", b'BA_ "VFrameFormat" BO_ 256 3;\n',
         b"100#", b"101#", b"103#", b"104#", b"18FEEE01#", *_NUMBERS, *_TEXT),
        described=True,
    ),
    Target(
        "arrow", ArrowTableReader(), ".parquet", fuzz_seeds.arrow,
        (b"PAR1", b"ARROW1\0\0", b"\xff\xff\xff\xff", b"\0\0\0\0", b"ARROW:schema", b"unit", b"UTC", b"pandas",
         b"\x7f\xff\xff\xff", b"\x80\0\0\0", b"ridelog.schema"),
    ),
    Target(
        "mdf", mdf.MdfReader(), ".mf4", fuzz_seeds.mdf,
        (b"MDF     ", b"UnFinMF ", b"##HD", b"##DG", b"##CG", b"##CN", b"##CC", b"##DT", b"##DZ", b"##DL", b"##HL", b"##TX",
         b"##MD", b"##SD", b"##LD", b"##DV", b"##FH", b"##EV", b"##CA", b"HD", b"DG", b"CG", b"CN", b"CC", b"TX", b"4.10",
         b"3.30", b"2.14", b"\xff\xff\xff\xff\xff\xff\xff\xff", b"\0\0\0\0\0\0\0\0"),
    ),
    Target(
        "container", None, ".bin", fuzz_seeds.container,
        (b"\x1f\x8b\x08", b"\xfd7zXZ\0", b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06", b"PK\x06\x06", b"PK\x07\x08", b"../", b"a.csv",
         b"xl/", b"mimetype", b"__MACOSX/", b"\xff\xff\xff\xff", b"\0\0", *_TEXT),
        loose=_packed,
    ),
)  # fmt: skip

TARGETS = {target.name: target for target in _ALL}


def damaged(target: Target, seeds: list[bytes], chance: random.Random) -> bytes:
    """A seed with a few changes, the same for the same state of `chance`."""
    data, back = target.loose(chance.choice(seeds)) if chance.random() < 0.7 else (chance.choice(seeds), bytes)
    changed = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 4, 12))):
        at = chance.randrange(len(changed) + 1)
        end = min(len(changed), at + chance.choice((1, 2, 8, 40, 300)))
        match chance.randrange(7):
            case 0 if at < len(changed):
                changed[at] ^= 1 << chance.randrange(8)
            case 1:
                del changed[at:end]
            case 2:
                changed[at:at] = changed[at:end] * chance.randrange(1, 4)
            case 3:
                changed[at:at] = chance.choice(target.tokens)
            case 4:
                token = chance.choice(target.tokens)
                changed[at : at + len(token)] = token
            case 5:
                other = chance.choice(seeds)
                other_at = chance.randrange(len(other) + 1)
                changed[at:end] = other[other_at : other_at + chance.choice((8, 60, 400))]
            case _ if chance.random() < 0.2:
                del changed[at:]
    return back(bytes(changed))
