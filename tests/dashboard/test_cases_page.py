"""Cases in the dashboard: the list, the form, the page of one with what was frozen, and what its buttons do."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from page_text import parts, words

import sample_logs
from dashboard import ids, texts
from dashboard.callbacks.cases import anew, beside_today
from dashboard.callbacks.routing import leads_somewhere, page
from dashboard.components.saying import refusal
from dashboard.pages import case as case_page
from dashboard.provider import LibraryProvider
from ridelog.case_findings import Today
from ridelog.cases import frozen_of
from ridelog.errors import NotInLibrary, RidelogError, UsageError
from ridelog.ingest import ImportOptions, import_files
from ridelog.store.library import Library
from ridelog.words import cases as case_words

SOURCE = sample_logs.folder()
SAID = "It boils on <b>every</b> sand ride."


def by_id(node: Any) -> dict[str, Any]:
    return {str(part.id): part for part in parts(node) if getattr(part, "id", None) is not None}


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two rides of one bike, and one that belongs to no bike."""
    root = tmp_path_factory.mktemp("cases") / "library"
    library = Library.open(root)
    bike = library.add_bike(SOURCE / "bikes" / "enduro-12.bike.toml")
    for name, day in (("04-clean-radiators.tsv.gz", 9), ("07-half-blocked.csv.gz", 31)):
        start = datetime(2026, 5, day, 9, 0, tzinfo=UTC)
        options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=24.0, start=start, timezone="+02:00")
        (outcome,) = import_files(library, [SOURCE / "rides" / name], options)
        assert outcome.status == "stored", outcome.reason
    return root


@pytest.fixture
def provider(filled: Path, tmp_path: Path) -> LibraryProvider:
    shutil.copytree(filled, tmp_path / "library")
    return LibraryProvider(tmp_path / "library")


def opened(provider: LibraryProvider, rides: int = 1) -> str:
    chosen = [one.id for one in provider.rides_of("enduro-12")][:rides]
    return provider.open_case("enduro-12", "2026-06-21", SAID, chosen).id


def test_an_empty_list_says_what_a_case_is_for(provider: LibraryProvider) -> None:
    shown, title = page(provider, "/cases")
    assert title == "Cases · ridelog"
    assert "No case yet." in words(shown)
    assert "/new/case" in [getattr(part, "href", None) for part in parts(shown)]


def test_the_list_tells_each_case_and_how_often_ridelog_was_right(provider: LibraryProvider) -> None:
    name = opened(provider)
    provider.close_case(name, "fins packed with mud", "airflow_blocked")
    other = provider.open_case("enduro-12", "2026-06-22", "x" * 400, []).id
    shown, _ = page(provider, "/cases")
    text = words(shown)
    for expected in (name, other, "enduro-12", f"“{SAID}”", "closed ", "open", "too little air through the radiators",
                     case_words.record(provider.case_record())):  # fmt: skip
        assert expected in text
    assert "x" * 200 not in text
    links = [getattr(part, "href", None) for part in parts(shown)]
    assert links.index(f"/cases/{other}") < links.index(f"/cases/{name}"), "the latest day first"


def test_the_form_from_a_ride_has_bike_and_ride_chosen(provider: LibraryProvider) -> None:
    newest, older = provider.rides_of("enduro-12")
    found = by_id(page(provider, f"/open-case/{newest.id}")[0])
    assert found[ids.CASE_BIKE].value == "enduro-12"
    assert found[ids.CASE_RIDES].value == [newest.id]
    assert [one["value"] for one in found[ids.CASE_RIDES].options] == [newest.id, older.id]
    assert "31 May 2026" in found[ids.CASE_RIDES].options[0]["label"]


def test_a_form_without_a_ride_takes_the_only_bike_and_no_ride(provider: LibraryProvider) -> None:
    found = by_id(page(provider, "/new/case")[0])
    assert found[ids.CASE_BIKE].value == "enduro-12"
    assert found[ids.CASE_RIDES].value == []


def test_a_ride_of_no_bike_says_what_to_do_first(provider: LibraryProvider) -> None:
    library = Library.open(provider.root)
    (outcome,) = import_files(library, [SOURCE / "rides" / "05-first-mud.csv.gz"], ImportOptions(ambient_c=20.0))
    assert outcome.ride_id is not None
    shown, _ = page(provider, f"/open-case/{outcome.ride_id}")
    assert f"ridelog edit {outcome.ride_id} --bike BIKE" in words(shown)
    assert by_id(shown)[ids.CASE_BIKE].value is None


def test_a_library_without_bikes_says_so(tmp_path: Path) -> None:
    shown, _ = page(LibraryProvider(tmp_path / "empty"), "/new/case")
    assert "has none yet" in words(shown)
    assert "/new/bike" in [getattr(part, "href", None) for part in parts(shown)]


def test_addresses_lead_to_what_is_there_and_nowhere_else(provider: LibraryProvider) -> None:
    name = opened(provider, 0)
    ride = provider.rides_of("enduro-12")[0].id
    for path in ("/cases", "/new/case", f"/cases/{name}", f"/open-case/{ride}"):
        assert leads_somewhere(provider, path), path
    for path in ("/cases/none", f"/cases/{name[:-2]}", "/cases/..%2Fetc", "/open-case/none", f"/cases/{name}/more"):
        assert not leads_somewhere(provider, path), path
        assert page(provider, path)[1] == "Not found · ridelog"


def test_a_case_shows_what_was_frozen_with_its_evidence_and_hashes(provider: LibraryProvider) -> None:
    name = opened(provider)
    shown, title = page(provider, f"/cases/{name}")
    assert title == f"Case {name} · ridelog"
    text = words(shown)
    (one,) = frozen_of(provider.case(name))
    basis = one.document["basis"]
    for expected in (SAID, "enduro-12", "21 June 2026", one.ride, basis["known_hash"], basis["ride_sha256"],
                     basis["bike_sha256"], *(file["sha256"] for file in basis["files"])):  # fmt: skip
        assert expected in text
    first = one.document["diagnosis"]["ranked"][0]
    for sentence in first["for"]:
        assert sentence.split(" C")[0].split(" %")[0].rstrip(".") in text
    evidence = [part for part in parts(shown) if getattr(part, "className", "") == "cause"]
    assert evidence
    assert not any(part.open for part in evidence if hasattr(part, "open")), "evidence stands behind its cause"
    boxes = by_id(shown)
    assert boxes[str(ids.case_part(ids.CASE_RIDE, 0))].data == one.ride


def test_every_part_of_a_basis_has_words(provider: LibraryProvider) -> None:
    (one,) = frozen_of(provider.case(opened(provider)))
    assert set(one.document["basis"]) <= set(texts.BASIS_WORDS)


def test_today_is_the_same_until_something_changes(provider: LibraryProvider) -> None:
    name = opened(provider)
    ride = provider.case(name).rides[0].ride
    assert words(beside_today(provider, name, ride)) == case_words.SAME
    provider.write_note(ride, "+0:01:00", "", "coolant at the overflow")
    later = words(beside_today(provider, name, ride))
    assert "Changed since: the notes on the ride." in later
    assert "today" in later.casefold()
    Library.open(provider.root).remove(ride)
    assert words(beside_today(provider, name, ride)) == case_words.GONE
    assert one_of(provider, name) in words(page(provider, f"/cases/{name}")[0]), "what was found stays"


def one_of(provider: LibraryProvider, name: str) -> str:
    """The peak as it was found, which no later run can give once the ride is gone."""
    (one,) = frozen_of(provider.case(name))
    return f"Coolant peaked at {one.document['key']['peak_c']:.0f} °C"


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        (Today("unknown", reason="the bike is gone"), "can't tell"),
        (Today("changed", ("version", "bike"), "normal", 0.7), "ridelog itself (then"),
        (
            Today("changed", ("sheet",), "not_enough_evidence", 0.4),
            "Today the answer is the same: not enough evidence.",
        ),
    ],
)
def test_each_way_a_ride_can_compare_has_words(provider: LibraryProvider, now: Today, expected: str) -> None:
    (one,) = frozen_of(provider.case(opened(provider)))
    assert expected in words(case_page.compared(one, now))


def test_rides_are_attached_with_what_is_found_now_and_typed_words_stay(provider: LibraryProvider) -> None:
    name = opened(provider)
    other = provider.rides_of("enduro-12")[1].id
    made = provider.attach(name, [other])
    assert [one.ride for one in frozen_of(made)][1] == other
    shown = anew(provider, made, None, {"found": "half a sent", "cause": "airflow_blocked"})
    found = by_id(shown)
    assert found[ids.CASE_FOUND].value == "half a sent"
    assert found[ids.CASE_CAUSE].value == "airflow_blocked"
    assert "Every ride of this bike that the library holds is attached." in words(shown)
    with pytest.raises(UsageError) as raised:
        provider.attach(name, [other])
    assert "has this ride already" in refusal(raised.value)


def test_a_case_is_closed_and_opened_again_with_nothing_lost(provider: LibraryProvider) -> None:
    name = opened(provider)
    closed = anew(provider, provider.close_case(name, "fins packed with mud", "airflow_blocked"), None)
    text = words(closed)
    for expected in ("fins packed with mud", "too little air through the radiators", "What the workshop found"):
        assert expected in text
    assert ids.CASE_CLOSE not in by_id(closed)
    assert ids.CASE_ATTACH not in by_id(closed)
    again = anew(provider, provider.reopen_case(name), None)
    assert "What the workshop had found before" in words(again)
    assert "fins packed with mud" in words(again)
    assert ids.CASE_CLOSE in by_id(again)


@pytest.mark.parametrize(
    "asked",
    [
        lambda p, _: p.open_case("enduro-12", "yesterday", SAID, []),
        lambda p, _: p.open_case("enduro-12", "1800-01-01", SAID, []),
        lambda p, _: p.open_case("enduro-12", "2026-06-21", "  ", []),
        lambda p, _: p.open_case("nobody", "2026-06-21", SAID, []),
        lambda p, _: p.open_case("enduro-12", "2026-06-21", SAID, ["none"]),
        lambda p, _: p.open_case("enduro-12", "2026-06-21", "x" * 5000, []),
        lambda p, name: p.attach(name, ["none"]),
        lambda p, _: p.attach("2020-01-01-1", []),
        lambda p, name: p.close_case(name, "", "airflow_blocked"),
        lambda p, name: p.close_case(name, "mud", "gremlins"),
        lambda p, name: p.reopen_case(name),
    ],
)
def test_what_can_t_be_done_is_told_and_changes_nothing(provider: LibraryProvider, asked: Any) -> None:
    name = opened(provider, 0)
    before = provider.cases()
    with pytest.raises(RidelogError) as raised:
        asked(provider, name)
    told = refusal(raised.value)
    assert told.endswith((".", "?", "!")) or "ridelog " in told
    assert "--date" not in told
    assert provider.cases() == before


def test_a_start_of_a_case_s_name_is_no_address(provider: LibraryProvider) -> None:
    name = opened(provider, 0)
    with pytest.raises(NotInLibrary):
        provider.case(name[:8])
    assert replace(provider.case(name)) == provider.case(name)


def test_what_the_library_writes_can_be_chosen_as_a_cause(provider: LibraryProvider) -> None:
    from ridelog.cases import cause_of

    found = by_id(page(provider, f"/cases/{opened(provider, 0)}")[0])[ids.CASE_CAUSE]
    values = [one["value"] for one in found.options]
    assert values[0] == ""
    assert len(values) > 20
    assert all(cause_of(value) == value for value in values[1:])
