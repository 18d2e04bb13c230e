"""The bike profile: what a tuner knows about one bike, read from a `*.bike.toml` file.

Every key but `schema` and `id` has a default, listed in `defaults_used` when taken, so that a result can say which of
its figures rest on the file and which on a default. Defaults describe an ordinary 300 cm³ enduro two-stroke: common
practice, no source, unless README.md names one.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from ridelog import ignition_table, profile_file
from ridelog.errors import ProfileError
from ridelog.ignition_table import IgnitionTable
from ridelog.profile_file import Table

_ID = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}")


@dataclass(frozen=True)
class Service:
    """Work done on the bike; rides before and after it are compared apart."""

    day: date
    what: str


@dataclass(frozen=True)
class Bike:
    """One bike. Masses in kg, lengths in m, areas in m², temperatures in C, pressures in kPa gauge, power in kW.

    `gears` are gearbox ratios from first gear up; `power_curve_rpm` and `power_curve_kw` are the wide-open curve at the
    crank on the standard map; `slot_values` turns what a log writes in its map column into a slot number.
    `fan_on_c` and `thermostat_c` are None where the bike has none. The ignition tables come together or not at all;
    `unread_tables` are files of them that a text out of a library names but does not hold.
    """

    id: str
    build: str
    total_kg: float
    tyre_circumference_m: float
    primary: float
    final: float
    gears: tuple[float, ...]
    driveline_efficiency: float
    displacement_cc: float
    power_curve_rpm: tuple[float, ...]
    power_curve_kw: tuple[float, ...]
    compression_ratio: float
    fuel_ron: float
    built_for_elevation_m: tuple[float, float]
    drag_area_m2: float
    glycol_volume_share: float
    cap_kpa: float
    fan_on_c: float | None
    thermostat_c: float | None
    conservative_slot: int
    slot_values: tuple[tuple[str, int], ...]
    heat_ratio: float | None
    ignition_standard: IgnitionTable | None
    ignition_conservative: IgnitionTable | None
    thresholds: tuple[tuple[str, float], ...]
    services: tuple[Service, ...]
    unread_tables: tuple[str, ...] = ()
    defaults_used: tuple[str, ...] = field(default=())

    @property
    def peak_power_kw(self) -> float:
        """Highest point of the wide-open curve, kW at the crank."""
        return max(self.power_curve_kw)

    @property
    def limit_c(self) -> float:
        """The temperature not to pass: the threshold named `limit`, else the highest one."""
        named = dict(self.thresholds)
        return named.get("limit", max(named.values()))

    @property
    def overall_ratios(self) -> tuple[float, ...]:
        """Engine turns per wheel turn, from first gear up."""
        return tuple(self.primary * gear * self.final for gear in self.gears)

    @property
    def rpm_per_mps(self) -> tuple[float, ...]:
        """Engine speed over ground speed without slip, (1/min)/(m/s), from first gear up.

        v = (rpm/60) / (primary * gear * final) * circumference: plain geometry.
        """
        return tuple(60.0 * ratio / self.tyre_circumference_m for ratio in self.overall_ratios)

    def slot_of(self, written: str) -> int | None:
        """Slot for what the log wrote, or None where the profile does not list it."""
        return dict(self.slot_values).get(written)


DEFAULT_THRESHOLDS_C: tuple[tuple[str, float], ...] = (("warm", 95.0), ("hot", 105.0), ("limit", 115.0))
"""Shown where no bike file names others. Common practice, no source: published figures differ by more than 10 C."""


def _ordered(table: Table, key: str, values: tuple[float, ...], *, rising: bool) -> None:
    pairs = itertools.pairwise(values)
    if not all((a < b) if rising else (a > b) for a, b in pairs):
        raise table.fail(key, f"is {list(values)}", "values that " + ("rise" if rising else "fall") + " one by one")


def _thresholds(table: Table) -> tuple[tuple[str, float], ...]:
    found: list[tuple[str, float]] = []
    for name in table.items():
        number = table.number(name, 0.0, 30.0, 180.0, "C")
        found.append((name, number))
    if not found:
        table.defaults_used.append("thresholds")
        return DEFAULT_THRESHOLDS_C
    return tuple(sorted(found, key=lambda item: item[1]))


def _slots(table: Table, key: str) -> tuple[tuple[str, int], ...]:
    if not table.has(key):
        table.defaults_used.append(f"maps.{key}")
        return (("1", 1), ("2", 2))
    value = table.raw(key)
    if not isinstance(value, dict) or not value:
        raise table.fail(key, f"is {value!r}", 'a table such as { "0" = 1, "1" = 2 }: what the log writes = slot')
    slots: list[tuple[str, int]] = []
    for written, slot in value.items():
        if isinstance(slot, bool) or not isinstance(slot, int) or not 0 <= slot <= 15:
            raise table.fail(f"{key}.{written}", f"is {slot!r}", "a slot number from 0 to 15")
        plain = written.strip().lower()
        if plain in dict(slots):
            raise table.fail(f"{key}.{written}", "says the same as another entry", "each value of the log once")
        slots.append((plain, slot))
    return tuple(slots)


def _services(tables: list[Table]) -> tuple[Service, ...]:
    services = []
    for table in tables:
        day = table.day("date")
        if day is None:
            raise table.fail("date", "is missing", "a date such as 2026-05-02")
        services.append(Service(day, table.text("what")))
        table.close()
    return tuple(sorted(services, key=lambda service: service.day))


def _curve(engine: Table) -> tuple[tuple[float, ...], tuple[float, ...]]:
    rpm = engine.numbers("power_curve_rpm", (3000.0, 5000.0, 6500.0, 8200.0, 9500.0), 500.0, 16_000.0, "1/min")
    kilowatt = engine.numbers("power_curve_kw", (7.0, 16.0, 28.0, 36.0, 29.0), 0.1, 100.0, "kW")
    if engine.has("power_curve_rpm") != engine.has("power_curve_kw"):
        raise engine.fail("power_curve_rpm", "and power_curve_kw must come together", "both lists or neither")
    if len(rpm) != len(kilowatt) or len(rpm) < 2:
        raise engine.fail(
            "power_curve_kw", f"has {len(kilowatt)} values, power_curve_rpm {len(rpm)}", "equal lengths, two at least"
        )
    _ordered(engine, "power_curve_rpm", rpm, rising=True)
    return rpm, kilowatt


IGNITION_KEYS = ("ignition_standard", "ignition_conservative")


def _tables(maps: Table, folder: Path | None) -> tuple[list[IgnitionTable | None], list[str]]:
    """The two ignition tables, and the files named that can't be read because no folder is known."""
    given = [key for key in IGNITION_KEYS if maps.has(key)]
    # A text of the library may be from a time when one name alone was taken.
    if len(given) == 1 and (folder is not None or isinstance(maps.raw(given[0]), dict)):
        raise maps.fail(given[0], "stands alone", "both maps' tables, or neither: " + ", ".join(IGNITION_KEYS))
    tables: list[IgnitionTable | None] = []
    unread: list[str] = []
    for key in given:
        value = maps.raw(key)
        if isinstance(value, dict):
            tables.append(ignition_table.parse_table(maps, key))
        elif folder is not None:
            tables.append(ignition_table.read_file(folder / maps.text(key)))
        else:
            unread.append(maps.text(key))
    return (tables, []) if len(tables) == len(IGNITION_KEYS) else ([None, None], unread)


def parse_bike(text: str, where: str, folder: Path | None = None) -> Bike:
    """A bike from the text of its file. Raises ProfileError that names file, key, what was found and expected.

    `folder` is where files that the text names are looked for; without it they are left unread."""
    top = profile_file.parse(text, where)
    top.schema()
    bike_id = top.text("id")
    if not _ID.fullmatch(bike_id):
        raise top.fail("id", f"is {bike_id!r}", "1 to 64 of a-z, 0-9, dot, dash and underscore, not led by a dot")
    mass, wheels, gearing, engine = (top.table(key) for key in ("mass", "wheels", "gearing", "engine"))
    aero, cooling, maps, thresholds = (top.table(key) for key in ("aero", "cooling", "maps", "thresholds"))
    curve_rpm, curve_kw = _curve(engine)
    gears = gearing.numbers("gears", (2.43, 1.86, 1.47, 1.19, 0.99, 0.86), 0.2, 10.0)
    _ordered(gearing, "gears", gears, rising=False)
    if len(gears) > 8:
        raise gearing.fail("gears", f"has {len(gears)} values", "at most 8")
    built_for = engine.numbers("built_for_elevation_m", (0.0, 1000.0), -430.0, 6000.0, "m")
    if len(built_for) != 2 or built_for[0] > built_for[1]:
        raise engine.fail("built_for_elevation_m", f"is {list(built_for)}", "two heights, lower first")
    tables, unread = _tables(maps, folder)
    bike = Bike(
        id=bike_id,
        build=top.text("build", bike_id),
        total_kg=mass.number("total_kg", 195.0, 60.0, 400.0, "kg"),
        tyre_circumference_m=wheels.number("tyre_circumference_m", 2.05, 0.8, 3.0, "m"),
        primary=gearing.number("primary", 2.75, 0.5, 8.0),
        final=gearing.number("final", 3.846, 0.5, 10.0),
        gears=gears,
        driveline_efficiency=gearing.number("driveline_efficiency", 0.90, 0.5, 1.0),
        displacement_cc=engine.number("displacement_cc", 293.0, 40.0, 1000.0, "cm3"),
        power_curve_rpm=curve_rpm,
        power_curve_kw=curve_kw,
        compression_ratio=engine.number("compression_ratio", 12.5, 4.0, 20.0),
        fuel_ron=engine.number("fuel_ron", 98.0, 70.0, 125.0),
        built_for_elevation_m=(built_for[0], built_for[1]),
        drag_area_m2=aero.number("drag_area_m2", 0.55, 0.1, 2.0, "m2"),
        glycol_volume_share=cooling.number("glycol_volume_share", 0.5, 0.0, 0.8),
        cap_kpa=cooling.number("cap_kpa", 110.0, 0.0, 300.0, "kPa, gauge"),
        fan_on_c=cooling.optional_number("fan_on_c", 40.0, 130.0, "C"),
        thermostat_c=cooling.optional_number("thermostat_c", 30.0, 110.0, "C"),
        conservative_slot=int(maps.number("conservative_slot", 2.0, 0.0, 15.0)),
        slot_values=_slots(maps, "slot_values"),
        heat_ratio=maps.optional_number("heat_ratio", 0.3, 1.2),
        ignition_standard=tables[0],
        ignition_conservative=tables[1],
        thresholds=_thresholds(thresholds),
        services=_services(top.tables("service")),
        unread_tables=tuple(unread),
        defaults_used=tuple(top.defaults_used),
    )
    for table in (top, mass, wheels, gearing, engine, aero, cooling, maps):
        table.close()
    if bike.slot_values and bike.conservative_slot not in {slot for _, slot in bike.slot_values}:
        raise maps.fail(
            "conservative_slot",
            f"is {bike.conservative_slot}, which no entry of slot_values leads to",
            "one of " + ", ".join(str(slot) for slot in sorted({slot for _, slot in bike.slot_values})),
        )
    return bike


def read_bike(path: Path) -> Bike:
    """A bike from a file, and the tables its text names from files beside it. Raises ProfileError."""
    return parse_bike(profile_file.read_text(path), path.name, path.parent)


def with_tables_inside(text: str, bike: Bike) -> str:
    """The bike file's text with its ignition tables in place of the names of their files, so that it stands by itself.

    Raises ProfileError where the names stand in a form that can't be replaced."""
    plain = text
    for key, table in zip(IGNITION_KEYS, (bike.ignition_standard, bike.ignition_conservative), strict=True):
        name = re.search(rf"""^[^#\n]*\b{key}["']?\s*=\s*("[^"\n]*"|'[^'\n]*')""", plain, re.MULTILINE)
        if table is not None and name is not None:
            plain = plain[: name.start(1)] + table.as_toml() + plain[name.end(1) :]
    try:
        same = parse_bike(plain, bike.id) == bike
    except ProfileError:
        same = False
    if not same:
        raise ProfileError(
            "the ignition tables can't be put into the text",
            where=f"bike {bike.id}",
            expected=f'lines such as {IGNITION_KEYS[0]} = "standard.csv" under [maps]',
            to_do="write the names so, or the tables themselves",
        )
    return plain


def template(bike_id: str) -> str:
    """A commented bike file with every key, for `ridelog bikes new`."""
    if not _ID.fullmatch(bike_id):
        raise ProfileError(
            f"{bike_id!r} can't be a bike id",
            expected="1 to 64 of a-z, 0-9, dot, dash and underscore, not led by a dot",
            to_do="choose another id",
        )
    return _TEMPLATE.format(bike_id=bike_id)


_TEMPLATE = """\
# Bike file of {bike_id}. Fill in what you know and take the '#' away before it. A line that stays behind a '#' is not
# yours: its default is used, and every result says so.
schema = 1
id = "{bike_id}"
build = "{bike_id}"                    # bikes of the same build are compared with each other

[mass]
# total_kg = 195.0                  # bike, fuel, rider and kit

[wheels]
# tyre_circumference_m = 2.05       # rear wheel, rolled on the ground with the rider on

[gearing]
# primary = 2.75
# final = 3.846                     # rear teeth / front teeth
# gears = [2.43, 1.86, 1.47, 1.19, 0.99, 0.86]
# driveline_efficiency = 0.90

[engine]
# displacement_cc = 293
# power_curve_rpm = [3000, 5000, 6500, 8200, 9500]
# power_curve_kw = [7.0, 16.0, 28.0, 36.0, 29.0]     # at the crank, wide open, standard map
# compression_ratio = 12.5
# fuel_ron = 98
# built_for_elevation_m = [0, 1000]

[aero]
# drag_area_m2 = 0.55

[cooling]
# glycol_volume_share = 0.5
# cap_kpa = 110.0                   # gauge pressure at which the cap opens
# fan_on_c = 95.0                   # only where there is a fan
# thermostat_c = 65.0               # only where there is a thermostat: starts to open

[maps]
# conservative_slot = 2
# slot_values = {{ "1" = 1, "2" = 2 }}  # what the log writes = slot
# heat_ratio = 0.90                 # your own figure for the conservative map's heat, if you have one
# ignition_standard = "standard.csv"          # tables of the two maps' ignition beside this file, if you have them:
# ignition_conservative = "conservative.csv"  # first row throttle in %, first column rpm, degrees before TDC

[thresholds]                        # name = temperature in C
# warm = 95.0
# hot = 105.0
# limit = 115.0

# [[service]]
# date = 2026-05-02
# what = "radiators washed"
"""
