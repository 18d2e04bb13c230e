"""What complaints turned out to be, in words: closed cases by the kind of cause the workshop named."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridelog.analysis.diagnosis_table import FAMILY
from ridelog.words.causes import FAMILY_WORDS
from ridelog.words.display import DASH

if TYPE_CHECKING:
    from collections.abc import Sequence

TITLE = "What they turned out to be"
COLUMNS = ("Cause", "Cases", "Which")
NOTE = "By the cause the workshop named when it closed the case, not by what the log made likely."
KINDS = {
    "asked_for": "terrain, standing, load or a hot day",
    "air_side": "cooling: air through the radiators",
    "coolant_side": "cooling: coolant and its flow",
    "heat_made": "the engine made more heat",
    "sensor": "the sensor",
    "healthy": "nothing wrong",
}
NO_CAUSE = "closed without one of these"
OPEN = "still open"


def family(cause: str) -> str:
    """Kind of a cause; a kind is its own."""
    return cause if cause in FAMILY_WORDS else FAMILY[cause]


def rows(found: Sequence[tuple[str, str | None, bool]]) -> list[tuple[str, str, str]]:
    """Id, cause and whether it is closed of each case: a row for each kind, those without a case too, so that none
    seems forgotten."""
    groups: dict[str, list[str]] = {name: [] for name in (*KINDS, "", OPEN)}
    for name, cause, closed in found:
        key = OPEN if not closed else family(cause) if cause is not None and _known(cause) else ""
        groups[key].append(name)
    return [
        (KINDS.get(key, NO_CAUSE if key == "" else key), str(len(names)), ", ".join(names) or DASH)
        for key, names in groups.items()
    ]


def _known(cause: str) -> bool:
    return cause in FAMILY_WORDS or cause in FAMILY
