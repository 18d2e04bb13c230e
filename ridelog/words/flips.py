"""What a change of a bike file or a sheet would make of rides that are there, in sentences."""

from __future__ import annotations

from ridelog.results import Adherence, Exposure, Segment
from ridelog.words.causes import CAUSE_WORDS
from ridelog.words.terms import KIND_WORDS, VERDICT_WORDS, clock, degrees, duration
from ridelog.words.terms import share as as_share

NOTHING = "Nothing would be told otherwise of the rides looked at."
NO_RIDES = "No ride of the library is concerned."


def above(was: Exposure, now: Exposure) -> str:
    """Another time above a threshold."""
    moved = f" ({degrees(was.threshold_c)} before)" if was.threshold_c != now.threshold_c else ""
    return (
        f"Above {degrees(now.threshold_c)} ({now.name}){moved}: {duration(now.observed_s)} instead of "
        f"{duration(was.observed_s)}."
    )


def threshold_new(now: Exposure) -> str:
    """A threshold that was not watched before."""
    return f"Above {degrees(now.threshold_c)} ({now.name}), not watched before: {duration(now.observed_s)}."


def threshold_gone(was: Exposure) -> str:
    """A threshold that is no longer watched."""
    return f"Time above {degrees(was.threshold_c)} ({was.name}) is no longer told; it was {duration(was.observed_s)}."


def _where(one: Segment) -> str:
    return f"{KIND_WORDS[one.kind]} from {clock(one.start_s)} to {clock(one.end_s)}"


def stretch_new(now: Segment) -> str:
    """A stretch that was not flagged before."""
    return f"{_where(now)} would be flagged: {_verdict(now)}."


def stretch_gone(was: Segment) -> str:
    """A stretch that would not be flagged."""
    return f"{_where(was)} would no longer be flagged; it was told as: {_verdict(was)}."


def stretch_kind(was: Segment, now: Segment) -> str:
    """A stretch that would be of another kind."""
    return f"{_where(was)} would be told as {KIND_WORDS[now.kind].lower()}: {_verdict(now)}."


def stretch_verdict(was: Segment, now: Segment) -> str:
    """A stretch that would be judged otherwise."""
    return f"{_where(was)}: {_verdict(now)} instead of {_verdict(was)}."


def _verdict(one: Segment) -> str:
    sure = "" if one.certainty == "sure" else ", uncertain"
    return f"{VERDICT_WORDS[one.verdict].partition(':')[0]}{sure}"


def advised(was: Adherence, now: Adherence) -> str:
    """Another advised time, or another share of it."""
    now_told, was_told = (f"{duration(one.advised_s)}, {_on_map(one)}" for one in (now, was))
    return f"Advised time {now_told}, instead of {was_told}."


def _on_map(one: Adherence) -> str:
    return "map not known" if one.share is None else f"on the map for {as_share(one.share)}"


def cause(was: str, now: str) -> str:
    """Another conclusion of the diagnosis."""

    def named(conclusion: str) -> str:
        return CAUSE_WORDS.get(conclusion, "not settled")

    return f"The likely cause would be told as: {named(now)}, instead of: {named(was)}."
