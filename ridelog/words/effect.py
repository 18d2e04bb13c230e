"""What `ridelog effect` says of the conservative map's effect on heat input, and why at times it can't tell.

Plain text with ordinary spaces. Heat input is an estimate from coolant, and the sentences say so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridelog.words import terms

if TYPE_CHECKING:
    from ridelog.results import Band

WITHOUT: dict[str, str] = {
    "map": "the log does not tell the map in use",
    "coolant": "the log has no usable coolant temperature",
    "engine speed": "the log has no usable engine speed",
    "throttle": "the log has no usable throttle",
    "speed": "the log has no usable speed or position",
    "air": "the air's temperature is not known; give it with ridelog edit RIDE --ambient C",
    "ground": "the ground's drag can't be told, so the map can't be told from the ground",
}
"""Why a ride gives nothing: the first thing it lacks."""

REFUSED: dict[str, str] = {
    "short": "too little of it is known without holes, engine warm and running",
    "numb": "the coolant reading does not follow what the engine does",
    "bouncing": "the map channel changes every few seconds, as a loose contact does",
}

UNREADABLE = "the ride's file can't be read"

METHOD = (
    "Over windows of a minute the coolant's rise is set equal to heat in less heat out. Heat in may depend in any way "
    "on engine speed and throttle, heat out on speed; each ride has its own level of both, and soft ground, climbs "
    "and fast stretches may differ besides. What is left is one ratio for the map. Its 95 % interval is the scatter "
    "between rides (each left out in turn, Student's t), with 2 % for the model and the work the map costs at the "
    "same throttle (2 to 5 % of it, good to 4 %, assumed)."
)

BUILD_METHOD = " Rides of all bikes of the build together; the interval holds a spread of 6 % between bikes, assumed."


def reason(why: str, *, rides: int, both: int, explained: float | None, band: Band | None) -> str:
    """Why the effect can't be told, and what would settle it."""
    share = terms.share(explained) if explained is not None else ""
    return {
        "no_rides": "no ride of the bike tells of it. It takes rides with coolant, engine speed, throttle, speed and "
        "the map switch logged",
        "one_map": f"only one map was ridden in the {_rides(rides)} that count. Ride some stretches on each of them",
        "few_rides": f"both maps were used on {_rides(both)}; four are needed to see how far rides differ among "
        "themselves. Change the map within a ride, for five minutes or more",
        "little": f"one of the maps was used for under ten minutes in all, over {_rides(rides)}. Ride longer on it",
        "ground": "the map was changed with the ground and hardly otherwise: ground and riding tell "
        f"{share} of when it was on. What the map does and what the ground does can't be told apart. Ride the same "
        "stretch once on each map, or switch in the middle of one",
        "wide": f"the rides leave it anywhere from {_span(band)} of the standard map's heat, too far apart to be of "
        "use. More rides on which the map changes on like ground narrow it",
        "swapped": f"heat reads as greater on the conservative map ({_span(band)} at the same throttle), as it would "
        "with the slot numbers the wrong way round. Check maps.conservative_slot and maps.slot_values in the bike file",
    }[why]


def _rides(count: int) -> str:
    return "one ride" if count == 1 else f"{count} rides"


def _span(band: Band | None) -> str:
    return f"{band.low:.2f} to {band.high:.2f}" if band is not None else "not told"


def found(ratio: Band) -> str:
    """The answer in one sentence."""
    change = 100.0 * (1.0 - ratio.value)
    span = f"{ratio.low:.2f} to {ratio.high:.2f}"
    if ratio.high < 1.0:
        return (
            f"At the same work and speed the conservative map puts {change:.0f} % less heat into the coolant "
            f"({100.0 * (1.0 - ratio.high):.0f} to {100.0 * (1.0 - ratio.low):.0f} %)."
        )
    if ratio.low > 1.0:
        return f"At the same work and speed the conservative map puts no less heat into the coolant (ratio {span})."
    return (
        f"At the same work and speed the conservative map puts {ratio.value:.2f} of the standard map's heat into the "
        f"coolant ({span}): it may be no gain at all."
    )


def at_throttle(band: Band) -> str:
    """The ratio as the log shows it directly."""
    return (
        f"At the same throttle the ratio is {band.value:.2f} ({band.low:.2f} to {band.high:.2f}). Part of that is work "
        "the map does not do, which costs more throttle."
    )


def rests_on(rides: int, switches: int, like: int, standard_s: float, conservative_s: float) -> str:
    """What the estimate rests on."""
    return (
        f"From {_rides(rides)}: {terms.duration(standard_s)} on the standard map, {terms.duration(conservative_s)} on "
        f"the conservative one, {switches} {'change' if switches == 1 else 'changes'} between them, "
        f"{'none' if like == 0 else like} of them with like ground before and after."
    )


def of_build(build: str, bikes: int) -> str:
    """Whose rides they are where the bike's own do not tell."""
    return f"The bike's own rides do not tell, so this is from {bikes} bikes of build {build}."


def left_out(count: int) -> str:
    """Rides that gave nothing."""
    return f"{_rides(count).capitalize()} gave nothing"


def how_many(count: int, why: str) -> str:
    """So many rides for one reason."""
    return f"{_rides(count).capitalize()}: {why}."


CANT_TELL = "Can't tell: {reason}."

_CAUTIONS = (
    """Less heat into the coolant is an estimate, and says nothing of the piston: what later ignition spares the walls
    goes out with the exhaust, and a lean or detonating engine can seize with the coolant calm.""",
    "Decide on maps with a qualified technician and the bike's handbook.",
)

CAUTIONS: tuple[str, ...] = tuple(" ".join(text.split()) for text in _CAUTIONS)
