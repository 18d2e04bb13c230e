"""Times written as text -> microseconds: clock times, dates with times, with or without a zone.

The frequent spellings go through polars in one piece; what is left (24:00:05, a leap second) is read text by text.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Literal

import polars as pl

from ridelog.clock import written, zones
from ridelog.errors import AmbiguousColumn, InputRefused, Preview
from ridelog.ride import Note

DAY_US = 86_400_000_000

_OFFSET = r"Z|z|UTC|GMT|[+-]\d{2}(?::?\d{2})?"
_ZONE = rf"(?:\s*(?P<zone>{_OFFSET}))?"
_CLOCK = (
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2}):(?P<second>\d{2})(?:[.,:](?P<fraction>\d{1,9}))?"
    r"(?:\s*(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_PATTERNS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("ymd", re.compile(rf"(?P<year>\d{{4}})[-/.](?P<month>\d{{1,2}})[-/.](?P<day>\d{{1,2}})[T ,]+{_CLOCK}{_ZONE}")),
    ("dmy.", re.compile(rf"(?P<day>\d{{1,2}})\.(?P<month>\d{{1,2}})\.(?P<year>\d{{4}}|\d{{2}})[T ,]+{_CLOCK}{_ZONE}")),
    ("xy", re.compile(rf"(?P<a>\d{{1,2}})[/-](?P<b>\d{{1,2}})[/-](?P<year>\d{{4}}|\d{{2}})[T ,]+{_CLOCK}{_ZONE}")),
    ("clock", re.compile(rf"{_CLOCK}{_ZONE}")),
    ("minutes", re.compile(r"(?P<minute>\d{1,3}):(?P<second>\d{2})[.,](?P<fraction>\d{1,9})")),
    ("no_seconds", re.compile(r"(?:\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4}[T ,]+)?\d{1,2}:\d{2}(?:\s*[AaPp][Mm])?")),
)
_ZONE_AT_END = re.compile(rf"\s*(?:{_OFFSET})$")
_WORD_AT_END = r"\d\s*(?:\[([A-Za-z][\w+/-]*)\]|\s([A-Z][A-Za-z_]+(?:/[\w+-]+)*))\s*$"
"""A zone by its name behind a time, in brackets as RFC 9557 has it or after a space."""
_HALVES = ("AM", "PM")

Order = Literal["ymd", "dmy", "mdy"]


@dataclass(frozen=True)
class TextTimes:
    """Parsed stamps. `us` is Int64 microseconds, null where a text could not be read: since midnight for a clock (or
    since zero for minutes and seconds), since 1970 for a date with time, there in UTC where `zoned`."""

    dated: bool
    clock: bool
    us: pl.Series
    zoned: bool
    some_unzoned: int = 0
    offset: str | None = None
    notes: tuple[Note, ...] = ()


def parse_order(unit: str | None) -> Order | None:
    """'dmy', 'mdy' or 'ymd' where the user gave one as the unit of a date."""
    text = (unit or "").strip().lower()
    return text if text in ("ymd", "dmy", "mdy") else None  # type: ignore[return-value]


def parse_texts(text: pl.Series, *, name: str, order: Order | None = None) -> TextTimes | None:
    """Stamps of a text column; None where its texts are no times. Raises InputRefused for times without seconds,
    AmbiguousColumn where day and month can't be told apart."""
    present = text.drop_nulls()
    if not present.len():
        return None
    text, word = _without_word(text, name)
    present = text.drop_nulls() if word else present
    sample = [cell.strip() for cell in present.gather_every(max(1, present.len() // 60)).head(60).to_list()]
    form = _form(sample)
    if form is None:
        return None
    if form == "no_seconds":
        raise InputRefused(
            f"the times have no seconds ({sample[0]!r})",
            where=f"column {name}",
            expected="times to the second or finer",
            to_do="use the logger's own file; a spreadsheet may have cut the seconds off",
        )
    if form == "xy" and order is None:
        order = _day_or_month_first(present, name)
    day_first = form == "dmy." or order == "dmy"
    parsed = _parsed(text, form, sample, day_first=day_first, name=name)
    if word is not None:
        parsed = _in_zone(parsed, word, name)
    if form not in ("minutes", "no_seconds") and (mended := written.unpadded(text, parsed.us, name=name)) is not None:
        parsed = replace(parsed, us=mended[0], notes=(*parsed.notes, mended[1]))
    return parsed


def _parsed(text: pl.Series, form: str, sample: list[str], *, day_first: bool, name: str) -> TextTimes:
    if form != "minutes" and any(_ZONE_AT_END.search(cell) for cell in sample):
        return _with_zones(text, form, day_first=day_first, name=name)
    us = _plain(text, form, day_first=day_first)
    if us.null_count() > text.null_count():
        mixed = text.filter(us.is_null() & text.is_not_null())
        if mixed.str.contains(_ZONE_AT_END.pattern).any():
            return _with_zones(text, form, day_first=day_first, name=name)
    return TextTimes(form not in ("clock", "minutes"), form == "clock", us, zoned=False)


def _without_word(text: pl.Series, name: str) -> tuple[pl.Series, str | None]:
    """The texts without the name of a zone behind them, and that name. Raises InputRefused for one that no table of
    zones has, and for several."""
    first = next((cell for cell in text.head(100).drop_nulls().to_list()), "")
    found = re.search(_WORD_AT_END, first)
    if found is None or (found[1] or found[2]).upper() in (*_HALVES, "UTC", "GMT", "Z"):
        return text, None
    words = text.drop_nulls().str.extract(_WORD_AT_END, 1).fill_null("")
    other = text.drop_nulls().str.extract(_WORD_AT_END, 2).fill_null("")
    distinct = [word for word in (words + other).unique(maintain_order=True).to_list() if word]
    # Three letters name several zones each, and summer time is no zone: only region and city are sure.
    strange = [word for word in distinct if "/" not in word or not zones.is_zone(word)]
    if strange or len(distinct) > 1:
        raise InputRefused(
            f"{strange[0]!r} behind the times names no one time zone" if strange else
            f"the times name {len(distinct)} zones ({', '.join(distinct[:3])})",
            where=f"column {name}",
            expected="times in one zone: an offset such as +02:00, UTC, or an IANA name of region and city",
            to_do="export the times with their offset, or without a zone and give --timezone",
        )  # fmt: skip
    return text.str.replace(r"\s*\[?" + re.escape(distinct[0]) + r"\]?\s*$", ""), distinct[0]


def _in_zone(parsed: TextTimes, word: str, name: str) -> TextTimes:
    if not parsed.dated:
        return parsed
    if parsed.zoned:  # an offset stands before the name and says the same, more exactly
        return replace(parsed, offset=word)
    us = zones.local_to_utc(parsed.us, zones.parse_zone(word), f"column {name}")
    return replace(parsed, us=us, zoned=True, offset=word)


def _form(sample: list[str]) -> str | None:
    best, hits = None, 0
    for form, pattern in _PATTERNS:
        found = sum(pattern.fullmatch(cell) is not None for cell in sample)
        if found > hits:
            best, hits = form, found
    return best if hits >= 0.5 * len(sample) else None


def _day_or_month_first(text: pl.Series, name: str) -> Order:
    first = text.str.extract(r"^\s*(\d{1,2})[/-]", 1).cast(pl.Int32, strict=False).max()
    second = text.str.extract(r"^\s*\d{1,2}[/-](\d{1,2})[/-]", 1).cast(pl.Int32, strict=False).max()
    if isinstance(first, int) and first > 12:
        return "dmy"
    if isinstance(second, int) and second > 12:
        return "mdy"
    ambiguous = AmbiguousColumn(
        f"{str(text[0]).strip()!r} can be day/month or month/day, and no date in the file tells which",
        where=f"column {name}",
        options=(f"{name}=time:dmy", f"{name}=time:mdy"),
        expected="dates of one reading",
    )
    # Shown as they were put together: the date may stand in a column of its own.
    shown = text.unique(maintain_order=True)
    ambiguous.preview = Preview(
        None, None, tuple(str(one).strip() for one in shown.gather_every(shown.len() // 3 or 1)[:3])
    )
    raise ambiguous


def _with_zones(text: pl.Series, form: str, *, day_first: bool, name: str) -> TextTimes:
    if text.str.ends_with("Z").all():  # the usual case, and a quick one
        us = _plain(text.str.strip_suffix("Z"), form, day_first=day_first)
        return TextTimes(form != "clock", form == "clock", us, zoned=True, offset="UTC")
    zone = text.str.extract(rf"({_OFFSET})\s*$", 1)
    bare = text.str.replace(rf"\s*(?:{_OFFSET})\s*$", "")
    us = _plain(bare, form, day_first=day_first)
    kinds = [kind for kind in zone.unique(maintain_order=True).to_list() if kind is not None]
    offsets = {kind: _offset_us(kind, name) for kind in kinds}
    without = int((zone.is_null() & text.is_not_null()).sum() or 0)
    shift = zone.replace_strict(offsets, default=0, return_dtype=pl.Int64)
    one = set(offsets.values())
    first = kinds[0].upper() if kinds else None
    offset = "UTC" if one == {0} else (first if len(one) == 1 else None)
    if offset and offset != "UTC" and ":" not in offset:
        offset = f"{offset[:3]}:{offset[3:] or '00'}"
    return TextTimes(form != "clock", form == "clock", us - shift, zoned=True, some_unzoned=without, offset=offset)


def _offset_us(zone: str, name: str) -> int:
    """Raises InputRefused for an offset that no place on earth keeps."""
    if zone[0] not in "+-":
        return 0
    sign = -1 if zone[0] == "-" else 1
    hours, minutes = int(zone[1:3]), int(zone[3:].lstrip(":") or 0)
    if hours > 14 or minutes > 59:
        raise InputRefused(
            f"{zone!r} is no offset from UTC",
            where=f"column {name}",
            expected="-12:00 to +14:00",
            to_do="correct the times, or take their zone away and give --timezone",
        )
    return sign * (hours * 3600 + minutes * 60) * 1_000_000


def _plain(text: pl.Series, form: str, *, day_first: bool) -> pl.Series:
    """Microseconds of texts without a zone."""
    clean = text.str.strip_chars()
    if form == "minutes":
        us = pl.Series(text.name, [None], dtype=pl.Int64).new_from_index(0, text.len())
    elif form == "clock":
        us = clean.str.replace(",", ".", literal=True).str.to_time("%H:%M:%S%.f", strict=False).cast(pl.Int64) // 1000
    else:
        us = _dated(clean, form, day_first=day_first)
    odd = us.is_null() & clean.is_not_null()
    if not odd.any():
        return us
    distinct = clean.filter(odd).unique().to_list()
    mapping = {cell: _one(cell, day_first=day_first) for cell in distinct}
    fixed = clean.replace_strict(mapping, default=None, return_dtype=pl.Int64)
    return pl.select(pl.when(odd).then(fixed).otherwise(us)).to_series().rename(text.name)


def _dated(clean: pl.Series, form: str, *, day_first: bool) -> pl.Series:
    clean = clean.str.replace(",", ".", literal=True) if form == "ymd" else clean
    first = next((cell for cell in clean.head(1000).drop_nulls().to_list()), "")
    joint = "T" if "T" in first else " "
    if form == "ymd":
        mark = first[4:5] or "-"
        pattern = f"%Y{mark}%m{mark}%d{joint}%H:%M:%S%.f"
    else:
        mark = "." if form == "dmy." else ("/" if "/" in first else "-")
        days = ("%d", "%m") if day_first else ("%m", "%d")
        year = "%Y" if re.match(r"\d{1,2}.\d{1,2}.\d{4}", first) else "%y"
        pattern = f"{days[0]}{mark}{days[1]}{mark}{year}{joint}%H:%M:%S%.f"
    return clean.str.to_datetime(pattern, time_unit="us", strict=False).cast(pl.Int64)


def _one(cell: str, *, day_first: bool) -> int | None:
    """One text, read by the patterns: also the minute 24:00 and a leap second :60, which step into the next day or
    minute. Clocks that write 24:00:00 for midnight count its seconds on; a later minute of hour 24 none writes."""
    for form, pattern in _PATTERNS:
        match = pattern.fullmatch(cell)
        if match is None or form == "no_seconds":
            continue
        part = match.groupdict()
        hour = int(part.get("hour") or 0)
        if part.get("half"):
            if not 1 <= hour <= 12:
                return None
            hour = hour % 12 + (12 if part["half"] in "pP" else 0)
        minute, second = int(part["minute"]), int(part["second"])
        if hour > 24 or (form != "minutes" and minute > 59) or second > 60 or (hour == 24 and minute):
            return None
        fraction = int((part.get("fraction") or "0")[:6].ljust(6, "0"))
        clock = ((hour * 60 + minute) * 60 + second) * 1_000_000 + fraction
        if form in ("clock", "minutes"):
            return clock
        if form == "xy":
            day, month = (part["a"], part["b"]) if day_first else (part["b"], part["a"])
        else:
            day, month = part["day"], part["month"]
        year = int(part["year"])
        if year < 100:
            year += 2000 if year < 70 else 1900
        try:
            midnight = date(year, int(month), int(day))
        except ValueError:
            return None
        start = datetime(midnight.year, midnight.month, midnight.day, tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)
        return start // timedelta(microseconds=1) + clock
    return None
