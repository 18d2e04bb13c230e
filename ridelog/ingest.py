"""From files to rides: the only place that knows the order reader, clock, normalize, quality, store."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import polars as pl

from ridelog import clock, normalize, quality
from ridelog.bike import Bike
from ridelog.channels import TIME, base_name
from ridelog.errors import AmbiguousColumn, InputRefused, LimitExceeded, RidelogError, UsageError
from ridelog.ingest_together import Piece, join_pieces
from ridelog.intervals import Interval
from ridelog.normalize import ColumnChoice, Normalized, magnitude, map_words
from ridelog.readers import registry
from ridelog.readers.base import HEAD_BYTES, Reader, ReadOptions
from ridelog.readers.container import Unpacked, unpacked
from ridelog.readers.limits import Limits
from ridelog.readers.naming import candidates, counter_unit, split_unit
from ridelog.readers.regular import check_is_file, hashing, sha256_of
from ridelog.ride import Note, RawColumn, RawLog, Ride, SourceFile

if TYPE_CHECKING:
    from ridelog.store.library import Library

__all__ = ["ColumnChoice", "ImportOptions", "Outcome", "import_files", "parse_column_option", "read_rides"]

_LARGE_BYTES = 32 * 1024 * 1024


@dataclass(frozen=True)
class ImportOptions:
    """What the user says of the files of one call. `start` is the moment of the first sample; without a zone it is in
    `timezone`. `columns` settle what columns hold, `description` what the messages of a bus hold."""

    bike: Bike | None = None
    bike_id: str | None = None
    ambient_c: float | None = None
    start: datetime | None = None
    timezone: str | None = None
    format: str | None = None
    columns: tuple[ColumnChoice, ...] = ()
    description: Path | None = None
    limits: Limits = field(default_factory=Limits.from_environment)


@dataclass(frozen=True)
class Outcome:
    """What became of one ride (or of one file that gave none)."""

    ride_id: str | None
    files: tuple[SourceFile, ...]
    status: Literal["stored", "already_stored", "refused"]
    reason: str | None = None
    notes: tuple[Note, ...] = ()
    error: RidelogError | None = None


def parse_column_option(text: str) -> ColumnChoice:
    """`'NAME=channel:unit'` as a choice; the unit may be left out. Raises UsageError."""
    choice = normalize.parse_choice(text)
    return replace(choice, names=(*choice.names, split_unit(choice.names[0])[0]))


# -- reading ----------------------------------------------------------------------------------------------------------


def read_rides(paths: Sequence[Path], options: ImportOptions, *, together: bool = False) -> list[Ride]:
    """Rides of some files, in their order, nothing stored. Raises RidelogError only."""
    start = _start(options)
    if together and len(paths) > 1:
        return [_join(paths, options, start)]
    return [ride for path in paths for ride in _read_one(path, options, start)]


def _start(options: ImportOptions) -> datetime | None:
    """The start as a moment. Raises UsageError for one without a zone, and for an unknown zone."""
    zone = clock.parse_zone(options.timezone) if options.timezone is not None else None
    if options.start is None:
        return None
    if options.start.tzinfo is not None:
        return _in_calendar(options.start)
    if zone is None:
        raise UsageError(
            f"{options.start.isoformat()} has no time zone",
            where="--start",
            expected="a time with its zone, such as 2026-05-02T09:30:00+02:00, or --timezone",
            to_do="add the zone",
        )
    return _in_calendar(options.start.replace(tzinfo=zone))


def _in_calendar(start: datetime) -> datetime:
    try:
        start.astimezone(UTC) + timedelta(weeks=1)
    except OverflowError as error:
        raise UsageError(
            f"{start.isoformat()} is at the end of the calendar",
            where="--start",
            expected="the moment of the first sample",
            to_do="correct the option",
        ) from error
    return start


def _read_one(path: Path, options: ImportOptions, start: datetime | None) -> list[Ride]:
    source, pieces = _pieces(path, options, start)
    number = len(pieces)
    rides = []
    while pieces:
        piece = pieces.pop(0)
        part = number - len(pieces)
        notes = piece.notes
        if number > 1:
            notes = (*notes, Note("part", f"the file holds {number} rides; this is ride {part} of {number}"))
        shown_part = part if number > 1 else None
        rides.append(
            _ride(piece.normalized, piece.timeline, sources=(source,), notes=notes, options=options, part=shown_part)
        )
    return rides


def _pieces(path: Path, options: ImportOptions, start: datetime | None) -> tuple[SourceFile, list[Piece]]:
    """Everything one file holds, normalized. Unexpected faults of a reader become refusals that say so."""
    try:
        check_is_file(path)
        if options.description is not None:
            check_is_file(options.description, "a file that describes the messages of the bus")
        with ExitStack() as stack:
            beside = stack.enter_context(hashing(path))
            inner = stack.enter_context(unpacked(path, options.limits))
            pieces, format_name = _members(inner, path.name, options, start)
            digest, size = beside.result()
            return SourceFile(path.name, digest, size, format_name), pieces
    except RidelogError as error:
        if path.name not in error.where:
            error.with_where(path.name)
        raise
    except OSError as error:
        raise InputRefused(
            f"can't be read ({error.strerror or error})", where=path.name, expected="a file that can be read",
            to_do="check that it is there, and its permissions",
        ) from error  # fmt: skip
    except MemoryError as error:
        raise InputRefused(
            "is too large for this machine's memory", where=path.name, expected="a smaller log",
            to_do="split the file, or use a machine with more memory",
        ) from error  # fmt: skip
    except BaseException as error:
        # A panic inside polars is no Exception, yet a fault of the program like any other; a key pressed is not.
        if not isinstance(error, Exception) and type(error).__name__ != "PanicException":
            raise
        raise InputRefused(
            f"reading it failed with {type(error).__name__}, which is a fault of ridelog and not of the file",
            where=path.name,
            expected="a ride, or a plain reason why it can't be one",
            to_do="report the fault with the file; the other files of the call are not affected",
        ) from error


def _members(
    inner: list[Unpacked], outer: str, options: ImportOptions, start: datetime | None
) -> tuple[list[Piece], str]:
    """The rides of all files in one, and the format of the first. A file packed beside the logs that is none itself
    (a text to read, a picture) is passed over and noted."""
    pieces: list[Piece] = []
    formats: list[str] = []
    passed: list[tuple[str, InputRefused]] = []
    for member in inner:
        shown = outer if member.name == outer or outer.startswith(member.name) else f"{outer}, {member.name}"
        try:
            reader, sure = _reader_of(member, shown, options)
        except InputRefused as error:
            passed.append((member.name, error))
            continue
        try:
            pieces.extend(_read_member(member, shown, reader, options, start if not pieces else None))
        except (AmbiguousColumn, LimitExceeded):
            raise
        except InputRefused as error:
            if sure or len(inner) == 1:
                raise
            passed.append((member.name, error))
            continue
        formats.append(reader.name)
    if not formats:
        raise passed[0][1]
    notes = tuple(
        Note("member_passed_over", f"{name} in the archive is no log and was passed over: {error.found}")
        for name, error in passed
    )
    return [replace(piece, notes=(*piece.notes, *notes)) for piece in pieces], formats[0]


_SURE = 0.9
"""A reader at least so sure of a file has a log before it: what is wrong with it is told, never passed over."""


def _reader_of(member: Unpacked, shown: str, options: ImportOptions) -> tuple[Reader, bool]:
    with member.path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    available, _ = registry.readers()
    if options.format:
        return registry.named(options.format, available), True
    try:
        reader = registry.choose(head, member.name, available)
    except InputRefused as error:
        error.where = shown
        error.args = (error.one_line(),)
        raise
    return reader, reader.sniff(head, member.name).score >= _SURE


def _read_member(
    member: Unpacked, shown: str, reader: Reader, options: ImportOptions, start: datetime | None
) -> list[Piece]:
    _, plugin_notes = registry.readers()
    named = tuple(name for choice in options.columns for name in choice.names)
    logs = list(reader.read(member.path, ReadOptions(shown, options.limits, named, options.description)))
    pieces: list[Piece] = []
    while logs:
        pieces.extend(_normalize(logs, shown, options, start if not pieces else None, plugin_notes))
    if not pieces:
        raise InputRefused("no ride is in it", where=shown, expected="rows with times", to_do="check the file")
    return pieces


def _normalize(
    logs: list[RawLog], shown: str, options: ImportOptions, start: datetime | None, plugin_notes: tuple[Note, ...]
) -> list[Piece]:
    """The rides of the first of `logs`, which is taken out of the list so that its columns can go as they are used."""
    log = logs.pop(0)
    columns: list[RawColumn | None] = list(log.columns)
    known: list[RawColumn] = list(log.columns)
    proposals = [candidates(column.name) for column in known]
    plan = normalize.decide(known, proposals, options.columns, shown)
    time, date = _time_columns(known, plan)
    built = clock.rebuild(
        time,
        date,
        breaks=log.breaks,
        start=start,
        zone=options.timezone,
        where=shown,
        first_row=log.first_row,
        lines=log.row_lines,
        unit_certain=plan.time[0] in plan.chosen,
    )
    others = [known[index] for index in plan.time[1:]]
    built = clock.tie_to_date(built, others, date, zone=options.timezone, where=shown)
    used = frozenset({plan.time[0]} | ({plan.date} if date is not None and plan.date is not None else set()))
    notes = (*plugin_notes, *log.notes, *plan.notes, *built.notes)
    first = built.timelines[0].recording
    notes = (*notes, *magnitude.within_reason(columns, plan.meanings, used))
    maps = [known[meaning.column] for meaning in plan.meanings if base_name(meaning.channel) == "map_slot"]
    del known, log, time, date
    converted, found = normalize.convert(columns, plan, used, recording=first, bike=options.bike, file_name=shown)
    notes = (*notes, *found)
    for column in maps:
        more, told = map_words.kept(column, converted, options.bike, shown)
        converted.extend(more)
        notes = (*notes, *told)
    pieces = []
    empty = 0
    for timeline in built.timelines:
        absolute = timeline.start_utc if timeline.has_absolute else None
        normalized = normalize.build(converted, timeline.recording, absolute, shown)
        if any(dtype == pl.Float64 for name, dtype in normalized.samples.schema.items() if name != TIME):
            pieces.append(Piece(normalized, timeline, (*notes, *normalized.notes)))
        else:
            empty += _rows_of(timeline)
    if not pieces:
        raise InputRefused(
            "no channel holds a value",
            where=shown,
            expected="one column at least, beside the time, with numbers in it",
            to_do="check that the sensors were connected and the export holds their channels",
        )
    if empty:
        told_empty = Note("left_out_empty", "recordings in which no channel holds a value were left out", rows=empty)
        pieces = [replace(piece, notes=(*piece.notes, told_empty)) for piece in pieces]
    return pieces


def _rows_of(timeline: clock.Timeline) -> int:
    rows = timeline.recording.rows
    return int(rows.size if rows is not None else timeline.recording.t_s.size)


def _time_columns(columns: list[RawColumn], plan: normalize.Plan) -> tuple[RawColumn, RawColumn | None]:
    index = plan.time[0]
    time = columns[index]
    unit = next((m.unit_text for m in plan.meanings if m.column == index), time.unit)
    if unit is None and time.values.dtype == pl.Float64:
        unit = counter_unit(time.name)
    date = columns[plan.date] if plan.date is not None else None
    return RawColumn(time.name, unit, time.values), date


# -- one ride ---------------------------------------------------------------------------------------------------------


def _ride(
    normalized: Normalized,
    timeline: clock.Timeline,
    *,
    sources: tuple[SourceFile, ...],
    notes: tuple[Note, ...],
    options: ImportOptions,
    part: int | None = None,
) -> Ride:
    marks = quality.find_marks(normalized.samples, normalized.channels, normalized.gaps)
    excluded: dict[str, list[Interval]] = {}
    for mark in marks:
        if mark.action == "excluded":
            excluded.setdefault(mark.channel, []).append(Interval(mark.start_s, mark.end_s))
    extra: dict[str, str] = {}
    if timeline.start_local is not None:
        extra["start_local"] = timeline.start_local.isoformat()
    return Ride(
        id=_ride_id(timeline, sources, part),
        samples=normalized.samples,
        channels=normalized.channels,
        sources=sources,
        gaps=normalized.gaps,
        start_utc=timeline.start_utc,
        timezone=timeline.timezone,
        notes=notes,
        quality=marks,
        bike=options.bike_id,
        ambient_c=options.ambient_c,
        distance_m=normalize.ridden_m(normalized, excluded),
        peak_c=_peak_c(normalized, excluded.get("coolant_c", [])),
        extra=extra,
    )


def _peak_c(normalized: Normalized, excluded: list[Interval]) -> float | None:
    if "coolant_c" not in normalized.channels:
        return None
    t_s, y = normalize.present(normalized.samples["coolant_c"], normalized.samples["t_s"].to_numpy())
    if excluded:
        y = y[~normalize.marked(t_s, excluded)]
    return float(y.max()) if y.size else None


def _content_mark(files: Sequence[SourceFile], part: int | None) -> str:
    """The end of a ride's id: 8 hex digits of a hash over its files' hashes, and its number where they hold several."""
    digest = hashlib.sha256("\n".join(sorted(file.sha256 for file in files)).encode())
    if part is not None:
        digest.update(f"\npart {part}".encode())
    return digest.hexdigest()[:8]


def _ride_id(timeline: clock.Timeline, sources: tuple[SourceFile, ...], part: int | None) -> str:
    mark = _content_mark(sources, part)
    moment = timeline.start_utc or timeline.start_local
    return f"{moment:%Y%m%d-%H%M}-{mark}" if moment is not None else f"undated-{mark}"


# -- several devices --------------------------------------------------------------------------------------------------


def _join(paths: Sequence[Path], options: ImportOptions, start: datetime | None) -> Ride:
    if start is not None:
        raise UsageError(
            "--start can't be given for files read together: each has its own first sample",
            where="--start",
            expected="files that hold their dates",
            to_do="leave --start out; --timezone tells the zone of times without one",
        )
    sources: list[SourceFile] = []
    pieces: list[Piece] = []
    for path in paths:
        source, found = _pieces(path, options, None)
        if len(found) > 1:
            raise InputRefused(
                f"holds {len(found)} rides",
                where=path.name,
                expected="one ride a file where files are read together",
                to_do="import this file alone, or cut it to the ride in question",
            )
        sources.append(source)
        pieces.append(found[0])
    normalized, timeline, notes = join_pieces([path.name for path in paths], pieces, options.bike, options.timezone)
    return _ride(normalized, timeline, sources=tuple(sources), notes=notes, options=options)


# -- importing --------------------------------------------------------------------------------------------------------


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
    _start(options)
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
            if whole := known.get(_content_mark(files, None)):
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
