"""Fixtures of the store's tests."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from ridelog.store.library import Library

MAKER = Path(__file__).with_name("ride_maker.py")


@pytest.fixture(scope="session")
def maker() -> ModuleType:
    """The module that makes small rides; its file is also a program."""
    spec = importlib.util.spec_from_file_location("ride_maker", MAKER)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def library(tmp_path: Path) -> Library:
    """An empty library."""
    return Library.open(tmp_path / "library")
