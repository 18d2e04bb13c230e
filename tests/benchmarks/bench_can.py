"""How fast a CAN trace is read, beside python-can and cantools on the same file in the same run, with the same values.

    python tests/benchmarks/bench_can.py [--frames 400000]

Prints one line a figure. Never part of pass or fail: machines differ. Both sides end with the same thing: the times and
values of every signal, as arrays.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import can
import cantools
import numpy as np
import numpy.typing as npt

from ridelog.readers.base import ReadOptions
from ridelog.readers.can_text import CanTextReader
from ridelog.ride import RawLog

Table = dict[str, tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]]

_DESCRIPTION = """VERSION ""
NS_ :
BS_:
BU_: Box
BO_ 256 Motor: 8 Box
 SG_ Revs : 0|16@1+ (0.25,0) [0|0] "rpm" Box
 SG_ WaterTemp : 16|8@1+ (1,-40) [0|0] "degC" Box
 SG_ Opening : 24|8@1+ (0.5,0) [0|0] "%" Box
 SG_ Advance : 32|12@1- (0.1,0) [0|0] "deg" Box
 SG_ Battery : 48|16@1+ (0.001,0) [0|0] "V" Box
BO_ 512 Wheels: 8 Box
 SG_ FrontSpeed : 7|16@0+ (0.01,0) [0|0] "km/h" Box
 SG_ RearSpeed : 23|16@0+ (0.01,0) [0|0] "km/h" Box
 SG_ Gear : 39|4@0+ (1,0) [0|0] "" Box
BO_ 2566844158 Air: 8 Box
 SG_ Ambient : 0|16@1+ (0.03125,-273) [0|0] "degC" Box
 SG_ Baro : 16|8@1+ (0.5,0) [0|0] "kPa" Box
"""


def make_trace(path: Path, frames: int) -> None:
    """A trace of three described messages and as many frames again that nobody describes."""
    draw = np.random.default_rng(11)
    payloads = draw.integers(0, 2**63, frames).tolist()
    ids = ["100", "200", "98FEEEFE"]
    with path.open("w", encoding="ascii") as file:
        for number, payload in enumerate(payloads):
            name = ids[number // 2 % 3] if number % 2 else f"{0x300 + number % 40:03X}"
            stamp = 1_436_509_052.0 + number * 0.0005
            file.write(f"({stamp:.6f}) can0 {name[-8:].replace('98FE', '18FE')}#{payload:016X}\n")


def by_libraries(trace: Path, description: Path) -> Table:
    """Every signal by the general libraries, frame by frame."""
    database = cantools.database.load_file(description)
    known = {message.frame_id: message for message in database.messages}
    found: dict[str, tuple[list[float], list[float]]] = {}
    with can.CanutilsLogReader(trace) as reader:
        for frame in reader:
            message = known.get(frame.arbitration_id)
            if message is None:
                continue
            for name, value in message.decode(frame.data, decode_choices=False).items():
                times, values = found.setdefault(name, ([], []))
                times.append(frame.timestamp)
                values.append(float(value))
    return {name: (np.array(times), np.array(values)) for name, (times, values) in found.items()}


def by_ridelog(trace: Path, description: Path) -> RawLog:
    """Every signal by ridelog."""
    (log,) = CanTextReader().read(trace, ReadOptions(trace.name, description=description))
    return log


def same(log: RawLog, other: Table) -> bool:
    """Whether both hold the same times and values of the same signals."""
    times = log.columns[0].values.to_numpy() / 1e6  # microseconds since 1970
    names = {column.name for column in log.columns[1:]}
    if names != set(other):
        return False
    for column in log.columns[1:]:
        there = column.values.is_not_null().to_numpy()
        at, values = other[column.name]
        if not (np.array_equal(times[there], at) and np.allclose(column.values.drop_nulls().to_numpy(), values, 1e-12)):
            return False
    return True


def timed(work: Callable[[], object], times: int) -> float:
    """Shortest of some runs, s."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--frames", type=int, default=400_000)
    frames = parser.parse_args().frames
    with tempfile.TemporaryDirectory() as folder:
        trace, description = Path(folder) / "trace.log", Path(folder) / "bus.dbc"
        make_trace(trace, frames)
        description.write_text(_DESCRIPTION, encoding="utf-8")
        size = trace.stat().st_size / 1e6
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        own = timed(lambda: by_ridelog(trace, description), 3)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(f"trace: {frames:,} frames, {size:.0f} MB; memory before {before:.0f} MB, peak {peak:.0f} MB")
        libraries = timed(lambda: by_libraries(trace, description), 1)
        print(f"ridelog {own:.2f} s ({frames / own:,.0f} frames/s), python-can + cantools {libraries:.2f} s")
        equal = same(by_ridelog(trace, description), by_libraries(trace, description))
        print(f"ratio {libraries / own:.1f} (goal 5); same values: {equal}")


if __name__ == "__main__":
    main()
