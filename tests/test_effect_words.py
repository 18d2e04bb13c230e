"""What is said of the conservative map's effect: every reason has a sentence, numbers have units, nobody is blamed."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from ridelog.analysis.effect import Reason, Refusal
from ridelog.results import Band
from ridelog.words import effect as words

BLAME = re.compile(r"\b(wrongly|fault|ignored|should have|failed|mistake|careless)\b", re.IGNORECASE)
REASONS = get_args(Reason)


def said(why: str, **changed: object) -> str:
    told: dict[str, object] = {"rides": 6, "both": 3, "explained": 0.91, "band": Band(0.95, 0.8, 1.1)} | changed
    return words.CANT_TELL.format(reason=words.reason(why, **told))  # type: ignore[arg-type]


@pytest.mark.parametrize("why", REASONS)
def test_every_reason_is_a_sentence_with_its_numbers(why: str) -> None:
    text = said(why)
    assert text.startswith("Can't tell: ")
    assert text.endswith(".")
    assert ".." not in text
    assert "None" not in text
    assert not BLAME.search(text)


def test_numbers_stand_in_the_reasons_they_belong_to() -> None:
    assert "91 %" in said("ground")
    assert "0.80 to 1.10" in said("wide")
    assert "0.80 to 1.10" in said("swapped")
    assert "3 rides" in said("few_rides")
    assert "one ride;" in said("few_rides", both=1)
    assert "6 rides" in said("one_map")


def test_every_refusal_of_a_ride_has_words() -> None:
    assert set(words.REFUSED) == set(get_args(Refusal))
    for text in (*words.WITHOUT.values(), *words.REFUSED.values(), words.UNREADABLE):
        assert not text.endswith(".")
        assert not BLAME.search(text)


def test_the_answer_says_less_no_less_or_maybe_nothing() -> None:
    assert "puts 8 % less heat" in words.found(Band(0.92, 0.88, 0.96))
    assert "(4 to 12 %)" in words.found(Band(0.92, 0.88, 0.96))
    assert "may be no gain" in words.found(Band(0.97, 0.92, 1.02))
    assert "no less heat" in words.found(Band(1.05, 1.01, 1.09))
    for band in (Band(0.92, 0.88, 0.96), Band(0.97, 0.92, 1.02), Band(1.05, 1.01, 1.09)):
        assert "same work and speed" in words.found(band)


def test_what_it_rests_on_counts_one_ride_as_one() -> None:
    assert words.rests_on(1, 3, 2, 600.0, 300.0).startswith("From one ride: 10 min 00 s on the standard map")
    assert words.rests_on(7, 3, 2, 600.0, 300.0).startswith("From 7 rides")
    assert words.how_many(1, "too short") == "One ride: too short."


def test_cautions_name_the_piston_and_a_qualified_technician() -> None:
    together = " ".join(words.CAUTIONS)
    assert "piston" in together
    assert "qualified technician" in together
    assert "  " not in together
