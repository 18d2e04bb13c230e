"""Files into the library: read, then stored. With its parts (`ingest_options`, `ingest_read`, `ingest_ride`,
`ingest_together`) the only place that knows the order of the stages up to the store."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from ridelog.errors import InputRefused, RidelogError
from ridelog.ingest_options import ImportOptions, parse_column_option, start_of
from ridelog.ingest_read import read_rides
from ridelog.ingest_ride import content_mark
from ridelog.normalize import ColumnChoice
from ridelog.readers import registry
from ridelog.readers.regular import check_is_file, sha256_of
from ridelog.ride import Note, Ride, SourceFile

if TYPE_CHECKING:
    from ridelog.store.library import Library

__all__ = ["ColumnChoice", "ImportOptions", "Outcome", "import_files", "parse_column_option", "read_rides"]

_LARGE_BYTES = 32 * 1024 * 1024


@dataclass(frozen=True)
class Outcome:
    """What became of one ride (or of one file that gave none)."""

    ride_id: str | None
    files: tuple[SourceFile, ...]
    status: Literal["stored", "already_stored", "refused"]
    reason: str | None = None
    notes: tuple[Note, ...] = ()
    error: RidelogError | None = None


def import_files(
    library: Library,
    paths: Sequence[Path],
    options: ImportOptions,
    *,
    together: bool = False,
    progress: Callable[[str], None] | None = None,
) -> list[Outcome]:
    """Read files and store their rides: one outcome a ride, in the order given.

    A file that is refused never stops the others. Raises UsageError for options that can't be carried out, LibraryError
    where the library itself fails.
    """
    start_of(options)
    if options.format:
        registry.named(options.format, registry.readers()[0])
    groups = [list(paths)] if together and len(paths) > 1 else [[path] for path in paths]
    outcomes: list[Outcome] = []
    for number, group in enumerate(groups, start=1):
        name = " + ".join(path.name for path in group)
        if progress is not None:
            progress(f"reading {name}" + (f" ({number} of {len(groups)})" if len(groups) > 1 else ""))
        outcomes.extend(_import_group(library, group, options, name, progress))
    return outcomes


def _import_group(
    library: Library, group: list[Path], options: ImportOptions, name: str, progress: Callable[[str], None] | None
) -> list[Outcome]:
    files: tuple[SourceFile, ...] = tuple(SourceFile(path.name, "", 0, "") for path in group)
    known: dict[str, str] = {}
    try:
        # A large file is hashed while it is read, so whether it is there already is only known afterwards.
        if sum(path.stat().st_size for path in group if path.is_file()) < _LARGE_BYTES:
            files = tuple(_file_of(path) for path in group)
            known = _known(library, files)
            if whole := known.get(content_mark(files, None)):
                return [Outcome(whole, files, "already_stored")]
        rides = read_rides(group, options, together=len(group) > 1)
        if not known:
            files = rides[0].sources
            known = _known(library, files)
    except InputRefused as error:
        # A file of several rides is read again to see whether all of them were stored; if that needs options this
        # call does not give, those stored are named.
        if known:
            return [Outcome(ride_id, files, "already_stored") for ride_id in known.values()]
        return [Outcome(None, files, "refused", str(error), error=error)]
    if progress is not None:
        progress(f"storing {name}")
    outcomes = []
    while rides:
        outcomes.append(_store(library, rides.pop(0), group, known))
    return outcomes


def _known(library: Library, files: Sequence[SourceFile]) -> dict[str, str]:
    """Rides stored from exactly these files, by the end of their ids (the start of an id is a date the user may
    set)."""
    ids = library.find_by_content([file.sha256 for file in files])
    return {ride_id.rpartition("-")[2]: ride_id for ride_id in ids}


def _store(library: Library, ride: Ride, group: list[Path], known: dict[str, str]) -> Outcome:
    stored = known.get(ride.id.rpartition("-")[2])
    if stored is not None:
        return Outcome(stored, ride.sources, "already_stored", notes=ride.notes)
    try:
        return Outcome(ride.id, ride.sources, library.add(ride, group), notes=ride.notes)
    except InputRefused as error:
        return Outcome(None, ride.sources, "refused", str(error), ride.notes, error)
    except ValueError as fault:
        # One ride that can't be stored must not take the other files of the call with it.
        refused = InputRefused(
            f"storing it failed ({fault}), which is a fault of ridelog and not of the file",
            where=" + ".join(path.name for path in group),
            expected="a ride that can be stored",
            to_do="report the fault with the file; the other files of the call are not affected",
        )
        return Outcome(None, ride.sources, "refused", str(refused), ride.notes, refused)


def _file_of(path: Path) -> SourceFile:
    """A file by its content, before anything is read from it. Raises InputRefused."""
    check_is_file(path)
    try:
        digest, size = sha256_of(path)
    except OSError as error:
        raise InputRefused(
            f"can't be read ({error.strerror or error})", where=path.name, expected="a log file",
            to_do="check that it is there, and its permissions",
        ) from error  # fmt: skip
    return SourceFile(path.name, digest, size, "")
