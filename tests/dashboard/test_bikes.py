"""The editor of bikes and sheets: what is written is checked, looked ahead on, saved, and nothing before it is lost."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from page_text import parts, words

from dashboard import texts
from dashboard.callbacks import bikes as callbacks
from dashboard.callbacks.routing import leads_somewhere, page
from dashboard.pages import bikes
from dashboard.provider import LibraryProvider
from ridelog.errors import ProfileError
from ridelog.flips import Flip, Flips

BIKE = 'schema = 1\nid = "dune-07"\nbuild = "300-enduro-2"\n[thresholds]\nhot = 105.0\n'
SHEET = 'schema = 1\nversion = "2026-02"\nvalid_from = 2026-02-01\n'


@pytest.fixture
def provider(tmp_path: Path) -> LibraryProvider:
    found = LibraryProvider(tmp_path / "library")
    assert found.save_profile("bike", BIKE) == "dune-07"
    assert found.save_profile("advice", SHEET) == "2026-02"
    return found


def test_both_lists_lead_to_editors(provider: LibraryProvider) -> None:
    shown, title = page(provider, "/bikes")
    assert title == "Bikes and advice · ridelog"
    for text in ("dune-07", "300-enduro-2", "hot 105 °C", "2026-02", "from 2026-02-01 on"):
        assert text in words(shown)
    for path in ("/bikes/dune-07", "/sheets/2026-02", "/new/bike", "/new/advice"):
        assert leads_somewhere(provider, path)
        assert "The file" in words(page(provider, path)[0])
    for path in ("/bikes/none", "/sheets/none", "/new/boat", "/bikes/dune-07/more"):
        assert not leads_somewhere(provider, path)


def test_a_name_the_library_does_not_hold_is_not_found(provider: LibraryProvider) -> None:
    shown, title = page(provider, "/bikes/dune-70")
    assert title == "Not found · ridelog"
    assert "dune-07" in words(shown)


@pytest.mark.parametrize("kind", ["bike", "advice"])
def test_a_new_file_starts_from_a_valid_template(provider: LibraryProvider, kind: Any) -> None:
    shown, _ = page(provider, f"/new/{kind}")
    text = next(part.value for part in _all(shown) if getattr(part, "id", None) == "profile-text")
    assert provider.check_profile(kind, text)


def _all(part: Any) -> list[Any]:
    if isinstance(part, list | tuple):
        return [one for inner in part for one in _all(inner)]
    return [part, *_all(getattr(part, "children", []) or [])] if hasattr(part, "children") else [part]


def test_what_is_wrong_is_said_with_key_and_range_and_can_t_be_saved(provider: LibraryProvider) -> None:
    wrong = BIKE.replace("105.0", "1050.0")
    said, no_save, no_look = callbacks.checked(provider, wrong, {"kind": "bike", "name": "dune-07"})
    assert "thresholds.hot is 1050.0" in said
    assert "30 to 180 C" in said
    assert no_save
    assert no_look
    with pytest.raises(ProfileError):
        provider.save_profile("bike", wrong)
    assert provider.profile_text("bike", "dune-07") == BIKE


@pytest.mark.parametrize(
    "text", [None, "", "  \n", "hello", "schema = 2", "[" * 2000, "\x00", 'schema = 1\nid = "<b>"']
)
def test_any_text_is_answered(provider: LibraryProvider, text: str | None) -> None:
    said, no_save, _ = callbacks.checked(provider, text, {"kind": "bike", "name": "dune-07"})
    assert said
    assert no_save


def test_another_name_is_told_before_it_makes_another_bike(provider: LibraryProvider) -> None:
    renamed = BIKE.replace("dune-07", "dune-08")
    said, no_save, _ = callbacks.checked(provider, renamed, {"kind": "bike", "name": "dune-07"})
    assert "dune-08" in said
    assert "leaves dune-07 as it is" in said
    assert not no_save


@pytest.mark.parametrize("kind", ["bike", "advice"])
def test_of_two_windows_neither_overwrites_the_other_unseen(provider: LibraryProvider, kind: Any) -> None:
    name, first = ("dune-07", BIKE) if kind == "bike" else ("2026-02", SHEET)
    one, other = first + "\n# from one window\n", first + "\n# from the other\n"
    window = {"kind": kind, "name": name, "seen": bikes.mark_of(provider.profile_text(kind, name))}
    said, _, seen = callbacks.saved(provider, one, window)
    assert said == texts.EDIT_SAVED
    assert callbacks.saved(provider, first + "\n# and again\n", seen)[0] == texts.EDIT_SAVED
    kept = provider.profile_text(kind, name)
    said, _, seen = callbacks.saved(provider, other, window)
    assert said == texts.EDIT_MEANWHILE.format(name)
    assert provider.profile_text(kind, name) == kept
    said, _, _ = callbacks.saved(provider, other, seen)
    assert said == texts.EDIT_SAVED
    assert "# from the other" in provider.profile_text(kind, name)
    assert "# and again" in provider.profile_history(kind, name)[1].text


def test_a_new_one_takes_no_other_s_place_unseen(provider: LibraryProvider) -> None:
    window = {"kind": "bike", "name": "dune-07", "seen": ""}
    said, _, _ = callbacks.saved(provider, BIKE + "\n# new\n", window)
    assert said == texts.EDIT_MEANWHILE.format("dune-07")
    assert "# new" not in provider.profile_text("bike", "dune-07")


def test_earlier_texts_stay(provider: LibraryProvider) -> None:
    provider.save_profile("bike", BIKE.replace("105.0", "103.0"))
    now, before = provider.profile_history("bike", "dune-07")
    assert (now.text, now.replaced) == (BIKE.replace("105.0", "103.0"), None)
    assert before.text == BIKE
    assert before.replaced is not None
    shown, _ = page(provider, "/bikes/dune-07")
    assert "in use" not in words(bikes.editor("bike", "x", "", [now]))
    assert "hot = 105.0" in words(shown)


def test_without_rides_nothing_can_flip(provider: LibraryProvider) -> None:
    found = provider.flips("bike", BIKE.replace("105.0", "103.0"))
    assert (found.looked, found.flips) == (0, ())
    assert "No ride of the library is concerned." in words(bikes.flips(found))


def test_flips_are_listed_by_ride() -> None:
    from datetime import date

    found = Flips(3, 2, (Flip("ride-a", date(2026, 5, 9), ("Above 103 C (hot): 9 min instead of 8 min.",)),))
    text = words(bikes.flips(found))
    assert "3 rides were looked at, of 1 something would be told otherwise. 2 older ones were not." in text
    assert "9 May 2026" in text
    assert "instead of 8 min" in text
    assert "Nothing would be told otherwise" in words(bikes.flips(Flips(1, 0, ())))


def test_a_flip_of_a_stretch_leads_to_it() -> None:
    said = ("Above 103 C (hot): 9 min instead of 8 min.", "Wide open from 0:10:00 to 0:10:40 would be flagged: missed.")
    shown = bikes.flips(Flips(1, 0, (Flip("ride-a", None, said, (None, (600.0, 640.0))),)))
    links = [part.href for part in parts(shown) if "from=" in str(getattr(part, "href", ""))]
    assert links == ["/ride/ride-a?from=585&to=655"]


def test_the_built_in_sheet_s_name_can_t_be_taken(provider: LibraryProvider) -> None:
    with pytest.raises(ProfileError, match="built-in"):
        provider.save_profile("advice", SHEET.replace('"2026-02"', '"built-in"'))


def test_an_empty_library_says_what_a_bike_file_is_for(tmp_path: Path) -> None:
    empty: Any = SimpleNamespace(profiles=lambda _: [])
    assert "No bike yet" in words(page(empty, "/bikes")[0])
