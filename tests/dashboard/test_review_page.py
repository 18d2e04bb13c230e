"""The page of the review: its sentences are those of the review, its address narrows it, a library without rides says
what to do."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from page_text import parts, words

import sample_logs
from dashboard.callbacks.routing import leads_somewhere, page
from dashboard.look import Look
from dashboard.pages import review
from dashboard.provider import LibraryProvider
from ridelog.ingest import ImportOptions, import_files
from ridelog.report.sentences import shown
from ridelog.store.library import Library
from ridelog.words import review_answer


@pytest.fixture(scope="module")
def provider(tmp_path_factory: pytest.TempPathFactory) -> LibraryProvider:
    """Three rides of two bikes in two months, one without a map channel."""
    source = sample_logs.folder()
    root = tmp_path_factory.mktemp("review-page") / "library"
    library = Library.open(root)
    for bike_id, day, name in (
        ("enduro-07", datetime(2026, 5, 9, 10, tzinfo=UTC), "01-standard-in-sand.csv.gz"),
        ("enduro-07", datetime(2026, 6, 10, 10, tzinfo=UTC), "02-switched-in-time.csv.gz"),
        ("enduro-21", datetime(2026, 5, 30, 10, tzinfo=UTC), "09-no-map-channel.csv"),
    ):
        bike = library.add_bike(source / "bikes" / f"{bike_id}.bike.toml")
        options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=30.0, start=day)
        (outcome,) = import_files(library, [source / "rides" / name], options)
        assert outcome.status == "stored", outcome.reason
    return LibraryProvider(root)


def at(provider: LibraryProvider, search: str = "") -> str:
    return words(page(provider, "/review", {"search": search})[0])


def test_it_says_what_the_review_says(provider: LibraryProvider) -> None:
    found = provider.review_of(None, None)
    text = at(provider)
    assert review_answer.title(found.review) in text
    for sentence in review_answer.answer(found.review):
        assert words(shown(sentence.replace(review_answer.BY_COMMAND, review_answer.BY_PAGE))) in text
    assert "`" not in text
    assert len(found.strips) == 3
    for strip in found.strips:
        assert f"Ride of {strip.day:%-d %b %Y}" in text
    assert "What the conservative map does to heat" in text
    assert "no map switch" in text


def test_a_ride_on_which_nothing_was_advised_is_not_called_unknown(provider: LibraryProvider) -> None:
    found = provider.review_of(None, None)
    kinds = {"map not known": 0, "nothing advised": 0}
    calm = [
        replace(strip, share=None, stretches=tuple(replace(one, verdict="not_advised") for one in strip.stretches))
        for strip in found.strips
    ]
    for strips, expected in ((found.strips, {"map not known": 1}), (calm, {"nothing advised": 3})):
        shown_ = review.layout(replace(found, strips=tuple(strips)), Look())
        told = [words(one) for one in parts(shown_) if getattr(one, "className", "") == "strip"]
        assert {text: sum(text in one for one in told) for text in kinds} == kinds | expected


def test_the_address_narrows_it(provider: LibraryProvider) -> None:
    assert leads_somewhere(provider, "/review")
    assert len(provider.review_of("enduro-21", None).review.rides) == 1
    assert "Review of 1 ride" in at(provider, "?bike=enduro-21")
    assert len(provider.review_of(None, "2026-06-01").review.rides) == 1
    # Months that lead elsewhere stay to be chosen.
    assert "from 2026-05 on" in at(provider, "?since=2026-06-01")


@pytest.mark.parametrize("search", ["?bike=enduro-99", "?since=someday", "?since=2026-13-01", "?bike=%3Cscript%3E"])
def test_an_address_that_narrows_to_nonsense_says_so(provider: LibraryProvider, search: str) -> None:
    shown_, title = page(provider, "/review", {"search": search})
    assert title == "Can't be shown · ridelog"
    assert "Expected" in words(shown_) or "one of" in words(shown_)


@pytest.mark.parametrize("search", [None, 7, "", "?", "?x=1&&=", "?bike=", "?bike=enduro-07&bike=enduro-21"])
def test_any_address_is_answered(provider: LibraryProvider, search: Any) -> None:
    assert "Review of" in words(page(provider, "/review", {"search": search})[0])


def test_without_rides_it_says_what_to_do(tmp_path: Path) -> None:
    text = words(page(LibraryProvider(tmp_path / "empty"), "/review")[0])
    assert "There are no rides here to review" in text
