"""Makes the season's logs: `python -m sample_logs.season_make --out DIR`; without --out, its manifest alone anew.

`ridelog demo` calls `made` for the logs its library does not hold yet.
"""

import argparse
import hashlib
import json
import multiprocessing
import os
import signal
import tempfile
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from pathlib import Path

from . import folder, make, truth
from .season import CASES, LOOKS, SEASON, SeasonEntry
from .simulation.ride import simulate

MOST_WORKERS = 4

ENTRIES = {entry.name: entry for entry in SEASON}


def _notes(entry: SeasonEntry, times: dict) -> list[dict]:
    """What the rider wrote, by the seconds of his log."""
    found = []
    for remark in entry.remarks:
        start_s, _ = times[remark.zone, 1]
        found.append((start_s + remark.after_s, remark.about, remark.text))
    return [{"at_s": round(at_s), "about": about, "text": text} for at_s, about, text in sorted(found)]


def make_one(name: str, out: Path) -> dict:
    """Write one ride's log into a folder; what the manifest and the truth hold of it."""
    entry = ENTRIES[name]
    plan = entry.plan()
    trace = simulate(plan)
    times = truth.zone_times(trace)
    told = truth.of_ride(trace, entry.map_logged, entry.advised)
    (output,) = entry.outputs
    content = make.content(entry, output, trace, times)
    out.mkdir(parents=True, exist_ok=True)
    (out / output.file).write_bytes(content)
    return {
        "sha256": hashlib.sha256(content).hexdigest(),
        "notes": _notes(entry, times),
        "doubts": make.doubts(entry, trace, told, times),
        "truth": make.truth_of(entry, plan, told, times),
    }


def made(names: Sequence[str], out: Path, workers: int | None = None) -> Generator[tuple[str, dict], None, None]:
    """Write the logs of the named rides, in this order, each as soon as it is done; several at once where the machine
    can. The bytes do not depend on how many."""
    todo = list(names)
    if workers is None:
        workers = min(os.cpu_count() or 1, MOST_WORKERS)
    if workers > 1 and len(todo) > 1:
        try:
            for one in _together(tuple(todo), out, workers):
                yield one
                todo.remove(one[0])
        except (BrokenExecutor, OSError, ImportError):
            pass  # some places allow no further processes: what is left is made in this one
    for name in list(todo):
        yield name, make_one(name, out)


def _together(names: Sequence[str], out: Path, workers: int) -> Iterator[tuple[str, dict]]:
    # Spawned, not forked: this process may have threads.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(workers, len(names)), context, initializer=_leave_stopping_to_the_first) as pool:
        try:
            yield from zip(names, pool.map(make_one, names, [out] * len(names)), strict=True)
        finally:
            pool.shutdown(cancel_futures=True)


def _leave_stopping_to_the_first() -> None:
    """Ctrl-C goes to all processes of a terminal: one answers it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def manifest(found: dict[str, dict]) -> str:
    """The season's manifest, TOML: what is told at the desk with each log, and the log's hash."""
    lines = ["# Made by season_make.py: the season's rides, cases and rides to look at.", "schema = 1", ""]
    for entry in SEASON:
        one = found[entry.name]
        lines += ["[[ride]]", f"name = {_text(entry.name)}", f"file = {_text(entry.outputs[0].file)}"]
        lines += [f"sha256 = {_text(one['sha256'])}", f"bike = {_text(entry.plan().bike.id)}"]
        if entry.ambient_told:
            lines.append(f"ambient_c = {entry.plan().day.ambient_c}")
        if entry.timezone is not None:
            lines.append(f"timezone = {_text(entry.timezone)}")
        lines += [f"condition = {_text(entry.condition)}", f"about = {_text(entry.about)}"]
        if one["notes"]:
            notes = (
                f'{{ at_s = {n["at_s"]}, about = "{n["about"]}", text = {_text(n["text"])} }}' for n in one["notes"]
            )
            lines += ["notes = [", *(f"  {note}," for note in notes), "]"]
        lines.append("")
    for case in CASES:
        lines += ["[[case]]", f"bike = {_text(case.bike)}", f"day = {case.day}", f"said = {_text(case.said)}"]
        lines.append(f"rides = {_text(list(case.rides))}")
        if case.workshop:
            lines += [f"workshop = {_text(case.workshop)}", f"cause = {_text(case.cause)}"]
        lines.append("")
    for ride, why in LOOKS:
        lines += ["[[look]]", f"ride = {_text(ride)}", f"why = {_text(why)}", ""]
    return "\n".join(lines)


def write(out: Path) -> dict[str, dict]:
    """All logs of the season, with their truth beside them."""
    found = dict(made([entry.name for entry in SEASON], out))
    rides = [found[entry.name]["truth"] for entry in SEASON]
    text = json.dumps({"schema": 1, "rides": rides}, indent=1, ensure_ascii=False) + "\n"
    (out / "truth.json").write_bytes(text.encode("utf-8"))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m sample_logs.season_make", description="Make the season's logs.")
    parser.add_argument("--out", type=Path, help="folder for the logs and their truth (default: the manifest alone)")
    out = parser.parse_args().out
    with tempfile.TemporaryDirectory() as scratch:
        found = write(out or Path(scratch))
    for name, one in found.items():
        told = one["truth"]
        print(f"{name}: {told['duration_s']:.0f} s, peak {told['peak_coolant_c']:.1f} C")
    doubts = {name: one["doubts"] for name, one in found.items() if one["doubts"]}
    if doubts:
        raise RuntimeError("\n".join(f"{name}: {'; '.join(those)}" for name, those in doubts.items()))
    (out or folder()).joinpath("season.toml").write_bytes(manifest(found).encode("utf-8"))


if __name__ == "__main__":
    main()
