"""The page of the hottest places: what it says is what the command says, and each pass leads to its ride."""

from __future__ import annotations

import shutil
import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from page_text import parts, words

import sample_logs
from dashboard import ids, provider_places, texts
from dashboard.callbacks.routing import leads_somewhere, page
from dashboard.components.naming import named, ride_names
from dashboard.look import Look
from dashboard.pages.places import content
from dashboard.provider import LibraryProvider
from ridelog.errors import LibraryError
from ridelog.ingest import ImportOptions, import_files
from ridelog.places_hot import hot_places
from ridelog.store.library import Library
from ridelog.words import places_hot as hot_words


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two rides of one bike over the same loop, one with blocked fins, and one that holds no positions."""
    source = sample_logs.folder()
    folder = tmp_path_factory.mktemp("places-page") / "library"
    library = Library.open(folder)
    bike = library.add_bike(source / "bikes" / "enduro-12.bike.toml")
    for day, name in ((9, "04-clean-radiators.tsv.gz"), (20, "07-half-blocked.csv.gz")):
        start = datetime(2026, 5, day, 10, tzinfo=UTC)
        options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=24.0, start=start)
        (outcome,) = import_files(library, [source / "rides" / name], options)
        assert outcome.status == "stored", outcome.reason
    return folder


@pytest.fixture
def provider(root: Path, monkeypatch: pytest.MonkeyPatch) -> LibraryProvider:
    monkeypatch.setattr(provider_places, "PATIENCE_S", 60.0)
    return LibraryProvider(root)


def test_it_says_what_the_command_says(provider: LibraryProvider, root: Path) -> None:
    told = hot_places(Library.open(root))
    assert told.places
    shown_page, title = page(provider, "/places")
    text = words(shown_page)
    assert title == "Hot places · ridelog"
    for line in told.summary:
        assert words(named(line, ride_names(provider.rides()))) in text
    for number, place in enumerate(told.places, 1):
        for cell in hot_words.hot_cells(number, place, None):
            assert words(named(cell, ride_names(provider.rides()))) in text


def test_rides_left_out_are_named_by_their_day(root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(root, tmp_path / "library")
    library = Library.open(tmp_path / "library")
    faulty = library.list_rides()[0]
    library.edit(faulty.id, condition="faulty")
    monkeypatch.setattr(provider_places, "PATIENCE_S", 60.0)
    provider = LibraryProvider(tmp_path / "library")
    left = words(page(provider, "/places")[0]).partition(texts.PLACES_LEFT_OUT)[2]
    assert words(ride_names(provider.rides())[faulty.id]) in left
    assert faulty.id not in left


def test_each_pass_leads_to_its_moment(provider: LibraryProvider, root: Path) -> None:
    told = hot_places(Library.open(root))
    found = {
        part.href for part in parts(page(provider, "/places")[0]) if str(getattr(part, "href", "")).startswith("/ride/")
    }
    for place in told.places:
        for one in place.listed:
            there = [urlsplit(href) for href in found if urlsplit(href).path == f"/ride/{one.ride}"]
            spans = [(float(q["from"][0]), float(q["to"][0])) for q in (parse_qs(part.query) for part in there)]
            assert any(start <= one.start_s and one.start_s + one.seconds <= end for start, end in spans)


def test_a_hidden_course_shows_no_map(provider: LibraryProvider) -> None:
    view = provider.places_of(None)
    assert any(getattr(part, "id", None) == ids.PLACES_MAP for part in parts(content(view, Look())))
    hidden = content(view, Look(hide_course=True))
    assert not any(getattr(part, "id", None) == ids.PLACES_MAP for part in parts(hidden))
    assert texts.COURSE_HIDDEN in words(hidden)


def test_the_address_names_the_bike(provider: LibraryProvider) -> None:
    assert leads_somewhere(provider, "/places")
    assert "of bike enduro-12" in words(page(provider, "/places", {"search": "?bike=enduro-12"})[0])
    assert "no-such-bike" in words(page(provider, "/places", {"search": "?bike=no-such-bike"})[0])


def test_an_empty_library_says_so(tmp_path: Path) -> None:
    shown_page, _ = page(LibraryProvider(tmp_path / "library"), "/places")
    assert "No ride has positions to tell places by." in words(shown_page)


def test_a_long_look_shows_how_far_it_is_and_goes_on(
    root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two that ask at once wait for one look; what it says is shown; the answer comes when it is there."""
    import ridelog.places_hot as module

    go, looks = threading.Event(), []
    real = module.hot_places_and_ground

    def slow(library: Library, bike: str | None, tell: Any) -> Any:
        looks.append(bike)
        tell("looking at ride 1 of 2")
        assert go.wait(60.0)
        return real(library, bike, tell)

    monkeypatch.setattr(module, "hot_places_and_ground", slow)
    monkeypatch.setattr(provider_places, "PATIENCE_S", 0.3)
    shutil.copytree(root, tmp_path / "copy")
    provider = LibraryProvider(tmp_path / "copy")
    for _ in range(2):
        waiting = provider.places_of(None)
        assert waiting.found is None
        text = words(content(waiting, Look()))
        assert "Looking at ride 1 of 2" in text
        assert any(getattr(part, "id", None) == ids.PLACES_CLOCK for part in parts(content(waiting, Look())))
    assert looks == [None]
    go.set()
    monkeypatch.setattr(provider_places, "PATIENCE_S", 60.0)
    done = provider.places_of(None)
    assert done.found is not None
    assert not any(getattr(part, "id", None) == ids.PLACES_CLOCK for part in parts(content(done, Look())))


def test_a_look_that_fails_is_told_where_it_was_asked_for(
    provider: LibraryProvider, monkeypatch: pytest.MonkeyPatch
) -> None:
    import ridelog.places_hot as module

    def broken(*_: Any) -> Any:
        raise LibraryError("the catalogue is locked", where="library", to_do="close the other program")

    monkeypatch.setattr(module, "hot_places_and_ground", broken)
    assert "the catalogue is locked" in words(page(provider, "/places")[0])


def test_a_name_of_a_bike_is_text(provider: LibraryProvider) -> None:
    view = replace(provider.places_of(None), bikes=("<b>bold</b>",))
    from dashboard.pages.places import layout

    links = [
        part
        for part in parts(layout(view, Look()))
        if getattr(part, "href", "") == "/places?bike=%3Cb%3Ebold%3C%2Fb%3E"
    ]
    assert [words(link) for link in links] == ["<b>bold</b>"]
