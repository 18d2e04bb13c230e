"""The advice sheet: the tuner's rules for when a rider should switch to the conservative map, from `*.advice.toml`, and
which compression and fuel the tuner holds right at which elevation.

A sheet may leave out any rule or key; the default then holds and is listed in `defaults_used`. Default levels are
common practice, no source. A rule with `map = "none"` switches that kind of stretch off.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date

from ridelog import profile_file
from ridelog.errors import ProfileError
from ridelog.profile_file import Table

KINDS = ("heavy_drag", "wide_open", "high_speed", "slow_climb", "standstill", "heat_only")
"""Kinds of stretch a rule can name, strongest reason first: where two hold at once, the earlier one names it."""

MAPS = ("conservative", "either", "none")


@dataclass(frozen=True)
class Condition:
    """One level a rule compares with: default, what is accepted, unit, and what it means."""

    default: float
    low: float
    high: float
    unit: str
    meaning: str


CONDITIONS: dict[str, dict[str, Condition]] = {
    "heavy_drag": {
        "min_drag_coefficient": Condition(0.20, 0.02, 1.0, "1", "terrain drag over weight, at least"),
        "min_power_share": Condition(0.08, 0.0, 1.0, "1", "power over the bike's peak power, at least"),
    },
    "wide_open": {
        "min_throttle_pct": Condition(85.0, 30.0, 100.0, "%", "throttle between its stops, at least"),
    },
    "high_speed": {
        "min_speed_mps": Condition(25.0, 5.0, 60.0, "m/s", "ground speed, at least"),
    },
    "slow_climb": {
        "min_grade": Condition(0.08, 0.01, 1.0, "1", "rise over run, at least"),
        "max_speed_mps": Condition(6.0, 0.5, 20.0, "m/s", "ground speed, at most"),
    },
    "standstill": {
        "max_speed_mps": Condition(0.5, 0.05, 3.0, "m/s", "ground speed, at most, with the engine running"),
    },
    "heat_only": {
        "min_over_limit_c": Condition(0.0, -30.0, 50.0, "C", "settle temperature over the bike's limit, at least"),
    },
}
"""Kind -> its own keys."""

# min_duration_s, merge_gap_s, grace_s, map
_SHAPE: dict[str, tuple[float, float, float, str]] = {
    "heavy_drag": (20.0, 6.0, 10.0, "conservative"),
    "wide_open": (15.0, 2.0, 10.0, "conservative"),
    "high_speed": (60.0, 5.0, 10.0, "conservative"),
    "slow_climb": (30.0, 5.0, 10.0, "either"),
    "standstill": (60.0, 3.0, 10.0, "either"),
    "heat_only": (45.0, 10.0, 10.0, "either"),
}


@dataclass(frozen=True)
class Rule:
    """One kind of stretch that counts. Durations in seconds; `levels` as CONDITIONS names them.

    `leave_share` sets the hysteresis: a stretch is entered at the level and left at `leave_share` of it (for a
    ceiling, the level over `leave_share`). Pauses up to `merge_gap_s` do not end it. `grace_s` is the time a rider
    has to switch.
    """

    kind: str
    min_duration_s: float
    merge_gap_s: float
    grace_s: float
    leave_share: float
    map: str
    levels: tuple[tuple[str, float], ...]

    def level(self, key: str) -> float:
        """One level by its key; KeyError for a key the kind does not have."""
        return dict(self.levels)[key]


@dataclass(frozen=True)
class BuildRow:
    """What a build should be from an elevation (m) up to the next row's: compression ratio at most, fuel RON at
    least."""

    from_elevation_m: float
    max_compression_ratio: float
    min_fuel_ron: float


DEFAULT_BUILDS = (
    BuildRow(-430.0, 13.0, 98.0),
    BuildRow(1000.0, 13.5, 95.0),
    BuildRow(2000.0, 14.0, 95.0),
    BuildRow(3000.0, 14.5, 95.0),
)
"""Common practice, no source: thinner air fills the cylinder less, so higher compression only as elevation rises."""


@dataclass(frozen=True)
class Advice:
    """An advice sheet: its version, the day it took effect, a rule for every kind of KINDS, and the builds by rising
    elevation."""

    version: str
    valid_from: date
    rules: tuple[Rule, ...]
    defaults_used: tuple[str, ...] = field(default=())
    builds: tuple[BuildRow, ...] = DEFAULT_BUILDS

    def rule(self, kind: str) -> Rule:
        """The rule for one kind."""
        return next(rule for rule in self.rules if rule.kind == kind)


def _rule(table: Table, kind: str) -> Rule:
    duration, merge, grace, which = _SHAPE[kind]
    if not table.has("map"):
        table.defaults_used.append(f"rule.{kind}.map")
    return Rule(
        kind=kind,
        min_duration_s=table.number("min_duration_s", duration, 1.0, 3600.0, "s"),
        merge_gap_s=table.number("merge_gap_s", merge, 0.0, 120.0, "s"),
        grace_s=table.number("grace_s", grace, 0.0, 600.0, "s"),
        leave_share=table.number("leave_share", 0.8, 0.1, 1.0),
        map=table.text("map", which, allowed=MAPS),
        levels=tuple(
            (key, table.number(key, condition.default, condition.low, condition.high, condition.unit))
            for key, condition in CONDITIONS[kind].items()
        ),
    )


def _builds(tables: list[Table], defaults_used: list[str]) -> tuple[BuildRow, ...]:
    if not tables:
        defaults_used.append("build")
        return DEFAULT_BUILDS
    rows: list[BuildRow] = []
    for table in tables:
        if not table.has("from_elevation_m"):
            raise table.fail("from_elevation_m", "is missing", "a height in m from which the row holds")
        height_m = table.number("from_elevation_m", 0.0, -430.0, 6000.0, "m")
        # A key left out takes the default of that height.
        usual = [row for row in DEFAULT_BUILDS if row.from_elevation_m <= height_m][-1]
        compression = table.number("max_compression_ratio", usual.max_compression_ratio, 4.0, 20.0)
        ron = table.number("min_fuel_ron", usual.min_fuel_ron, 70.0, 125.0, "RON")
        if rows and height_m <= rows[-1].from_elevation_m:
            raise table.fail("from_elevation_m", f"is {height_m:g}", "heights that rise from row to row")
        rows.append(BuildRow(height_m, compression, ron))
        table.close()
    return tuple(rows)


_VERSION = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


def parse_advice(text: str, where: str) -> Advice:
    """A sheet from the text of its file. Raises ProfileError that names file, key, what was found and expected."""
    top = profile_file.parse(text, where)
    top.schema()
    version = top.text("version")
    if not _VERSION.fullmatch(version):
        raise top.fail("version", f"is {version!r}", "1 to 64 letters, digits, dots, dashes and underscores")
    valid_from = top.day("valid_from")
    if valid_from is None:
        valid_from = date(1970, 1, 1)
        top.defaults_used.append("valid_from")
    found: dict[str, Rule] = {}
    for table in top.tables("rule"):
        kind = table.text("kind", allowed=KINDS)
        if kind in found:
            raise table.fail("kind", f"{kind!r} stands in two rules", "one rule a kind", "join the two rules")
        own: list[str] = []
        named = Table(dict(table.items()), where, f"rule.{kind}", own)
        named.has("kind")
        found[kind] = _rule(named, kind)
        named.close()
        top.defaults_used.extend(own)
    for kind in KINDS:
        if kind not in found:
            found[kind] = _rule(Table({}, where, f"rule.{kind}", []), kind)
            top.defaults_used.append(f"rule.{kind}")
    builds = _builds(top.tables("build"), top.defaults_used)
    top.close()
    return Advice(version, valid_from, tuple(found[kind] for kind in KINDS), tuple(top.defaults_used), builds)


def default_advice() -> Advice:
    """The sheet that holds where the library has none: every rule at its default."""
    return parse_advice('schema = 1\nversion = "built-in"\n', "built-in advice sheet")


def template(version: str, valid_from: date) -> str:
    """A sheet with every rule and key at its default, to be changed. Raises ProfileError for an unusable version."""
    if not _VERSION.fullmatch(version):
        raise ProfileError(
            f"{version!r} can't be a version",
            expected="1 to 64 letters, digits, dots, dashes and underscores",
            to_do="choose another",
        )
    parts = [
        "# When riders should switch to the conservative map. Delete a line to take its default; results then say so.",
        "schema = 1",
        f'version = "{version}"',
        f"valid_from = {valid_from.isoformat()}",
    ]
    for kind in KINDS:
        duration, merge, grace, which = _SHAPE[kind]
        parts += [
            "",
            "[[rule]]",
            f'kind = "{kind}"',
            f'map = "{which}"  # conservative, either (noted without advice), none (not looked for)',
            *(f"{key} = {c.default:g}  # {c.meaning} ({c.unit})" for key, c in CONDITIONS[kind].items()),
            f"min_duration_s = {duration:g}",
            f"merge_gap_s = {merge:g}  # pauses up to this do not end a stretch",
            f"grace_s = {grace:g}  # time a rider has to switch",
            "leave_share = 0.8  # entered at the level, left at this share of it",
        ]
    for row in DEFAULT_BUILDS:
        parts += [
            "",
            "[[build]]",
            f"from_elevation_m = {row.from_elevation_m:g}  # up to the next row's",
            f"max_compression_ratio = {row.max_compression_ratio:g}",
            f"min_fuel_ron = {row.min_fuel_ron:g}",
        ]
    return "\n".join(parts) + "\n"


def in_force(sheets: list[Advice], day: date | None) -> Advice:
    """The sheet that held on `day`: the latest that had taken effect; the newest where the day is not known.

    A ride older than every sheet is judged by the built-in one: nobody had given it other advice.
    """
    known = sorted(sheets, key=lambda sheet: (sheet.valid_from, sheet.version))
    if day is not None:
        known = [sheet for sheet in known if sheet.valid_from <= day]
    return known[-1] if known else default_advice()
