"""How much the page of a long ride weighs, and how long the server takes for it: first view and zoom.

Run it by hand: `python tests/benchmarks/bench_dashboard.py [hours]`. It prints figures and never fails. The yardstick
is the same payload without thinning: all samples of the same lines written as JSON by the same library.

`python tests/benchmarks/bench_dashboard.py memory` changes pages of a running server over the sample rides, as a
browser asks for them, and prints how much memory its process has more after every 50 (Linux).
"""

from __future__ import annotations

import importlib.util
import itertools
import json
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import plotly.graph_objects as go


def best_of(work: Callable[[], Any], times: int = 5) -> tuple[float, float]:
    """Best and median seconds of several runs."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken), statistics.median(taken)


def fakes() -> Any:
    """The hand-made rides of the dashboard tests."""
    path = Path(__file__).resolve().parents[1] / "dashboard" / "fakes.py"
    spec = importlib.util.spec_from_file_location("ridelog_bench_fakes", path)
    if spec is None or spec.loader is None:
        raise SystemExit(f"{path} can't be read")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def main(hours: float) -> None:
    from plotly.utils import PlotlyJSONEncoder

    from dashboard.callbacks.routing import page
    from dashboard.look import Look
    from dashboard.pages.ride_picture import map_of, picture
    from ridelog.figures.ride_stack import View
    from ridelog.figures.series import RideLines
    from ridelog.report import render

    module = fakes()
    view = module.make_view(hours * 3600.0, 20.0)
    kinds = view.analysis.segments
    many = tuple(
        replace(kinds[n % len(kinds)], start_s=100.0 * n, end_s=100.0 * n + 60.0) for n in range(int(hours * 36))
    )
    view = module.changed(view, analysis=replace(view.analysis, segments=many), traces=with_heat(view.traces))
    provider = module.FakeProvider(view)
    path, seen = f"/ride/{view.ride.id}", Look()

    def as_sent(shown: Any) -> bytes:
        return json.dumps(shown, cls=PlotlyJSONEncoder).encode()

    rows, points = view.ride.samples.height, view.traces.t_s.size
    print(f"ride of {hours:g} h at 20 Hz: {rows:,} rows, {points:,} grid points, {len(many)} stretches")
    start = time.perf_counter()
    first = as_sent(page(provider, path)[0])
    cold = time.perf_counter() - start
    warm, middle = best_of(lambda: as_sent(page(provider, path)[0]))
    print(
        f"first view: {len(first):,} bytes; server {cold:.3f} s cold, {warm:.3f} s best, {middle:.3f} s median (warm)"
    )
    for start_s, end_s in ((0.0, 3600.0), (3600.0, 3900.0), (4000.0, 4010.0)):
        shown = View(start_s, end_s)
        size = len(as_sent(picture(view, shown, seen)))
        best, middle = best_of(lambda shown=shown: as_sent(picture(view, shown, seen)), 9)
        print(f"zoom to {end_s - start_s:6g} s: {size:,} bytes; server {best:.3f} s best, {middle:.3f} s median")
    best, middle = best_of(lambda: as_sent(map_of(view, "stretches", View(0.0, hours * 3600.0, 0), seen)))
    size = len(as_sent(map_of(view, "stretches", View(0.0, hours * 3600.0, 0), seen)))
    print(f"map: {size:,} bytes; server {best:.3f} s best, {middle:.3f} s median")
    best, _ = best_of(lambda: render(view.analysis, view.traces, view.ride, view.bike), 3)
    print(f"report: {best:.3f} s best")

    def everything() -> bytes:
        lines = RideLines(view.ride, view.traces)
        names = ("coolant_c", "speed_mps", "throttle_pct", "power_w", "drag_coefficient")
        found = [line for line in (lines.get(name) for name in names) if line is not None]
        data = [{"type": "scatter", "x": line.t_s.astype(np.float32), "y": line.y.astype(np.float32)} for line in found]
        return as_sent(go.Figure({"data": data}))

    best, _ = best_of(everything, 3)
    whole = len(everything())
    print(f"yardstick, the same lines unthinned: {whole:,} bytes, {best:.3f} s best")
    print(f"first view is {whole / len(first):.0f} times smaller")


def with_heat(traces: Any) -> Any:
    """The same with what a heat balance adds to the picture: heat in and out, settle temperature and its band."""
    t_s = traces.t_s
    noise = np.random.default_rng(3).normal(0.0, 0.01, t_s.size)
    settle = 100.0 + 12.0 * np.sin(t_s / 60.0)
    heat = {
        "heat_in_kps": 0.6 + 0.3 * np.sin(t_s / 30.0) + noise,
        "heat_out_kps": 0.6 + 0.2 * np.sin(t_s / 50.0) + noise,
        "settle_c": settle,
        "settle_low_c": settle - 8.0,
        "settle_high_c": settle + 9.0,
    }
    return replace(traces, series=traces.series | heat)


CHANGES, ROUNDS = 50, 4


def memory() -> None:
    """Memory of the server's process after every 50 page changes, all pages in turn, once all have been seen."""
    from ridelog.cli.demo_library import build
    from ridelog.store.library import Library

    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "library"
        build(root, lambda _: None, season=False)
        library = Library.open(root)
        rides = [row.id for row in library.list_rides()]
        bikes = [bike.id for bike in library.bikes()]
        pages = [
            ("/", ""), ("/review", ""), ("/places", ""), ("/cases", ""), ("/bikes", ""), ("/settings", ""),
            ("/new/case", ""), ("/new/bike", ""), ("/compare", ""), ("/compare", f"?rides={rides[0]},{rides[1]}"),
            *((f"/ride/{ride}", "?from=60&to=240&what-if=on") for ride in rides),
            *((f"/ride/{ride}", "") for ride in rides), *((f"/bikes/{bike}", "") for bike in bikes),
            ("/no-such-page", ""),
        ]  # fmt: skip
        with serving(root) as (base, process):
            seconds = [change(base, *page) for _ in range(2) for page in pages]
            before = start = resident_mb(process.pid)
            middle = statistics.median(seconds)
            print(f"{len(pages)} pages, each seen twice: {before:.0f} MB, median {middle:.3f} s a page")
            turn = itertools.cycle(pages)
            for n in range(1, ROUNDS + 1):
                for _ in range(CHANGES):
                    change(base, *next(turn))
                now = resident_mb(process.pid)
                print(f"after {n * CHANGES} page changes: {now:.0f} MB, {now - before:+.1f} MB in these, "
                      f"{now - start:+.1f} MB in all")  # fmt: skip
                before = now


@contextmanager
def serving(root: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """A dashboard in a process of its own, and its address."""
    code = (
        "import sys; from pathlib import Path; from dashboard.server import serve; "
        "serve(Path(sys.argv[1]), '127.0.0.1', 0, on_ready=lambda told: print(told, flush=True))"
    )
    process = subprocess.Popen([sys.executable, "-c", code, str(root)], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        yield process.stdout.readline().strip().rstrip("/"), process
    finally:
        process.terminate()
        process.wait(20)


def change(base: str, path: str, search: str) -> float:
    """Ask for a page as the browser does when the address changes; seconds until it is there."""
    asked = {
        "output": "..content.children...page-title.data..",
        "outputs": [{"id": "content", "property": "children"}, {"id": "page-title", "property": "data"}],
        "inputs": [
            {"id": "screen", "property": "data", "value": {"path": path, "search": search, "prefs": {}}},
            {"id": "added", "property": "data", "value": None},
        ],
        "changedPropIds": ["screen.data"],
        "parsedChangedPropsIds": ["screen.data"],
        "state": [{"id": "url", "property": "pathname", "value": path}],
    }
    headers = {"Content-Type": "application/json", "Origin": base, "Sec-Fetch-Site": "same-origin"}
    request = urllib.request.Request(f"{base}/_dash-update-component", json.dumps(asked).encode(), headers)  # noqa: S310
    start = time.perf_counter()
    with urllib.request.urlopen(request, timeout=120) as answer:  # noqa: S310 - an address of our own
        told = json.load(answer)
    if "content" not in told.get("response", {}):
        raise SystemExit(f"{path} was not answered with a page")
    return time.perf_counter() - start


def resident_mb(pid: int) -> float:
    """Memory a process holds, MB, as the kernel counts it."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise SystemExit("the kernel does not tell the memory of a process")


if __name__ == "__main__":
    if sys.argv[1:] == ["memory"]:
        memory()
    else:
        main(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0)
