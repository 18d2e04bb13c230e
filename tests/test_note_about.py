"""What a note is about by its own words: heard where they are plain, and not where they aren't."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.bike import parse_bike
from ridelog.note_about import about_of
from ridelog.store.casebook import ABOUTS
from ridelog.words import notes as words

BIKE = parse_bike('schema = 1\nid = "a"\n', "a")
SWAPPED = parse_bike('schema = 1\nid = "b"\n[maps]\nslot_values = { "1" = 2, "2" = 1 }\n', "b")

CONSERVATIVE = [
    "switched to conservative", "Switched to the conservative map.", "conservative map on", "conservative",
    "on the conservative map", "back to the conservative map", "changed from standard to conservative",
    "stopped, switched to the conservative map", "map 2", "switched to map 2", "auf konservativ geschaltet",
    "Auf Kennfeld 2 umgestellt", "konservatives Kennfeld ein", "passé sur la cartographie conservatrice",
    "cambiado al mapa conservador", "passato alla mappa conservativa",
]  # fmt: skip
STANDARD = [
    "switched to standard", "back on the standard map", "switched from conservative to standard", "map 1 on",
    "auf Standard zurück", "auf Serienkennfeld umgeschaltet", "passé sur la carto standard", "standard map from here",
]  # fmt: skip
LOST = [
    "coolant at the overflow", "lost coolant", "coolant level low", "topped up the radiator", "overflow tank dripping",
    "Kühlwasser verloren", "Kühlmittel am Überlauf", "perdu du liquide", "liquide de refroidissement qui fuit",
    "pérdida de refrigerante", "perso liquido", "manca liquido", "stopped, coolant dripping",
]  # fmt: skip
STOPS = [
    "stopped for water",
    "Stopped",
    "I stopped here",
    "waited at the gate",
    "angehalten",
    "Pause",
    "parada",
    "sosta",
]
WORK = ["service done", "washed the radiators", "new plug fitted", "thermostat replaced", "Kühler gereinigt",
        "radiateurs lavés", "filtro cambiado", "bled the coolant"]  # fmt: skip
NOT_PLAIN = [
    "forgot to switch to the conservative map", "should have switched to conservative",
    "did not switch to conservative", "never on the conservative map", "wanted to switch to conservative",
    "switched to conservative?", "lost coolant?",
    "maybe lost coolant", "was told to switch to conservative", "will switch to conservative later",
    "vergessen, auf konservativ geschaltet zu haben", "nicht auf konservativ geschaltet",
    "hätte auf konservativ geschaltet", "pas passé sur la cartographie conservatrice",
    "oublié : pas passé sur la carto conservatrice",
    "no cambiado al mapa conservador", "non passato alla mappa conservativa", "tried to switch to conservative",
    "if it gets hot, switch to conservative next time", "kein Kühlwasser verloren", "didn't stop, washed no radiators",
]  # fmt: skip
NOTHING = ["", "nice view", "fan stopped", "stopped leaking", "a stop sign", "deep sand from here", "no coolant lost",
           "water bottle lost no", "met friends", "the standard fuel station",
           "conservative estimate of the distance"]  # fmt: skip


@pytest.mark.parametrize(
    ("texts", "about"),
    [
        (CONSERVATIVE, "map_conservative"),
        (STANDARD, "map_standard"),
        (LOST, "coolant_lost"),
        (STOPS, "stop"),
        (WORK, "service"),
    ],
    ids=["conservative", "standard", "lost", "stop", "service"],
)
def test_plain_words_are_heard(texts: list[str], about: str) -> None:
    taken = {text: about_of(text, BIKE) for text in texts}
    assert {text: one.about for text, one in taken.items()} == dict.fromkeys(texts, about)
    assert {one.why for one in taken.values()} == {"plain"}


@pytest.mark.parametrize("text", NOT_PLAIN)
def test_denial_doubt_wish_and_question_are_not_heard(text: str) -> None:
    assert about_of(text, BIKE).about == "other"


@pytest.mark.parametrize("text", NOTHING)
def test_other_words_mean_nothing_in_particular(text: str) -> None:
    assert about_of(text, BIKE).about == "other"


def test_a_map_that_is_not_named_and_two_things_at_once_are_told_so() -> None:
    for text in ("switched the map", "map switched here", "conservative map off", "switched to map 3"):
        assert about_of(text, BIKE) == about_of(text, None), text
        assert about_of(text, BIKE).why == "map_not_named", text
    for text in (
        "to conservative, then switched to standard, switched to conservative",
        "switched to conservative, lost coolant",
    ):
        assert (about_of(text, BIKE).about, about_of(text, BIKE).why) == ("other", "two_things"), text


def test_a_number_is_plain_only_where_log_and_slot_agree() -> None:
    assert about_of("map 2", BIKE).about == "map_conservative"
    # Without a bike file, or where the log writes slot 2 as 1, "2" could be either.
    assert about_of("map 2", None).about == "other"
    assert about_of("map 2", SWAPPED).about == "other"
    assert about_of("switched to the conservative map", SWAPPED).about == "map_conservative"


@given(st.text(max_size=200))
def test_any_text_is_taken_as_something(text: str) -> None:
    taken = about_of(text, BIKE)
    assert taken.about in ABOUTS
    assert words.taken(taken.about, taken.why).startswith("It counts as: ")


@pytest.mark.parametrize("text", ["a " * 500, "switched " * 110, "to conservative " * 60, "coolant " * 120, "(" * 1000])
def test_a_long_text_does_not_take_long(text: str) -> None:
    # Patterns that try every way to split such a text would not end within the life of the test.
    assert about_of(text, BIKE).about in ABOUTS
