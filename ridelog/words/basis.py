"""What the figures of a page rest on: enough to run it again, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ridelog.results import Analysis
from ridelog.ride import Ride
from ridelog.words.display import NBSP

FINGERPRINT_NOTE = "of bike file, advice sheet and the program's constants: same fingerprint, same settings"


@dataclass(frozen=True)
class Defaults:
    """Keys that were left to their default, told together: `words` for a rider, `keys` as the files name them."""

    words: str
    keys: tuple[str, ...]


_SHEET_KEYS = {
    "merge_gap_s": "pause",
    "leave_share": "hysteresis",
    "grace_s": "grace time",
    "min_duration_s": "least duration",
    "map": "map",
}
_OF_THE_SHEET = ("valid_from", "build")
_STOOD_IN = {
    "ambient_c": "air temperature: that of the standard atmosphere, since it was neither stated nor logged",
    "elevation_m": "elevation: sea level, since none was logged",
    "thresholds": "temperatures to watch: warm 95 °C, hot 105 °C, limit 115 °C",
}


def basis_rows(analysis: Analysis, ride: Ride, start: str) -> list[tuple[str, str]]:
    """Name and value of everything the figures rest on but the defaults (see `defaults`); `start`: the ride's, in
    words, '' where not known."""
    basis = analysis.basis
    rows = [
        ("Ride", ride.id),
        ("Start", start or "not known"),
        ("Bike file", analysis.ride.bike or "none: what needs the bike's mass, gearing or power is not told"),
        ("Advice sheet", basis.advice_version),
        ("Air temperature", f"{ride.ambient_c:g}{NBSP}°C, as stated" if ride.ambient_c is not None else "not stated"),
        ("Program version", basis.version),
        ("Settings", f"fingerprint {basis.settings_hash[:12]} ({FINGERPRINT_NOTE})"),
    ]
    rows.extend((f"Log {file.name}", f"SHA-256 {file.sha256[:12]}…") for file in basis.files)
    return rows


def defaults(analysis: Analysis) -> list[Defaults]:
    """The defaults that were used, by where they belong: the advice sheet, the bike file, or the surroundings."""
    keys = analysis.basis.defaults_used
    sheet = [key for key in keys if key.startswith(("rule.", "build[")) or key in _OF_THE_SHEET]
    other = [key for key in keys if key in _STOOD_IN]
    bike = [key for key in keys if key not in sheet and key not in other]
    found = []
    if sheet:
        found.append(Defaults(_sheet_words(analysis.basis.advice_version, sheet), tuple(sheet)))
    if bike:
        parts = list(dict.fromkeys(key.partition(".")[0] for key in bike))
        found.append(Defaults(f"bike file: {_count(bike, 'key')} of {_listed(parts)} left to the default", tuple(bike)))
    found.extend(Defaults(_STOOD_IN[key], (key,)) for key in other)
    return found


def _sheet_words(version: str, keys: Sequence[str]) -> str:
    whole = [key for key in keys if key.startswith("rule.") and key.count(".") == 1]
    builds = [key for key in keys if key.startswith("build")]
    single = [key for key in keys if key not in whole and key not in builds]
    said = []
    if whole:
        said.append(_count(whole, "whole rule"))
    if builds:
        said.append("all builds" if builds == ["build"] else _count(builds, "build key"))
    if single:
        kinds = dict.fromkeys(
            "first day" if key == "valid_from" else _SHEET_KEYS.get(key.rpartition(".")[2], "level") for key in single
        )
        said.append(_count(single, f"{_listed(list(kinds))} key"))
    return f"advice sheet {version}: {_listed(said)} left to the default"


def _count(keys: Sequence[str], what: str) -> str:
    return f"{len(keys)} {what}{'' if len(keys) == 1 else 's'}"


def _listed(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
