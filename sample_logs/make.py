"""Makes the sample rides anew: `python -m sample_logs.make [--out DIR]`."""

import argparse
import json
import shutil
from dataclasses import replace
from pathlib import Path

from . import folder, truth, writers
from .scenario import ENTRIES, Entry, Hole, Output
from .simulation.ride import RidePlan, Trace, simulate
from .simulation.sensors import record


def _spans(holes: tuple[Hole, ...], times) -> tuple[tuple[float, float], ...]:
    spans = []
    for hole in holes:
        start = times[hole.zone, hole.lap][0] + hole.after_s
        spans.append((start, start + hole.length_s))
    return tuple(spans)


def content(entry: Entry, output: Output, trace: Trace, times) -> bytes:
    fitting = replace(
        output.fitting,
        rows_lost=_spans(output.rows_lost, times),
        coolant_lost=_spans(output.coolant_lost, times),
        coolant_stuck=_spans(output.coolant_stuck, times),
        until_s=trace.duration_s - output.stops_before_end_s,
    )
    rows = record(trace, fitting)
    if output.form is None:
        return writers.track(rows, entry.start, "red loop")
    form = replace(output.form, start=entry.start)
    text = writers.table(rows, form)
    return writers.packed(text) if form.packed else text


def doubts(entry: Entry, trace: Trace, told: dict, times) -> list[str]:
    """The library is worth nothing if its truth can be argued with."""
    found = truth.doubtful(trace)
    for section in told["sections"]:
        if section["expected_verdict"] != "not_advised" and 0.68 < section["conservative_share"] < 0.90:
            found.append(f"share {section['conservative_share']} at {section['start_s']} s")
        for output in entry.outputs:
            for start, end in _spans(output.rows_lost, times):
                if start < section["end_s"] + 2.0 and end > section["start_s"] - 2.0:
                    found.append(f"rows lost at {start:.0f} s touch the {section['kind']} at {section['start_s']} s")
    return found


def truth_of(entry: Entry, plan: RidePlan, told: dict, times) -> dict:
    """What the truth file holds of a ride."""
    head = {
        "name": entry.name,
        "bike": plan.bike.id,
        "course": plan.course.name,
        "fault": entry.fault,
        "ambient_c": plan.day.ambient_c,
        "map_policy": entry.policy,
        "conservative_heat_factor": plan.bike.conservative_heat,
    }
    lost = [span for output in entry.outputs for span in _spans(output.rows_lost, times)]
    dark = [span for output in entry.outputs for span in _spans(output.coolant_lost, times)]
    tail = {
        "rows_lost": [[round(a, 2), round(b, 2)] for a, b in sorted(lost)],
        "coolant_lost": [[round(a, 2), round(b, 2)] for a, b in sorted(dark)],
    }
    return head | told | tail


def make_ride(entry: Entry, out: Path) -> dict:
    """Writes the files of one ride and returns its truth."""
    plan = entry.plan()
    trace = simulate(plan)
    times = truth.zone_times(trace)
    told = truth.of_ride(trace, entry.map_logged, entry.advised)
    doubtful = doubts(entry, trace, told, times)
    if doubtful:
        raise RuntimeError(f"{entry.name}: " + "; ".join(doubtful))
    for output in entry.outputs:
        path = out / output.file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content(entry, output, trace, times))
    return truth_of(entry, plan, told, times)


def manifest() -> str:
    lines = ["schema = 1", ""]
    for entry in ENTRIES:
        lines.append("[[ride]]")
        lines.append(f'name = "{entry.name}"')
        lines.append("files = [" + ", ".join(f'"{output.file}"' for output in entry.outputs) + "]")
        plan = entry.plan()
        lines.append(f'bike = "{plan.bike.id}"')
        if entry.ambient_told:
            lines.append(f"ambient_c = {plan.day.ambient_c}")
        if entry.start_told:
            lines.append(f'start = "{entry.start.isoformat()}"')
        lines.append(f'timezone = "{entry.timezone}"')
        if len(entry.outputs) > 1:
            lines.append("together = true")
        lines.append(f'about = "{entry.about}"')
        lines.append("")
    return "\n".join(lines)


def make(out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    rides = []
    for entry in ENTRIES:
        rides.append(make_ride(entry, out))
        print(f"{entry.name}: {rides[-1]['duration_s']:.0f} s, peak {rides[-1]['peak_coolant_c']:.1f} C")
    text = json.dumps({"schema": 1, "rides": rides}, indent=1, ensure_ascii=False) + "\n"
    (out / "truth.json").write_bytes(text.encode("utf-8"))
    (out / "manifest.toml").write_bytes(manifest().encode("utf-8"))
    if out.resolve() != folder():
        shutil.copytree(folder() / "bikes", out / "bikes", dirs_exist_ok=True)
        shutil.copy(folder() / "default.advice.toml", out / "default.advice.toml")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m sample_logs.make", description="Make the sample rides anew.")
    parser.add_argument("--out", type=Path, default=folder(), help="folder to write to (default: this package)")
    make(parser.parse_args().out)


if __name__ == "__main__":
    main()
