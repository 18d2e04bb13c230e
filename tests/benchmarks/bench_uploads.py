"""Many large uploads at once against a real server: is everything stored byte for byte, and do pages stay quick?

Run it by hand: `python tests/benchmarks/bench_uploads.py [files] [megabytes] [--wait]`. It prints figures and never
fails on them. The yardstick is the same light callback of the same server with nothing else to do, and the same bytes
written to the same disk by one plain copy. With `--wait` it also waits until every file has become a ride.
"""

from __future__ import annotations

import hashlib
import http.client
import json
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

PIECE = 256 * 1024
PAUSE_S = 0.1
"""So often a page asks: ten times as often as pages do."""

SERVE = (
    "import sys; from pathlib import Path; from dashboard.server import serve; "
    "serve(Path(sys.argv[1]), '127.0.0.1', 0, on_ready=lambda told: print(told, flush=True))"
)
OUTPUT = "..add-jobs.children...add-shown.data...add-clock.disabled...add-open.children...added.data.."
CALLBACKS: dict[str, dict[str, Any]] = {
    "choices of the bike": {
        "output": "add-bike.children",
        "outputs": {"id": "add-bike", "property": "children"},
        "inputs": [{"id": "add-tick", "property": "data", "value": 1}],
        "changedPropIds": ["add-tick.data"],
    },
    "list of imports": {
        "output": OUTPUT,
        "outputs": [
            {"id": "add-jobs", "property": "children"},
            {"id": "add-shown", "property": "data"},
            {"id": "add-clock", "property": "disabled"},
            {"id": "add-open", "property": "children"},
            {"id": "added", "property": "data"},
        ],
        "inputs": [
            {"id": "add-tick", "property": "data", "value": 1},
            {"id": "add-clock", "property": "n_intervals", "value": 1},
        ],
        "state": [{"id": "add-shown", "property": "data"}, {"id": "added", "property": "data"}],
        "changedPropIds": ["add-clock.n_intervals"],
    },
}
"""The two light callbacks every page makes."""


@dataclass
class Asked:
    """Seconds each answer took, and what was no answer."""

    took_s: dict[str, list[float]] = field(default_factory=lambda: {name: [] for name in CALLBACKS})
    failed: list[str] = field(default_factory=list)

    def told(self) -> str:
        """A line of figures."""
        parts = []
        for name, all_s in self.took_s.items():
            if len(all_s) > 1:
                middle, late = statistics.median(all_s), statistics.quantiles(all_s, n=20)[-1]
                parts.append(
                    f"{name}: median {1e3 * middle:.0f} ms, p95 {1e3 * late:.0f} ms, most {1e3 * max(all_s):.0f} ms "
                    f"of {len(all_s)}"
                )
        return "; ".join(parts) + (f"; FAILED {len(self.failed)}: {self.failed[0]}" if self.failed else "")


@contextmanager
def server(root: Path) -> Iterator[str]:
    """A server in a process of its own; host and port."""
    process = subprocess.Popen([sys.executable, "-c", SERVE, str(root)], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        yield urlsplit(process.stdout.readline().strip()).netloc
    finally:
        process.terminate()
        process.wait(30)
        assert process.stdout is not None
        process.stdout.close()


def ask(place: str, callback: dict[str, Any]) -> None:
    """One callback, on a connection of its own. Raises OSError where it was not answered well."""
    link = http.client.HTTPConnection(place, timeout=60)
    link.request(
        "POST", "/_dash-update-component", json.dumps(callback),
        {"Content-Type": "application/json", "Origin": f"http://{place}"},
    )  # fmt: skip
    answer = link.getresponse()
    answer.read()
    link.close()
    if answer.status not in (200, 204):
        raise OSError(f"status {answer.status}")


def asking(place: str, asked: Asked, done: threading.Event) -> None:
    """Ask as pages do until told to stop."""
    while not done.is_set():
        for name, callback in CALLBACKS.items():
            start = time.perf_counter()
            try:
                ask(place, callback)
            except OSError as error:
                asked.failed.append(f"{name}: {error}")
            asked.took_s[name].append(time.perf_counter() - start)
        done.wait(PAUSE_S)


@contextmanager
def watched(place: str) -> Iterator[Asked]:
    """Answers while something goes on."""
    asked, done = Asked(), threading.Event()
    thread = threading.Thread(target=asking, args=(place, asked, done))
    thread.start()
    try:
        yield asked
    finally:
        done.set()
        thread.join()


def log(path: Path, number: int, size: int) -> str:
    """Write a log of about a size; its hash. Each has a start of its own."""
    block = 20_000
    digest, written, t = hashlib.sha256(), 0, 0
    with path.open("wb") as out:
        while written < size:
            rows = [] if t else ["Time s,RPM,Coolant C,Throttle %,GPS speed km/h"]
            rows += [
                f"{at / 20:.2f},{3000 + (at * 37 + 101 * number) % 4000},{60 + min(at, 9000) * 0.003:.1f},"
                f"{at // 7 % 90},{20 + (at // 13 + number) % 30}"
                for at in range(t, t + block)
            ]
            piece = ("\n".join(rows) + "\n").encode()
            digest.update(piece)
            out.write(piece)
            written += len(piece)
            t += block
    return digest.hexdigest()


def send(place: str, path: Path) -> tuple[str, float]:
    """Announce and send one file as the page does; its job, and the seconds it took."""
    start = time.perf_counter()
    size, origin = path.stat().st_size, {"Origin": f"http://{place}"}
    link = http.client.HTTPConnection(place, timeout=600)
    link.request(
        "POST", "/add", json.dumps({"files": [{"name": path.name, "size": size}]}),
        {"Content-Type": "application/json", **origin},
    )  # fmt: skip
    told = json.loads(link.getresponse().read())
    with path.open("rb") as body:
        link.request("PUT", told["files"][0], body, {"Content-Length": str(size), **origin})
        answer = link.getresponse()
        answer.read()
    link.close()
    if answer.status != 200:
        raise SystemExit(f"{path.name} was not taken: {answer.status}")
    return told["job"], time.perf_counter() - start


def copied(paths: list[Path], folder: Path) -> float:
    """Seconds for the same bytes written once by one process."""
    folder.mkdir()
    start = time.perf_counter()
    for path in paths:
        with path.open("rb") as read, (folder / path.name).open("wb") as out:
            while piece := read.read(PIECE):
                out.write(piece)
    took = time.perf_counter() - start
    for path in paths:
        (folder / path.name).unlink()
    return took


def main(files: int, megabytes: float, *, wait: bool) -> dict[str, Any]:
    """Measure, print, and hand back what was counted."""
    from dashboard.adding import jobs
    from ridelog.store.library import Library

    with tempfile.TemporaryDirectory(prefix="bench-uploads-") as name:
        folder, root = Path(name), Path(name) / "library"
        library = Library.open(root)
        paths = [folder / f"log-{number:02d}.csv" for number in range(files)]
        hashes = {path.name: log(path, number, int(megabytes * 1e6)) for number, path in enumerate(paths)}
        total = sum(path.stat().st_size for path in paths)
        plain_s = copied(paths, folder / "copy")
        print(f"{files} files, {total / 1e6:,.0f} MB, {os.cpu_count()} cores, load before {os.getloadavg()[0]:.1f}")
        with server(root) as place:
            ask(place, CALLBACKS["choices of the bike"])
            with watched(place) as idle:
                time.sleep(5.0)
            print(f"idle: {idle.told()}")
            start = time.perf_counter()
            with watched(place) as busy, ThreadPoolExecutor(files) as pool:
                sent = dict(zip(paths, pool.map(lambda path: send(place, path), paths), strict=True))
            took_s = time.perf_counter() - start
            print(f"uploads: {took_s:.1f} s, {total / took_s / 1e6:.0f} MB/s (one plain copy {plain_s:.1f} s)")
            print(f"while they ran: {busy.told()}")
            whole = 0
            for path, (job, _) in sent.items():
                whole += stored_as(library, root / "inbox" / job, path.name, hashes[path.name])
            print(f"stored byte for byte: {whole} of {files}")
            rides = None
            if wait:
                start = time.perf_counter()
                with watched(place) as importing:
                    while True:
                        found = [jobs.read(root / "inbox" / job) for job, _ in sent.values()]
                        if all(one is not None and one.state not in jobs.OPEN for one in found):
                            break
                        time.sleep(0.5)
                rides = len(library.list_rides(limit=None))
                print(f"all imported after another {time.perf_counter() - start:.0f} s: {rides} rides")
                print(f"while they were imported: {importing.told()}")
                whole = sum(original(library, digest) for digest in hashes.values())
                print(f"originals kept byte for byte: {whole} of {files}")
    return {"whole": whole, "failed": busy.failed, "rides": rides}


def stored_as(library: Any, folder: Path, name: str, digest: str) -> bool:
    """Are the bytes where they were sent, in the inbox or already with the rides?"""
    try:
        return hashlib.sha256((folder / "0" / name).read_bytes()).hexdigest() == digest
    except FileNotFoundError:
        return original(library, digest)


def original(library: Any, digest: str) -> bool:
    """Does the library keep a file with this hash, and is it that file?"""
    path = library.original(digest)
    return path is not None and hashlib.sha256(path.read_bytes()).hexdigest() == digest


if __name__ == "__main__":
    plain = [one for one in sys.argv[1:] if not one.startswith("-")]
    main(int(plain[0]) if plain else 20, float(plain[1]) if len(plain) > 1 else 50.0, wait="--wait" in sys.argv)
