"""Small good files of every format, built anew from the log builders of the tests: where a fuzzer starts."""

from __future__ import annotations

import gzip
import io
import lzma
import re
import sys
import tempfile
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "readers"))

from build_logs import Form, write
from test_can_description import DESCRIPTION
from test_delimited_dialects import FORMS
from test_gpx import FIRST, INVALID, LAST, NAMESPACE, VALID, document
from test_nmea import MIDNIGHT, RMC_SOUTH, RMC_VOID, gga, rmc, sealed

SPLIT = b"\n=====\n"
"""Between a message description and the trace it describes, where both are one input."""

_TEXT_BYTES = 1200


def delimited() -> list[bytes]:
    """Every dialect of the tests, its first rows only."""
    found: list[bytes] = []
    for form in FORMS.values():
        data = write(form)
        cut = data[:_TEXT_BYTES] if len(data) < 3 * _TEXT_BYTES else data[: data.find(b"\n", _TEXT_BYTES) + 1]
        found.append(cut or data[:_TEXT_BYTES])
    plain = write(Form()).splitlines(keepends=True)
    found.append(b"".join((*plain[:9], plain[0], *plain[1:6])))  # a second recording behind a second header
    found.append(b"".join((plain[0], *plain[5:12], *plain[1:5], *plain[9:14])))  # rows out of order and twice
    found.append(b"time,channel,value\n" + b"".join(b"%d.5,rpm,%d\n%d.5,coolant,81\n" % (n, n, n) for n in range(20)))
    found.append(b'Time,RPM,Coolant\n"0,5",4000,80\n"1,0,4100,81\n1.5,4200,82\n2,"43"00",83\n')
    return found


def gpx() -> list[bytes]:
    """Documents of either version, right and wrong in many ways."""
    bodies = [
        FIRST + LAST,
        *(body if isinstance(body, str) else body[0] for body in (*VALID.values(), *INVALID.values())),
    ]
    found = [document(FIRST + body + LAST) for body in bodies]
    found.append(document(FIRST + "</trkseg><trkseg>" + LAST))
    found.append(document(FIRST + LAST, root='version="1.0" creator="x" xmlns="http://www.topografix.com/GPX/1/0"'))
    sensors = (
        '<extensions><s:TrackPointExtension xmlns:s="urn:x"><s:atemp>21.5</s:atemp><s:speed unit="km/h">40</s:speed>'
        "</s:TrackPointExtension></extensions>"
    )
    found.append(document(FIRST.replace("</trkpt>", sensors + "</trkpt>") + LAST))
    found.append(document(FIRST + LAST, root=f'version="1.1" {NAMESPACE}').decode().encode("utf-16"))
    return found


def nmea() -> list[bytes]:
    """Sentences with right checksums, alone, behind a counter, glued, without a fix, over midnight."""
    rides = [rmc(f"1200{n:02d}.00") + "\r\n" + gga(f"1200{n:02d}.00") for n in range(10)]
    vtg, gll = sealed("GPVTG,54.7,T,34.4,M,5.5,N,10.2,K,A"), sealed("GPGLL,4530.0,N,00730.0,E,120030.00,A,A")
    zda = sealed("GPZDA,120031.00,24,07,2026,00,00")
    groups = (
        rides,
        [*MIDNIGHT, RMC_SOUTH, RMC_VOID, vtg, gll, zda],
        [f"{1000 * n},{line}" for n, line in enumerate(rmc(f"1200{n:02d}.00") for n in range(15))],
        [rides[0].replace("\r\n", "") + vtg, "# text", "$GPXYZ,1*00", rides[1]],
        [gga("235959.80"), gga("000000.00"), rmc("000000.20", "250726"), rmc("115959.00", "250726")],
    )
    return ["\r\n".join((*lines, "")).encode("latin-1") for lines in groups]


def can_text() -> list[bytes]:
    """Replies of SAE J1979, classic and flexible-rate frames, remote and error frames."""
    replies = ("0341057B00000000", "04410C1AF8000000", "03410D2800000000", "0341113300000000", "03410F5000000000")
    plain = "".join(f"({1436509052.25 + 0.01 * n:.6f}) can0 7E8#{replies[n % len(replies)]}\n" for n in range(25))
    other = (
        "(1.000000) vcan1 123#R\n(1.010000) can0 20000004#0000000000000000\n(1.020000) can0 18FEEE00#7BFF40209C0FFFFF\n"
        "(1.030000) can0 18DAF110#0341058C00000000 R\n(1.040000) can0 7E8##1104410C1AF8\n(1.050000) can0 7E9#0341058C\n"
    )
    return [plain.encode(), (plain[:400] + other).encode(), other.encode() + plain[:300].encode(), plain.encode()[:333]]


def can_described() -> list[bytes]:
    """A description and a trace in one input."""
    frames = (
        "100#401F7B64FF0F0000",
        "101#0102030405060708",
        "103#0000803F003C0000",
        "104#10AABBCCDDEEFF11",
        "18FEEE01#7B00002200FFFFFF",
    )
    trace = "".join(f"({5 + 0.02 * n:.6f}) can0 {frames[n % len(frames)]}\n" for n in range(15))
    small = "\n".join(DESCRIPTION.splitlines()[:10]) + "\n"
    return [text.encode() + SPLIT + trace.encode() for text in (DESCRIPTION, small)]


def arrow() -> list[bytes]:
    """Tables of the usual column types as Parquet, Arrow file and Arrow stream."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    begun = datetime(2026, 7, 24, 10, 0, tzinfo=UTC)
    rows = 12
    plain = pa.table({"time": [0.1 * n for n in range(rows)], "coolant": [80.0 + n for n in range(rows)]})
    rich = pa.table(
        {
            "timestamp": pa.array([begun + timedelta(seconds=n) for n in range(rows)], pa.timestamp("us", "UTC")),
            "rpm": pa.array([4000 + n for n in range(rows - 1)] + [None], pa.uint16()),
            "throttle": pa.array([f"{n},5" for n in range(rows)]),
            "fan": pa.array([n % 3 == 0 for n in range(rows)]),
            "gps": pa.array([{"lat": 45.0 + n / 1e4, "lon": 7.0} for n in range(rows)]),
            "map": pa.array(["a", "b"] * (rows // 2)).dictionary_encode(),
            "speed [km/h]": pa.array([float("nan"), float("inf"), *range(rows - 2)], pa.float32()),
        }
    )
    found: list[bytes] = []
    for table in (plain, rich):
        for compression in ("none", "snappy", "zstd"):
            store = io.BytesIO()
            pq.write_table(table, store, compression=compression, row_group_size=7)
            found.append(store.getvalue())
        for new in (pa.ipc.new_file, pa.ipc.new_stream):
            store = io.BytesIO()
            with new(store, table.schema) as out:
                out.write_table(table, max_chunksize=7)
            found.append(store.getvalue())
    return found


def mdf() -> list[bytes]:
    """Two groups, numbers, text and invalid values, by version and packing. Empty where the library is missing."""
    try:
        from asammdf import MDF, Signal
    except ImportError:
        return []
    times = np.arange(12) * 0.1

    def signals(step: int) -> list[Any]:
        kept = times[::step]
        return [
            Signal(80.0 + kept, kept, name="Coolant temp", unit="C"),
            Signal((4000 + 100 * kept).astype(np.uint16), kept, name="Engine speed", unit="rpm"),
            Signal(np.array([b"eco", b"pow"] * 6)[::step], kept, name="Map", encoding="utf-8"),
        ]

    found: list[bytes] = []
    with tempfile.TemporaryDirectory() as folder:
        for version, compression in (("3.30", 0), ("4.10", 0), ("4.10", 1), ("4.10", 2), ("4.20", 0)):
            with MDF(version=version) as file:
                file.start_time = datetime(2026, 7, 24, 10, tzinfo=UTC)
                for step in (1, 3):
                    file.append(signals(step), common_timebase=True)
                saved = Path(file.save(Path(folder) / "a.mf4", overwrite=True, compression=compression))
            found.append(_undated(saved.read_bytes()))
    return found


def _undated(data: bytes) -> bytes:
    """The file without the moment it was written at: in a remark of version 3, in each block of history of 4."""
    out = bytearray(re.sub(rb"\w{3} \w{3} [ \d]\d \d\d:\d\d:\d\d \d{4}", b"Thu Jan  1 00:00:00 1970", data))
    at = -1
    while (at := out.find(b"##FH", at + 1)) >= 0:
        out[at + 40 : at + 48] = bytes(8)  # behind the block's head of 24 bytes and its two links
    return bytes(out)


def container() -> list[bytes]:
    """Logs packed in every way that is opened."""
    text = b"".join(write(Form()).splitlines(keepends=True)[:20])
    track = document(FIRST + LAST)

    def zipped(method: int, **members: bytes) -> bytes:
        store = io.BytesIO()
        with zipfile.ZipFile(store, "w", method) as archive:
            for name, content in members.items():
                # A member without a date of its own has that of 1980: the seeds are the same every day.
                archive.writestr(zipfile.ZipInfo(name.replace("_", ".")), content, method)
        return store.getvalue()

    return [
        gzip.compress(text, mtime=0),
        lzma.compress(text),
        gzip.compress(track, mtime=0),
        zipped(zipfile.ZIP_STORED, a_csv=text),
        zipped(zipfile.ZIP_DEFLATED, a_csv=text, b_gpx=track, read_me=b"hello"),
        zipped(zipfile.ZIP_LZMA, a_csv=text),
        zipped(zipfile.ZIP_BZIP2, a_csv=text),
        text,
        track,
    ]
