"""From files to rides, nothing stored: the order reader, clock, normalize, quality."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import polars as pl

from ridelog import clock, ingest_columns, normalize
from ridelog.channels import TIME, base_name
from ridelog.errors import AmbiguousColumn, InputRefused, LimitExceeded, RidelogError, UsageError
from ridelog.ingest_options import ImportOptions, start_of
from ridelog.ingest_ride import make_ride
from ridelog.ingest_together import Device, Piece, join_pieces, offset_of
from ridelog.normalize import magnitude, map_words
from ridelog.readers import registry
from ridelog.readers.base import HEAD_BYTES, Reader, ReadOptions
from ridelog.readers.container import Unpacked, unpacked
from ridelog.readers.naming import candidates, counter_unit
from ridelog.readers.positions import as_degrees
from ridelog.readers.regular import check_is_file, hashing
from ridelog.readers.table_faults import with_spreadsheet_end, without_copies
from ridelog.ride import Note, RawColumn, RawLog, Ride, SourceFile
from ridelog.words import importing


def read_rides(paths: Sequence[Path], options: ImportOptions, *, together: bool = False) -> list[Ride]:
    """Rides of some files, in their order, nothing stored. Raises RidelogError only."""
    start = start_of(options)
    if together and len(paths) > 1:
        return [_join(paths, options, start)]
    if options.offsets:
        raise UsageError(
            "an offset lies between the clocks of files that are read together",
            where="--offset",
            expected="several files and --together",
            to_do="add --together, or leave --offset out (--start sets the moment of a file alone)",
        )
    return [ride for path in paths for ride in _read_one(path, options, start)]


def _read_one(path: Path, options: ImportOptions, start: datetime | None) -> list[Ride]:
    source, pieces = _pieces(path, options, start)
    number = len(pieces)
    rides = []
    while pieces:
        piece = pieces.pop(0)
        part = number - len(pieces)
        notes = piece.notes
        if number > 1:
            notes = (*notes, Note("part", importing.part(number, part)))
        shown_part = part if number > 1 else None
        rides.append(
            make_ride(
                piece.normalized, piece.timeline, sources=(source,), notes=notes, options=options, part=shown_part
            )
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
            pieces, format_name = _members(inner, path.name, options, start, beside.begin)
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
    inner: list[Unpacked], outer: str, options: ImportOptions, start: datetime | None, on_read: Callable[[], object]
) -> tuple[list[Piece], str]:
    """The rides of all files in one, and the format of the first. A file packed beside the logs that is none itself
    (a text to read, a picture) is passed over and noted. `on_read` is called when a table is read."""
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
            first = start if not pieces else None
            pieces.extend(_read_member(member, shown, reader, options, first, on_read=on_read))
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
    notes = tuple(Note("member_passed_over", importing.passed_over(name, error.found)) for name, error in passed)
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
    member: Unpacked,
    shown: str,
    reader: Reader,
    options: ImportOptions,
    start: datetime | None,
    *,
    on_read: Callable[[], object],
) -> list[Piece]:
    _, plugin_notes = registry.readers()
    named = ingest_columns.names(options)
    logs = list(reader.read(member.path, ReadOptions(shown, options.limits, named, options.description)))
    on_read()
    pieces: list[Piece] = []
    while logs:
        with ingest_columns.questions_of(normalize.Header.of(logs[0].columns)):
            pieces.extend(_normalize(logs, shown, options, start if not pieces else None, plugin_notes))
    if not pieces:
        raise InputRefused("no ride is in it", where=shown, expected="rows with times", to_do="check the file")
    return pieces


def _normalize(
    logs: list[RawLog], shown: str, options: ImportOptions, start: datetime | None, plugin_notes: tuple[Note, ...]
) -> list[Piece]:
    """The rides of the first of `logs`, which is taken out of the list so that its columns can go as they are used."""
    log = as_degrees(with_spreadsheet_end(logs.pop(0)))
    columns: list[RawColumn | None] = list(log.columns)
    known: list[RawColumn] = list(log.columns)
    proposals = [candidates(column.name) for column in known]
    said = ingest_columns.told_of(known, options)
    plan = normalize.decide(known, proposals, said.choices, shown, said.remembered)
    log = without_copies(log, plan.time[0])
    columns[:] = known[:] = log.columns
    time, date = _time_columns(known, plan)
    with normalize.shown(time):
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
    notes = (*plugin_notes, *log.notes, *said.notes, *plan.notes, *built.notes)
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
            pieces.append(Piece(normalized, timeline, (*notes, *timeline.notes, *normalized.notes)))
        else:
            empty += _rows_of(timeline)
    if not pieces:
        raise InputRefused(
            "no channel holds a value",
            where=shown,
            expected="one column at least, beside the time, with numbers in it",
            to_do="check that the sensors were connected and the export holds their channels",
        )
    if options.on_settled is not None:
        options.on_settled(said.header, said.heard)
    if empty:
        told_empty = Note("left_out_empty", importing.EMPTY_RECORDINGS, rows=empty)
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
    if date is not None:
        order = next((m.unit_text for m in plan.meanings if m.column == plan.date), date.unit)
        date = RawColumn(date.name, order, date.values)
    return RawColumn(time.name, unit, time.values), date


def _join(paths: Sequence[Path], options: ImportOptions, start: datetime | None) -> Ride:
    sources, devices = read_devices(paths, options, start)
    normalized, timeline, notes = join_pieces(devices, options.bike, options.timezone)
    return make_ride(normalized, timeline, sources=tuple(sources), notes=notes, options=options)


def read_devices(
    paths: Sequence[Path], options: ImportOptions, start: datetime | None = None
) -> tuple[list[SourceFile], list[Device]]:
    """What each of several devices recorded of one ride, each on its own clock yet. Raises RidelogError only."""
    if start is not None:
        raise UsageError(
            "--start can't be given for files read together: each has its own first sample",
            where="--start",
            expected="files that hold their dates",
            to_do="leave --start out; --timezone tells the zone of times without one",
        )
    sources: list[SourceFile] = []
    devices: list[Device] = []
    for path, offset_s in zip(paths, offset_of(paths, options.offsets), strict=True):
        source, found = _pieces(path, options, None)
        if len(found) > 1:
            raise InputRefused(
                f"holds {len(found)} rides",
                where=path.name,
                expected="one ride a file where files are read together",
                to_do="import this file alone, or cut it to the ride in question",
            )
        twin = next((other.name for other in sources if other.sha256 == source.sha256), None)
        if twin is not None:
            raise InputRefused(
                f"has the same content as {twin}" if twin != source.name else "is named twice, with the same content",
                where=path.name,
                expected="files of different devices where files are read together",
                to_do="name each device's file once",
            )
        sources.append(source)
        devices.append(Device(path.name, source.format, found[0], offset_s))
    return sources, devices
