"""The list of rides: narrowed to a bike, in pages, and always with a way on."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from page_text import parts, words

from dashboard import config
from dashboard.callbacks.routing import page
from dashboard.provider import LibraryProvider
from ridelog.ride import SourceFile
from ridelog.store.library import Library


def put(library: Library, folder: Path, fakes: ModuleType, ride_id: str) -> None:
    """The hand-made ride under an id of its own."""
    log = folder / f"{ride_id}.csv"
    log.write_text(ride_id, encoding="utf-8")
    source = SourceFile(log.name, hashlib.sha256(log.read_bytes()).hexdigest(), log.stat().st_size, "csv")
    library.add(replace(fakes.make_view(600.0, rate_hz=1.0, gap=False).ride, id=ride_id, sources=(source,)), [log])


@pytest.fixture
def provider(tmp_path: Path, fakes: ModuleType, monkeypatch: pytest.MonkeyPatch) -> LibraryProvider:
    """Five rides of one bike and one of another, two to a page."""
    monkeypatch.setattr(config, "LATEST", 2)
    library = Library.open(tmp_path / "library")
    for bike in ("dune-07", "dune-08", "dune-09"):
        path = tmp_path / f"{bike}.bike.toml"
        path.write_text(f'schema = 1\nid = "{bike}"\n', encoding="utf-8")
        library.add_bike(path)
    for number in range(6):
        put(library, tmp_path, fakes, f"20260501-100{number}-0000000{number}")
    library.edit("20260501-1005-00000005", bike="dune-08")
    return LibraryProvider(library.root)


def shown(provider: LibraryProvider, search: str) -> tuple[Any, list[str]]:
    """The page and the rides on it."""
    made, title = page(provider, "/", {"path": "/", "search": search})
    assert title == "Rides · ridelog"
    return made, [part.href.rpartition("/")[2] for part in parts(made) if "/ride/" in (getattr(part, "href", "") or "")]


def links(made: Any) -> dict[str, str]:
    return {words(part): part.href for part in parts(made) if getattr(part, "href", None) and "/ride/" not in part.href}


def test_every_ride_is_on_one_page_and_the_links_lead_through_all(provider: LibraryProvider) -> None:
    seen: list[str] = []
    address: str | None = "/"
    while address is not None:
        made, rides = shown(provider, address.partition("?")[2])
        assert 0 < len(rides) <= 2
        assert f"Rides {len(seen) + 1} to {len(seen) + len(rides)}, latest first." in words(made)
        seen += rides
        address = links(made).get("Older rides")
    assert len(seen) == len(set(seen)) == 6
    assert links(made)["Newer rides"] == "/?page=2"


def test_a_bike_has_a_list_of_its_own(provider: LibraryProvider) -> None:
    made, rides = shown(provider, "?bike=dune-08")
    assert rides == ["20260501-1005-00000005"]
    assert "One ride of dune-08." in words(made)
    assert links(made)["all bikes"] == "/"
    made, rides = shown(provider, "?bike=dune-07&page=3")
    assert len(rides) == 1
    assert links(made)["Newer rides"] == "/?bike=dune-07&page=2"
    assert "Older rides" not in links(made)


def test_a_bike_without_a_ride_says_what_to_do(provider: LibraryProvider) -> None:
    made, rides = shown(provider, "?bike=dune-09")
    assert rides == []
    assert "The library has no ride of dune-09 yet. Add a log" in words(made)
    assert links(made)["all bikes"] == "/"


def test_a_bike_nobody_knows_is_said_to_be_unknown(provider: LibraryProvider) -> None:
    made, _ = page(provider, "/", {"path": "/", "search": "?bike=%3Cb%3Enobody"})
    assert "<b>nobody" in words(made)


@pytest.mark.parametrize("number", ["0", "-1", "99", "1e3", "²", "999999999999", "a"])
def test_a_page_that_is_none_gives_the_nearest(provider: LibraryProvider, number: str) -> None:
    _, rides = shown(provider, f"?page={number}")
    assert 1 <= len(rides) <= 2
