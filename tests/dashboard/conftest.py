"""The hand-made ride of the dashboard tests, for the tests of this folder."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def load_fakes() -> ModuleType:
    """tests/dashboard/fakes.py as a module: test folders are not packages, so it is loaded by its path."""
    name = "ridelog_test_fakes"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(
            name, Path(__file__).resolve().parents[1] / "dashboard" / "fakes.py"
        )
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="session")
def fakes() -> ModuleType:
    """The module of hand-made rides."""
    return load_fakes()
