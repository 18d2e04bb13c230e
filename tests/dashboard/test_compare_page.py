"""Rides beside rides on a page: sentences and tables are those of the comparison, the address says what is compared."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

import sample_logs
from dashboard import ids
from dashboard.callbacks.routing import leads_somewhere, page
from dashboard.provider import CompareQuestion, LibraryProvider
from ridelog.figures.by_place import by_place
from ridelog.ingest import ImportOptions, import_files
from ridelog.report.sentences import shown
from ridelog.store.library import Library
from ridelog.words import compare_tables


@pytest.fixture(scope="module")
def provider(tmp_path_factory: pytest.TempPathFactory) -> LibraryProvider:
    """A clean ride and one with blocked fins, same bike, same loop."""
    source = sample_logs.folder()
    root = tmp_path_factory.mktemp("compare-page") / "library"
    library = Library.open(root)
    bike = library.add_bike(source / "bikes" / "enduro-12.bike.toml")
    for day, air_c, name in ((9, 29.0, "04-clean-radiators.tsv.gz"), (20, 8.0, "07-half-blocked.csv.gz")):
        start = datetime(2026, 5, day, 10, tzinfo=UTC)
        options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=air_c, start=start)
        (outcome,) = import_files(library, [source / "rides" / name], options)
        assert outcome.status == "stored", outcome.reason
    return LibraryProvider(root)


def words(part: Any) -> str:
    if part is None or isinstance(part, bool):
        return ""
    if isinstance(part, str | int | float):
        return str(part)
    if isinstance(part, list | tuple):
        return " ".join(words(one) for one in part)
    return " ".join(words(getattr(part, name, None)) for name in ("children", "alt"))


def pieces(part: Any) -> list[Any]:
    if isinstance(part, list | tuple):
        return [one for inner in part for one in pieces(inner)]
    inner = getattr(part, "children", None)
    return [part, *(pieces(inner) if inner is not None and not isinstance(inner, str) else [])]


@pytest.fixture(scope="module")
def both(provider: LibraryProvider) -> tuple[str, str]:
    """The blocked ride first."""
    later, earlier = (item.id for item in provider.rides())
    return later, earlier


def test_the_page_says_what_the_comparison_says(provider: LibraryProvider, both: tuple[str, str]) -> None:
    view = provider.compare_of(CompareQuestion(both))
    assert view.comparison is not None
    assert "hotter" in view.comparison.summary[0]
    text = words(page(provider, "/compare", {"search": f"?rides={both[0]},{both[1]}"})[0])
    for sentence in view.comparison.summary:
        assert shown(sentence) in text
    for table in compare_tables.tables(view.comparison):
        assert shown(table.title) in text
        assert shown(table.rows[0][-1]) in text


def test_the_laps_of_both_lie_over_each_other(provider: LibraryProvider, both: tuple[str, str]) -> None:
    view = provider.compare_of(CompareQuestion(both))
    assert view.ground is not None
    loop = next(row for row in view.ground.stretches if row.kind == "loop")
    figure = by_place(loop, view.traces)
    assert figure is not None
    assert len(figure.data) == sum(one.full for one in loop.passes)
    for line in figure.data:
        assert min(line.x) >= -0.2
        assert max(line.x) <= loop.length_m / 1000.0 + 0.2
    assert len({(line.line.dash, line.line.color) for line in figure.data}) == 2
    assert by_place(loop, {}) is None


def test_the_picker_shows_what_the_address_says(provider: LibraryProvider, both: tuple[str, str]) -> None:
    assert leads_somewhere(provider, "/compare")
    shown_page, _ = page(provider, "/compare", {"search": f"?rides={both[1]},{both[0]}"})
    picker = next(one for one in pieces(shown_page) if getattr(one, "id", None) == ids.COMPARE_RIDES)
    assert picker.value == [both[1], both[0]]
    assert {option["value"] for option in picker.options} == set(both)


def test_one_ride_shows_its_own_laps(provider: LibraryProvider, both: tuple[str, str]) -> None:
    view = provider.compare_of(CompareQuestion(both[:1]))
    assert view.comparison is None
    assert view.ground is not None
    assert view.ground.stretches
    assert "Set this ride's bike beside" in words(page(provider, "/compare", {"search": f"?rides={both[0]}"})[0])


@pytest.mark.parametrize(
    "search",
    ["?rides=none-such,other", "?bike=enduro-12&service=2026-01-01", "?bike=none&service=2026-01-01", "?service=x",
     "?rides=%3Cscript%3E", "?build=1"],
)  # fmt: skip
def test_what_cannot_be_compared_says_so_on_the_page(provider: LibraryProvider, search: str) -> None:
    shown_page, title = page(provider, "/compare", {"search": search})
    assert title == "Compare · ridelog"
    assert "Choose two rides or more above." not in words(shown_page)
    assert len(words(shown_page)) > 200


def test_without_a_question_it_says_what_to_choose(provider: LibraryProvider) -> None:
    assert "Choose two rides or more above." in words(page(provider, "/compare")[0])
