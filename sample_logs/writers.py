"""Log files in the differing forms that riders hand in."""

import gzip
import io
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

import numpy as np

from .simulation.sensors import Record


@dataclass(frozen=True)
class Column:
    header: str
    channel: str
    decimals: int = 0
    scale: float = 1.0
    unit: str = ""  # for a row of units under the header
    texts: tuple[str, ...] = ()  # what stands for 0, 1, ...


@dataclass(frozen=True)
class Form:
    """How a table is written."""

    columns: tuple[Column, ...]
    time_header: str
    time_style: str  # seconds, millis, clock, iso
    separator: str = ","
    decimal: str = "."
    newline: str = "\n"
    encoding: str = "utf-8"
    preamble: tuple[str, ...] = ()
    time_unit: str | None = None
    held: bool = True
    counter_from_ms: int = 0
    start: datetime | None = None
    iso_offset_h: int = 0
    packed: bool = False


def _times(t_s: np.ndarray, form: Form) -> list[str]:
    if form.time_style == "seconds":
        return [f"{t:.3f}".replace(".", form.decimal) for t in t_s.tolist()]
    if form.time_style == "millis":
        return [str(form.counter_from_ms + round(t * 1000.0)) for t in t_s.tolist()]
    zone = timezone(timedelta(hours=form.iso_offset_h))
    start = form.start.astimezone(zone)
    moments = [start + timedelta(milliseconds=round(t * 1000.0)) for t in t_s.tolist()]
    if form.time_style == "clock":
        return [f"{m:%H:%M:%S}{form.decimal}{m.microsecond // 1000:03d}" for m in moments]
    ending = "Z" if form.iso_offset_h == 0 else f"{form.iso_offset_h:+03d}:00"
    return [f"{m:%Y-%m-%dT%H:%M:%S}.{m.microsecond // 1000:03d}{ending}" for m in moments]


def _cells(record: Record, column: Column, form: Form) -> list[str]:
    shown = record.known[column.channel]
    if not form.held:
        shown = shown & record.fresh[column.channel]
    values = record.values[column.channel]
    if column.texts:
        cells = [column.texts[int(v)] for v in values.tolist()]
    else:
        cells = [f"{v:.{column.decimals}f}" for v in (values * column.scale).tolist()]
        if form.decimal != ".":
            cells = [cell.replace(".", form.decimal) for cell in cells]
    return [cell if show else "" for cell, show in zip(cells, shown.tolist(), strict=True)]


def table(record: Record, form: Form) -> bytes:
    columns = [_times(record.t_s, form), *(_cells(record, column, form) for column in form.columns)]
    lines = list(form.preamble)
    lines.append(form.separator.join([form.time_header, *(column.header for column in form.columns)]))
    if form.time_unit is not None:
        lines.append(form.separator.join([form.time_unit, *(column.unit for column in form.columns)]))
    lines.extend(form.separator.join(row) for row in zip(*columns, strict=True))
    return (form.newline.join(lines) + form.newline).encode(form.encoding)


def packed(content: bytes) -> bytes:
    """Gzip without a date or a name inside, so that the bytes depend on the content alone."""
    buffer = io.BytesIO()
    with gzip.GzipFile(filename="", fileobj=buffer, mode="wb", compresslevel=9, mtime=0) as stream:
        stream.write(content)
    return buffer.getvalue()


def track(record: Record, start: datetime, name: str) -> bytes:
    """A GPX 1.1 track: position, elevation and time, nothing else."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="sample_logs" xmlns="http://www.topografix.com/GPX/1/1">',
        "  <trk>",
        f"    <name>{name}</name>",
        "    <trkseg>",
    ]
    for t, lat, lon, up in zip(
        record.t_s.tolist(),
        record.values["lat"].tolist(),
        record.values["lon"].tolist(),
        record.values["altitude"].tolist(),
        strict=True,
    ):
        moment = start + timedelta(milliseconds=round(t * 1000.0))
        inner = f"<ele>{up:.1f}</ele><time>{moment:%Y-%m-%dT%H:%M:%SZ}</time>"
        lines.append(f'      <trkpt lat="{lat:.7f}" lon="{lon:.7f}">{inner}</trkpt>')
    lines += ["    </trkseg>", "  </trk>", "</gpx>", ""]
    return "\n".join(lines).encode("utf-8")
