"""Riding and set-up in words: what a ride shows of them, and why where it shows nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ridelog.words.terms import clock, duration
from ridelog.words.terms import share as as_share

TITLE = "Riding and set-up"

NO_COOLANT = "the log has no usable coolant temperature"
NO_THROTTLE = "the log has no usable throttle"
NO_ENGINE_SPEED = "the log has no usable engine speed"
IDLE_LACKS = "it takes engine speed, throttle and speed"
HANG_WITHOUT_IDLE = "the idle speed is not known"
NEVER_FULLY_OPEN = "the throttle was never seen against its open stop"

OIL = (
    "Nothing is said of the share of oil in the fuel: some hold that too little of it runs hot, others that more of it "
    "leans the mixture and runs hot, and a coolant temperature can't settle that."
)


def warm_already(coolant_c: float) -> str:
    """The ride began with a warm engine."""
    return f"the coolant read {coolant_c:.0f} C as the log began, so no warm-up was seen"


def throttle_too_slow(rate_hz: float) -> str:
    """A throttle that is read too seldom."""
    return f"the throttle was read every {1.0 / rate_hz:.2g} s, too seldom to tell how fast it was shut"


def hardly_idled(seconds: float) -> str:
    """Too little idling."""
    return f"it idled, standing and settled, for only {duration(seconds)}" if seconds else "it never idled standing"


def few_blips(blips: int, needed: int) -> str:
    """Too few blips."""
    seen = {0: "was never", 1: "was once"}.get(blips, f"was {blips} times")
    return f"with the bike standing or out of gear, the throttle {seen} shut from high revs; it takes {needed} times"


NAMES: dict[str, str] = {
    "cold_load": "Load on a cold engine",
    "warm_up": "Warm-up",
    "wide_open": "Wide open",
    "sharp_shut": "Shut sharply after long wide open",
    "fast_wide_open": "High revs, wide open",
    "idle": "Idle",
    "rpm_hang": "Coming down to idle",
    "throttle_range": "Throttle's range",
}


def _places(fact: dict[str, Any], most: int = 3) -> str:
    """`at 0:12:30 (4.2 km) and 0:40:10`, the longest first; '' without any."""
    longest = sorted(fact["where"], key=lambda one: one["start_s"] - one["end_s"])[:most]
    texts = [
        clock(one["start_s"]) + (f" ({one['way_m'] / 1000.0:.1f} km)" if one["way_m"] is not None else "")
        for one in longest
    ]
    return ("at " if texts else "") + " and ".join(filter(None, [", ".join(texts[:-1]), *texts[-1:]]))


def _highest(fact: dict[str, Any]) -> str:
    parts = []
    if fact["highest_opening"] is not None:
        parts.append(f"the throttle {as_share(fact['highest_opening'])} open")
    if fact["highest_power_share"] is not None:
        parts.append(f"{as_share(max(0.0, fact['highest_power_share']))} of peak power")
    return " and ".join(parts)


FULLY_KNOWN = 0.95
"""From so much of the ride on its coverage is not worth a word."""


def _seen(fact: dict[str, Any]) -> str:
    """What part of the ride an answer speaks of, where it is not nearly all."""
    share = fact.get("known_share", 1.0)
    return f" That is of the {as_share(share)} of the ride that shows it." if share < FULLY_KNOWN else ""


def _cold_load(fact: dict[str, Any]) -> str:
    if fact["cold_s"] <= 0.0:
        return f"The coolant never read under {fact['below_c']:.0f} C with the engine running."
    cold = f"The coolant read under {fact['below_c']:.0f} C for {duration(fact['cold_s'])} with the engine running"
    highest = f"; the most it was asked for was {_highest(fact)}" if _highest(fact) else ""
    if fact["answer"] == "no":
        return f"{cold}, and hardly any load was put on{highest}."
    return (
        f"{cold}, {duration(fact['loaded_s'])} of it with the throttle half open or more, or three tenths of peak "
        f"power ({_places(fact)}){highest}. A cold two-stroke takes load badly: ride gently until the coolant is warm."
    )


def _warm_up(fact: dict[str, Any]) -> str:
    begun = f"From {fact['start_c']:.0f} C"
    if fact["answer"] == "no":
        return f"{begun} the coolant never reached {fact['to_c']:.0f} C."
    stood = f", {duration(fact['stood_s'])} of it standing" if fact["stood_s"] is not None else ""
    highest = f"; before that the most was {_highest(fact)}" if _highest(fact) else ""
    return f"{begun} the coolant took {duration(fact['seconds'])} to {fact['to_c']:.0f} C{stood}{highest}."


def _wide_open(fact: dict[str, Any]) -> str:
    unsure = "" if fact["open_stop_seen"] else " The open stop was never seen, so it may have been less than wide open."
    level = as_share(fact["from_opening"])
    if fact["answer"] == "no":
        return f"Never {level} open or more for five seconds.{unsure}"
    times = "once" if fact["times"] == 1 else f"{fact['times']} times"
    return (
        f"{level} open or more {times}, {duration(fact['seconds'])} in all, the longest "
        f"{duration(fact['longest_s'])} ({_places(fact)}), whatever the coolant read: it does not show the piston's "
        f"heat.{unsure}"
    )


def _sharp_shut(fact: dict[str, Any]) -> str:
    long = "one long stretch" if fact["long_wide_open"] == 1 else f"{fact['long_wide_open']} long stretches"
    if not fact["long_wide_open"]:
        return "No: the throttle was never held wide open for ten seconds."
    if fact["answer"] == "no":
        return f"Not after {long} wide open."
    times = "once" if fact["times"] == 1 else f"{fact['times']} times"
    return (
        f"{times[0].upper()}{times[1:]}, after {long} wide open ({_places(fact)}). Advice to riders names this as a "
        "moment in which two-strokes seize: the piston is at its hottest, and fuel, with any oil in it, stops coming. "
        "Many roll off and leave the throttle a little open first."
    )


def _fast(fact: dict[str, Any]) -> str:
    whose = "97.5 % of the speed of peak power" if fact["basis"] == "bike" else "a default"
    level = f"{fact['from_rpm']:.0f} rpm ({whose}) with {as_share(fact['from_opening'])} throttle or more"
    if fact["answer"] == "no":
        return f"Never over {level}."
    return f"{duration(fact['seconds'])} over {level}, the longest {duration(fact['longest_s'])} ({_places(fact)})."


def _idle(fact: dict[str, Any]) -> str:
    cold = ", with the coolant under 60 C" if fact["cold"] else ""
    return (
        f"{fact['rpm']:.0f} rpm, nine tenths of the time from {fact['low_rpm']:.0f} to {fact['high_rpm']:.0f}, over "
        f"{duration(fact['seconds'])} standing{cold}."
    )


def _hang(fact: dict[str, Any]) -> str:
    took = (
        f"From a blip the revs took {duration(fact['middle_s'])} to come down, at most {duration(fact['longest_s'])}, "
        f"over {fact['times']} of them."
    )
    if fact["answer"] == "no":
        return f"{took} Nothing out of the ordinary."
    return (
        f"{took} Revs that hang can be a sign of a lean mixture or of air drawn past the throttle, but a weak one: a "
        "cold engine, a high idle stop or a cable that sticks do the same. Look at the cable first."
    )


def _throttle_range(fact: dict[str, Any]) -> str:
    rest = f"at rest {fact['closed_pct']:.0f} %" if fact["closed_pct"] is not None else "its closed stop was not seen"
    moved = ""
    if fact["moved_at_s"]:
        moved = " What it reads at rest changed at " + ", ".join(clock(one) for one in fact["moved_at_s"]) + "."
    return f"As logged, {rest}, wide open {fact['open_pct']:.0f} %.{moved}"


_SAID: dict[str, Callable[[dict[str, Any]], str]] = {
    "cold_load": _cold_load,
    "warm_up": _warm_up,
    "wide_open": _wide_open,
    "sharp_shut": _sharp_shut,
    "fast_wide_open": _fast,
    "idle": _idle,
    "rpm_hang": _hang,
    "throttle_range": _throttle_range,
}


def riding_rows(facts: dict[str, Any] | None) -> list[tuple[str, str]]:
    """Name and sentence of each fact of a result's `facts`, in the order riders ask; empty where there are none."""
    told = (facts or {}).get("riding")
    if not told:
        return []
    return [
        (
            name,
            _SAID[key](told[key]) + _seen(told[key])
            if told[key]["answer"] is not None
            else f"Can't tell: {told[key]['reason']}.",
        )
        for key, name in NAMES.items()
    ]


def riding_lines(facts: dict[str, Any] | None) -> list[str]:
    """The same as lines, with what nothing is said of."""
    rows = riding_rows(facts)
    return [*(f"{name}: {text}" for name, text in rows), OIL] if rows else []
