"""How the joint of several recordings is told before it is stored: where each lies, at what pace, how sure that is."""

from __future__ import annotations

from ridelog.words.device_clocks import span, sure

UNCHECKED = "Can't tell whether it is right: what the two recordings have in common could not settle it."
OWN_WORD = "Your own number: the recordings were not asked."


def starts(kept: str, start_s: float) -> str:
    """Where a recording begins."""
    if abs(start_s) < 0.005:
        return f"begins with {kept}"
    return f"begins {span(abs(start_s))} {'after' if start_s > 0 else 'before'} {kept}"


def pace(drift_ppm: float | None) -> str:
    """How a clock runs beside the kept one. `drift_ppm`: what has to be added to its times, in millionths."""
    if drift_ppm is None:
        return "not measured: its clock is taken to run like the other"
    if abs(drift_ppm) < 0.5:
        return "keeps the pace of the other clock"
    an_hour = abs(drift_ppm) * 3600e-6
    return f"runs {abs(drift_ppm):.0f} ppm {'slow' if drift_ppm > 0 else 'fast'} ({an_hour:.2f} s an hour), put right"


def certainty(confidence: float, error_s: float, overlap_s: float, what: str) -> str:
    """How sure a measured place is."""
    return (
        f"any moment good to {error_s:.2f} s, confidence {sure(confidence)}; by {what} over {overlap_s / 60.0:.0f} min"
    )
