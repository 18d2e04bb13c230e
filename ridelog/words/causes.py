"""Every sentence of a diagnosis: causes, evidence, checks, cautions.

A sentence gives its number with unit and band, says what the log shows and no more, blames nobody, and leaves the last
word to a technician. Plain text with `C` for degrees Celsius, speeds in km/h.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from ridelog.words.cause_checks import CAUSE_CHECKS, GENERAL_CHECKS
from ridelog.words.terms import duration
from ridelog.words.terms import share as as_share

SOUND = "the bike sheds heat as it does on its healthy rides"

CAUSE_WORDS: dict[str, str] = {
    "load_without_conservative_map": "heavy load, by the log on the standard map, where the other one is advised",
    "terrain_load": "the terrain asks for it",
    "standstill_soak": "standing with the engine running",
    "hot_conditions": "a hot day",
    "airflow_blocked": "too little air through the radiators",
    "fan_fault": "the fan does not help",
    "coolant_flow_low": "too little coolant flows",
    "thermostat_restricted": "the thermostat does not open fully",
    "thermostat_stuck_open": "the thermostat stays open",
    "air_in_system": "air in the cooling system",
    "cap_leaking": "the cap or a seal lets coolant go",
    "heat_input_high": "the engine makes more heat for the same work",
    "combustion_gas_in_coolant": "combustion gas may get into the coolant",
    "build_mismatch": "the build does not suit the elevation or the fuel",
    "sensor_fault": "the coolant sensor can't be trusted",
    "normal": "nothing wrong with the bike",
}

FAMILY_WORDS: dict[str, str] = {
    "asked_for": "asked for by ground, standing or day",
    "air_side": "air side",
    "coolant_side": "coolant side",
    "heat_made": "heat made",
    "sensor": "sensor",
    "healthy": "healthy",
}

CAUTIONS: tuple[str, ...] = (
    "Never open a hot cooling system: it can spray boiling coolant. Coolant is poisonous.",
    "A lean or detonating two-stroke can seize without warning, and a coolant sensor can't see it.",
    "These are likelihoods from one log. Decide with a qualified technician, the bike's handbook and local rules.",
)

NOT_ADVISED = "No stretch of this ride called for the conservative map."
MAP_NOT_KNOWN = "The map in use was not logged on the advised stretches, so nothing can be said of the advice."
MAP_NOT_LOGGED = (
    "The map in use was not logged but worked out, or taken from notes: that can't show that the advice was not "
    "followed."
)
MAP_MAY_BE_SWAPPED = (
    "The log shows the conservative map mostly where it is not advised and the standard one where it is: the slot "
    "numbers may be the other way round in the bike file. Nothing is said of the advice until that is checked."
)
HEAT_SPEAKS_AGAINST_NUMBERS = (
    "On other rides of this bike the map that the log names conservative made more heat than the other: its numbers "
    "may be the other way round in the bike file. Nothing is said of the advice until that is checked."
)
ONE_MAP_ONLY = (
    "The log shows one map all through, by the bike file the standard one. That number alone is no proof of the map in "
    "use, so neither yes nor no. Switch the map once at a standstill, so that the log shows both."
)
NOT_SURE_ADVISED = (
    "It is not sure that the sheet speaks of the stretches on the standard map, so nothing is said of the advice."
)

_LOSS = re.compile(
    r"\b(coolant|radiator|overflow|expansion tank)\b[^.,;]*\b(lost|loss|low|leak\w*|missing|overflow\w*|drip\w*)"
    r"|\bwater\b[^.,;]*\b(lost|loss|leak\w*|overflow\w*)"
    r"|\b(lost|loss of|leak\w*|topped up|spat|drip\w*)( \w+){0,3} (coolant|water|radiator|cap|hose|overflow)\b"
    r"|\bcoolant (at|in|from|out of) the overflow\b|\blevel (was |is )?low\b|\bboil\w* over\b",
    re.IGNORECASE,
)
_OPENED = re.compile(
    r"\b(coolant|radiators?|hoses?|water pump|pump|impeller|thermostat|head|cylinder|bled|bleed|refilled|flushed)\b",
    re.IGNORECASE,
)
_CLEANED = re.compile(r"\b(wash\w*|clean\w*|straighten\w*|look\w*|check\w*)\b", re.IGNORECASE)
_NO_LOSS = re.compile(r"\b(no|without|not|never|nothing|zero)\b[^.,;]*", re.IGNORECASE)


def tells_of_loss(note: str) -> bool:
    """Whether a note reports lost coolant; a part that begins with "no" or "without" is not heard."""
    return bool(_LOSS.search(_NO_LOSS.sub("", note)))


def opens_cooling(work: str) -> bool:
    """Whether work on the bike opened the cooling system: washing or looking at a radiator does not."""
    return bool(_OPENED.search(work)) and not _CLEANED.search(work)


def check_next(cause: str) -> tuple[str, ...]:
    """What to look at, cheapest and safest first, with its caution."""
    return CAUSE_CHECKS[cause]


def general_checks() -> tuple[str, ...]:
    """What to look at where the log tells nothing of the cause, cheapest and safest first."""
    return GENERAL_CHECKS


def merged(lists: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """Checks of several causes, each once: all first ones, then all second ones, and so on."""
    depth = max((len(one) for one in lists), default=0)
    return tuple(dict.fromkeys(one[n] for n in range(depth) for one in lists if n < len(one)))


def chance(probability: float) -> str:
    """A likelihood as people say it: no finer than simulated rides bear out."""
    if probability >= 0.95:
        return "more than 9 in 10"
    if probability < 0.05:
        return "less than 1 in 20"
    return f"about {min(max(round(10.0 * probability), 1), 9)} in 10"


def summary(
    conclusion: str, probability: float, *, healthy: float, second: str | None, reason: str | None, advice: str
) -> tuple[str, ...]:
    """The answer in a few sentences; `probability`: that of the likeliest cause; `healthy`: that nothing is wrong with
    the bike."""
    if conclusion == "not_enough_evidence":
        head = f"This ride does not settle the cause: {reason}." if reason else "This ride does not settle the cause."
        return (head, advice)
    told = [f"Most likely: {CAUSE_WORDS[conclusion]} ({chance(probability)})."]
    if conclusion == "normal":
        told = [f"Most likely nothing is wrong ({chance(probability)}): {SOUND}."]
    if conclusion in ASKED_FOR:
        told.insert(0, f"No fault shows ({chance(healthy)}): {SOUND}.")
    if second is not None:
        told.append(f"With it, more likely than not: {CAUSE_WORDS[second]}.")
    return (*told, advice)


ASKED_FOR = ("load_without_conservative_map", "terrain_load", "standstill_soak", "hot_conditions")


def not_fitted(reason: str | None) -> str:
    """Why a ride without a heat balance settles nothing."""
    return f"no heat balance can be made of it ({reason})" if reason else "no heat balance can be made of it"


def undecided(causes: Sequence[str], chances: Sequence[float]) -> str:
    """Which causes are left standing."""
    told = [f"{CAUSE_WORDS[cause]} ({chance(one)})" for cause, one in zip(causes, chances, strict=True)]
    return f"it could be {' or '.join(told)}, and others are not ruled out"


def followed(share: float, advised_s: float) -> str:
    """The advice was followed."""
    return f"The conservative map was on for {as_share(share)} of the {duration(advised_s)} where it is advised."


def partly(share: float, advised_s: float) -> str:
    """The advice was followed in part."""
    return (
        f"The conservative map was on for {as_share(share)} of the {duration(advised_s)} where it is advised: "
        "some of it, so neither yes nor no."
    )


def on_standard(share: float, advised_s: float) -> str:
    """The advice was not followed."""
    return (
        f"The log shows the standard map for {as_share(1.0 - share)} of the {duration(advised_s)} where the sheet "
        "advises the conservative one."
    )


def against_what(rides: int, level: str) -> str:
    """What the ride was held against."""
    if not rides:
        return "There is no other ride to go by, so the ride is held against what is usual for such bikes."
    whose = "of this bike" if level == "bike" else "of this bike or of others of its build"
    return f"Held against {rides} ride{'s' if rides > 1 else ''} {whose} that nobody marked faulty."
