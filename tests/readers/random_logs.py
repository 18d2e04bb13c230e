"""Random logs for hypothesis: what was measured (`Content`), how it is written (`Style`), what happened to the file
(`Damage`). Every row has its own engine speed, so that a row can be told again wherever it ended up."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

from hypothesis import strategies as st

BEGUN = datetime(2026, 5, 3, 8, 15, tzinfo=UTC)

# channel -> (its names, its unit, decimals, lowest, highest)
CHANNELS: dict[str, tuple[tuple[str, str], str, int, float, float]] = {
    "coolant_c": (("Coolant temp", "Kühlmitteltemperatur"), "C", 1, 60.0, 110.0),
    "engine_rpm": (("Engine speed", "Drehzahl"), "rpm", 0, 2000, 9000),
    "throttle_pct": (("Throttle", "Drosselklappe"), "%", 1, 2.0, 100.0),
    "gps_speed_mps": (("GPS speed", "GPS-Geschwindigkeit"), "km/h", 1, 5.0, 120.0),
    "gear": (("Gear", "Gang"), "", 0, 1, 6),
    "intake_air_c": (("Intake air temp", "Ansauglufttemperatur"), "C", 1, 5.0, 45.0),
    "battery_v": (("Battery", "Batteriespannung"), "V", 2, 11.5, 14.8),
}

CLOCKS = ("s", "ms", "us", "clock", "iso", "iso offset", "unix s", "unix ms", "dots")
STEPS_S = (0.05, 0.1, 0.2, 0.5, 1.0)


@dataclass(frozen=True)
class Content:
    """What was measured: `times_s` from the start, and for each channel a value a row, as text with a decimal point;
    None where the logger had none."""

    clock: str
    times_s: tuple[float, ...]
    columns: dict[str, tuple[str | None, ...]]

    @property
    def rows(self) -> int:
        return len(self.times_s)

    def time_text(self, at: int, decimal: str) -> str:
        """The time of a row as its clock writes it."""
        t_s = self.times_s[at]
        moment = BEGUN + timedelta(seconds=t_s)
        texts: dict[str, Callable[[], str]] = {
            "s": lambda: f"{t_s:.2f}".replace(".", decimal),
            "ms": lambda: f"{t_s * 1e3:.0f}",
            "us": lambda: f"{t_s * 1e6:.0f}",
            "clock": lambda: (moment.strftime("%H:%M:%S.%f")[:-4]).replace(".", decimal),
            "iso": lambda: moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "iso offset": lambda: moment.astimezone(timezone(timedelta(hours=2))).isoformat(timespec="milliseconds"),
            "unix s": lambda: f"{BEGUN.timestamp() + t_s:.2f}".replace(".", decimal),
            "unix ms": lambda: f"{(BEGUN.timestamp() + t_s) * 1e3:.0f}",
            "dots": lambda: moment.strftime("%d.%m.%Y %H:%M:%S.%f")[:-4],
        }
        return texts[self.clock]()


@dataclass(frozen=True)
class Style:
    """How a log is written. `order` ranks the columns; `missing` is the text of no value; `units` says where they
    stand; `group` is the sign between thousands; `trailing` puts a separator behind every row."""

    separator: str
    decimal: str
    newline: str
    encoding: str
    quoted: str
    order: int
    units: str
    language: int
    before: tuple[str, ...]
    group: str
    pad: str
    trailing: bool
    missing: str
    last_newline: bool = True


@st.composite
def contents(draw: st.DrawFn, clocks: Sequence[str] = CLOCKS) -> Content:
    """A log without fault: 25 to 60 rows, a steady clock with a pause now and then."""
    chance = random.Random(draw(st.integers(0, 2**32 - 1)))  # noqa: S311 - many plain values at once
    rows, step_s = draw(st.integers(25, 60)), draw(st.sampled_from(STEPS_S))
    pauses = draw(st.sampled_from([0.0, 0.0, 0.03]))
    times, t_s = [], 0.0
    for _ in range(rows):
        times.append(round(t_s, 2))
        t_s += step_s + (chance.choice((7.0, 90.0)) if chance.random() < pauses else 0.0)
    more = draw(st.lists(st.sampled_from(sorted(CHANNELS)), unique=True, max_size=5))
    blank = draw(st.sampled_from([0.0, 0.0, 0.1, 0.4]))
    columns: dict[str, tuple[str | None, ...]] = {}
    for name in dict.fromkeys(["coolant_c", "engine_rpm", *more]):
        _, _, decimals, low, high = CHANNELS[name]
        own = chance.uniform(low, high)
        values: list[str | None] = []
        for _ in range(rows):
            own = min(high, max(low, own + chance.uniform(-0.1, 0.1) * (high - low)))
            values.append(None if chance.random() < blank else f"{own:.{decimals}f}")
        columns[name] = tuple(values)
    # Each row its own number: two are told apart by it wherever they end up.
    speeds = chance.sample(range(3000, 9000), rows)
    columns["engine_rpm"] = tuple(str(speed) for speed in speeds)
    return Content(draw(st.sampled_from(clocks)), tuple(times), columns)


@st.composite
def styles(draw: st.DrawFn) -> Style:
    """A dialect in which every content can be told."""
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    decimal = draw(st.sampled_from([".", ","]))
    quoted = "all" if decimal == separator else draw(st.sampled_from(["none", "none", "header", "all"]))
    # A sign between thousands that is the decimal sign or the separator of the file would be another content.
    groups = ["", "", "'"] + [sign for sign in ".," if sign not in (decimal, separator)]
    return Style(
        separator=separator,
        decimal=decimal,
        newline=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])),
        quoted=quoted,
        order=draw(st.integers(0, 5000)),
        units=draw(st.sampled_from(["square", "round", "row", "bracketed row"])),
        language=draw(st.integers(0, 1)),
        before=tuple(draw(st.lists(st.sampled_from(["Ride log", "", "cool and damp", '17" wheel "A"']), max_size=3))),
        group=draw(st.sampled_from(groups)),
        pad=draw(st.sampled_from(["", "", " ", "   "])),
        trailing=draw(st.booleans()),
        missing=draw(st.sampled_from(["", "", "NaN", "n/a", "-", "--"])),
    )


PLAIN = Style(",", ".", "\n", "utf-8", "none", 0, "square", 0, (), "", "", trailing=False, missing="")
_TIME_NAMES = {"s": "s", "ms": "ms", "us": "us"}


@dataclass(frozen=True)
class Written:
    """Lines of a log: what stands above the rows (header last, or the row of units), and a line a row."""

    style: Style
    top: tuple[str, ...]
    header: str
    rows: tuple[str, ...]
    names: tuple[str, ...]

    def data(self, rows: Sequence[str] | None = None) -> bytes:
        """The file."""
        newline = self.style.newline
        text = newline.join((*self.top, *(self.rows if rows is None else rows)))
        return (text + (newline if self.style.last_newline else "")).encode(self.style.encoding)


def written(content: Content, style: Style) -> Written:
    """A content in a style."""
    names = ["time", *content.columns]
    random.Random(style.order).shuffle(names)  # noqa: S311 - an order by number
    titles, units = [], []
    for name in names:
        if name == "time":
            title, unit = ("Time", "Zeit")[style.language], _TIME_NAMES.get(content.clock, "")
        else:
            title, unit = CHANNELS[name][0][style.language], CHANNELS[name][1]
        ends = {"square": "[]", "round": "()"}.get(style.units)
        titles.append(f"{title} {ends[0]}{unit}{ends[1]}" if ends and unit else title)
        units.append(f"[{unit or '-'}]" if style.units == "bracketed row" else unit)
    header = _line(titles, style, quote=style.quoted != "none", pad="")
    top = [*style.before, header]
    if "row" in style.units and any(unit.strip("[]-") for unit in units):
        top.append(_line(units, style, quote=style.quoted == "all", pad=""))
    rows = []
    for at in range(content.rows):
        cells = [
            content.time_text(at, style.decimal) if name == "time" else _cell(content.columns[name][at], style)
            for name in names
        ]
        rows.append(_line(cells, style, quote=style.quoted == "all", pad=style.pad))
    return Written(style, tuple(top), header, tuple(rows), tuple(names))


def _cell(text: str | None, style: Style) -> str:
    if text is None:
        return style.missing
    whole, dot, part = text.partition(".")
    if style.group and len(whole) > 3:
        whole = f"{whole[:-3]}{style.group}{whole[-3:]}"
    return whole + (style.decimal + part if dot else "")


def _line(cells: Sequence[str], style: Style, *, quote: bool, pad: str) -> str:
    shown = [f'"{cell}"' if quote else f"{pad}{cell}{pad}" for cell in cells]
    return style.separator.join(shown) + (style.separator if style.trailing else "")


# -- damage ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Damaged:
    """A damaged log. `rows_below`: lines below the header that are neither blank nor a header, None where the bytes
    were changed without regard to lines. `what` names the faults."""

    data: bytes
    rows_below: int | None
    what: tuple[str, ...]


LINE_DAMAGE = (
    "header again", "long row", "short row", "no value", "late row", "row twice", "garbage", "comment", "torn quote",
    "row lost", "blank line",
)  # fmt: skip
BYTE_DAMAGE = ("cut", "NUL tail", "NUL inside", "flip", "hole")


@st.composite
def damages(draw: st.DrawFn, log: Written, *, bytes_too: bool) -> Damaged:
    """A few faults, each as loggers, cards and editors make them."""
    lines = list(log.rows)
    what = draw(st.lists(st.sampled_from(LINE_DAMAGE), min_size=0 if bytes_too else 1, max_size=4))
    for kind in what:
        _damage_lines(draw, log, lines, kind)
    data = log.data(lines)
    if not bytes_too:
        blank = sum(not line.strip(' \t\u00a0"' + log.style.separator) for line in lines)
        return Damaged(data, len(lines) - what.count("header again") - blank, tuple(what))
    more = draw(st.lists(st.sampled_from(BYTE_DAMAGE), max_size=3))
    changed = bytearray(data)
    for kind in more:
        at = draw(st.integers(0, max(len(changed) - 1, 0)))
        if kind == "cut":
            del changed[at:]
        elif kind == "NUL tail":
            changed += bytes(draw(st.sampled_from([1, 512, 4096])))
        elif kind == "NUL inside":
            changed[at : at + 8] = bytes(8)
        elif kind == "flip" and changed:
            changed[at] ^= 1 << draw(st.integers(0, 7))
        elif kind == "hole":
            del changed[at : at + draw(st.integers(1, 600))]
    return Damaged(bytes(changed), None, (*what, *more))


def _damage_lines(draw: st.DrawFn, log: Written, lines: list[str], kind: str) -> None:
    separator = log.style.separator
    at = draw(st.integers(1, len(lines) - 2))
    cells = lines[at].split(separator)
    match kind:
        case "header again":
            lines.insert(at, log.header)
        case "long row":
            lines[at] += separator + separator.join("123")
        case "short row":
            lines[at] = separator.join(cells[: draw(st.integers(1, len(log.names)))])
        case "no value":
            cells[draw(st.integers(0, len(cells) - 1))] = draw(st.sampled_from(["", "NaN", "n/a", "-", "***", "#N/A"]))
            lines[at] = separator.join(cells)
        case "late row":
            lines.insert(at - 1, lines.pop(at))
        case "row twice":
            lines.insert(at, lines[at])
        case "garbage":
            lines.insert(at, draw(st.text(st.characters(codec="cp1252", exclude_characters="\r\n"), max_size=30)))
        case "comment":
            lines.insert(at, draw(st.sampled_from(["# stopped here", "// lap", "#", '# 21" tyre'])))
        case "torn quote":
            place = draw(st.integers(0, len(lines[at])))
            lines[at] = lines[at][:place] + '"' + lines[at][place:]
        case "row lost":
            lines.pop(at)
        case _:
            lines.insert(at, "")
