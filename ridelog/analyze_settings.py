"""Hashes over all that decides an analysis, or a fit alone, besides the log."""

from __future__ import annotations

import hashlib
import json
import pkgutil
from collections.abc import Iterable
from dataclasses import asdict
from importlib import import_module
from types import ModuleType
from typing import Any

import ridelog
from ridelog import __version__, analysis, grid
from ridelog import advice as advice_module
from ridelog.advice import Advice
from ridelog.bike import Bike

_ALL = tuple(import_module(f"{analysis.__name__}.{found.name}") for found in pkgutil.iter_modules(analysis.__path__))


def _named(start: str) -> tuple[ModuleType, ...]:
    return tuple(module for module in _ALL if module.__name__.rpartition(".")[2].startswith(start))


# What is concluded from an analysis leaves the analysis as it is, and what is told over rides has a hash of its own.
_EFFECT = _named("effect")
_STAGES = tuple(module for module in _ALL if module not in (*_EFFECT, *_named("diagnosis_")))
_PARTS = tuple(
    import_module(f"{ridelog.__name__}.{found.name}")
    for found in pkgutil.iter_modules(ridelog.__path__)
    if found.name.startswith("analyze_") and found.name != __name__.rpartition(".")[2]
)
_MODULES = (grid, *_PARTS, *_STAGES)

NOT_OF_A_FIT = ("services", "thresholds")
"""What a bike file says that a fit does not rest on: a day of work, or another limit, leaves it as it is."""


def settings_hash(bike: Bike | None, advice: Advice) -> str:
    """SHA-256 over bike, advice sheet and every numeric constant of the analysis: equal hash, equal settings."""
    constants = _constants((advice_module, *_MODULES))
    return _hashed(
        {"bike": asdict(bike) if bike is not None else None, "advice": asdict(advice), "constants": constants}
    )


def fit_hash(bike: Bike) -> str:
    """SHA-256 over what a ride's own fit rests on besides the ride: the bike, every numeric constant, the version."""
    told = {key: value for key, value in asdict(bike).items() if key not in NOT_OF_A_FIT}
    return _hashed({"bike": told, "constants": _constants(_MODULES), "version": __version__})


def effect_hash(bike: Bike) -> str:
    """The same for what a ride gives to the estimate of the conservative map's effect."""
    return _hashed({"fit": fit_hash(bike), "constants": _constants(_EFFECT)})


def _constants(modules: Iterable[ModuleType]) -> dict[str, Any]:
    return {
        f"{module.__name__}.{name}": value
        for module in modules
        for name, value in vars(module).items()
        if name.isupper() and isinstance(value, int | float | tuple | dict) and not _of_code(value)
    }


def _of_code(value: Any) -> bool:
    """True for a table of functions or modules: its text names places in memory."""
    parts = value.values() if isinstance(value, dict) else value if isinstance(value, tuple) else ()
    return any(callable(part) or isinstance(part, ModuleType) for part in parts)


def _hashed(settings: dict[str, Any]) -> str:
    text = json.dumps(settings, sort_keys=True, default=str, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
