"""What a user says on the page of an import, checked: where recordings begin, zone, moment, format, a column."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from ridelog.errors import UsageError

if TYPE_CHECKING:
    from dashboard.adding.jobs import Told
    from ridelog.ingest_alignment import Alignment

FURTHEST_S = 3.2e9
SAME_S = 5e-4
"""Numbers on the page have three digits; a smaller difference is none."""


@dataclass(frozen=True)
class Said:
    """What was typed, None or '' where nothing was. `holds` is what `column` holds, as `channel:unit`."""

    timezone: str | None = None
    start: str | None = None
    format: str | None = None
    column: str | None = None
    holds: str | None = None


def offsets(
    found: Alignment, starts_s: Sequence[float | None], before: Mapping[int, float]
) -> tuple[dict[int, float], bool]:
    """What has to be added to the clock of each recording so that it begins where the user said, and whether anything
    was moved. Raises UsageError for a number that is none, and for recordings that would share no moment."""
    from ridelog.ingest_alignment import told_offset_s

    if len(starts_s) != len(found.recordings):
        raise UsageError("this is no picture of this import", expected="one number a file", to_do="load the page again")
    result: dict[int, float] = {}
    moved = False
    spans: list[tuple[float, float, str]] = []
    for number, (one, said_s) in enumerate(zip(found.recordings, starts_s, strict=True)):
        start_s = one.start_s
        if number != found.kept and said_s is not None:
            if not math.isfinite(said_s) or abs(said_s) > FURTHEST_S:
                raise UsageError(
                    f"{one.name} has no beginning", expected="seconds, such as 37.4 or -12", to_do="correct the number"
                )
            changed = abs(said_s - round(one.start_s, 3)) > SAME_S
            if changed or one.by == "open":
                start_s = said_s if changed else one.start_s
                result[number] = round(told_offset_s(one, start_s), 6)
                moved = moved or changed
            elif one.by == "told" and number in before:
                result[number] = before[number]
        spans.append((start_s, start_s + one.length_s, one.name))
    _share(spans, found.recordings[found.kept].name)
    return result, moved


def _share(spans: Sequence[tuple[float, float, str]], kept: str) -> None:
    """Raises UsageError where a recording shares no moment with any other."""
    for number, (start, end, name) in enumerate(spans):
        rest = [one for at, one in enumerate(spans) if at != number]
        apart = min(max(one[0] - end, start - one[1]) for one in rest)
        if apart > 0.0 and (name != kept or len(spans) == 2):
            raise UsageError(
                f"{name} would share no moment with the others: {apart:,.1f} s lie between them",
                expected="recordings of one ride, at the same time",
                to_do="correct where it begins, or keep the files apart",
            )


def told_with(told: Told, said: Said) -> Told:
    """What is known of the files, with what was typed. Raises UsageError for what can't be used."""
    from ridelog import clock
    from ridelog.ingest import ImportOptions, parse_column_option
    from ridelog.ingest_options import start_of
    from ridelog.readers import registry

    zone, start, kind = ((text or "").strip() or None for text in (said.timezone, said.start, said.format))
    if zone is not None:
        clock.parse_zone(zone)
    if start is not None:
        try:
            moment = datetime.fromisoformat(start)
        except ValueError:
            raise UsageError(
                f"{start[:40]!r} is no moment", expected="date and time, such as 2026-05-02 09:30", to_do="correct it"
            ) from None
        if moment.tzinfo is None and (zone or told.timezone) is None:
            raise UsageError(
                f"{start[:40]!r} has no time zone", expected="the zone beside it, or its offset behind it",
                to_do="add the zone",
            )  # fmt: skip
        start_of(ImportOptions(start=moment, timezone=zone or told.timezone))
        start = moment.isoformat()
    if kind is not None:
        registry.named(kind, registry.readers()[0])
    columns = told.columns
    if (said.column or "").strip():
        if not said.holds:
            raise UsageError("what the column holds was not chosen", expected="one of the list", to_do="choose it")
        text = f"{(said.column or '').strip()}={said.holds}"
        parse_column_option(text)
        columns = (*(one for one in columns if one.rpartition("=")[0] != text.rpartition("=")[0]), text)
    return replace(
        told,
        timezone=zone or told.timezone,
        start=start or told.start,
        format=kind or told.format,
        columns=columns,
    )
