"""What the checks of the bike file found, in words."""

from __future__ import annotations

from typing import Any


def check_lines(facts: dict[str, Any] | None) -> list[str]:
    """The checks in words, for those who read them; none where there is nothing to say."""
    if not facts:
        return []
    lines = []
    power, build, air = facts.get("self_check"), facts.get("build_check"), facts.get("air_check")
    if power and power["ratio"] is not None:
        lines.append(
            f"Power over mass: {power['ratio']:.2f} of what the bike file says ({power['low']:.2f} to "
            f"{power['high']:.2f}), from {power['seconds']:.0f} s of driving."
        )
    elif power:
        lines.append(f"Power over mass: can't be checked: {power['reason']}.")
    if build and build["fits"] is not None:
        verdict = "suits" if build["fits"] else "does not suit"
        low, high = build["ridden_elevation_m"]
        lines.append(
            f"Build: compression {build['compression_ratio']:g}, fuel {build['fuel_ron']:g} RON "
            f"({build['fuel_aki_low']:g} to {build['fuel_aki_high']:g} AKI){_assumed(build)} {verdict} {low:.0f} to "
            f"{high:.0f} m by the advice sheet."
        )
    if air and air["power_share_j1349"] is not None:
        shares = sorted((100.0 * air["power_share_j1349"], 100.0 * air["power_share_iso1585"]))
        band = f"{shares[0]:.0f} %" if round(shares[0]) == round(shares[1]) else f"{shares[0]:.0f} to {shares[1]:.0f} %"
        beyond = "" if air["in_range"] else ", beyond the range both were made for"
        lines.append(
            f"Air: like standard air at {air['density_altitude_m']:.0f} m; by SAE J1349 and ISO 1585 an engine "
            f"makes {band} of its power in their reference air{beyond}. Both were made for four-strokes."
        )
    return lines


_NAMES = {"engine.compression_ratio": "compression", "engine.fuel_ron": "fuel"}


def _assumed(build: dict[str, Any]) -> str:
    """Which of the two the bike file does not give."""
    missing = [name for key, name in _NAMES.items() if key in build["defaults"]]
    return f", {' and '.join(missing)} assumed since the bike file does not say," if missing else ""
