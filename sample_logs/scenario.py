"""The six weeks of riding: who rode what on which day, with which sensors, written in which form."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from functools import cache

from . import forms, truth
from .garage import ENDURO_07, ENDURO_12, ENDURO_21
from .simulation import course as courses
from .simulation.course import Course
from .simulation.ride import Day, RidePlan
from .simulation.rider import NEVER, Press, Stop
from .simulation.sensors import Fitting
from .writers import Form

SUMMER = timezone(timedelta(hours=2))


@dataclass(frozen=True)
class Hole:
    """Lost data from some time after a zone is reached, so that the hole stays where it was meant to be."""

    zone: str
    lap: int
    after_s: float
    length_s: float


@dataclass(frozen=True)
class Output:
    """One file of a ride; no form means a position track."""

    file: str
    form: Form | None
    fitting: Fitting
    rows_lost: tuple[Hole, ...] = ()
    coolant_lost: tuple[Hole, ...] = ()
    coolant_stuck: tuple[Hole, ...] = ()
    stops_before_end_s: float = 0.0


@dataclass(frozen=True)
class Entry:
    name: str
    about: str
    policy: str
    plan: Callable[[], RidePlan]
    start: datetime
    outputs: tuple[Output, ...]
    map_logged: bool = True
    ambient_told: bool = True
    start_told: bool = True  # the file has no date of its own
    timezone: str | None = "UTC"
    fault: dict | str = field(default="none")
    advised: frozenset[str] = truth.ADVISED  # kinds of stretch the sheet of the day asks the conservative map for


@cache
def red() -> Course:
    return courses.red_loop()


@cache
def long() -> Course:
    return courses.long_loop()


def spot(course: Course, lap: int, zone: str, share: float) -> float:
    index = [z.name for z in course.zones].index(zone)
    return (lap - 1) * course.length_m + course.starts_m[index] + share * course.zones[index].length_m


def _right(zone: str, lap: int) -> Press:
    """Every time, within a few seconds, and not always the same number of them."""
    return Press(after_s=2.5 + (len(zone) * 7 + lap * 3) % 5, back_after_s=3.0 + (len(zone) + lap) % 3)


def _late(zone: str, lap: int) -> Press:
    """Remembers only when half of it is behind him; the last lap goes better on the sand."""
    if lap == 3 and "sand" in zone:
        return Press(after_s=5.0)
    return Press(after_s=None, at_share=0.60 if "sand" in zone else 0.62)


def _forgets_in_part(zone: str, lap: int) -> Press:
    """Keeps the habit on sand, forgets it on the fast road, and loses it on later laps."""
    if zone == "long road" or (lap == 3 and zone == "dune field") or (lap == 4 and zone != "dune field"):
        return NEVER
    return _right(zone, lap)


def _fast_only(zone: str, lap: int) -> Press:
    return NEVER if "sand" in zone else _right(zone, lap)


def _sand_only(zone: str, lap: int) -> Press:
    return _right(zone, lap) if zone in ("dune field", "river sand") else NEVER


def _day(month: int, day: int, clock: str, zone: timezone = UTC) -> datetime:
    return datetime.fromisoformat(f"2026-{month:02d}-{day:02d}T{clock}").replace(tzinfo=zone)


def _standard_in_sand():
    return RidePlan(ENDURO_07, red(), Day(33.0, 1.5, sun_c=1.6), 101, 2, pace=1.02, press=NEVER, queue_s=110.0)


def _done_right():
    return RidePlan(
        ENDURO_07, red(), Day(33.0, 1.8, sun_c=1.4), 102, 2, pace=1.01, press=_right, end_s=75.0, end_engine_runs=False
    )


def _switches_late():
    return RidePlan(ENDURO_07, red(), Day(24.0, 2.5, -0.6, 0.8), 103, 3, pace=0.99, press=_late)


def _clean_fins():
    return RidePlan(ENDURO_12, red(), Day(29.0, 2.0), 104, 2, pace=0.99, press=_right, start_c=36.0)


def _fins_15():
    return RidePlan(ENDURO_12, red(), Day(23.0, 1.2), 105, 2, pace=1.0, press=_right, blocked=0.15, queue_s=150.0)


def _fins_35():
    stop = Stop(spot(red(), 1, "home wood", 0.8), 170.0, engine_runs=False)
    return RidePlan(ENDURO_12, red(), Day(18.0, 2.2), 106, 2, pace=1.0, press=_right, blocked=0.35, stops=(stop,))


def _fins_50():
    stop = Stop(spot(red(), 1, "pine wood", 0.15), 240.0, engine_runs=False)
    return RidePlan(
        ENDURO_12, red(), Day(8.0, 2.8), 107, 2, pace=0.92, always_conservative=True, blocked=0.50, stops=(stop,)
    )


def _long_ride():
    stop = Stop(spot(long(), 3, "field track", 0.5), 95.0)
    return RidePlan(ENDURO_21, long(), Day(22.0, 2.4), 108, 4, pace=0.99, press=_forgets_in_part, stops=(stop,))


def _no_map():
    return RidePlan(ENDURO_21, red(), Day(19.0, 1.6), 109, 1, pace=0.98, press=_fast_only, start_c=48.0)


def _no_coolant():
    return RidePlan(ENDURO_07, long(), Day(25.0, 3.0, -0.8, -0.6), 110, 2, pace=1.0, press=_right)


def _holes():
    return RidePlan(ENDURO_21, long(), Day(27.0, 1.4), 111, 2, pace=1.0, press=_sand_only)


def _two_devices():
    return RidePlan(ENDURO_07, red(), Day(21.0, 2.0), 112, 2, pace=1.0, press=_fast_only, queue_s=125.0)


ENTRIES = (
    Entry(
        "01-standard-in-sand",
        "A hot day on the red loop with the standard map throughout: deep sand takes the coolant past the limit.",
        "standard map all the way",
        _standard_in_sand,
        _day(5, 9, "10:15:00"),
        (Output("rides/01-standard-in-sand.csv.gz", forms.PLAIN_SECONDS, Fitting(20.0, 5.0, 2.0, slots=("0", "1"))),),
    ),
    Entry(
        "02-switched-in-time",
        "Same bike, loop and heat a day later; the conservative map is on within seconds of every advised stretch.",
        "conservative within a few seconds on every advised stretch",
        _done_right,
        _day(5, 10, "09:40:00"),
        (Output("rides/02-switched-in-time.csv.gz", forms.CLOCK, Fitting(10.0, 10.0, 1.0, 0.5, slots=("0", "1"))),),
    ),
    Entry(
        "03-spaet-geschaltet",
        "Three laps on which the rider thinks of the map button too late; the log has German column names.",
        "switches after more than half of each advised stretch, in time only on the sand of the last lap",
        _switches_late,
        _day(5, 23, "09:05:00", zone=SUMMER),
        (Output("rides/03-spaet-geschaltet.csv", forms.GERMAN, Fitting(10.0, 5.0, 2.0, slots=("0", "1"))),),
        timezone="+02:00",
    ),
    Entry(
        "04-clean-radiators",
        "The second bike with clean radiators, ridden as advised: the reference for the three rides that follow.",
        "conservative within a few seconds on every advised stretch",
        _clean_fins,
        _day(5, 9, "13:30:00"),
        (Output("rides/04-clean-radiators.tsv.gz", forms.TABS, Fitting(20.0, 10.0, 4.0, 0.5)),),
    ),
    Entry(
        "05-first-mud",
        "The same bike after a muddy week, with a wait in the start queue; the map is used as advised.",
        "conservative within a few seconds on every advised stretch",
        _fins_15,
        _day(5, 24, "10:00:00", zone=SUMMER),
        (Output("rides/05-first-mud.csv.gz", forms.ISO_UNITS_ROW, Fitting(10.0, 5.0, 2.0, 0.5)),),
        start_told=False,
        ambient_told=False,
        timezone="+02:00",
        fault={"airflow_blocked": 0.15},
    ),
    Entry(
        "06-more-mud",
        "A cool day, the map used as advised, and yet hotter: a third of the fins see no air. One stop, engine off.",
        "conservative within a few seconds on every advised stretch",
        _fins_35,
        _day(6, 6, "11:20:00"),
        (Output("rides/06-more-mud.csv.gz", forms.PREAMBLE, Fitting(20.0, 5.0, 2.0)),),
        fault={"airflow_blocked": 0.35},
    ),
    Entry(
        "07-half-blocked",
        "A cold day, the conservative map all the way, and still a stop to let it cool: half of the fins are blocked.",
        "conservative map all the way",
        _fins_50,
        _day(6, 20, "08:50:00"),
        (Output("rides/07-half-blocked.csv.gz", forms.OWN_RATES, Fitting(20.0, 5.0, 1.0)),),
        fault={"airflow_blocked": 0.50},
    ),
    Entry(
        "08-long-ride",
        "Three quarters of an hour on the long loop without a fan; the map button is used here and forgotten there.",
        "used on sand at first, never on the long road, less and less on later laps",
        _long_ride,
        _day(5, 16, "12:10:00"),
        (
            Output(
                "rides/08-long-ride.csv.gz",
                forms.FAHRENHEIT,
                Fitting(10.0, 5.0, 2.0, coolant_fahrenheit=True, rpm_step=25.0, slots=("A", "B")),
            ),
        ),
    ),
    Entry(
        "09-no-map-channel",
        "One lap of the red loop; the logger does not record which map was in use.",
        "not logged (in truth conservative on the fast tracks, standard on sand)",
        _no_map,
        _day(5, 30, "10:30:00"),
        (Output("rides/09-no-map-channel.csv", forms.NO_MAP, Fitting(10.0, 5.0, 2.0)),),
        map_logged=False,
    ),
    Entry(
        "10-no-coolant",
        "Two laps of the long loop, map used as advised; no coolant sensor was connected.",
        "conservative within a few seconds on every advised stretch",
        _no_coolant,
        _day(6, 6, "14:00:00"),
        (Output("rides/10-no-coolant.csv.gz", forms.NO_COOLANT, Fitting(10.0, 5.0, 2.0, slots=("0", "1"))),),
    ),
    Entry(
        "11-dropouts",
        "Two laps of the long loop with holes in the log and the coolant channel lost over one sand bed.",
        "conservative on sand, standard elsewhere",
        _holes,
        _day(6, 13, "09:30:00"),
        (
            Output(
                "rides/11-dropouts.csv.gz",
                forms.ISO_PLAIN,
                Fitting(20.0, 10.0, 4.0, slots=("A", "B"), first_fix_s=7.0),
                rows_lost=(
                    Hole("birch wood", 1, 12.0, 24.0),
                    Hole("meadow track", 1, 4.0, 12.0),
                    Hole("start lane", 2, 2.0, 14.0),
                    Hole("birch wood", 2, 6.0, 41.0),
                    Hole("gully", 2, 2.0, 55.0),
                    Hole("back road", 2, 1.0, 31.0),
                ),
                coolant_lost=(Hole("dune field", 2, -6.0, 135.0),),
            ),
        ),
        start_told=False,
    ),
    Entry(
        "12-two-devices",
        "Positions from one device, engine data from another, on the same clock; they began and ended apart.",
        "conservative on the fast tracks, standard on sand",
        _two_devices,
        _day(6, 13, "12:04:11"),
        (
            Output("rides/12-two-devices.gpx", None, Fitting(1.0, 1.0), stops_before_end_s=46.0),
            Output(
                "rides/12-two-devices.csv.gz",
                forms.ENGINE_ONLY,
                Fitting(10.0, 5.0, 2.0, 0.5, slots=("0", "1"), from_s=6.4),
            ),
        ),
        start_told=False,
    ),
)
