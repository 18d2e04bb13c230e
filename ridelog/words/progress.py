"""What a command says it is doing, while it is doing it."""

from __future__ import annotations

ANALYZING = "analyzing"
DIAGNOSING = "diagnosing"
REVIEWING = "reviewing"
WRITING = "writing"
WRITING_REPORT = "writing the report"
COMPARING_WITH_TODAY = "comparing with today"
STOPPED = "stopped; nothing half-done was kept"
LEARNING_BIKE = "learning from other rides of this bike"
LEARNING_MAP = "learning what the conservative map does from other rides"


def analyzing(ride: str) -> str:
    """One ride, by its id."""
    return f"analyzing {ride}"


def analyzing_one_of(number: int, of: int) -> str:
    """One ride of several."""
    return f"analyzing ride {number} of {of}"


def looking_at(number: int, of: int) -> str:
    """One ride of several that is only looked through."""
    return f"looking at ride {number} of {of}"


def storing(files: list[str]) -> str:
    """The files of one ride."""
    return f"storing {' + '.join(files)}"


def dashboard_at(address: str) -> str:
    """The dashboard runs."""
    return f"the dashboard is at {address} (Ctrl-C stops it)"
