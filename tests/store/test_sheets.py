"""Stored bike files and sheets that can't be used any more: what they take with them, and what goes on."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import date

import pytest

from ridelog import advice
from ridelog.errors import ProfileError
from ridelog.store.library import Library
from ridelog.store.sheets import Sheets, sheets_of

DAMAGE = [
    "x",
    "",
    "schema = 99\n",
    "a = [\n",
    "\x00",
    b"\xff\xfe",
    'schema = 1\nid = "another"\n',
    "schema = 1\nz = 1\n",
]


def damage(library: Library, name: str, text: object) -> None:
    with closing(sqlite3.connect(library.root / "library.sqlite")) as db, db:
        assert db.execute("UPDATE profile SET text = ? WHERE name = ?", (text, name)).rowcount == 1


@pytest.fixture
def filled(library: Library) -> Library:
    for name in ("one", "two"):
        library.put_bike(f'schema = 1\nid = "{name}"\nbuild = "b"\n', "bike.toml")
    for version, day in (("early", date(2026, 1, 1)), ("late", date(2026, 6, 1))):
        library.put_advice(advice.template(version, day), "sheet.toml")
    return library


@pytest.mark.parametrize("text", DAMAGE)
def test_a_lost_bike_takes_no_other_with_it_and_is_added_again(filled: Library, text: object) -> None:
    damage(filled, "one", text)
    assert [bike.id for bike in filled.bikes()] == ["two"]
    assert [bike.id for bike in filled.bikes_of_build("b")] == ["two"]
    assert filled.bike("two").id == "two"
    with pytest.raises(ProfileError, match="bike one of the library") as caught:
        filled.bike("one")
    assert "ridelog bikes add FILE" in caught.value.to_do
    assert str(filled.bike_files()["one"]) == str(caught.value)
    filled.put_bike('schema = 1\nid = "one"\n', "bike.toml")
    assert [bike.id for bike in filled.bikes()] == ["one", "two"]


@pytest.mark.parametrize("text", [text for text in DAMAGE if text != ""])
def test_a_lost_sheet_is_told_where_it_held_or_may_have(filled: Library, text: object) -> None:
    damage(filled, "late", text)
    with pytest.raises(ProfileError, match="advice sheet late of the library") as caught:
        filled.advice_sheets()
    assert "ridelog advice add FILE" in caught.value.to_do
    with pytest.raises(ProfileError):
        filled.sheets().on(date(2026, 7, 1))
    filled.put_advice(advice.template("late", date(2026, 6, 1)), "sheet.toml")
    assert filled.sheets().on(date(2026, 7, 1)).version == "late"


def lost(*sheets: tuple[str, date], broken: tuple[str, ...]) -> Sheets:
    """Sheets, the broken ones with a rule nobody knows but a date that can be read."""
    texts = [(name, advice.template(name, day) + ("\nunknown = 1\n" if name in broken else "")) for name, day in sheets]
    found = sheets_of(texts)
    assert [one.version for one in found.lost] == list(broken)
    return found


@pytest.mark.parametrize(
    ("day", "held"),
    [
        (date(2025, 12, 31), "built-in"),
        (date(2026, 1, 1), "early"),
        (date(2026, 3, 1), None),
        (date(2026, 5, 31), None),
        (date(2026, 6, 1), "late"),
        (None, "late"),
    ],
)
def test_only_days_of_a_lost_sheet_are_lost(day: date | None, held: str | None) -> None:
    found = lost(
        ("early", date(2026, 1, 1)), ("middle", date(2026, 3, 1)), ("late", date(2026, 6, 1)), broken=("middle",)
    )
    if held is None:
        with pytest.raises(ProfileError, match="middle"):
            found.on(day)
    else:
        assert found.on(day).version == held


def test_undated_rides_are_lost_with_the_newest_sheet() -> None:
    found = lost(("early", date(2026, 1, 1)), ("late", date(2026, 6, 1)), broken=("late",))
    with pytest.raises(ProfileError, match="late"):
        found.on(None)
    assert found.on(date(2026, 2, 1)).version == "early"


def test_two_sheets_of_one_day_one_of_them_lost() -> None:
    """The later by name holds where both can be read; with one lost, which held is not known."""
    day = date(2026, 6, 1)
    assert lost(("a", day), ("b", day), broken=()).on(day).version == "b"
    with pytest.raises(ProfileError):
        lost(("a", day), ("b", day), broken=("b",)).on(day)
