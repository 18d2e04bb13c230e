"""Builds the demo library from the sample logs' own manifest."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ridelog.cli.common import parse_time

if TYPE_CHECKING:
    from ridelog.bike import Bike


def default_folder() -> Path:
    """Where the demo library lives unless the user names a folder: never in the user's own library."""
    import platformdirs

    return Path(platformdirs.user_data_dir("ridelog", appauthor=False)) / "demo"


def build(folder: Path, tell: Callable[[str], None]) -> tuple[list[tuple[str, str, str, str]], list[str]]:
    """Import every ride of the manifest (those already there are recognised) and analyze it.

    Returns table rows (ride, sample, bike, first sentence of the answer) and the reasons of what was refused.
    """
    import sample_logs
    from ridelog.ingest import ImportOptions, import_files
    from ridelog.store.library import Library
    from ridelog.study import known_of_ride, study

    source = sample_logs.folder()
    manifest = tomllib.loads((source / "manifest.toml").read_text(encoding="utf-8"))
    library = Library.open(folder)
    for path in sorted((source / "bikes").glob("*.bike.toml")):
        library.add_bike(path)
    for path in sorted(source.glob("*.advice.toml")):
        library.add_advice(path)
    rows: list[tuple[str, str, str, str]] = []
    refused: list[str] = []
    imported: list[tuple[str, str, Bike]] = []
    entries: list[dict[str, Any]] = manifest["ride"]
    for number, entry in enumerate(entries, 1):
        tell(f"sample ride {number} of {len(entries)}")
        bike = library.bike(entry["bike"])
        options = ImportOptions(
            bike=bike,
            bike_id=bike.id,
            ambient_c=entry.get("ambient_c"),
            start=parse_time(str(entry["start"])) if "start" in entry else None,
            timezone=entry.get("timezone"),
        )
        files = [source / name for name in entry["files"]]
        for outcome in import_files(library, files, options, together=entry.get("together", False)):
            if outcome.ride_id is None or outcome.status == "refused":
                refused.append(outcome.reason or "no reason given")
                continue
            imported.append((outcome.ride_id, entry["name"], bike))
    # Once all are there: what a ride tells also rests on the bike's other rides.
    for number, (ride_id, name, bike) in enumerate(imported, 1):
        tell(f"analyzing ride {number} of {len(imported)}")
        ride = library.load(ride_id)
        done = study(ride, known_of_ride(library, ride))
        rows.append((ride.id, name, bike.id, done.found.analysis.summary[0]))
    return rows, refused
