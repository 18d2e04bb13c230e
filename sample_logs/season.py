"""A season around the six weeks: short rides of the same three bikes and of three customers' more, before and after the
advice sheet of 2026. Their logs are made when they are needed, from the seeds that stand here."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache

from . import season_forms as forms
from .garage import ENDURO_07, ENDURO_12, ENDURO_21, ENDURO_26, ENDURO_31, ENDURO_34
from .scenario import Entry, Hole, Output, long, red, spot
from .simulation import course as courses
from .simulation.cooling import SOUND, Faults
from .simulation.course import Course
from .simulation.ride import Day, RidePlan
from .simulation.rider import NEVER, Press, Stop
from .simulation.sensors import Fitting
from .simulation.vehicle import Bike
from .writers import Form

SAND_ONLY = frozenset({"heavy_drag", "high_speed"})
"""What the sheet of 2025 asks the conservative map for; tracks ridden flat out came with the one of 2026."""

NEW_SHEET = datetime(2026, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Remark:
    """What the rider wrote of a moment: some seconds after a zone was reached on the first lap."""

    zone: str
    after_s: float
    about: str
    text: str


@dataclass(frozen=True)
class Coolant:
    """What the coolant's wire does to its readings: values lost, or one value that stays."""

    lost: tuple[Hole, ...] = ()
    stuck: tuple[Hole, ...] = ()


@dataclass(frozen=True)
class SeasonEntry(Entry):
    """A ride of the season, with what is known of the bike on that day and what the rider noted."""

    condition: str = "unknown"
    remarks: tuple[Remark, ...] = ()
    judged: bool = True  # the log holds what it takes to find the stretches


@cache
def dune() -> Course:
    return courses.dune_loop()


@cache
def stone() -> Course:
    return courses.stone_loop()


Habit = Callable[[str, int, int], Press]


def in_time(zone: str, lap: int, seed: int) -> Press:
    """Within a few seconds, never the same number of them."""
    return Press(after_s=2.5 + (len(zone) * 7 + lap * 3 + seed) % 5, back_after_s=3.0 + (len(zone) + seed) % 4)


def late(zone: str, lap: int, seed: int) -> Press:  # noqa: ARG001 - habits are called alike
    """More than half of the stretch is behind him."""
    return Press(after_s=None, at_share=0.58 + 0.02 * (seed % 4))


def forgets(zone: str, lap: int, seed: int) -> Press:  # noqa: ARG001
    """Never thinks of it."""
    return NEVER


def stays(zone: str, lap: int, seed: int) -> Press:
    """In time, and then long on it: it comes to mind only when the engine feels lame."""
    return replace(in_time(zone, lap, seed), back_after_s=40.0 + seed % 6)


@dataclass(frozen=True)
class Hands:
    """A rider's way with the map button."""

    words: str
    sand: Habit
    fast: Habit

    def press(self, seed: int) -> Callable[[str, int], Press]:
        """What the simulator asks: zone and lap."""

        def of(zone: str, lap: int) -> Press:
            habit = self.sand if "sand" in zone or zone == "dune field" else self.fast
            return habit(zone, lap, seed)

        return of


FOLLOWS = Hands("conservative within a few seconds on sand and flat-out tracks", in_time, in_time)
LINGERS = Hands("as advised, and on the conservative map for most of a minute more", stays, stays)
ON_SAND = Hands("conservative on sand, standard elsewhere", in_time, forgets)
SAND_LINGERS = Hands("conservative on sand and for most of a minute after it", stays, forgets)
SAND_THEN_LATE = Hands("conservative on sand in time, on the flat-out track late", in_time, late)
LATE = Hands("late everywhere", late, late)
LATE_ON_SAND = Hands("late on sand, standard elsewhere", late, forgets)
FORGETS = Hands("standard map all the way", forgets, forgets)
FAST_ONLY = Hands("standard on sand, conservative on flat-out tracks", forgets, in_time)

FORMS = {
    "enduro-07": (forms.FAN_01, ("0", "1"), 0.5),
    "enduro-12": (forms.LEAN_12, ("1", "2"), 0.5),
    "enduro-21": (forms.LEAN_AB, ("A", "B"), 0.5),
    "enduro-26": (forms.FAN_AB, ("A", "B"), 0.5),
    "enduro-31": (forms.FAN_12, ("1", "2"), 1.0),
    "enduro-34": (forms.FAN_01, ("0", "1"), 1.0),
}


def _ride(  # noqa: PLR0917 - the columns of a table
    name: str,
    day: str,
    bike: Bike,
    course: Callable[[], Course],
    air_c: float,
    hands: Hands,
    about: str,
    *,
    laps: float = 1,
    pace: float = 1.0,
    warm_c: float | None = None,
    blocked: float = 0.0,
    faults: Faults = SOUND,
    conservative: bool = False,
    conservative_laps: tuple[int, ...] = (),
    stop: tuple[str, float, float] | None = None,
    form: Form | None = None,
    coolant: Coolant | None = None,
    fault: dict | str = "none",
    condition: str = "unknown",
    remarks: tuple[Remark, ...] = (),
) -> SeasonEntry:
    start = datetime.fromisoformat(day).replace(tzinfo=UTC)
    seed = int(name[1:3]) + 200
    own, slots, step_c = FORMS[bike.id]
    form = form or own
    dated = form.time_style == "iso"
    kept = {column.channel for column in form.columns}

    def plan() -> RidePlan:
        stops = ()
        if stop is not None:
            zone, share, length_s = stop
            stops = (Stop(spot(course(), 1, zone, share), length_s),)
        return RidePlan(
            bike,
            course(),
            Day(air_c, 1.2 + 0.2 * (seed % 8), sun_c=0.4 + 0.2 * (seed % 6)),
            seed,
            laps,
            pace=pace,
            press=hands.press(seed),
            always_conservative=conservative,
            conservative_laps=conservative_laps,
            blocked=blocked,
            start_c=warm_c,
            stops=stops,
            faults=faults,
        )

    policy = hands.words
    if conservative:
        policy = "conservative map all the way"
    elif conservative_laps:
        policy = f"conservative map on lap {conservative_laps[0]} of {laps:g}, standard on the other"
    coolant = coolant or Coolant()
    return SeasonEntry(
        name=name,
        about=about,
        policy=policy,
        plan=plan,
        start=start,
        outputs=(
            Output(
                f"{name}.csv",
                form,
                Fitting(5.0, 5.0, 2.0, step_c, slots=slots),
                coolant_lost=coolant.lost,
                coolant_stuck=coolant.stuck,
            ),
        ),
        map_logged="slot" in kept,
        start_told=False,
        timezone="UTC" if dated else None,
        fault=fault,
        advised=SAND_ONLY if start < NEW_SHEET else Entry.advised,
        condition=condition,
        remarks=remarks,
        judged="rpm" in kept,
    )


WIRE = Coolant(
    lost=(Hole("pine wood", 1, 20.0, 14.0), Hole("quarry track", 1, 6.0, 9.0), Hole("home wood", 1, 5.0, 22.0)),
    stuck=(Hole("near sand", 1, 8.0, 75.0),),
)

AUTUMN = (
    _ride("s01-autumn-07", "2025-09-06T09:10:00", ENDURO_07, dune, 24.0, FORGETS, "First Saturday in the dunes."),
    _ride("s02-before-wash-12", "2025-09-06T09:30:00", ENDURO_12, dune, 24.0, ON_SAND,
          "The same loop, map used on sand; the fins are dirty since summer.", blocked=0.42,
          fault={"airflow_blocked": 0.42}, condition="faulty"),
    _ride("s03-autumn-31", "2025-09-06T09:50:00", ENDURO_31, dune, 25.0, LATE_ON_SAND, "A third bike of the build.",
          pace=1.01),
    _ride("s04-autumn-21", "2025-09-13T10:05:00", ENDURO_21, dune, 21.0, FORGETS, "The small kit in the dunes."),
    _ride("s05-by-notes-34", "2025-09-13T10:40:00", ENDURO_34, dune, 21.0, FOLLOWS,
          "The logger writes no map, but the rider noted which one he had on.", conservative=True, form=forms.NO_MAP,
          remarks=(Remark("start lane", 2.0, "map_conservative", "On the conservative map, all the way today."),)),
    _ride("s06-autumn-07", "2025-09-20T11:00:00", ENDURO_07, red, 19.0, ON_SAND, "One lap of the red loop.",
          condition="healthy"),
    _ride("s07-autumn-31", "2025-09-20T11:40:00", ENDURO_31, stone, 19.0, FORGETS, "Stones and wood, no sand.",
          condition="healthy"),
    _ride("s08-two-maps-34", "2025-09-27T09:20:00", ENDURO_34, dune, 17.0, FORGETS,
          "Two laps to try the maps: standard first, then conservative.", laps=2, conservative_laps=(2,),
          condition="healthy"),
    _ride("s09-autumn-26", "2025-09-27T10:15:00", ENDURO_26, dune, 17.0, ON_SAND, "Small kit with a fan: sand only."),
    _ride("s10-before-wash-12", "2025-10-04T10:00:00", ENDURO_12, stone, 14.0, FOLLOWS,
          "Slippery clay, so the conservative map was left on; dirty fins.", conservative=True, blocked=0.42,
          fault={"airflow_blocked": 0.42}, condition="faulty"),
    _ride("s11-autumn-31", "2025-10-04T10:25:00", ENDURO_31, dune, 15.0, FORGETS, "A cool day, the map forgotten."),
    _ride("s12-clay-07", "2025-10-11T09:45:00", ENDURO_07, stone, 13.0, FOLLOWS,
          "The same clay with the first bike, conservative map.", conservative=True),
    _ride("s13-long-road-21", "2025-10-11T13:00:00", ENDURO_21, long, 14.0, FORGETS,
          "One lap of the long loop, the long road on the standard map."),
    _ride("s14-autumn-26", "2025-10-18T10:30:00", ENDURO_26, dune, 12.0, ON_SAND, "Sand only again.", warm_c=40.0),
    _ride("s15-autumn-34", "2025-10-18T11:00:00", ENDURO_34, dune, 12.0, LATE_ON_SAND, "Late on both sand beds."),
    _ride("s16-two-maps-07", "2025-10-25T10:10:00", ENDURO_07, dune, 11.0, FORGETS,
          "Two laps to try the maps: conservative first, then standard.", laps=2, conservative_laps=(1,),
          condition="healthy"),
)  # fmt: skip

SPRING = (
    _ride("s17-washed-12", "2026-03-14T10:00:00", ENDURO_12, dune, 11.0, ON_SAND,
          "First ride after the radiators were washed in winter.", condition="healthy"),
    _ride("s18-spring-31", "2026-03-21T09:40:00", ENDURO_31, dune, 13.0, SAND_THEN_LATE,
          "The new sheet asks for flat-out tracks too: late there."),
    _ride("s19-spring-34", "2026-03-21T10:20:00", ENDURO_34, dune, 13.0, SAND_LINGERS, "In time on sand, long on it."),
    _ride("s20-spring-07", "2026-03-28T09:30:00", ENDURO_07, dune, 15.0, FOLLOWS, "As the new sheet says.",
          condition="healthy"),
    _ride("s21-spring-26", "2026-04-04T10:50:00", ENDURO_26, dune, 15.0, ON_SAND, "Sand only, as in autumn.", laps=2),
    _ride("s22-washed-12", "2026-04-11T10:00:00", ENDURO_12, dune, 16.0, ON_SAND, "In time on sand, clean fins.",
          condition="healthy"),
    _ride("s23-no-warm-up-31", "2026-04-12T08:30:00", ENDURO_31, dune, 6.0, SAND_THEN_LATE,
          "A cold morning: the coolant hardly comes up. The thermostat was stuck open.",
          faults=Faults(thermostat_open=True), fault={"thermostat_stuck_open": True}, condition="faulty"),
    _ride("s24-washed-12", "2026-04-18T11:10:00", ENDURO_12, red, 14.0, FOLLOWS, "One red lap on clean fins.",
          condition="healthy"),
    _ride("s25-spring-12", "2026-04-25T10:30:00", ENDURO_12, dune, 19.0, FOLLOWS, "As the new sheet says."),
    _ride("s26-no-date-34", "2026-04-26T10:00:00", ENDURO_34, dune, 18.0, ON_SAND,
          "A counter without a date: nobody knows which day this was.", form=forms.NO_DATE),
    _ride("s27-spring-21", "2026-05-02T10:10:00", ENDURO_21, dune, 17.0, SAND_THEN_LATE, "Better than in autumn."),
)  # fmt: skip

SUMMER = (
    _ride("s28-washed-12", "2026-06-27T09:30:00", ENDURO_12, dune, 30.0, FOLLOWS,
          "Clean radiators on a hot day.", condition="healthy",
          remarks=(Remark("start lane", 5.0, "service", "Radiators taken off and washed out on Tuesday."),)),
    _ride("s29-washed-12", "2026-07-04T10:00:00", ENDURO_12, red, 28.0, FOLLOWS, "One red lap with clean radiators.",
          condition="healthy"),
    _ride("s30-summer-31", "2026-07-04T11:10:00", ENDURO_31, dune, 31.0, FOLLOWS, "In time on every stretch.",
          condition="healthy"),
    _ride("s31-dead-fan-34", "2026-07-11T11:30:00", ENDURO_34, dune, 33.0, LINGERS,
          "A wait at a gate with the engine running: the fan never came on.", warm_c=55.0, form=forms.LEAN_01,
          stop=("home wood", 0.85, 170.0), faults=Faults(fan_dead=True), fault={"fan_dead": True}, condition="faulty",
          remarks=(Remark("home wood", 45.0, "stop", "Waited at a gate, engine running; no fan to hear."),)),
    _ride("s32-hard-sand-31", "2026-07-18T12:00:00", ENDURO_31, dune, 35.0, FOLLOWS,
          "Two laps in the heat of July, everything as advised, and hot all the same.", laps=2, pace=1.03, warm_c=60.0,
          condition="healthy"),
    _ride("s33-gets-hot-07", "2026-07-18T13:20:00", ENDURO_07, red, 29.0, FOLLOWS,
          "Hotter than it was: the pump moves less than half of the coolant.",
          faults=Faults(flow_share=0.35), fault={"coolant_flow": 0.35}),
    _ride("s34-overflow-21", "2026-07-25T10:00:00", ENDURO_21, dune, 27.0, ON_SAND,
          "Nothing to see in the temperatures, but coolant at the overflow.", fault={"cap_leaking": True},
          condition="faulty",
          remarks=(Remark("home wood", 30.0, "coolant_lost", "Coolant at the overflow hose after the lap."),)),
    _ride("s35-loose-plug-34", "2026-08-01T10:20:00", ENDURO_34, dune, 26.0, FOLLOWS,
          "The coolant sensor's plug was loose: values that stay, values that are missing.", coolant=WIRE,
          fault={"sensor": "loose plug"}),
    _ride("s36-summer-26", "2026-08-08T10:45:00", ENDURO_26, dune, 25.0, ON_SAND, "Sand only, as ever.", laps=2),
    _ride("s37-too-short-07", "2026-08-15T09:00:00", ENDURO_07, dune, 22.0, FORGETS,
          "Two minutes with a phone and a thermometer: too little to judge anything by.", laps=0.3,
          form=forms.SPEED_ONLY),
    _ride("s38-new-fan-34", "2026-08-22T11:00:00", ENDURO_34, dune, 31.0, FOLLOWS, "With the new fan, as advised.",
          condition="healthy"),
    _ride("s39-summer-26", "2026-08-29T10:00:00", ENDURO_26, stone, 20.0, FORGETS, "Stones and wood, no sand."),
    _ride("s40-two-maps-31", "2026-09-05T09:30:00", ENDURO_31, dune, 21.0, FORGETS,
          "Two laps to try the maps: conservative first, then standard.", laps=2, conservative_laps=(1,),
          condition="healthy"),
    _ride("s41-summer-21", "2026-09-05T10:30:00", ENDURO_21, dune, 21.0, FOLLOWS, "As advised, on both kinds."),
    _ride("s42-fast-only-07", "2026-09-12T10:00:00", ENDURO_07, dune, 20.0, FAST_ONLY,
          "After the repair: in time on the track, the sand forgotten."),
    _ride("s43-washed-12", "2026-07-25T11:00:00", ENDURO_12, dune, 26.0, FOLLOWS, "Clean radiators once more.",
          condition="healthy"),
    _ride("s44-before-wash-12", "2025-10-25T11:00:00", ENDURO_12, dune, 12.0, ON_SAND, "The last ride before winter.",
          blocked=0.42, fault={"airflow_blocked": 0.42}, condition="faulty"),
)  # fmt: skip

SEASON = (*AUTUMN, *SPRING, *SUMMER)


@dataclass(frozen=True)
class Case:
    """A complaint as it was taken down, and how it ended; open without `workshop`."""

    bike: str
    day: str
    said: str
    rides: tuple[str, ...]
    workshop: str = ""
    cause: str = ""


CASES = (
    Case(
        "enduro-12",
        "2026-06-20",
        "It boils on every sand ride since the kit was fitted, and I do use the soft map.",
        ("06-more-mud", "07-half-blocked"),
        "Fins packed with dried mud over half of both radiators; washed out, no other fault found.",
        "airflow_blocked",
    ),
    Case(
        "enduro-31",
        "2026-07-19",
        "Over a hundred degrees all Saturday. Something must be wrong with it.",
        ("s32-hard-sand-31",),
        "Pressure test, flow, fan and mixture in order. It was 35 C in deep sand.",
        "terrain_load",
    ),
    Case(
        "enduro-07",
        "2026-07-19",
        "It never got this hot on the red loop before.",
        ("s33-gets-hot-07",),
    ),
)

LOOKS = (
    ("01-standard-in-sand", "past the limit, map never used"),
    ("02-switched-in-time", "the same heat, map used as advised"),
    ("07-half-blocked", "fins full of mud: diagnose it"),
    ("08-long-ride", "46 min, map used here, forgotten there"),
    ("10-no-coolant", "no coolant logged: estimated"),
    ("s05-by-notes-34", "no map logged, but noted"),
    ("s08-two-maps-34", "one lap on each map"),
    ("s23-no-warm-up-31", "thermostat stuck open"),
    ("s28-washed-12", "after the wash, cooler again"),
    ("s31-dead-fan-34", "fan dead at a gate"),
    ("s32-hard-sand-31", "hot, and nothing wrong with the bike"),
    ("s33-gets-hot-07", "open case: what is it?"),
    ("s34-overflow-21", "coolant lost at a normal temperature"),
    ("s35-loose-plug-34", "a loose sensor plug"),
    ("s37-too-short-07", "can't be judged, and why"),
)
"""Rides to look at first, and why, in a few words each."""
