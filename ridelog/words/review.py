"""What a review says: why a ride could not be judged, and how a band came about."""

from __future__ import annotations

from collections.abc import Sequence

from ridelog.words.terms import KIND_WORDS


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def map_not_known(why: str | None) -> str:
    """Why a ride with advised stretches can't be judged; `why` is the log's own reason."""
    if why is None:
        return "The map in use is not known on the stretches that called for the conservative one."
    return f"Which map was on can't be told: {why.rstrip('.')}."


def kinds_not_told(kinds: Sequence[str], why: str) -> str:
    """Why it is not known whether a ride called for the conservative map at all."""
    names = [KIND_WORDS[kind].lower() for kind in kinds]
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    return f"Nothing that can be judged called for the conservative map, and {listed} can't be told: {why.rstrip('.')}."


def no_such_bike(bike: str) -> str:
    """The ride belongs to a bike whose file is not there."""
    return f"The library has no file of bike {bike}. Add it: ridelog bikes add FILE."


def cannot_judge(why: str) -> str:
    """The ride's bike file or its sheet can't be used."""
    return _sentence(why)


def not_analyzed(error: str) -> str:
    """The ride can't be read or analyzed."""
    return _sentence(f"it can't be analyzed: {error}")


def analyzing(number: int, of: int) -> str:
    """What is being done, while it is done."""
    return f"analyzing ride {number} of {of}"


def methods(draws: int, seed: int, fewest: int) -> dict[str, str]:
    """How a band came about, by the name of the method."""
    return {
        "cluster_bootstrap": f"whole rides drawn with replacement {draws} times, seed {seed}; 2.5 % and 97.5 % points",
        "none_above": "no ride was above it: drawing rides anew can't tell how rare it is",
        "range": f"fewer than {fewest} rides: the smallest and the largest ride",
        "wilson": "Wilson's score interval at 95 %, each ride a case",
        "unknown": "no ride tells",
    }
