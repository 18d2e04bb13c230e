"""What a log could not answer, and why: every reason that stands beside a question left open.

Each names what would settle it. `words.terms.QUESTION_WORDS` holds the questions.
"""

from __future__ import annotations

from collections.abc import Sequence

from ridelog.words.terms import share as as_share

# the throttle, gears and speed

NO_SPEED = "the log has no speed and no position"
NO_THROTTLE = "the log has no throttle"
NO_ELEVATION = "the log has no elevation"
NO_ENGINE_SPEED = "the log has no engine speed, so a running engine can't be told"

NO_RATIO = "no ratio of engine speed to speed stands out in this log, and no bike file gives the gearing"
NO_GEAR_FITS = "no gear fits engine speed over speed, so it is not known when the engine drives"
CLIMB_OR_SOFT = "the log has no elevation, so a climb can't be told from soft ground: drag holds both. Add a GPS track"
WHEEL_SPEED = "speed comes from the wheel, so a spinning tyre is not seen. Add a GPS track"


def not_shown(why: str) -> str:
    """A kind of stretch that this log can't show, for the reason given."""
    return f"{why}. Log it to have such stretches judged"


def never_open(open_pct: float) -> str:
    """The throttle's open stop was not seen."""
    return (
        f"the throttle was never seen against its open stop; {open_pct:.0f} % as logged counts as wide open. "
        "Open it fully once while logging, engine off"
    )


def not_an_opening(at_idle_pct: float) -> str:
    """A throttle channel that reads open while the engine idles."""
    return (
        f"the throttle channel reads {at_idle_pct:.0f} % while the engine idles, standing, so it is not the throttle's "
        "opening and was left out. Log the throttle position sensor"
    )


def gearing_off(factor: float) -> str:
    """Engine speed over speed is `factor` times what the bike file gives, in all gears alike."""
    off = f"{100.0 * abs(factor - 1.0):.0f} % {'above' if factor > 1.0 else 'below'}"
    return (
        f"engine speed over speed is {off} what the bike file's gearing and tyre give, in all gears alike; "
        "gears were told by the log's own ratios. Count the sprocket teeth, roll out the rear wheel, and correct the "
        "bike file"
    )


def spin_or_clutch(seconds: float) -> str:
    """The engine ran ahead of the bike for so long."""
    return (
        f"for {seconds:.0f} s the engine ran a quarter faster than the bike, or more: a spinning tyre and a "
        "slipping clutch look alike here. Log the wheel's speed, or feel the clutch"
    )


def drag_without_bike(lacking: str) -> str:
    """Drag without a bike file; `lacking` lists channels the log does not have either."""
    also = f", and the log has no usable {lacking}" if lacking else ""
    return f"no bike file: drag needs the bike's mass, gearing and power curve{also}. Add one (ridelog bikes new)"


def drag_lacks(lacking: str) -> str:
    """Drag without channels it needs."""
    return f"the log has no usable {lacking}; drag needs engine speed, throttle and ground speed"


# the coolant

NO_COOLANT = "the log has no usable coolant temperature. Log the coolant sensor"
BOILING_WITHOUT_BIKE = "no bike file: the cap's pressure and the coolant mix are not known"


def second_sensor_longer(other: str) -> str:
    """The first coolant sensor is left out in parts; another one, by name, is not."""
    return (
        f"the first coolant sensor is left out in parts, {other} is usable for longer; the two are not mixed, "
        "so times without the first count as not known. Put the sensor right, or name the second one "
        "coolant_c with --column"
    )


def second_sensor_used(other: str) -> str:
    """All figures come from another coolant sensor, by name."""
    return (
        f"the first coolant sensor has no usable value, so all coolant figures come from the other one, {other}, which "
        "may sit elsewhere in the circuit and read some degrees apart. Put the first sensor right"
    )


def beyond_boiling(ambient_kpa: float, cap_kpa: float) -> str:
    """Pressures outside the formula of the boiling point."""
    return f"{ambient_kpa:.0f} kPa of air under a cap of {cap_kpa:.0f} kPa is beyond what the formula covers"


# the map in use

NO_MAP = "the log has no map switch. Log the switch, or note the times of switching"
MAP_WITHOUT_BIKE = "no bike file says which slot holds the conservative map"
MAP_WORDS_WITHOUT_BIKE = (
    "no bike file says what the words in the map column mean. Name the bike, with maps.slot_values in its file"
)
MAP_WORDS_LOST = (
    "the words in the map column meant nothing when the ride was imported. Import it again with its bike file"
)


def unlisted_slots(strange: Sequence[str], bike: str, slot_values: Sequence[tuple[str, int]]) -> str:
    """The map switch read values that the bike file does not list."""
    shown = ", ".join(repr(word[:20]) for word in strange[:4]) + (", ..." if len(strange) > 4 else "")
    known = ", ".join(f'"{word}" = {slot}' for word, slot in slot_values)
    new = ", ".join(f'"{word[:20]}" = SLOT' for word in strange[:4])
    return (
        f"the map switch reads {shown} at times, which maps.slot_values of bike {bike} does not list. Add it with "
        f"its slot number, under [maps]: slot_values = {{ {known}, {new} }}"
    )


FROM_IGNITION, FROM_NOTES = "ignition advance and both maps' tables", "notes on the ride"
"""What stands as the source of a map that was not logged."""
IGNITION_UNSURE = "the ignition angle leaves both maps possible all along, because it may be off by what they differ"
NO_IGNITION_TABLES = "the ignition angle is logged: with both maps' tables in the bike file it may tell the map"
IGNITION_ALONE = "the ignition angle tells the map only beside engine speed and throttle, which the log does not have"


def map_from_ignition(share: float) -> str:
    """The map was worked out from the ignition angle for a share of the ride."""
    return (
        f"the log has no map switch; the map was worked out from the ignition angle, which tells it for "
        f"{as_share(share)} of the ride. Where both maps fire alike nothing can be told, and tables swapped in the "
        "bike file would turn every answer round. Log the switch"
    )


def map_from_notes(share: float) -> str:
    """The map was taken from notes for a share of the ride."""
    return (
        f"the log has no map switch; notes on the ride tell the map for {as_share(share)} of it, each switch good to "
        "half a minute, and a switch that nobody noted is not seen. Log the switch"
    )


def tables_not_kept(bike: str, files: Sequence[str]) -> str:
    """The library's text of a bike names tables it does not hold."""
    return (
        f"the library keeps bike {bike} without the ignition tables it names ({', '.join(files)}): add the bike file "
        "again to have the map told from the ignition angle"
    )


def ignition_unlike(why: str, figure: float) -> str:
    """Why an ignition angle can't tell the map; `figure` is what `map_inference.Unlike` counts."""
    if why == "short":
        return f"the ignition angle could not tell it, because only {figure:.0f} s were ridden with the throttle open"
    if why == "alike":
        return f"the ignition angle could not tell it, because both maps fire alike on all but {figure:.0f} s of it"
    if why == "wanders":
        return (
            f"the ignition angle follows neither map's table (what it is off either of them moves by {figure:.0f} "
            "degrees over the ride). Check the tables in the bike file and the channel"
        )
    return (
        f"the ignition angle follows neither map's table (half of the readings are {figure:.1f} degrees off, or more). "
        "Check the tables in the bike file and the channel"
    )


def with_ignition(reason: str, why: str) -> str:
    """A reason for not knowing the map, with why the ignition angle does not help either."""
    return f"{reason}. {why[:1].upper()}{why[1:]}"


# the bike file against the ride


def power_over_mass(ratio: float, low: float, high: float, *, power_factor: float, mass_kg: float) -> str:
    """Power over mass as ridden is `ratio` (`low` to `high`) times the bike file's; `power_factor` on its curve or
    `mass_kg` would fit."""
    gains, way = ("gains speed more slowly", "lower") if ratio < 1.0 else ("gains speed faster", "higher")
    off, least, most = (abs(100.0 * (end - 1.0)) for end in (ratio, low, high))
    return (
        f"the bike {gains} than its file says: power over mass is {off:.0f} % {way} "
        f"({min(least, most):.0f} to {max(least, most):.0f} %). Either the power curve is off (power_curve_kw times "
        f"{power_factor:.2f} would fit) or the mass is (total_kg near {mass_kg:.0f}); the log can't "
        f"tell which. Weigh it with rider and kit, check the curve; "
        "drag, heat for each kW and verdicts that rest on power lean on both"
    )


def too_much_compression(ratio: float, allowed: float, at_m: float) -> str:
    """Compression over the sheet's row."""
    return f"compression {ratio:g} is over the {allowed:g} that the advice sheet allows at {at_m:.0f} m"


def too_little_octane(ron: float, aki: tuple[float, float], asked: float, at_m: float) -> str:
    """Fuel under the sheet's row; `aki` is what that fuel is by the American scale, low and high."""
    return (
        f"fuel of {ron:g} RON ({aki[0]:g} to {aki[1]:g} AKI) is under the {asked:g} RON that the "
        f"sheet asks for at {at_m:.0f} m"
    )


def built_elsewhere(built_m: tuple[float, float], ridden_m: Sequence[float]) -> str:
    """Ridden outside the elevation it was built for."""
    built, ridden = (f"{low:.0f} to {high:.0f} m" for low, high in (built_m, ridden_m))
    return f"it was built for {built} and ridden at {ridden}"


def build_unsuited(against: Sequence[str]) -> str:
    """All that speaks against the build, with what to do."""
    return (
        "; ".join(against) + ". A build that does not suit the air can detonate unseen by a coolant sensor: have a "
        "qualified technician look at head, fuel and map before it is ridden hard again"
    )


# the heat balance

NO_AIR_TEMPERATURE = (
    "the air's temperature is not known: it was not logged, and no cold start tells it. Give it with --ambient"
)
HEAT_WITHOUT_BIKE = "no bike file: heat is figured from the bike's power curve. Add one (ridelog bikes new)"
HEAT_WITHOUT_ENGINE_SPEED = "the log has no usable engine speed"
HEAT_WITHOUT_SPEED = "the log has no usable speed or position, so the radiator's airflow is not known"
NO_VARIATION = "speed and load hardly change, so heating and cooling can't be told apart"
NOTHING_TOLD = "the ride tells neither heating nor cooling apart from what was known before it"


def no_coolant_to_fit(marks: Sequence[str]) -> str:
    """No usable coolant; `marks` are the doubts that leave it out."""
    why = f" (marked as {', '.join(marks)})" if marks else ""
    return f"the log has no usable coolant temperature{why}"


def too_coarse(step_c: float) -> str:
    """A coolant sensor of coarse steps."""
    return f"the coolant sensor shows steps of {step_c:g} C, too coarse to tell heating from cooling"


def too_short(windows: int, needed: int, needed_min: float) -> str:
    """Too few windows to fit."""
    return (
        f"coolant, engine and speed are known together for only {windows} windows of a minute; "
        f"{needed} are needed, about {needed_min:.0f} min without holes"
    )


def foretells_nothing(error_c: float, stays_c: float) -> str:
    """The balance misses by `error_c`, a coolant that stays as it is by `stays_c`."""
    return (
        f"a minute ahead the balance misses the coolant by {error_c:.1f} C, no better than to say that it stays as it "
        f"is ({stays_c:.1f} C): the reading does not follow what the engine does"
    )
