"""The streaming half of the GPX reader: elements to columns of text."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any
from xml.parsers import expat  # noqa: S407 - document types are refused below, so no entity is ever declared

import polars as pl

from ridelog.errors import InputRefused, RidelogError
from ridelog.readers.base import ReadOptions
from ridelog.ride import Note

_BLOCK = 1024 * 1024
_FLUSH_POINTS = 50_000
_MAX_EXTRAS = 40

_ORDER = {name: place for place, name in enumerate(
    ("ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat", "hdop",
     "vdop", "pdop", "ageofdgpsdata", "dgpsid", "extensions")
)}  # fmt: skip
"""Order in which GPX 1.1 wants the children of a point."""

_WANTED = frozenset(("ele", "time", "fix", "sat", "hdop", "speed"))
_UNIT_ATTRIBUTES = ("unit", "units", "uom")


@dataclass(frozen=True)
class Points:
    """Track points as text columns of equal length (null where an element is missing). `breaks` are the indices at which
    a segment starts. `extras` are numbers from extensions, by name and stated unit ('' where none)."""

    columns: dict[str, pl.Series]
    extras: dict[tuple[str, str | None], pl.Series]
    breaks: tuple[int, ...]
    total: int
    other_points: int
    notes: tuple[Note, ...]


class _Handler:
    """Collects track points. One instance a file."""

    def __init__(self, parser: expat.XMLParserType, options: ReadOptions) -> None:
        self.parser = parser
        self.options = options
        self.max_depth = options.limits.max_xml_depth
        self.max_rows = options.limits.max_rows
        self.depth = 0
        self.is_gpx = False
        self.version = ""
        self.namespace = ""
        self.in_track = False
        self.point: dict[str, str] | None = None
        self.extra_at = 0
        self.capture: str | None = None
        self.capture_unit: str | None = None
        self.text: list[str] = []
        self.place = -1
        self.lat: list[str | None] = []
        self.lon: list[str | None] = []
        self.children: dict[str, dict[int, str]] = {}
        self.extras: dict[tuple[str, str | None], dict[int, str]] = {}
        self.breaks: list[int] = []
        self.other_points = 0
        self.total = 0
        self.disordered = 0
        self.speed_in_11 = 0
        self.plain_extensions = 0
        self.locals: dict[str, tuple[str, str]] = {}

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        if self.depth > self.max_depth:
            raise self.options.limits.exceeded(
                "max_xml_depth", f"elements are nested {self.depth} deep", where=self.options.file_name
            )
        known = self.locals.get(name)
        if known is None:
            namespace, _, local = name.rpartition(" ")
            known = self.locals[name] = (local, namespace)
        local = known[0]
        if self.point is not None:
            if self.extra_at:
                self._start_extra(local, known[1], attributes)
            else:
                self._start_child(local)
        elif local == "trkpt" and self.in_track:
            self.point = attributes
            self.place = -1
            self.lat.append(attributes.get("lat"))
            self.lon.append(attributes.get("lon"))
            self.total += 1
            if self.total > self.max_rows:
                raise self.options.limits.exceeded(
                    "max_rows", f"there are more than {self.max_rows:,} points", where=self.options.file_name
                )
        elif local in ("trkseg", "trk"):
            self.in_track = True
            self.breaks.append(self.total)
        elif local in ("wpt", "rtept"):
            self.other_points += 1
        elif self.depth == 1:
            self._root(local, known[1], attributes)

    def _root(self, local: str, namespace: str, attributes: dict[str, str]) -> None:
        if local != "gpx":
            raise InputRefused(
                f"this is XML of another kind (its first element is {local[:40]!r})",
                where=self.options.file_name,
                expected="a GPX file",
                to_do="export the track as GPX",
            )
        self.is_gpx = True
        self.version, self.namespace = attributes.get("version", ""), namespace

    def _start_child(self, local: str) -> None:
        if local == "extensions":
            self.extra_at = self.depth
        place = _ORDER.get(local)
        if place is not None:
            if place < self.place:
                self.disordered += 1
            self.place = place
        if local in _WANTED:
            self.capture, self.capture_unit = local, None
            self.text.clear()
            self.parser.CharacterDataHandler = self.text.append
            if local == "speed":
                self.speed_in_11 += 1

    def _start_extra(self, local: str, namespace: str, attributes: dict[str, str]) -> None:
        if namespace in ("", self.namespace):
            self.plain_extensions += 1
        self.capture = local
        self.capture_unit = next((attributes[key] for key in _UNIT_ATTRIBUTES if key in attributes), None)
        self.text.clear()
        self.parser.CharacterDataHandler = self.text.append

    def end(self, name: str) -> None:
        if self.capture is not None:
            self.parser.CharacterDataHandler = None
            value = self.text[0] if len(self.text) == 1 else "".join(self.text)
            if not self.extra_at:
                self.children.setdefault(self.capture, {})[self.total - 1] = value
            elif value.strip():
                key = (self.capture, self.capture_unit)
                if key in self.extras or len(self.extras) < _MAX_EXTRAS:
                    self.extras.setdefault(key, {})[self.total - 1] = value
            self.capture = None
        elif self.point is not None and self.locals[name][0] == "trkpt":
            self.point = None
        if self.depth == self.extra_at:
            self.extra_at = 0
        self.depth -= 1

    def refuse_doctype(self, *_: Any) -> None:
        raise InputRefused(
            "it declares a document type, which GPX has no use for and which can hide an attack",
            where=self.options.file_name,
            expected="plain GPX without <!DOCTYPE ...>",
            to_do="export the track again, or remove that line after looking at it",
        )


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
            _feed(parser, file)
    except expat.ExpatError as error:
        if not handler.total:
            raise InputRefused(
                f"the XML is broken ({expat.errors.messages[error.code]})",
                where=f"{options.file_name}, line {error.lineno}",
                expected="well-formed GPX",
                to_do="copy the file again",
            ) from error
        if handler.point is not None:
            handler.lat.pop()
            handler.lon.pop()
            handler.total -= 1
            for column in (*handler.children.values(), *handler.extras.values()):
                column.pop(handler.total, None)
        notes.append(
            Note(
                "cut_file",
                "the file breaks off or is damaged; the points before were kept",
                example=f"line {error.lineno}",
            )
        )
    except (LookupError, UnicodeError, ValueError) as error:
        if isinstance(error, RidelogError):
            raise
        raise InputRefused(
            f"its text encoding can't be read ({error})", where=options.file_name, expected="UTF-8",
            to_do="export the track again",
        ) from error  # fmt: skip
    return _points(handler, notes)


def _feed(parser: expat.XMLParserType, file: IO[bytes]) -> None:
    first = file.read(_BLOCK)
    # Blanks before the declaration are a common slip that XML does not forgive.
    if not first.startswith((b"\xff\xfe", b"\xfe\xff")):
        first = first.removeprefix(b"\xef\xbb\xbf").lstrip()
    parser.Parse(first, False)  # noqa: FBT003 - the parser's own signature
    while block := file.read(_BLOCK):
        parser.Parse(block, False)  # noqa: FBT003
    parser.Parse(b"", True)  # noqa: FBT003


def _column(values: dict[int, str], total: int) -> pl.Series:
    if len(values) == total:
        return pl.Series(list(values.values()), dtype=pl.String)
    dense: list[str | None] = [None] * total
    for at, value in values.items():
        dense[at] = value
    return pl.Series(dense, dtype=pl.String)


def _points(handler: _Handler, notes: list[Note]) -> Points:
    total = handler.total
    columns = {"lat": pl.Series(handler.lat, dtype=pl.String), "lon": pl.Series(handler.lon, dtype=pl.String)}
    handler.lat, handler.lon = [], []
    for name in list(handler.children):
        columns[name] = _column(handler.children.pop(name), total)
    columns.setdefault("time", pl.Series([None] * total, dtype=pl.String))
    extras = {key: _column(handler.extras.pop(key), total) for key in list(handler.extras)}
    if handler.version not in ("1.1", "1.0") or not handler.namespace:
        notes.append(Note("gpx_version", "the file names no GPX version or namespace; it was read as GPX all the same"))
    elif handler.version == "1.0" or handler.namespace.endswith("/1/0"):
        notes.append(Note("gpx_version", "the file is GPX 1.0, whose speeds are in m/s"))
    if handler.speed_in_11 and handler.version == "1.1":
        notes.append(
            Note(
                "gpx_speed",
                "speed elements, which GPX 1.1 does not have, were read as in 1.0, in m/s",
                rows=handler.speed_in_11,
            )
        )
    if handler.disordered:
        notes.append(Note("gpx_order", "elements stand in another order than GPX wants", rows=handler.disordered))
    if handler.plain_extensions:
        notes.append(
            Note("gpx_extensions", "extensions stand in no namespace of their own", rows=handler.plain_extensions)
        )
    return Points(columns, extras, tuple(handler.breaks), total, handler.other_points, tuple(notes))
