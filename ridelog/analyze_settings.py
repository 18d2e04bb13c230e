"""A hash over all that decides an analysis besides the log."""

from __future__ import annotations

import hashlib
import json
import pkgutil
from dataclasses import asdict
from importlib import import_module

from ridelog import advice as advice_module
from ridelog import analysis, analyze_drive, analyze_heat, analyze_heat_use, analyze_inputs, grid
from ridelog.advice import Advice
from ridelog.bike import Bike

_STAGES = tuple(import_module(f"{analysis.__name__}.{found.name}") for found in pkgutil.iter_modules(analysis.__path__))
_MODULES = (advice_module, grid, analyze_inputs, analyze_drive, analyze_heat, analyze_heat_use, *_STAGES)


def settings_hash(bike: Bike | None, advice: Advice) -> str:
    """SHA-256 over bike, advice sheet and every numeric constant of the analysis: equal hash, equal settings."""
    constants = {
        f"{module.__name__}.{name}": value
        for module in _MODULES
        for name, value in vars(module).items()
        if name.isupper() and isinstance(value, int | float | tuple | dict)
    }
    settings = {"bike": asdict(bike) if bike is not None else None, "advice": asdict(advice), "constants": constants}
    text = json.dumps(settings, sort_keys=True, default=str, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
