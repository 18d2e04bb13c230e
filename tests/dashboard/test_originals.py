"""A log as it came is given out only while it is still what was kept."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.provider import LibraryProvider

HERE = "http://127.0.0.1:8150"


@pytest.fixture
def kept(demo_library: Any, tmp_path: Path) -> tuple[LibraryProvider, str]:
    root = tmp_path / "library"
    shutil.copytree(demo_library.folder, root)
    return LibraryProvider(root), demo_library.built.rides["12-two-devices"]


def got(provider: LibraryProvider, path: str) -> Any:
    return create_app(provider).server.test_client().get(path, base_url=HERE)


def test_each_log_of_a_ride_under_its_name(kept: tuple[LibraryProvider, str]) -> None:
    provider, ride = kept
    sources = provider.view_of(ride).ride.sources
    assert len(sources) == 2
    for number, source in enumerate(sources, 1):
        answer = got(provider, f"/ride/{ride}/original-{number}")
        assert answer.status_code == 200
        assert hashlib.sha256(answer.data).hexdigest() == source.sha256
        assert source.name in answer.headers["Content-Disposition"]


@pytest.mark.parametrize(
    ("harm", "status", "says"),
    [
        (lambda path: path.write_bytes(path.read_bytes() + b"\n"), 500, "was changed"),
        (lambda path: path.unlink(), 404, "no longer in the library"),
    ],
)
def test_a_log_that_was_changed_or_is_gone_is_said_to_be(
    kept: tuple[LibraryProvider, str], harm: Any, status: int, says: str
) -> None:
    provider, ride = kept
    harm(provider.root / "originals" / provider.view_of(ride).ride.sources[0].sha256)
    answer = got(provider, f"/ride/{ride}/original-1")
    assert answer.status_code == status
    assert says in answer.text
    assert "originals" in answer.text


def test_a_number_or_ride_that_is_not_there(kept: tuple[LibraryProvider, str]) -> None:
    provider, ride = kept
    for path in (f"/ride/{ride}/original-3", f"/ride/{ride}/original-0", "/ride/none-such/original-1"):
        assert got(provider, path).status_code == 404
