"""How long reading an NMEA log takes beside pynmea2, in one run and with the same values, and how much memory it needs.

    python tests/benchmarks/bench_nmea.py [--minutes 60]

Prints a line a figure. Never part of pass or fail: machines differ. The reference parses every sentence with its
checksum on and reads the values of RMC, GGA, VTG and GLL, as the reader does: a plain loop, no more than that.
Two logs at 5 Hz: a receiver's usual set of sentences (three of nine hold a position), and RMC and GGA alone.
"""

from __future__ import annotations

import argparse
import math
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from datetime import time as dt_time
from pathlib import Path

import pynmea2

RATE_HZ = 5
OTHERS = (
    "GNGSA,A,3,02,07,14,15,17,20,22,30,,,,,1.5,0.9,1.2,1",
    "GNGSA,A,3,13,27,37,,,,,,,,,,1.5,0.9,1.2,4",
    "GPGSV,3,1,12,01,17,083,03,02,20,056,27,07,18,123,25,08,,,15,0",
    "GPGSV,3,2,12,14,79,041,29,15,31,297,21,17,54,166,28,19,24,192,23,0",
    "GPGSV,3,3,12,20,47,263,22,22,78,280,15,24,07,305,,30,57,127,31,0",
)


def sealed(body: str) -> str:
    """A sentence with its checksum and line end."""
    total = 0
    for char in body.encode("ascii"):
        total ^= char
    return f"${body}*{total:02X}\r\n"


def made_up_log(minutes: float, *, usual_set: bool) -> list[str]:
    """A ride in a circle."""
    start = datetime(2026, 7, 24, 23, 30, tzinfo=UTC)
    lines: list[str] = []
    others = [sealed(body) for body in OTHERS]
    for number in range(int(minutes * 60 * RATE_HZ)):
        when = start + timedelta(seconds=number / RATE_HZ)
        clock = when.strftime("%H%M%S.") + f"{when.microsecond // 10_000:02d}"
        angle = number / 3000.0
        lat, lon = 30.0 + 9.0 * math.sin(angle), 30.0 + 9.0 * math.cos(angle)
        where = f"45{lat:08.5f},N,007{lon:08.5f},E"
        knots = f"{25.0 + 20.0 * math.sin(angle * 11.0):.3f}"
        lines.append(sealed(f"GNRMC,{clock},A,{where},{knots},84.40,{when:%d%m%y},,,A"))
        if usual_set:
            lines.append(sealed(f"GNVTG,84.40,T,,M,{knots},N,41.5,K,A"))
        lines.append(sealed(f"GNGGA,{clock},{where},1,12,0.60,{400.0 + 90.0 * math.sin(angle):.1f},M,48.0,M,,"))
        if usual_set:
            lines.extend(others)
            lines.append(sealed(f"GNGLL,{where},{clock},A,A"))
    return lines


def by_reference(path: Path) -> dict[str, list[float | datetime | None]]:
    """The columns of a ride as a plain loop over the reference library makes them, each value read where it stands:
    position from RMC, else GGA, else GLL of the moment; speed from RMC, else VTG; the rest from GGA."""
    names = ("time", "lat_deg", "lon_deg", "gps_speed_mps", "elevation_m", "gps_fix", "gps_satellites", "gps_hdop")
    moments: dict[dt_time, dict[str, float | datetime | None]] = {}
    now: dict[str, float | datetime | None] = {}
    with path.open(encoding="ascii") as file:
        for line in file:
            sentence = pynmea2.parse(line, check=True)
            kind = sentence.sentence_type
            if kind in ("RMC", "GGA", "GLL"):
                now = moments.setdefault(sentence.timestamp, dict.fromkeys(names))
            if kind == "RMC" and sentence.status == "A":
                now["time"] = sentence.datetime
                now["lat_deg"], now["lon_deg"] = sentence.latitude, sentence.longitude
                now["gps_speed_mps"] = sentence.spd_over_grnd * 1852.0 / 3600.0
            elif kind == "VTG" and sentence.spd_over_grnd_kts is not None:
                speed = float(sentence.spd_over_grnd_kts) * 1852.0 / 3600.0
                now["gps_speed_mps"] = speed if now["gps_speed_mps"] is None else now["gps_speed_mps"]
            elif kind == "GGA" and sentence.gps_qual:
                lat, lon = sentence.latitude, sentence.longitude
                if now["lat_deg"] is None:
                    now["lat_deg"], now["lon_deg"] = lat, lon
                now["elevation_m"] = sentence.altitude
                now["gps_fix"] = float(sentence.gps_qual)
                now["gps_satellites"] = float(sentence.num_sats)
                now["gps_hdop"] = float(sentence.horizontal_dil)
            elif kind == "GLL" and sentence.status == "A":
                lat, lon = sentence.latitude, sentence.longitude
                if now["lat_deg"] is None:
                    now["lat_deg"], now["lon_deg"] = lat, lon
    return {name: [moment[name] for moment in moments.values()] for name in names}


def measure(path: Path, label: str) -> None:
    """Print the time of both, and whether their values agree."""
    from ridelog.readers.base import ReadOptions
    from ridelog.readers.nmea import NmeaReader

    # Turn about, and the best of each: on a busy machine both are then disturbed alike.
    reference, ours = [], []
    for _ in range(3):
        begun = time.perf_counter()
        wanted = by_reference(path)
        reference.append(time.perf_counter() - begun)
        for _ in range(5):
            begun = time.perf_counter()
            (log,) = NmeaReader().read(path, ReadOptions(path.name))
            ours.append(time.perf_counter() - begun)
    for column in log.columns:
        found = column.values.to_list()
        if column.name == "time":
            found = [datetime.fromisoformat(text) for text in found]
        if found != wanted[column.name]:
            sys.exit(f"{label}: {column.name} differs from the reference")
    print(
        f"{label}: {log.rows_in:,} sentences, {path.stat().st_size / 1e6:.1f} MB, {log.height:,} samples, same values"
    )
    ratio = min(reference) / min(ours)
    print(f"  pynmea2 {min(reference):.2f} s, here {min(ours):.3f} s: {ratio:.1f} times faster (goal: 20)")


def peak_memory(path: Path) -> None:
    """Print how much more memory a process needs at most with the log than without it (Linux keeps that figure)."""
    code = (
        "import sys; from pathlib import Path; from ridelog.readers.base import ReadOptions;"
        "from ridelog.readers.nmea import NmeaReader; reader = NmeaReader();"
        "reader.read(Path(sys.argv[2]), ReadOptions('small'));"
        "peak = lambda: int(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]);"
        "before = peak(); reader.read(Path(sys.argv[1]), ReadOptions('big')); print(peak() - before)"
    )
    small = path.with_name("small.nmea")
    small.write_text("".join(made_up_log(0.1, usual_set=True)), encoding="ascii", newline="")
    done = subprocess.run([sys.executable, "-c", code, path, small], capture_output=True, text=True, check=True)
    more = int(done.stdout) * 1024
    print(f"  memory above an empty start: {more / 1e6:.0f} MB = {more / path.stat().st_size:.1f} x file (goal: 4)")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=60.0)
    minutes = parser.parse_args().minutes
    with tempfile.TemporaryDirectory() as folder:
        for usual_set, label in ((True, "usual set"), (False, "RMC and GGA")):
            path = Path(folder) / "ride.nmea"
            path.write_text("".join(made_up_log(minutes, usual_set=usual_set)), encoding="ascii", newline="")
            measure(path, label)
            content = path.read_bytes()
            path.write_bytes(content * max(1, int(60e6 / len(content))))
            peak_memory(path)


if __name__ == "__main__":
    main()
