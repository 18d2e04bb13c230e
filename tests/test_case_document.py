"""What a case keeps of a ride, damaged in every place and way: either nothing asks for it, or it is told which case and
ride, where and what; and whatever is read can be shown."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any

import pytest

from ridelog import cases
from ridelog.case_document import read_document
from ridelog.case_findings import SCHEMA, Frozen
from ridelog.errors import LibraryError
from ridelog.store.complaints import ComplaintRow, FrozenRide
from ridelog.words import cases as words

CASE, RIDE = "2026-06-21-1", "20260606-1120-c122f37f"

SOUND: dict[str, Any] = {
    "schema": 1,
    "ride": RIDE,
    "version": "0.1.0",
    "basis": {
        "files": [{"name": "morning.csv", "sha256": "7f"}],
        "ride_sha256": "81",
        "bike": "enduro-12",
        "bike_sha256": "46",
        "sheet": "2026-01",
        "sheet_sha256": "91",
        "settings_hash": "77",
        "prior_hash": "e1",
        "prior_rides": ["20260524-0800-3a274ab6"],
        "notes_sha256": "4f",
        "ambient_c": 18.0,
        "start_utc": "2026-06-06T11:20:00+00:00",
        "known_hash": "ad",
    },
    "key": {
        "start_utc": "2026-06-06T11:20:00Z",
        "duration_s": 1553.15,
        "distance_m": 15926.5,
        "ambient_c": 18.0,
        "peak_c": 118.0,
        "exposure": [{"threshold_c": 95.0, "name": "warm", "observed_s": 1052.0, "estimated_s": None}],
        "heat_input": {"value": 0.07, "low": 0.06, "high": 0.08},
        "summary": ["Coolant peaked at 118 C."],
        "notes": [{"at_s": 60.0, "about": "stop", "text": "gate"}],
    },
    "diagnosis": {
        "schema": 1,
        "ride": RIDE,
        "ranked": [
            {
                "cause": "coolant_flow_low",
                "family": "coolant_side",
                "probability": 0.7,
                "for": ["less is shed on the move"],
                "against": [],
                "check_next": ["look at the level"],
                "holds": 0.7,
            },
            {"cause": "normal", "family": "healthy", "probability": 0.3, "for": [], "against": [], "check_next": []},
        ],
        "conclusion": "coolant_flow_low",
        "second_cause": None,
        "advice_followed": "yes",
        "reason": None,
        "summary": ["Most likely: too little coolant flows."],
        "cautions": ["Never open a hot cooling system."],
    },
}

GONE = object()
WRONG = [GONE, None, "x", 5, -5, 1e300, float("nan"), float("inf"), 10**400, True, [], ["a"], {}, {"a": 1}]


def places(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The way to every value of a document."""
    if path:
        yield path
    if isinstance(value, dict | list):
        for name, item in value.items() if isinstance(value, dict) else enumerate(value):
            yield from places(item, (*path, name))


def damaged(path: tuple[str | int, ...], value: object) -> str:
    document = copy.deepcopy(SOUND)
    holder: Any = document
    for step in path[:-1]:
        holder = holder[step]
    if value is GONE:
        del holder[path[-1]]
    else:
        holder[path[-1]] = value
    return json.dumps(document)


def case(text: Any) -> ComplaintRow:
    moment = datetime(2026, 6, 21, tzinfo=UTC)
    ride = FrozenRide(RIDE, text, moment)
    return ComplaintRow(CASE, "enduro-12", date(2026, 6, 21), "hot", moment, moment, "x", "normal", (ride,))


def shown(row: ComplaintRow) -> None:
    """All that commands and pages make of it."""
    (one,) = cases.frozen_of(row)
    answer = cases.answer_of(row)
    assert cases.outcome(row) in words.OUTCOME_WORDS
    said = [words.answer(answer.conclusion, answer.probability, answer.rides), words.figures(one.document["key"])]
    said += words.noted(one.document["key"])
    said += [words.named(cause, share) for cause, share in one.chances.items()]
    said += [words.rested_on(one.document["version"], one.document["basis"]), *one.document["diagnosis"]["summary"]]
    said.append(words.rides_beside(one.document["basis"]["prior_rides"], ["another"]))
    assert all(text and "nan" not in text and "inf" not in text for text in said)
    json.dumps(one.document, allow_nan=False)


def trouble(row: ComplaintRow) -> LibraryError | None:
    try:
        shown(row)
    except LibraryError as error:
        return error
    return None


def test_what_is_sound_is_read() -> None:
    assert Frozen.of(CASE, case(json.dumps(SOUND)).rides[0]).document == SOUND
    shown(case(json.dumps(SOUND)))


@pytest.mark.parametrize("path", list(places(SOUND)), ids=lambda path: ".".join(map(str, path)))
def test_damage_in_any_place_is_told_or_does_no_harm(path: tuple[str | int, ...]) -> None:
    for value in WRONG:
        error = trouble(case(damaged(path, value)))
        if error is not None:
            assert CASE in error.where
            assert RIDE in error.where
            assert "ridelog case drop" in error.to_do or "update ridelog" in error.to_do
            assert len(error.found) < 200
            assert error.expected


@pytest.mark.parametrize(
    ("path", "value", "found"),
    [
        (("diagnosis", "ranked", 0, "probability"), float("nan"), "ranked, entry 1, probability is nan"),
        (("diagnosis", "ranked", 0, "probability"), "x", "probability is 'x'"),
        (("diagnosis", "ranked", 1, "cause"), GONE, "entry 2, cause is empty"),
        (("diagnosis", "ranked"), [], "ranked is a list of 0"),
        (("diagnosis", "summary"), GONE, "summary is empty"),
        (("key", "exposure", 0, "observed_s"), float("nan"), "observed_s is nan"),
        (("key", "heat_input", "value"), float("inf"), "heat_input, value is inf"),
        (("basis", "prior_rides"), None, "prior_rides is empty"),
        (("ride",), "another", "ride is 'another'"),
        (("schema",), 2, "a newer ridelog"),
    ],
)
def test_the_message_names_the_place(path: tuple[str | int, ...], value: object, found: str) -> None:
    with pytest.raises(LibraryError) as caught:
        read_document(CASE, RIDE, damaged(path, value), SCHEMA)
    assert found in caught.value.found


@pytest.mark.parametrize("text", ["", "null", "[]", "[" * 100_000, "5", '{"schema": 1}', b"{}", 5, None, "9" * 5000])
def test_what_is_no_document_at_all(text: object) -> None:
    with pytest.raises(LibraryError, match="can't be read"):
        read_document(CASE, RIDE, text, SCHEMA)
