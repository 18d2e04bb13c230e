"""What `ridelog demo` says: what it is doing, what the sample library holds, and what to try."""

from __future__ import annotations

import os
from collections.abc import Mapping

IMPORTING = "importing sample ride {} of {}"
RIDING = "riding ride {} of {} of the season"
REVIEWING = "reviewing all rides"
CASE = "taking down complaint {} of {}"

BIKE_COLUMNS = ("bike", "build", "rides", "from", "to")
LOOK_TITLE = "Worth a look"
LOOK_COLUMNS = ("ride", "bike", "why look at it")
TRY_COLUMNS = ("try", "what it tells")

TRIES: tuple[tuple[str, str, str], ...] = (
    ("analyze", "{01-standard-in-sand}", "how hot, how long, where"),
    ("diagnose", "{07-half-blocked}", "what may be behind it"),
    ("diagnose", "{s32-hard-sand-31}", "hot, yet nothing broken"),
    ("compare", "--bike enduro-12 --service 2026-03-01", "what the wash did"),
    ("compare", "--build {s38-new-fan-34}", "a bike in its build"),
    ("review", "", "is the advice followed?"),
    ("effect", "--bike enduro-07", "what the map does"),
    ("effect", "--bike enduro-26", "why it can't be told"),
    ("places", "", "the hottest places"),
    ("case", "list", "complaints and outcomes"),
    ("note", "{s34-overflow-21}", "what was noted"),
    ("report", "{02-switched-in-time} -o ride.html", "a page to send"),
    ("rides", "--all", "every ride"),
)
"""Command, what goes with it, what it tells. Names of sample rides in braces become the ids they have."""


def title(folder: str, rides: int) -> str:
    """Over the table of bikes."""
    return f"{rides} sample rides in {folder}"


def invented() -> str:
    """What the samples are."""
    return "Bikes, riders, places and faults are invented; a simulator made the logs."


def use(folder: str) -> str:
    """How the commands below are made to read this library."""
    if os.name == "nt":
        return f'Try these after: set "RIDELOG_LIBRARY={folder}"'
    return f"Try these after: export RIDELOG_LIBRARY={_quoted(folder)}"


def _quoted(folder: str) -> str:
    import shlex

    return shlex.quote(folder)


def tries(rides: Mapping[str, str], known: frozenset[str]) -> list[tuple[str, str]]:
    """Command lines to try and what each tells. `rides`: the start of a ride's id by the sample's name."""
    found = []
    for command, rest, tells in TRIES:
        samples = [word.strip("{}") for word in rest.split() if word.startswith("{")]
        if command in known and all(name in rides for name in samples):
            words = (rides.get(word.strip("{}"), word) for word in rest.split())
            found.append((" ".join(("ridelog", command, *words)), tells))
    return found


def not_imported(reason: str) -> str:
    """A sample that the importer refused."""
    return f"not imported: {reason}"
