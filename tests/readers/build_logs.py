"""One small test log, written in many forms. Imported by several tests of the import."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

ROWS = 600
STEP_S = 0.5

START = datetime(2026, 5, 3, 8, 15, 0, tzinfo=UTC)
"""An invented morning."""


def truth() -> list[tuple[float, float, float, float, float, float]]:
    """Rows of (t s, coolant C, rpm, throttle %, ground speed km/h, gear): what every form must give back."""
    rows = []
    for number in range(ROWS):
        t = number * STEP_S
        coolant = round(40.0 + 50.0 * (1 - math.exp(-t / 80.0)), 1)
        rpm = float(round(4200 + 2500 * math.sin(t / 6.0)))
        throttle = round(50.0 + 45.0 * math.sin(t / 4.0), 1)
        speed = round(40.0 + 30.0 * math.sin(t / 20.0), 1)
        gear = float(1 + number // 120 % 5)
        rows.append((t, coolant, rpm, throttle, speed, gear))
    return rows


@dataclass(frozen=True)
class Form:
    """One way to write the log."""

    separator: str = ","
    decimal: str = "."
    newline: str = "\n"
    encoding: str = "utf-8"
    header: Sequence[str] = (
        "Time [s]",
        "Coolant temp [C]",
        "Engine speed [rpm]",
        "Throttle [%]",
        "GPS speed [km/h]",
        "Gear",
    )
    order: Sequence[int] = (0, 1, 2, 3, 4, 5)
    time: Callable[[float], str] | None = None
    before: Sequence[str] = ()
    units_row: Sequence[str] | None = None
    cell: dict[int, Callable[[float], str]] = field(default_factory=dict)
    edit: Callable[[list[str]], list[str]] | None = None
    bytes_edit: Callable[[bytes], bytes] | None = None
    last_newline: bool = True
    quote_all: bool = False


def number(value: float, decimals: int, decimal: str) -> str:
    """A number with fixed decimals and a decimal sign."""
    return f"{value:.{decimals}f}".replace(".", decimal)


def write(form: Form) -> bytes:
    """The log in a form."""
    decimals = (1, 1, 0, 1, 1, 0)
    quote = (lambda text: f'"{text}"') if form.quote_all else (lambda text: text)
    lines = [*form.before, form.separator.join(quote(form.header[n]) for n in form.order)]
    if form.units_row is not None:
        lines.append(form.separator.join(form.units_row[n] for n in form.order))
    for row in truth():
        cells = []
        for column in form.order:
            if column == 0 and form.time is not None:
                cells.append(form.time(row[0]))
            elif column in form.cell:
                cells.append(form.cell[column](row[column]))
            else:
                cells.append(number(row[column], decimals[column], form.decimal))
        lines.append(form.separator.join(quote(cell) for cell in cells))
    lines = form.edit(lines) if form.edit else lines
    text = form.newline.join(lines) + (form.newline if form.last_newline else "")
    data = text.encode(form.encoding)
    return form.bytes_edit(data) if form.bytes_edit else data


def clock(t: float) -> str:
    """Time of day, HH:MM:SS.s."""
    moment = START + timedelta(seconds=t)
    return moment.strftime("%H:%M:%S.") + f"{moment.microsecond // 100_000}"


def iso(t: float) -> str:
    """ISO 8601 in UTC."""
    return (START + timedelta(seconds=t)).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def long(
    *header: str, separator: str = ",", by: str = "row", columns: str = "tcv", block: int = 40
) -> Callable[[list[str]], list[str]]:
    """An edit that writes a table in long format, one value a row, under `header`.

    `columns` tells their order: t time, c channel, v value, u unit (then the channels' names go without theirs). `by`:
    "row" after row, "channel" after channel, or in "block"s of rows, each channel by channel.
    """

    def edit(lines: list[str]) -> list[str]:
        names = lines[0].split(separator)[1:]
        bare = [name.partition(" [")[0] if "u" in columns else name for name in names]
        units = [name.partition(" [")[2].rstrip("]") for name in names]
        found = []
        for number, line in enumerate(lines[1:]):
            t, *values = line.split(separator)
            for channel, value in enumerate(values):
                cells = {"t": t, "c": bare[channel], "v": value, "u": units[channel]}
                place = {"row": (number, channel), "channel": (channel, number)}.get(by)
                place = place or (number // block, channel, number)
                found.append((place, separator.join(cells[column] for column in columns)))
        return [separator.join(header), *(text for _, text in sorted(found))]

    return edit


def per_signal(
    separator: str = ",", *, name: str = "Time [s]", down: int = 3, ragged: bool = False
) -> Callable[[list[str]], list[str]]:
    """An edit that gives each channel a time column of its own, called `name` (the channel's for {}, its number for
    {number}), and puts it `down` rows further down than the one before."""

    def edit(lines: list[str]) -> list[str]:
        table = [line.split(separator) for line in lines]
        width = len(table[0]) - 1
        rows = [["", ""] * width for _ in range(len(table) - 1 + down * (width - 1))]
        for channel in range(width):
            for number, row in enumerate(table[1:]):
                rows[number + down * channel][2 * channel : 2 * channel + 2] = [row[0], row[1 + channel]]
        titles = list(enumerate(table[0][1:], start=1))
        header = [cell for n, title in titles for cell in (name.format(title.partition(" [")[0], number=n), title)]
        found = [separator.join(row) for row in rows]
        return [separator.join(header), *(line.rstrip(separator) if ragged else line for line in found)]

    return edit
