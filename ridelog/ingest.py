"""Files into the library: read, then stored. With its parts (the other `ingest_` files) the only place that knows the
order of the stages up to the store."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from ridelog.errors import InputRefused, RidelogError
from ridelog.ingest_answers import Columns, remembered
from ridelog.ingest_ask import Answer, Ask, Option, Question
from ridelog.ingest_options import ImportOptions, parse_column_option, start_of
from ridelog.ingest_overlap import overlap_notes
from ridelog.ingest_read import read_rides
from ridelog.ingest_ride import content_mark
from ridelog.normalize import ColumnChoice
from ridelog.readers import registry
from ridelog.readers.regular import check_is_file, sha256_of
from ridelog.ride import Note, Ride, SourceFile
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.store.library import Library

__all__ = [
    "Answer",
    "Ask",
    "ColumnChoice",
    "ImportOptions",
    "Option",
    "Outcome",
    "Question",
    "import_files",
    "parse_column_option",
    "read_rides",
    "remembered",
]

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
    ask: Ask | None = None,
) -> list[Outcome]:
    """Read files and store their rides: one outcome a ride, in the order given.

    Where a column fits two meanings, `ask` is asked which; without it, or without an answer, the file is refused with
    the options that settle it. An answer holds for all files of the call with the same header. What the user said of
    columns is remembered for the bike once a file was stored with it.

    A file that is refused never stops the others. Raises UsageError for options that can't be carried out, LibraryError
    where the library itself fails.
    """
    start_of(options)
    if options.format:
        registry.named(options.format, registry.readers()[0])
    columns = Columns(library, options.bike_id, ask)
    tell = progress or (lambda _: None)
    groups = [list(paths)] if together and len(paths) > 1 else [[path] for path in paths]
    outcomes: list[Outcome] = []
    for number, group in enumerate(groups, start=1):
        name = " + ".join(path.name for path in group)
        tell(f"reading {name}" + (f" ({number} of {len(groups)})" if len(groups) > 1 else ""))
        outcomes.extend(_import_group(library, group, options, columns, tell))
    return outcomes


def _import_group(
    library: Library,
    group: list[Path],
    options: ImportOptions,
    columns: Columns,
    progress: Callable[[str], None],
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
        rides = columns.read(group, options, may_ask=lambda: not (known or _known(library, _hashed(group))))
        if not known:
            files = rides[0].sources
            known = _known(library, files)
    except InputRefused as error:
        # A file of several rides is read again to see whether all of them were stored; if that needs options this
        # call does not give, those stored are named.
        known = known or _known(library, _hashed(group))
        if known:
            return [Outcome(ride_id, files, "already_stored") for ride_id in known.values()]
        return [Outcome(None, files, "refused", str(error), error=error)]
    progress(doing.storing([path.name for path in group]))
    outcomes = []
    while rides:
        outcomes.append(_store(library, rides.pop(0), group, known, options.bike))
    if any(outcome.status == "stored" for outcome in outcomes):
        notes = columns.confirm()
        outcomes = [replace(one, notes=(*one.notes, *notes)) if one.status == "stored" else one for one in outcomes]
    return outcomes


def _known(library: Library, files: Sequence[SourceFile]) -> dict[str, str]:
    """Rides stored from exactly these files, by the end of their ids (the start of an id is a date the user may
    set)."""
    ids = library.find_by_content([file.sha256 for file in files])
    return {ride_id.rpartition("-")[2]: ride_id for ride_id in ids}


def _store(library: Library, ride: Ride, group: list[Path], known: dict[str, str], bike: Bike | None) -> Outcome:
    stored = known.get(ride.id.rpartition("-")[2])
    if stored is not None:
        return Outcome(stored, ride.sources, "already_stored", notes=ride.notes)
    try:
        status = library.add(ride, group)
        beside = overlap_notes(library, ride, bike) if status == "stored" else ()
        return Outcome(ride.id, ride.sources, status, notes=(*ride.notes, *beside))
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


def _hashed(group: list[Path]) -> tuple[SourceFile, ...]:
    """Files by their content; nothing where one of them can't be read."""
    try:
        return tuple(_file_of(path) for path in group)
    except InputRefused:
        return ()


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
