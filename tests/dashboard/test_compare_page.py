"""Rides beside rides on a page: sentences and tables are those of the comparison, the address says what is compared."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from page_text import parts, words

import sample_logs
from dashboard import ids
from dashboard.callbacks.routing import leads_somewhere, page
from dashboard.components.naming import ride_names
from dashboard.config import compare_path
from dashboard.pages.compare import told
from dashboard.provider import CompareQuestion, LibraryProvider, RideItem
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
        assert words(told(sentence, view)) in text
        assert not any(ride in told(sentence, view) for ride in both), "rides are named by their day"
    assert f"the ride of {ride_names(view.items)[both[0]]} ran hotter" in text
    for table in compare_tables.tables(view.comparison):
        assert words(shown(table.title)) in text
        assert words(shown(table.rows[0][-1])) in text


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
    turned = by_place(loop, view.traces, order=both)
    assert turned is not None
    inked = {line.name.rpartition(",")[0] for line in turned.data if line.line.dash == "solid"}
    assert inked == {both[0].rpartition("-")[0]}, "the ride that was named first"


def test_the_picker_shows_what_the_address_says(provider: LibraryProvider, both: tuple[str, str]) -> None:
    assert leads_somewhere(provider, "/compare")
    shown_page, _ = page(provider, "/compare", {"search": f"?rides={both[1]},{both[0]}"})
    names = ride_names(provider.rides())
    chosen = next(one for one in parts(shown_page) if getattr(one, "className", None) == "chosen-rides")
    assert [words(row.children[0]).strip() for row in chosen.children] == [names[both[1]], names[both[0]]]
    links = {" ".join(words(one).split()): one.href for one in parts(chosen) if getattr(one, "href", None)}
    assert links[f"Take out : {names[both[1]]}"] == compare_path(both[0])
    assert links[f"Set first : {names[both[0]]}"] == compare_path(*both)


def test_every_other_ride_can_be_added(provider: LibraryProvider, both: tuple[str, str]) -> None:
    shown_page, _ = page(provider, "/compare", {"search": f"?rides={both[0]}"})
    box = next(one for one in parts(shown_page) if getattr(one, "id", None) == ids.COMPARE_RIDES)
    assert box.open, "with one ride chosen, the next is what is asked for"
    (link,) = [one for one in parts(box) if getattr(one, "href", None)]
    assert link.href == compare_path(both[0], both[1])


def test_rides_of_the_same_hour_are_told_apart() -> None:
    items = [
        RideItem(ride, None, start, None, None, 60.0, None, None, "unknown", (), ())
        for ride, start in (("a", datetime(2026, 5, 9, 10, tzinfo=UTC)), ("b", datetime(2026, 5, 9, 10, tzinfo=UTC)),
                            ("c", None), ("d", datetime(2026, 5, 10, 10, tzinfo=UTC)))
    ]  # fmt: skip
    names = ride_names(items)
    assert len(set(names.values())) == 4
    assert names["c"] == "day not known (c)"
    assert names["d"] == "10 May 2026, 10:00 UTC"


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
