"""How clocks that were compared are spoken of: seconds in words, causes, and the option that settles what is open."""

from __future__ import annotations

from ridelog.ingest_compare import Comparison
from ridelog.offset.cause import likely_cause

cause = likely_cause


def span(seconds: float) -> str:
    """A length of time in words, as exact as it matters."""
    if seconds < 120.0:
        return f"{seconds:.2f} s" if seconds < 10.0 else f"{seconds:.1f} s"
    if seconds >= 2 * 86_400.0:
        return f"{seconds / 86_400.0:,.1f} days"
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    shown = f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"
    return f"{shown} {rest} s" if rest else shown


def signed(seconds: float) -> str:
    """The same with its sign."""
    return f"{'-' if seconds < 0 else '+'}{span(abs(seconds))}"


def sure(confidence: float) -> str:
    """A confidence in words: no comparison is certain."""
    return "over 99%" if confidence > 0.99 else f"{confidence:.0%}"


def measured(found: Comparison) -> str:
    """What was compared and how well it fits."""
    one = found.offset
    scatter = f", stretches of 2 min scatter by {one.residual_s:.2f} s" if one.residual_s is not None else ""
    return (
        f"measured by {found.what} over {one.overlap_s / 60.0:.0f} min, good to {one.error_s or 0.0:.2f} s "
        f"(confidence {sure(one.confidence)}{scatter})"
    )


def difference(name: str, other: str, apart_s: float, found: Comparison) -> str:
    """How far the clock of `name` is off that of `other`; `apart_s` has to be added to put it right."""
    ppm = found.offset.drift_ppm or 0.0
    pace = f"and runs {abs(ppm):.0f} ppm {'slow' if ppm > 0 else 'fast'}" if abs(ppm) >= 0.5 else "and keeps its pace"
    if abs(apart_s) < 0.005:
        return f"the clock of {name} shows the time of {other} {pace}"
    return (
        f"the clock of {name} is {span(abs(apart_s))} {'behind' if apart_s > 0 else 'ahead of'} that of {other} {pace}"
    )


def given(name: str, seconds: float, *, dated: bool) -> str:
    """What --offset did."""
    if dated:
        return f"{seconds:+g} s were added to the clock of {name}"
    return f"{name} was placed {seconds:+g} s after the start of the ride's clock"


def why_not(found: Comparison | None) -> str:
    """Why the ride itself does not tell how two clocks lie."""
    if found is None:
        return "they have nothing in common to compare (engine speed, a speed, positions, throttle or temperature)"
    if found.offset.status == "ambiguous" and len(found.offset.candidates_s) > 1:
        places = ", ".join(f"{place:+.1f} s" for place in found.offset.candidates_s[:3])
        return f"{found.what} fits at more than one place ({places} from start to start): laps at one pace"
    return f"{found.what}: {found.offset.reason}"


def option(name: str, found: Comparison | None, expected_s: float) -> str:
    """The option that settles it: with the seconds that fit, where some do."""
    fits = found.offset.candidates_s[:3] if found is not None and found.offset.status == "ambiguous" else ()
    shown = " or ".join(f"--offset '{name}={place - expected_s:.1f}'" for place in fits)
    return shown or f"--offset '{name}=SECONDS' (added to its clock)"
