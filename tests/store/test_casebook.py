"""Notes and complaints in the catalogue: what is given back, what is refused, what goes with a ride and what stays,
several writers at once, and a writer that is killed."""

from __future__ import annotations

import math
import signal
import sqlite3
import subprocess
import sys
import unicodedata
from contextlib import closing
from datetime import date
from pathlib import Path
from types import ModuleType
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog import ride as ride_module
from ridelog.errors import NotInLibrary, UsageError
from ridelog.store import casebook, schema
from ridelog.store.library import Library
from ridelog.told import cleaned

BIKE = "enduro-07"
"""The bike of the maker's rides of odd number."""
OTHER = "enduro-12"
DAY = date(2026, 5, 2)


@pytest.fixture
def filled(library: Library, maker: ModuleType, tmp_path: Path) -> Library:
    """Rides 1 and 3 of one bike, ride 2 of none; two bikes."""
    for bike in (BIKE, OTHER):
        path = tmp_path / f"{bike}.toml"
        path.write_text(f'schema = 1\nid = "{bike}"\n', encoding="utf-8")
        library.add_bike(path)
    maker.stored(library, tmp_path, 1, 2, 3)
    return library


ONE, TWO, THREE = "ride-00001", "ride-00002", "ride-00003"


# -- notes -------------------------------------------------------------------------------------------------------------


def test_abouts_are_those_of_the_analysis() -> None:
    assert get_args(ride_module.About) == casebook.ABOUTS


def test_notes_come_back_in_order_of_time(filled: Library) -> None:
    late = filled.add_note(ONE, 30.5, "stop", "gate")
    early = filled.add_note(ONE, 2.0, "coolant_lost", "drops under the bike")
    same = filled.add_note(ONE, 2.0, "other", "written after the other")
    again = Library.open(filled.root)
    assert again.notes_of(ONE) == [early, same, late]
    assert again.notes_of(TWO) == again.notes_of("no such ride") == []
    assert [one.note().about for one in again.notes_of(ONE)] == ["coolant_lost", "other", "stop"]
    assert late.written_utc.tzinfo is not None


def test_a_number_stays_with_its_note(filled: Library) -> None:
    numbers = [filled.add_note(ONE, float(n), "other", f"note {n}").number for n in (5, 3, 1)]
    filled.remove_note(ONE, numbers[1])
    assert {row.number: row.text for row in filled.notes_of(ONE)} == {numbers[0]: "note 5", numbers[2]: "note 1"}


def test_the_number_of_what_was_removed_is_not_given_again(filled: Library) -> None:
    last = filled.add_note(ONE, 1.0, "other", "first").number
    filled.remove_note(ONE, last)
    again = filled.add_note(ONE, 1.0, "other", "second").number
    filled.remove(ONE)  # its notes go with it
    assert filled.add_note(TWO, 1.0, "other", "third").number > again > last
    day = [filled.open_complaint(BIKE, DAY, text).id for text in ("one", "two")]
    for name in day:
        filled.drop_complaint(name)
    assert filled.open_complaint(BIKE, DAY, "three").id == f"{DAY.isoformat()}-3"


def test_a_correction_leaves_what_is_not_named(filled: Library) -> None:
    number = filled.add_note(ONE, 5.0, "other", "a").number
    assert filled.correct_note(ONE, number, text="b").text == "b"
    changed = filled.correct_note(ONE, number, at_s=7.0, about="stop")
    assert (changed.at_s, changed.about, changed.text) == (7.0, "stop", "b")
    assert filled.notes_of(ONE) == [changed]


@pytest.mark.parametrize("at_s", [-0.1, 40.0, math.nan, math.inf, -math.inf, 1e300])
def test_a_time_outside_the_ride_is_refused(filled: Library, at_s: float) -> None:
    with pytest.raises(UsageError, match="outside the ride") as caught:
        filled.add_note(ONE, at_s, "other", "x")
    assert "39.9 s" in caught.value.expected
    number = filled.add_note(ONE, 39.9, "other", "the last sample").number
    with pytest.raises(UsageError):
        filled.correct_note(ONE, number, at_s=at_s)
    assert [row.at_s for row in filled.notes_of(ONE)] == [39.9]


def test_what_a_note_can_not_be_is_refused(filled: Library) -> None:
    with pytest.raises(UsageError, match="can't be about 'weather'"):
        filled.add_note(ONE, 1.0, "weather", "x")
    with pytest.raises(UsageError, match="empty"):
        filled.add_note(ONE, 1.0, "other", " \n\t ")
    with pytest.raises(UsageError, match="3,000,000 characters") as caught:
        filled.add_note(ONE, 1.0, "other", "x" * 3_000_000)
    assert "1,000" in caught.value.expected
    with pytest.raises(NotInLibrary):
        filled.add_note("ride-99999", 1.0, "other", "x")
    assert filled.notes_of(ONE) == []


def test_a_ride_takes_so_many_notes_and_says_so(filled: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(casebook, "MOST_NOTES", 3)
    for n in range(3):
        filled.add_note(ONE, float(n), "other", "x")
    with pytest.raises(UsageError, match="has 3 notes"):
        filled.add_note(ONE, 4.0, "other", "x")
    filled.add_note(THREE, 4.0, "other", "another ride's")


def test_a_note_of_another_ride_is_not_touched(filled: Library) -> None:
    mine, theirs = filled.add_note(ONE, 1.0, "other", "mine"), filled.add_note(THREE, 1.0, "other", "theirs")
    for attempt in (
        lambda: filled.remove_note(ONE, theirs.number),
        lambda: filled.correct_note(ONE, theirs.number, text="x"),
        lambda: filled.remove_note(ONE, 10**12),
    ):
        with pytest.raises(NotInLibrary, match="it has no note") as caught:
            attempt()
        assert str(mine.number) in caught.value.expected
    assert filled.notes_of(THREE) == [theirs]


def test_notes_go_with_their_ride(filled: Library, maker: ModuleType, tmp_path: Path) -> None:
    filled.add_note(ONE, 1.0, "stop", "x")
    kept = filled.add_note(THREE, 1.0, "stop", "y")
    filled.remove(ONE)
    maker.stored(filled, tmp_path, 1)
    assert filled.notes_of(ONE) == []
    assert filled.notes_of(THREE) == [kept]


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("a\x1b[31mred", "a\\x1b[31mred"), ("two\nlines\tof   it\r\n", "two lines of it"),
        ("\x00a\x7f\x9b", "\\x00a\\x7f\\x9b"),
        ("turn\u202eed", "turn\\u202eed"), ("half \ud83d pair", "half \ufffd pair"), ("line\u2028sep", "line sep"),
        ("<script>alert(1)</script>", "<script>alert(1)</script>"), ("Kühlwasser „weg“ 👍", "Kühlwasser „weg“ 👍"),
        ("می\u200cخواهم", "می\u200cخواهم"), ("'); DROP TABLE ride_note; --", "'); DROP TABLE ride_note; --"),
    ],
)  # fmt: skip
def test_hostile_text_is_kept_as_words(filled: Library, typed: str, kept: str) -> None:
    number = filled.add_note(ONE, 1.0, "other", typed).number
    assert [row.text for row in Library.open(filled.root).notes_of(ONE)] == [kept]
    assert filled.correct_note(ONE, number, text=typed).text == kept


BLANK = "\u115f\u1160\u2800\u3164\uffa0"
"""Letters and signs that are drawn as nothing (Unicode names them fillers, and a blank pattern)."""


@given(st.text(st.characters(), min_size=1, max_size=60))
def test_whatever_is_typed_is_shown_on_one_line_and_cleaned_once_for_all(text: str) -> None:
    try:
        once = cleaned(text, 60, "the text")
    except UsageError:
        assert not any(unicodedata.category(char)[0] in "LNPS" and char not in BLANK for char in text)
        return
    assert "\n" not in once
    assert once.encode()
    assert once == once.strip()
    assert cleaned(once, 1000, "the text") == once


# -- complaints --------------------------------------------------------------------------------------------------------


def test_ids_are_the_day_and_a_number(filled: Library) -> None:
    names = [filled.open_complaint(BIKE, DAY, "hot").id for _ in range(11)]
    assert names == [f"2026-05-02-{n}" for n in range(1, 12)]
    assert filled.open_complaint(OTHER, date(2026, 5, 3), "hot").id == "2026-05-03-1"
    assert [one.id for one in filled.complaints()][:2] == ["2026-05-03-1", "2026-05-02-11"]
    assert [one.id for one in filled.complaints(OTHER)] == ["2026-05-03-1"]


def test_the_start_of_an_id_will_do_where_it_fits_one(filled: Library) -> None:
    for _ in range(10):
        filled.open_complaint(BIKE, DAY, "hot")
    assert filled.complaint("2026-05-02-1").id == "2026-05-02-1"  # whole, though -10 begins with it
    assert filled.complaint("2026-05-02-10").id == "2026-05-02-10"
    with pytest.raises(NotInLibrary, match="several cases"):
        filled.complaint("2026")
    for text in ("", "2027", "x", "\U0010ffff"):
        with pytest.raises(NotInLibrary, match="no case") as caught:
            filled.complaint(text)
        assert "2026-05-02-10" in caught.value.expected


def test_a_complaint_from_start_to_end(filled: Library) -> None:
    made = filled.open_complaint(BIKE, DAY, "  it   boils\x07 ", [(ONE, '{"a": 1}')])
    assert (made.said, made.is_closed, [one.ride for one in made.rides]) == ("it boils\\x07", False, [ONE])
    filled.add_to_complaint(made.id, [(THREE, '{"b": 2}')])
    closed = filled.close_complaint(made.id, "fins packed", "airflow_blocked")
    assert closed.is_closed
    assert Library.open(filled.root).complaint(made.id) == closed
    again = filled.reopen_complaint(made.id)
    assert (again.closed_utc, again.workshop, again.cause) == (None, None, None)
    assert [(one.workshop, one.cause) for one in again.found_before] == [("fins packed", "airflow_blocked")]
    filled.close_complaint(made.id, "a hose", None)
    twice = filled.reopen_complaint(made.id)
    assert [one.workshop for one in twice.found_before] == ["fins packed", "a hose"]
    filled.drop_complaint(made.id)
    assert filled.complaints() == []


def test_nothing_of_a_dropped_complaint_stays(filled: Library) -> None:
    made = filled.open_complaint(BIKE, DAY, "hot", [(ONE, "{}")])
    filled.close_complaint(made.id, "a", None)
    filled.reopen_complaint(made.id)
    filled.drop_complaint(made.id)
    with closing(sqlite3.connect(filled.root / "library.sqlite")) as db:
        for table in ("complaint", "complaint_ride", "complaint_finding"):
            assert db.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)  # noqa: S608


def test_what_an_open_or_closed_case_does_not_take(filled: Library) -> None:
    made = filled.open_complaint(BIKE, DAY, "hot", [(ONE, "{}")])
    with pytest.raises(UsageError, match="it is open"):
        filled.reopen_complaint(made.id)
    with pytest.raises(UsageError, match="has this ride already"):
        filled.add_to_complaint(made.id, [(ONE, "other findings")])
    filled.close_complaint(made.id, "a", "normal")
    for attempt in (
        lambda: filled.close_complaint(made.id, "b", None),
        lambda: filled.add_to_complaint(made.id, [(THREE, "{}")]),
        lambda: filled.drop_from_complaint(made.id, ONE),
    ):
        with pytest.raises(UsageError, match="was closed on") as caught:
            attempt()
        assert f"ridelog case reopen {made.id}" in caught.value.to_do
    stays = filled.complaint(made.id)
    assert ([one.findings for one in stays.rides], stays.workshop) == (["{}"], "a")
    for attempt in (lambda: filled.close_complaint("x", "b", None), lambda: filled.drop_complaint("x")):
        with pytest.raises(NotInLibrary):
            attempt()


def test_a_ride_of_another_bike_is_refused_and_nothing_kept(filled: Library) -> None:
    for ride, whose in ((TWO, "no bike yet"), (ONE, f"bike {BIKE}")):
        with pytest.raises(UsageError, match=whose) as caught:
            filled.open_complaint(OTHER, DAY, "hot", [(ride, "{}")])
        assert "ridelog edit" in caught.value.to_do
    assert filled.complaints() == []
    made = filled.open_complaint(BIKE, DAY, "hot")
    with pytest.raises(UsageError):
        filled.add_to_complaint(made.id, [(ONE, "{}"), (TWO, "{}")])
    with pytest.raises(NotInLibrary):
        filled.add_to_complaint(made.id, [(ONE, "{}"), ("ride-99999", "{}")])
    assert filled.complaint(made.id).rides == ()


@pytest.mark.parametrize(
    "text", ["\u200d", "\u3164", "\u2800 \u2800", "\u202e", "\ufe0f", "\u0301", "\U000e0041", "\ud83d"]
)
def test_a_text_of_nothing_but_what_nobody_sees_is_empty(filled: Library, text: str) -> None:
    for write in (
        lambda: filled.add_note(ONE, 1.0, "other", text),
        lambda: filled.open_complaint(BIKE, DAY, text),
        lambda: filled.close_complaint(filled.open_complaint(BIKE, DAY, "boils").id, text, None),
    ):
        with pytest.raises(UsageError, match="is empty"):
            write()
    assert filled.add_note(ONE, 1.0, "other", f"seen {text}").text.startswith("seen")


def test_an_unknown_bike_and_texts_that_are_none(filled: Library) -> None:
    with pytest.raises(NotInLibrary):
        filled.open_complaint("enduro-99", DAY, "hot")
    with pytest.raises(UsageError, match="what the rider said is empty"):
        filled.open_complaint(BIKE, DAY, " ")
    with pytest.raises(UsageError, match="5,000 characters"):
        filled.open_complaint(BIKE, DAY, "x" * 5000)
    made = filled.open_complaint(BIKE, DAY, "x" * 4000)
    with pytest.raises(UsageError, match="what the workshop found"):
        filled.close_complaint(made.id, "", "normal")
    assert not filled.complaint(made.id).is_closed


def test_findings_stay_when_the_ride_is_removed(filled: Library) -> None:
    made = filled.open_complaint(BIKE, DAY, "hot", [(ONE, '{"whole": true}')])
    filled.remove(ONE)
    assert [(one.ride, one.findings) for one in filled.complaint(made.id).rides] == [(ONE, '{"whole": true}')]
    assert filled.drop_from_complaint(made.id, ONE).rides == ()
    with pytest.raises(NotInLibrary, match="it has no ride"):
        filled.drop_from_complaint(made.id, ONE)


def test_a_catalogue_from_before_gets_the_tables(tmp_path: Path) -> None:
    path = tmp_path / "library.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        schema.upgrade(db, path, schema.MIGRATIONS[:4])
    path.chmod(0o600)
    library = Library.open(tmp_path)
    assert library.complaints() == []
    assert library.notes_of("x") == []


# -- several programs, and one that dies -------------------------------------------------------------------------------

WRITE_MANY = """
import sys
from datetime import date
from pathlib import Path
from ridelog.store.library import Library
library, mark = Library.open(Path(sys.argv[1])), sys.argv[2]
print("ready", flush=True)
sys.stdin.readline()
for turn in range(15):
    library.add_note("ride-00001", float(turn), "other", f"{mark} {turn}")
    case = library.open_complaint("enduro-07", date(2026, 5, 2), f"{mark} {turn}", [("ride-00001", "{}")])
    library.close_complaint(case.id, mark, "normal")
    print(case.id, flush=True)
"""


def start(library: Library, mark: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITE_MANY, str(library.root), mark]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_programs_at_once_lose_nothing_and_share_no_id(filled: Library) -> None:
    running = [start(filled, mark) for mark in ("a", "b", "c")]
    for one in running:
        assert one.stdout is not None
        assert one.stdout.readline() == "ready\n"
    names: list[str] = []
    for one in running:
        assert one.stdin is not None
        one.stdin.write("go\n")
        one.stdin.flush()
    for one in running:
        said, errors = one.communicate(timeout=120)
        assert (one.returncode, errors) == (0, "")
        names += said.split()
    assert sorted(names) == sorted(f"2026-05-02-{n}" for n in range(1, 46))
    texts = {row.text for row in filled.notes_of(ONE)}
    assert texts == {f"{mark} {turn}" for mark in "abc" for turn in range(15)}
    for row in filled.complaints():
        assert row.workshop is not None
        assert row.said.startswith(row.workshop)


@pytest.mark.parametrize("point", range(1, 8))
def test_killed_half_way_a_case_is_whole_or_not_there(filled: Library, point: int) -> None:
    """Killed at the so-many-th statement of a writing transaction."""
    program = f"""
import os, signal, sqlite3, sys
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from ridelog.store.catalogue import Catalogue
from ridelog.store.library import Library
library, seen, write = Library.open(Path(sys.argv[1])), [0], Catalogue.write

class Counted:
    def __init__(self, db): self.db = db
    def execute(self, *arguments):
        seen[0] += 1
        if seen[0] == {point}: os.kill(os.getpid(), signal.SIGKILL)
        return self.db.execute(*arguments)

@contextmanager
def counted(self):
    with write(self) as db:
        yield Counted(db)

Catalogue.write = counted
library.open_complaint("enduro-07", date(2026, 5, 2), "hot", [("ride-00001", "{{}}"), ("ride-00003", "{{}}")])
"""
    done = subprocess.run(
        [sys.executable, "-c", program, str(filled.root)], capture_output=True, text=True, check=False
    )
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert Library.open(filled.root).complaints() == []
    made = filled.open_complaint(BIKE, DAY, "hot", [(ONE, "{}")])
    assert made.id == "2026-05-02-1"
