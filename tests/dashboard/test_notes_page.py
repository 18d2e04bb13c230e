"""Notes on the ride's page: what the forms write, what they refuse in words of the page, and what comes of a note."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from types import ModuleType
from typing import Any

import pytest
from page_text import parts, words

import sample_logs
from dashboard import ids
from dashboard.callbacks.notes import anew, written
from dashboard.callbacks.routing import page
from dashboard.components.saying import refusal
from dashboard.look import Look
from dashboard.pages import notes as pages
from dashboard.pages import ride as ride_page
from dashboard.provider import LibraryProvider
from ridelog.errors import NotInLibrary, UsageError
from ridelog.figures.note_marks import NOTE_LANE
from ridelog.ingest import ImportOptions, import_files
from ridelog.store.library import Library

SOURCE = sample_logs.folder()


def by_id(node: Any) -> dict[str, Any]:
    return {str(part.id): part for part in parts(node) if getattr(part, "id", None) is not None}


@pytest.fixture(scope="module")
def provider(tmp_path_factory: pytest.TempPathFactory) -> LibraryProvider:
    root = tmp_path_factory.mktemp("notes") / "library"
    library = Library.open(root)
    bike = library.add_bike(SOURCE / "bikes" / "enduro-12.bike.toml")
    options = ImportOptions(
        bike=bike, bike_id=bike.id, ambient_c=24.0, start=datetime(2026, 5, 31, 7, 0, tzinfo=UTC), timezone="+02:00"
    )
    (outcome,) = import_files(library, [SOURCE / "rides" / "07-half-blocked.csv.gz"], options)
    assert outcome.status == "stored", outcome.reason
    return LibraryProvider(root)


@pytest.fixture
def ride(provider: LibraryProvider) -> Iterator[str]:
    """The one ride; its notes are taken away after the test."""
    name = provider.rides()[0].id
    yield name
    for note in provider.notes(name):
        provider.remove_note(name, note.number)


def write(provider: LibraryProvider, ride: str, at: str, text: str, about: str = "") -> list[str]:
    return written(provider, ride, ids.NOTE_SAVE, 0, {"at": at, "about": about, "text": text})


def test_a_ride_without_notes_says_what_they_are_for_and_has_an_empty_form(
    provider: LibraryProvider, ride: str
) -> None:
    shown, _ = page(provider, f"/ride/{ride}")
    assert "No note yet." in words(shown)
    found = by_id(shown)
    assert found[str(ids.note(ids.NOTE_AT))].value == ""
    assert found[str(ids.note(ids.NOTE_TEXT))].value == ""
    assert ids.NOTE_HERE in found


def test_a_note_is_listed_marked_and_heard_by_the_diagnosis(provider: LibraryProvider, ride: str) -> None:
    before = words(page(provider, f"/ride/{ride}")[0])
    said = write(provider, ride, "+0:12:34", "coolant at the overflow")
    assert said[0] == "Noted at 0:12:34: “coolant at the overflow”."
    assert said[1] == "It counts as: coolant lost (by its words)."
    seen = {"start_s": 600.0, "end_s": 900.0, "selected": None}
    shown = anew(provider, ride, seen, None, said=said)
    text = words(shown)
    assert "Noted at 0:12:34" in text
    assert "“coolant at the overflow” (coolant lost)" in text
    assert "09:12:34+02:00" in text
    figure = by_id(shown)[ids.STACK].figure
    assert list(figure.layout.xaxis.range) == [600.0, 900.0], "the part that was looked at stays in view"
    assert [note.text for note in figure.layout.annotations if note.y == NOTE_LANE] == ["<b>1</b>"]
    assert by_id(shown)[ids.VIEW].data["start_s"] == 600.0
    behind = text[text.index("What may be behind it") : text.index("Notes on this ride")]
    assert behind not in before, "a note on lost coolant is evidence"


def test_words_without_a_plain_meaning_say_how_to_give_one_on_this_page(provider: LibraryProvider, ride: str) -> None:
    said = write(provider, ride, "754", "odd noise from the left")
    assert "It counts as: nothing in particular" in said[1]
    assert "--" not in said[1]
    assert "Correct or remove" in said[1]


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        (("", "x", ""), "The note has no time"),
        (("soon", "x", ""), "'soon' is no time"),
        (("9:99", "x", ""), "'9:99' is no time"),
        (("+99:00:00", "x", ""), "is outside the ride"),
        (("+0:01:00", "  ", ""), "The note is empty"),
        (("+0:01:00", "x" * 1001, ""), "at most 1,000"),
        (("+0:01:00", "x", "treasure"), "can't be about 'treasure'"),
    ],
)
def test_refusals_are_words_of_the_page_and_write_nothing(
    provider: LibraryProvider, ride: str, typed: tuple[str, str, str], expected: str
) -> None:
    with pytest.raises(UsageError) as raised:
        write(provider, ride, *typed)
    told = refusal(raised.value)
    assert expected in told
    assert "--" not in told
    assert provider.notes(ride) == []


def test_what_could_be_two_moments_is_asked_back_without_options(provider: LibraryProvider, ride: str) -> None:
    with pytest.raises(UsageError) as raised:
        write(provider, ride, "9:10", "x")
    told = refusal(raised.value)
    assert "could be" in told
    assert "+0:09:10" in told
    assert "2026-05-31T09:10:00+02:00" in told
    assert "--at" not in told


def test_a_note_is_corrected_in_a_form_that_holds_what_stands_there(provider: LibraryProvider, ride: str) -> None:
    write(provider, ride, "+0:05:00.5", "waited at the gate", "other")
    (note,) = provider.notes(ride)
    assert (note.told, note.about) == ("other", "other"), "somebody said so: its words alone would mean a stop"
    form = by_id(pages.form(note))
    assert form[str(ids.note(ids.NOTE_AT, note.number))].value == "+0:05:00.5"
    assert form[str(ids.note(ids.NOTE_ABOUT, note.number))].value == "other"
    typed = {"at": "+0:05:00.5", "about": "", "text": "waited at the gate"}
    said = written(provider, ride, ids.NOTE_SAVE, note.number, typed)
    assert said[0].startswith("Corrected. Now at 0:05:00.5")
    (after,) = provider.notes(ride)
    assert (after.number, after.at_s, after.about, after.told) == (note.number, 300.5, "stop", "")


def test_a_note_is_removed_and_then_no_longer_there(provider: LibraryProvider, ride: str) -> None:
    write(provider, ride, "+0:05:00", "stopped")
    (note,) = provider.notes(ride)
    typed = {"at": "", "about": "", "text": ""}
    said = written(provider, ride, ids.NOTE_REMOVE, note.number, typed)
    assert said == ["Removed: “stopped” at 0:05:00."]
    assert provider.notes(ride) == []
    with pytest.raises(NotInLibrary):
        written(provider, ride, ids.NOTE_REMOVE, note.number, typed)


def test_a_new_note_that_was_begun_stays_while_another_is_corrected(provider: LibraryProvider, ride: str) -> None:
    view = provider.view_of(ride)
    draft = {"at": "+0:01:00", "about": "stop", "text": "half a sent"}
    found = by_id(ride_page.content(view, Look(), [], draft=draft))
    assert [found[str(ids.note(part))].value for part in (ids.NOTE_AT, ids.NOTE_ABOUT, ids.NOTE_TEXT)] == [
        "+0:01:00", "stop", "half a sent",
    ]  # fmt: skip


def test_the_diagnosis_stands_on_the_page_with_evidence_and_a_way_to_a_case(
    provider: LibraryProvider, ride: str
) -> None:
    shown, _ = page(provider, f"/ride/{ride}")
    found = provider.view_of(ride).diagnosis
    text = words(shown)
    section = text[text.index("What may be behind it") : text.index("Notes on this ride")]
    for expected in (*found.cautions, "Was the advice followed?"):
        assert expected in section
    first = found.ranked[0]
    for sentence in (*first.evidence_for, *found.check_next):
        assert sentence.rstrip(".").split(" C")[0].split(" %")[0] in section
    links = [part.href for part in parts(shown) if getattr(part, "href", None)]
    assert f"/open-case/{ride}" in links


def test_without_a_heat_balance_no_likelihood_is_told(fakes: ModuleType) -> None:
    text = words(page(fakes.FakeProvider(fakes.make_view()), f"/ride/{fakes.RIDE_ID}")[0])
    section = text[text.index("What may be behind it") : text.index("Notes on this ride")]
    assert "without a heat balance they would rest on nothing" in section
    assert "in 10" not in section
