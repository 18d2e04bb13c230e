"""Fixtures of the analysis tests: published tables, and rides built by hand."""

from __future__ import annotations

import csv
import importlib.util
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

HERE = Path(__file__).resolve().parent
Rows = list[dict[str, float]]


@pytest.fixture(scope="session")
def reference() -> Callable[[str], Rows]:
    """Rows of a table in tests/reference, numbers as floats (its README names the source of each)."""

    def read(name: str) -> Rows:
        with (HERE.parent / "reference" / name).open(encoding="utf-8", newline="") as file:
            return [{key: float(text) for key, text in row.items() if key != "case"} for row in csv.DictReader(file)]

    return read


@pytest.fixture(scope="session")
def made() -> ModuleType:
    """The helper that builds rides by hand (make_ride.py in this folder)."""
    spec = importlib.util.spec_from_file_location("ridelog_tests_make_ride", HERE / "make_ride.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
