"""A hash over every figure the diagnosis goes by, which that of the analysis leaves out."""

from __future__ import annotations

import hashlib
import pkgutil
from dataclasses import fields, is_dataclass
from importlib import import_module
from typing import Any

import numpy as np

from ridelog import analysis, diagnose, diagnose_advice

_NAMES = sorted(one.name for one in pkgutil.iter_modules(analysis.__path__) if one.name.startswith("diagnosis_"))
_MODULES = (diagnose, diagnose_advice, *(import_module(f"{analysis.__name__}.{name}") for name in _NAMES))


def diagnosis_hash() -> str:
    """SHA-256 over the constants of the diagnosis: equal hash, equal figures."""
    told = [
        f"{module.__name__}.{name} {text}"
        for module in _MODULES
        for name, value in sorted(vars(module).items())
        # The text of a function names a place in memory.
        if name.isupper() and " at 0x" not in (text := _text(value))
    ]
    return hashlib.sha256("\n".join(told).encode()).hexdigest()


def _text(value: Any) -> str:
    """A value to its last digit; an array by its bytes, which is many times quicker than its numbers written out."""
    if isinstance(value, np.ndarray):
        return f"{value.dtype}{value.shape}{hashlib.sha256(np.ascontiguousarray(value).tobytes()).hexdigest()}"
    if is_dataclass(value) and not isinstance(value, type):
        return f"{type(value).__name__}({', '.join(_text(getattr(value, one.name)) for one in fields(value))})"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_text(key)}: {_text(part)}" for key, part in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_text, value)) + "]"
    return repr(value)
