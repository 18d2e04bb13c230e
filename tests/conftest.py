"""Shared fixtures."""

from __future__ import annotations

from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parent.parent
OPEN_DATA = REPOSITORY.parent / "shared" / "data"


@pytest.fixture(scope="session")
def repository() -> Path:
    """The top folder of the checkout."""
    return REPOSITORY


@pytest.fixture(scope="session")
def open_data() -> Path:
    """The folder of open logs kept beside the project (read in place, never copied)."""
    if not OPEN_DATA.is_dir():
        pytest.skip("the open logs are not beside the project")
    return OPEN_DATA
