"""A hash over every figure the diagnosis goes by, which that of the analysis leaves out."""

from __future__ import annotations

import hashlib
import pkgutil
from importlib import import_module

import numpy as np

from ridelog import analysis, diagnose, diagnose_advice

_NAMES = sorted(one.name for one in pkgutil.iter_modules(analysis.__path__) if one.name.startswith("diagnosis_"))
_MODULES = (diagnose, diagnose_advice, *(import_module(f"{analysis.__name__}.{name}") for name in _NAMES))


def diagnosis_hash() -> str:
    """SHA-256 over the constants of the diagnosis: equal hash, equal figures."""
    with np.printoptions(threshold=2**31, floatmode="unique"):
        told = [
            f"{module.__name__}.{name} {value!r}"
            for module in _MODULES
            for name, value in sorted(vars(module).items())
            # The text of a function names a place in memory.
            if name.isupper() and " at 0x" not in repr(value)
        ]
    return hashlib.sha256("\n".join(told).encode()).hexdigest()
