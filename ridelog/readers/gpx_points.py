"""The streaming half of the GPX reader: elements to columns of text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any
from xml.parsers import expat

import polars as pl

from ridelog.errors import InputRefused, RidelogError
from ridelog.readers.base import ReadOptions
from ridelog.readers.gpx_runs import Run, Runs
from ridelog.ride import Note
from ridelog.words import reading_tracks

_BLOCK = 1024 * 1024
_MAX_EXTRAS = 40

_ORDER = {
    name: place
    for place, name in enumerate(
        (
            "ele",
            "time",
            "magvar",
            "geoidheight",
            "name",
            "cmt",
            "desc",
            "src",
            "link",
            "sym",
            "type",
            "fix",
            "sat",
            "hdop",
            "vdop",
            "pdop",
            "ageofdgpsdata",
            "dgpsid",
            "extensions",
        )
    )
}
"""Order in which GPX 1.1 wants the children of a point."""

_EXTENSIONS = _ORDER["extensions"]
_WANTED = frozenset(("ele", "time", "fix", "sat", "hdop", "speed"))
_UNIT_ATTRIBUTES = ("unit", "units", "uom")


@dataclass(frozen=True)
class Points:
    """Track points as text columns of equal length (null where an element is missing). `breaks` are the indices at
    which a segment starts. `extras` are numbers from extensions, by name and stated unit ('' where none)."""

    columns: dict[str, pl.Series]
    extras: dict[tuple[str, str | None], pl.Series]
    breaks: tuple[int, ...]
    total: int
    other_points: int
    notes: tuple[Note, ...]


class _Handler:
    """Collects track points. One instance a file.

    Inside a point the parser is given other, shorter handlers: a track is nothing but points, and most of the time goes
    into calling Python for each element.
    """

    def __init__(self, parser: expat.XMLParserType, options: ReadOptions) -> None:
        self.parser = parser
        self.options = options
        self.runs = Runs()
        self.depth = 0
        self.version = ""
        self.namespace = ""
        self.in_track = False
        self.in_point = False
        self.lat: list[str | None] = []
        self.lon: list[str | None] = []
        self.children: dict[str, dict[int, str]] = {}
        self.extras: dict[tuple[str, str | None], dict[int, str]] = {}
        self.breaks: list[int] = []
        self.other_points = 0
        self.foreign = 0
        self.disordered = 0
        self.plain_extensions = 0
        self.start_child, self.end_child = _child_handlers(self)

    @property
    def total(self) -> int:
        """Track points so far."""
        return len(self.lat)

    def check_depth(self, more: int = 0) -> None:
        """Raise LimitExceeded where elements are nested too deep."""
        if self.depth + more > self.options.limits.max_xml_depth:
            raise self.options.limits.exceeded(
                "max_xml_depth", f"elements are nested {self.depth + more} deep", where=self.options.file_name
            )

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element outside a point."""
        self.depth += 1
        local = name.rpartition(" ")[2]
        if local == self.runs.name:
            if self.in_track:
                self._add_run(self.runs.take(attributes["at"]))
            return
        if local == "trkpt" and self.in_track:
            self.lat.append(attributes.get("lat"))
            self.lon.append(attributes.get("lon"))
            self._check_rows()
            self.in_point = True
            self.parser.StartElementHandler = self.start_child
            self.parser.EndElementHandler = self.end_child
            return
        self.check_depth()
        if local in ("trkseg", "trk"):
            self.in_track = True
            self.breaks.append(self.total)
        elif local in ("wpt", "rtept"):
            self.other_points += 1
        elif self.depth == 1:
            if local != "gpx":
                raise InputRefused(
                    f"this is XML of another kind (its first element is {local[:40]!r})",
                    where=self.options.file_name,
                    expected="a GPX file",
                    to_do="export the track as GPX",
                )
            self.version, self.namespace = attributes.get("version", ""), name.rpartition(" ")[0]

    def _add_run(self, run: Run) -> None:
        first = len(self.lat)
        self.lat.extend(run.lat)
        self.lon.extend(run.lon)
        self._check_rows()
        for name, values in run.children.items():
            self.children.setdefault(name, {}).update(enumerate(values, first))

    def _check_rows(self) -> None:
        if len(self.lat) > self.options.limits.max_rows:
            raise self.options.limits.exceeded(
                "max_rows",
                f"there are more than {self.options.limits.max_rows:,} points",
                where=self.options.file_name,
            )

    def end(self, name: str) -> None:
        """The end of an element outside a point, or of the point itself."""
        del name
        self.depth -= 1

    def leave_point(self) -> None:
        """Back to the handlers for what is outside points."""
        self.in_point = False
        self.depth -= 1
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end

    def refuse_doctype(self, *_: Any) -> None:
        """A document type declares entities; GPX needs none."""
        raise InputRefused(
            "it declares a document type, which GPX has no use for and which can hide an attack",
            where=self.options.file_name,
            expected="plain GPX without <!DOCTYPE ...>",
            to_do="export the track again, or remove that line after looking at it",
        )


def _child_handlers(track: _Handler) -> tuple[Callable[[str, dict[str, str]], None], Callable[[str], None]]:
    """Handlers for the elements inside a point. Their state lives in this function: that is what makes them quick."""
    parser, lat = track.parser, track.lat
    known: dict[str, tuple[int, dict[int, str] | None]] = {}
    text: list[str] = []
    take_text = text.append
    nested = 0  # elements open inside the point
    place = -1
    capture: dict[int, str] | None = None
    extensions_at = 0

    def look_up(name: str) -> tuple[int, dict[int, str] | None]:
        local = name.rpartition(" ")[2]
        wanted = track.children.setdefault(local, {}) if local in _WANTED else None
        return known.setdefault(name, (_ORDER.get(local, -1), wanted))

    def start_child(name: str, attributes: dict[str, str]) -> None:
        nonlocal nested, place, capture, extensions_at
        nested += 1
        if nested == 1:
            order, capture = known.get(name) or look_up(name)
            if order < place and order >= 0:
                track.disordered += 1
            place = order
            if capture is not None:
                parser.CharacterDataHandler = take_text
            elif order == _EXTENSIONS:
                extensions_at = 1
            elif order < 0:
                track.foreign += 1
            return
        track.check_depth(nested)
        if extensions_at:
            namespace, _, local = name.rpartition(" ")
            track.plain_extensions += namespace in ("", track.namespace)
            unit = next((attributes[key] for key in _UNIT_ATTRIBUTES if key in attributes), None)
            if (local, unit) in track.extras or len(track.extras) < _MAX_EXTRAS:
                capture = track.extras.setdefault((local, unit), {})
                text.clear()
                parser.CharacterDataHandler = take_text

    def end_child(_: str) -> None:
        nonlocal nested, place, capture, extensions_at
        if nested == 0:
            place = -1
            track.leave_point()
            return
        nested -= 1
        if capture is not None and (nested == 0 or extensions_at):
            parser.CharacterDataHandler = None
            value = text[0] if len(text) == 1 else "".join(text)
            if not extensions_at or value.strip():
                capture[len(lat) - 1] = value
            capture = None
            text.clear()
        if nested == 0:
            extensions_at = 0

    return start_child, end_child


def parse_points(path: Path, options: ReadOptions) -> Points:
    """All track points of a file. A file cut off keeps the points before the cut, and says so.

    Raises InputRefused for what is not GPX or broken from the start, LimitExceeded.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    handler = _Handler(parser, options)
    parser.StartElementHandler = handler.start
    parser.EndElementHandler = handler.end
    parser.StartDoctypeDeclHandler = handler.refuse_doctype
    parser.EntityDeclHandler = handler.refuse_doctype
    notes: list[Note] = []
    try:
        with path.open("rb") as file:
            _feed(parser, file, handler.runs)
    except expat.ExpatError as error:
        if not handler.total:
            raise InputRefused(
                f"the XML is broken ({expat.errors.messages[error.code]})",
                where=f"{options.file_name}, line {error.lineno}",
                expected="well-formed GPX",
                to_do="copy the file again",
            ) from error
        if handler.in_point:
            handler.lat.pop()
            handler.lon.pop()
            for column in (*handler.children.values(), *handler.extras.values()):
                column.pop(handler.total, None)
        notes.append(
            Note(
                "cut_file",
                reading_tracks.CUT_FILE,
                example=f"line {error.lineno}",
            )
        )
    except (LookupError, UnicodeError, ValueError) as error:
        if isinstance(error, RidelogError):
            raise
        raise InputRefused(
            f"its text encoding can't be read ({error})",
            where=options.file_name,
            expected="UTF-8",
            to_do="export the track again",
        ) from error
    return _points(handler, notes)


def _feed(parser: expat.XMLParserType, file: IO[bytes], runs: Runs) -> None:
    first = file.read(_BLOCK)
    # Blanks before the declaration are a common slip that XML does not forgive.
    if not first.startswith((b"\xff\xfe", b"\xfe\xff")):
        first = first.removeprefix(b"\xef\xbb\xbf").lstrip()
    for block in runs.blocks(file, first):
        parser.Parse(block, False)
    parser.Parse(b"", True)


def _column(values: dict[int, str], total: int) -> pl.Series:
    if len(values) == total:
        return pl.Series(list(values.values()), dtype=pl.String)
    dense: list[str | None] = [None] * total
    for at, value in values.items():
        dense[at] = value
    return pl.Series(dense, dtype=pl.String)


def _points(handler: _Handler, notes: list[Note]) -> Points:
    total = handler.total
    speeds = len(handler.children.get("speed", ()))
    columns = {"lat": pl.Series(handler.lat, dtype=pl.String), "lon": pl.Series(handler.lon, dtype=pl.String)}
    handler.lat, handler.lon = [], []
    for name in list(handler.children):
        columns[name] = _column(handler.children.pop(name), total)
    columns.setdefault("time", pl.Series([None] * total, dtype=pl.String))
    extras = {key: _column(handler.extras.pop(key), total) for key in list(handler.extras)}
    if handler.version not in ("1.1", "1.0") or not handler.namespace:
        notes.append(Note("gpx_version", reading_tracks.NO_VERSION))
    elif handler.version == "1.0" or handler.namespace.endswith("/1/0"):
        notes.append(Note("gpx_version", reading_tracks.VERSION_1_0))
    if speeds and handler.version == "1.1":
        notes.append(
            Note(
                "gpx_speed",
                reading_tracks.SPEED_ELEMENTS,
                rows=speeds,
            )
        )
    if handler.foreign and handler.version == "1.1":
        notes.append(Note("gpx_foreign", reading_tracks.FOREIGN_ELEMENTS, rows=handler.foreign))
    if handler.disordered:
        notes.append(Note("gpx_order", reading_tracks.OTHER_ORDER, rows=handler.disordered))
    if handler.plain_extensions:
        notes.append(Note("gpx_extensions", reading_tracks.PLAIN_EXTENSIONS, rows=handler.plain_extensions))
    return Points(columns, extras, tuple(handler.breaks), total, handler.other_points, tuple(notes))
