"""Builds the demo library: the sample logs by their own manifest, and a season around them, made when it is needed."""

from __future__ import annotations

import hashlib
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from ridelog.cli.common import parse_time
from ridelog.words import demo as words

if TYPE_CHECKING:
    from ridelog.ingest import ImportOptions
    from ridelog.store.library import Library
    from ridelog.store.rows import Condition

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Look:
    """A ride to look at first, and why."""

    ride_id: str
    bike: str
    why: str


@dataclass
class Demo:
    """What the library holds once it is built. `rides`: the name of each sample to its ride; `new`: those that were
    not there before; `refused`: what could not be imported, with the reason; `made`: what the simulator knows of the
    rides whose logs were made just now."""

    rides: dict[str, str] = field(default_factory=dict)
    new: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    made: dict[str, dict[str, Any]] = field(default_factory=dict)


def default_folder() -> Path:
    """Where the demo library lives unless the user names a folder: never in the user's own library."""
    import platformdirs

    return Path(platformdirs.user_data_dir("ridelog", appauthor=False)) / "demo"


def build(folder: Path, tell: Tell, *, season: bool = True) -> Demo:
    """Import what is not there yet, with what is told of it, and work out what commands and pages ask for first.

    `season=False`: the twelve sample logs alone. A ride that is there keeps what the user has said of it since.
    """
    import sample_logs
    from ridelog.store.library import Library

    source = sample_logs.folder()
    library = Library.open(folder)
    entries = _read(source / "manifest.toml")["ride"]
    told: dict[str, Any] = _read(source / "season.toml") if season else {}
    bikes = {entry["bike"] for entry in [*entries, *told.get("ride", ())]}
    for path in sorted((source / "bikes").glob("*.bike.toml")):
        if path.name.removesuffix(".bike.toml") in bikes:
            library.add_bike(path)
    library.add_advice(source / "default.advice.toml")
    demo = Demo()
    _six_weeks(library, source, entries, demo, tell)
    if season:
        library.add_advice(source / "earlier.advice.toml")
        _season(library, told["ride"], demo, tell)
    _review(library, demo, tell)
    _cases(library, told.get("case", ()), demo, tell)
    where = {entry["name"]: entry["bike"] for entry in [*entries, *told.get("ride", ())]}
    for look in told.get("look", ()):
        if look["ride"] in demo.rides:
            demo.looks.append(Look(demo.rides[look["ride"]], where[look["ride"]], look["why"]))
    return demo


def _read(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _six_weeks(library: Library, source: Path, entries: Sequence[dict[str, Any]], demo: Demo, tell: Tell) -> None:
    for number, entry in enumerate(entries, 1):
        files = [source / name for name in entry["files"]]
        hashes = [hashlib.sha256(path.read_bytes()).hexdigest() for path in files]
        if not _there(library, entry["name"], hashes, demo):
            tell(words.IMPORTING.format(number, len(entries)))
            _import(library, entry, files, demo)


def _season(library: Library, entries: Sequence[dict[str, Any]], demo: Demo, tell: Tell) -> None:
    missing = {entry["name"]: entry for entry in entries if not _there(library, entry["name"], [entry["sha256"]], demo)}
    if not missing:
        return
    from sample_logs.season_make import made

    tell(words.RIDING.format(1, len(missing)))
    with tempfile.TemporaryDirectory(prefix="ridelog-demo-") as scratch:
        folder = Path(scratch)
        with closing(made(list(missing), folder)) as logs:
            for number, (name, known) in enumerate(logs, 1):
                demo.made[name] = known
                _one(library, missing[name], folder, demo)
                tell(words.RIDING.format(min(number + 1, len(missing)), len(missing)))


def _one(library: Library, entry: dict[str, Any], folder: Path, demo: Demo) -> None:
    path = folder / entry["file"]
    if _import(library, entry, [path], demo):
        ride_id = demo.rides[entry["name"]]
        if entry["condition"] != "unknown":
            library.edit(ride_id, condition=cast("Condition", entry["condition"]))
        for note in entry.get("notes", ()):
            library.add_note(ride_id, note["at_s"], note["about"], note["text"])
    path.unlink()


def _there(library: Library, name: str, sha256s: list[str], demo: Demo) -> bool:
    found = library.find_by_content(sha256s)
    if found:
        demo.rides[name] = found[0]
    return bool(found)


def _import(library: Library, entry: dict[str, Any], files: list[Path], demo: Demo) -> bool:
    """True where the ride is new."""
    from ridelog.ingest import import_files

    new = False
    for outcome in import_files(library, files, _options(library, entry), together=entry.get("together", False)):
        if outcome.ride_id is None or outcome.status == "refused":
            demo.refused.append(outcome.reason or "no reason given")
            continue
        demo.rides[entry["name"]] = outcome.ride_id
        if outcome.status == "stored":
            demo.new.append(outcome.ride_id)
            new = True
    return new


def _options(library: Library, entry: dict[str, Any]) -> ImportOptions:
    from ridelog.ingest import ImportOptions

    bike = library.bike(entry["bike"])
    return ImportOptions(
        bike=bike,
        bike_id=bike.id,
        ambient_c=entry.get("ambient_c"),
        start=parse_time(str(entry["start"])) if "start" in entry else None,
        timezone=entry.get("timezone"),
    )


def _review(library: Library, demo: Demo, tell: Tell) -> None:
    """Once all are there, since what a ride tells also rests on the bike's other rides: each is analyzed, and what a
    review needs of it is kept."""
    if not demo.new:
        return
    from ridelog.review import review

    tell(words.REVIEWING)
    review(library, progress=tell)


def _cases(library: Library, cases: Sequence[dict[str, Any]], demo: Demo, tell: Tell) -> None:
    """Complaints that are not in the book yet; one that is keeps what the user did with it."""
    there = {(case.bike, case.said) for case in library.complaints()}
    missing = [case for case in cases if (case["bike"], case["said"]) not in there]
    if not missing:
        return
    from ridelog.cases import close_case, open_case

    for number, told in enumerate(missing, 1):
        tell(words.CASE.format(number, len(missing)))
        rides = [demo.rides[name] for name in told["rides"] if name in demo.rides]
        case = open_case(library, told["bike"], told["said"], day=told["day"], rides=rides)
        if "workshop" in told:
            close_case(library, case, told["workshop"], told["cause"])
