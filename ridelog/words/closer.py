"""One ride looked at more closely, in words: answers, reasons why there is none, and rows of tables."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from ridelog.advice import CONDITIONS
from ridelog.analysis.matched_use import OPENING_EDGES, RPM_EDGES
from ridelog.closer import CLOCK_S, SENSOR_C
from ridelog.words.compare import listed, signed
from ridelog.words.compare_tables import cool_down_words, fan_words, load_words, speed_words
from ridelog.words.display import DASH, METRIC, Display
from ridelog.words.heat import estimated
from ridelog.words.riding import NAMES, riding_rows
from ridelog.words.summary import AFTER as GROUND
from ridelog.words.terms import KIND_WORDS, VERDICT_WORDS, clock, degrees, duration, share

if TYPE_CHECKING:
    from typing import Any

    from ridelog.advice import Advice
    from ridelog.closer import HotMap, HotMinute, Level, Shifted
    from ridelog.closer_rates import Alone, Follows, RateRow, Rates
    from ridelog.results import Analysis, Band, FloatArray, Mark

TITLE = "Asked of this ride"

QUESTIONS: dict[str, str] = {
    "minute": "When and where was the hottest minute, and on which map?",
    "levels": "How long above other temperatures, and what if the sensor is off?",
    "hidden": "Can the hot part hide where nothing was logged?",
    "clock": "How much hangs on the map's clock?",
    "map": "Which stretches called for the map, how late was the switch, how long did it stay?",
    "follows": "Does the temperature follow the load or the air? How fast does it rise and fall?",
    "steady": "Where does it lie at a steady pace?",
    "down": "How fast did it come down again, and does the fan work?",
    "fast": "How much time at high revs and wide throttle?",
    "gears": "Does engine speed fit ground speed in each gear?",
    "sensors": "Do two coolant sensors agree, and which is right?",
    "beside": "Was it hotter than before: other rides, work on the bike, its build?",
    "again": "Can this be checked again?",
    "positions": "Who sees where it was ridden?",
}
SHOW_MINUTE = "Show that minute in the picture"
TRY_THRESHOLDS = "Try other thresholds over all rides of this bike"
HEATING, COOLING = "Rising, by load (share of peak power)", "With the throttle shut or nearly so, by speed"
LOAD, SPEED = "Load", "Speed"
NO_ROWS = "Can't tell: less than 40 s of it in any row."
CRUISE_NOTE = (
    "Stretches of 40 s at one pace with the coolant settled: median of them. Set beside an earlier ride it tells "
    "whether the bike settles higher than it did."
)
FAST, CELLS = "Time at high revs with a wide throttle", "Seconds by engine speed and throttle"
BEFORE, AFTER = "Beside the ride before it, {}", "Beside the ride after it, {}"
LAPS = "Its own laps and ground ridden twice"
NO_OTHER_RIDE = (
    "No other ride of this bike that nobody marked faulty has what a heat balance needs. Any two rides can be chosen "
    "on the page of the comparison."
)

NO_COOLANT = "Can't tell: the log has no minute in which the coolant is known."
NEVER_ABOVE = "It passed none of its thresholds, so there is no hot time to share out between maps."
NO_MAP = "Can't tell: the map was not logged. One from notes or from the ignition angle is looser than a second anyway."
NOT_ADVISED = "No stretch called for the conservative map, so no verdict hangs on its clock."
NO_STEADY = (
    "Can't tell: in no 40 s did it hold its speed within 15 % and its coolant within a degree. A road or a firm "
    "track of a minute at one pace shows it."
)
NOT_BOTH = "Can't tell: how fast it came down shows only where coolant and speed are both logged."
NO_GEARS = (
    "Can't tell: gears show only where engine speed and ground speed are known and the bike file has its gearing."
)
NO_CELLS = "Can't tell: it takes engine speed and throttle."
NO_ADVISED_STRETCH = "No stretch of this ride called for the conservative map."
ONE_SENSOR = (
    "Can't tell: this log has one coolant sensor. Import the log of the second device together with this one, and both "
    "are set beside each other."
)
AGREE = "They agree within what two good sensors differ by: 3 C at the middle of the ride, 6 C from moment to moment."
ALL_KNOWN = "Nothing can hide: the coolant is known for the whole ride."

FOLLOW_WORDS = {
    "load": "It follows the load more than the air",
    "air": "It follows the air more than the load",
    "both": "Load and air move it alike, as far as this ride tells",
}


def no_balance(analysis: Analysis) -> str:
    """Why nothing can be told of load and air."""
    reason = analysis.heat.reason or "no minute of it is warm, running and known"
    return f"Can't tell: {reason.rstrip('.')}."


def hottest(found: HotMinute, time_of_day: str) -> str:
    """The hottest minute: when, where, and what was going on."""
    when = f"From {clock(found.start_s)} to {clock(found.end_s)}" + (f" ({time_of_day})" if time_of_day else "")
    where = f", {found.way_m / 1000.0:.1f} km into the ride" if found.way_m is not None else ""
    said = [f"{when}{where}: {found.mean_c:.1f} C on average, {degrees(found.peak_c)} at most."]
    going = [GROUND[kind] for kind in found.kinds] or ["no flagged stretch"]
    speed = f", at {3.6 * found.speed_mps:.0f} km/h on average" if found.speed_mps is not None else ""
    said.append(f"It falls on {' and '.join(going)}{speed}.")
    if found.off_share:
        said.append(f"The engine was off for {share(found.off_share)} of it.")
    if found.known_share < 1.0:
        said.append(f"The coolant is known for {share(found.known_share)} of it.")
    if found.conservative_share is None:
        said.append("Which map was on is not known.")
    else:
        said.append(f"The conservative map was on for {share(found.conservative_share)} of it.")
    return " ".join(said)


def by_map(found: HotMap) -> str:
    """On which map it was hot."""
    told = (("the standard map", found.standard_s), ("the conservative map", found.conservative_s),
            ("a map that is not known", found.unknown_s))  # fmt: skip
    spent = [f"{duration(seconds)} on {words}" for words, seconds in told if seconds >= 0.05]
    return f"Above {degrees(found.threshold_c)} ({found.name}): {', '.join(spent)}."


def level_columns() -> tuple[str, ...]:
    """Heads of the table of levels."""
    return (
        "Above",
        "Time",
        "Times",
        "Longest",
        f"If it reads {SENSOR_C:g} °C too high",
        f"If it reads {SENSOR_C:g} °C too low",
    )


def level_rows(rows: Sequence[Level], display: Display = METRIC) -> list[tuple[str, ...]]:
    """One row a level."""
    return [
        (
            display.temperature_text(row.threshold_c) + (f" ({row.name})" if row.name else ""),
            duration(row.seconds),
            str(row.times),
            duration(row.longest_s),
            duration(row.if_high_s),
            duration(row.if_low_s),
        )
        for row in rows
    ]


def sensitive(rows: Sequence[Level]) -> str:
    """Which thresholds' answers would flip."""
    named = [row for row in rows if row.name]
    flips = [f"{degrees(row.threshold_c)} ({row.name})" for row in named if not row.sure]
    stays = [f"{degrees(row.threshold_c)} ({row.name})" for row in named if row.sure]
    said = f"A sensor in order may be {SENSOR_C:g} C off."
    if flips:
        said += f" Whether it was ever above {listed(flips)} hangs on that."
    if stays:
        said += f" For {listed(stays)} the answer stays the same, only the time changes."
    return said + f" A threshold moved by {SENSOR_C:g} C does the same as a sensor that is off by as much."


def by_clock(rows: Sequence[Shifted], shown_share: float | None) -> str:
    """How far the advice figures hang on the map's clock."""
    shares = [row.share for row in rows if row.share is not None]
    if shown_share is None or not shares:
        return NO_MAP
    middle = next(row for row in rows if row.shift_s == 0.0)
    moved = sum(1 for n, verdict in enumerate(middle.verdicts) if any(row.verdicts[n] != verdict for row in rows))
    count = len(middle.verdicts)
    low, high = (f"{100.0 * pick(*shares, shown_share):.1f}" for pick in (min, max))
    reach = (
        f"stays at {high} %" if low == high else f"lies from {low} to {high} % ({100.0 * shown_share:.1f} % as logged)"
    )
    share_words = "the share of the advised time on the conservative map"
    said = f"With the map's clock {CLOCK_S:g} s early or late, {share_words} {reach}."
    stretches = f"{count} advised stretches" if count != 1 else "the one advised stretch"
    verb = "changes its verdict" if moved == 1 else "change their verdicts"
    return f"{said} Of {stretches}, {moved or 'none'} {verb if moved else 'changes its verdict'}."


def followed(found: Follows) -> str:
    """What the temperature follows."""
    return (
        f"{FOLLOW_WORDS[found.answer]}: from minute to minute, load alone moves where the coolant would settle by "
        f"{_pm(found.load_k)}, and what the air carries off alone by {_pm(found.air_k)} (95 %). Over {found.minutes} "
        f"whole minutes, {share(found.share)} of the ride, by its heat balance."
    )


def _pm(band: Band) -> str:
    return f"±{band.value:.0f} C ({band.low:.0f} to {band.high:.0f})"


RATE_COLUMNS = ("C a minute", "Band", "Time")


def rate_note(found: Rates) -> str:
    """What the rates rest on."""
    return (
        f"Measured over windows of 20 s with the coolant warm, {duration(found.seconds)} in all, {share(found.share)} "
        "of the ride, at whatever speed, air and coolant there was: a comparison evens those out. Bands of 95 %, by "
        "drawing blocks of three minutes anew."
    )


def load_rows(rows: Sequence[RateRow]) -> list[tuple[str, ...]]:
    """Heating by load, share of peak power."""
    return [(load_words(row.low, row.high), *_rate(row)) for row in rows]


def speed_rows(rows: Sequence[RateRow]) -> list[tuple[str, ...]]:
    """Cooling by speed."""
    return [(speed_words(row.low, row.high), *_rate(row)) for row in rows]


def _rate(row: RateRow) -> tuple[str, str, str]:
    band = row.band
    told = f"{signed(60.0 * band.low, 1)} to {signed(60.0 * band.high, 1)}" if band is not None else "one block only"
    return signed(60.0 * row.mean_kps, 1), told, duration(row.seconds)


CRUISE_COLUMNS = ("Speed", "Coolant above the air", "Lowest and highest", "Time")


def cruise_rows(found: Alone) -> list[tuple[str, ...]]:
    """Steady pace by speed."""
    return [
        (
            speed_words(one.low_mps, one.high_mps),
            f"{one.lift_k:.0f} C",
            f"{one.lowest_k:.0f} to {one.highest_k:.0f} C",
            duration(one.seconds),
        )
        for one in found.cruise
    ]


def came_down(found: Alone, *, seen: bool) -> str:
    """Coming down once speed returned; `seen`: coolant and speed are both known."""
    if not seen:
        return NOT_BOTH
    return f"Once speed returned: {cool_down_words(found.cool_down)}."


def fan(found: Alone, heat: str) -> str:
    """The fan, as seen and as the balance has it."""
    return f"Fan: {fan_words(found.fan)}.{' ' + heat if heat else ''}"


GEAR_COLUMNS = ("Gear", "1/min for each km/h", "Spread", "Against the bike file", "8 % or more ahead", "Time")


def gear_rows(found: Alone) -> list[tuple[str, ...]]:
    """Engine speed over ground speed by gear."""
    return [
        (
            str(one.gear),
            f"{one.rpm_per_kmh:.0f}",
            f"{100.0 * one.spread:.0f} %",
            DASH if one.over_file is None else f"{signed(100.0 * (one.over_file - 1.0), 1)} %",
            share(one.ahead_share),
            duration(one.seconds),
        )
        for one in found.gears
    ]


GEAR_NOTE = (
    "Off by the same share in every gear: sprocket, tyre or the bike file. Ahead in low gears alone: a spinning wheel "
    "or a slipping clutch, which look alike. Log the wheel's speed, or feel the clutch."
)


def cell_table(cells: FloatArray) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Seconds by engine speed and throttle: heads and rows."""
    heads = ["Engine speed, 1/min"]
    for low, high in pairwise(OPENING_EDGES):
        heads.append(f"over {100 * low:.0f} %" if high == float("inf") else f"{100 * low:.0f} to {100 * high:.0f} %")
    rows = []
    for n, (low, high) in enumerate(pairwise(RPM_EDGES)):
        name = f"over {low:.0f}" if high == float("inf") else f"{low:.0f} to {high:.0f}"
        rows.append((name, *(f"{value:.0f}" if value >= 0.5 else DASH for value in cells[n])))
    return tuple(heads), rows


def fast(facts: dict[str, Any] | None) -> str:
    """High revs with a wide throttle, in a sentence."""
    return dict(riding_rows(facts)).get(NAMES["fast_wide_open"], NO_CELLS)


FAST_COLUMNS = ("Engine speed, 1/min", "Time")


def fast_rows(fact: dict[str, Any]) -> list[tuple[str, ...]]:
    """Seconds by engine speed of what is told as high revs with a wide throttle."""
    return [(f"{one['from_rpm']:.0f} to {one['to_rpm']:.0f}", duration(one["seconds"])) for one in fact["by_rpm"]]


MAP_COLUMNS = ("From", "Stretch", "Advised by", "On the map", "Switched after", "Held on after", "Advice")


def map_rows(analysis: Analysis, grace_s: dict[str, float]) -> list[tuple[str, ...]]:
    """One row a stretch that called for the map: the rule and its time to switch, how late, how long it stayed."""
    return [
        (
            clock(one.start_s),
            KIND_WORDS[one.kind],
            f"rule {KIND_WORDS[one.kind].lower()}, {grace_s[one.kind]:g} s to switch",
            DASH if one.conservative_share is None else share(one.conservative_share),
            _after(one.switched_after_s),
            DASH if one.held_after_s is None else duration(one.held_after_s),
            VERDICT_WORDS[one.verdict],
        )
        for one in analysis.segments
        if one.advised_map == "conservative"
    ]


def _after(seconds: float | None) -> str:
    if seconds is None:
        return DASH
    return "was on already" if seconds <= 0.0 else duration(seconds)


def rules(advice: Advice) -> list[str]:
    """The rules of the sheet that advise the conservative map, with their levels and times."""
    told = []
    for rule in advice.rules:
        if rule.map != "conservative":
            continue
        levels = [f"{CONDITIONS[rule.kind][key].meaning} {_level(rule.kind, key, value)}" for key, value in rule.levels]
        told.append(
            f"{KIND_WORDS[rule.kind]}: {'; '.join(levels)}; for {rule.min_duration_s:g} s or more, pauses up to "
            f"{rule.merge_gap_s:g} s left out, {rule.grace_s:g} s to switch."
        )
    return told


def _level(kind: str, key: str, value: float) -> str:
    unit = CONDITIONS[kind][key].unit
    if unit == "m/s":
        return f"{3.6 * value:g} km/h"
    return f"{value:g}" if unit == "1" else f"{value:g} {unit}"


MAP_NOTE = (
    "Switched after: from the start of the stretch. Held on after: from its end, 0 s where it was off by then. The "
    "rules of the sheet {version}:"
)


def hidden(analysis: Analysis, covered_s: float) -> list[str]:
    """Could the hot part lie where nothing was logged? `covered_s`: seconds for which the coolant is known."""
    whole = analysis.ride.duration_s
    missing = whole - covered_s
    if missing < 0.05:
        return [ALL_KNOWN]
    blind = min(missing, max((row.unknown_s for row in analysis.exposure), default=missing))
    said = [f"For {duration(missing)} of {duration(whole)} ({share(missing / whole)}) the coolant was not logged."]
    told = [row for row in analysis.exposure if row.estimated_s is not None]
    if told and missing - blind > 0.05:
        said.append(f"For {duration(missing - blind)} of that the heat balance speaks:")
        for row in told:
            hides = "could hide there" if (row.estimated_high_s or 0.0) > 0.5 else "hardly hides there"
            said.append(f"time above {degrees(row.threshold_c)} ({row.name}) {hides}: {estimated(row)}, bands of 95 %.")
    if blind > 0.05:
        said.append(
            f"For {duration(blind)} nothing speaks: it may have been above any threshold then, and nothing is assumed."
        )
    return said


def sensors(channels: Sequence[str], marks: Sequence[Mark]) -> list[str]:
    """Two coolant sensors beside each other."""
    if len(channels) < 2:
        return [ONE_SENSOR]
    told = [f"{one.detail[:1].upper()}{one.detail[1:]}." for one in marks if one.kind == "sensors_disagree"]
    return told or [AGREE]


AGAIN_COLUMNS = ("What", "Kept as")


def again_rows(analysis: Analysis) -> list[tuple[str, ...]]:
    """What it takes to get the same digits again."""
    basis = analysis.basis
    return [
        *((f"Log {file.name}, SHA-256", file.sha256) for file in basis.files),
        ("Settings, SHA-256", basis.settings_hash),
        ("Advice sheet", basis.advice_version),
        ("Program version", basis.version),
    ]


AGAIN_NOTE = (
    "The log is kept as it came. Its copy here is given out only where it still has that hash. With the same version "
    "and the same hashes the command below gives the same digits."
)
ORIGINAL = "The log as it came"
ORIGINAL_WHOLE = "It holds the whole track, whatever the settings leave out of other downloads."
POSITIONS = (
    "Whoever can open this dashboard sees the shape of the course and how far along it things happened, on no map of "
    "the earth. Coordinates are given out only in files that are downloaded."
)
ANSWERS_HERE = "The dashboard answers this computer alone."
ANSWERS_ALL = "The dashboard answers other computers too: whoever has its token sees all rides."
POSITIONS_NONE = "The log holds no positions, so none can get out."


def positions(trim_m: float) -> str:
    """What downloads hold now."""
    if trim_m > 0.0:
        return (
            f"From downloads the first and the last {trim_m:g} m are left out, and all that could tell where they lie."
        )
    return "Downloads hold the whole track, its ends too: set in the settings how many metres to leave out."
