"""The document a case keeps of a ride, as it is read back: what was written, or told as damaged.

It may have lain for years, in a catalogue that another hand or a failing disk can change. All that is shown of it or
reckoned with is looked at here once, so that nobody after has to. More than is asked for may stand in it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import datetime
from typing import Any

from ridelog.errors import LibraryError
from ridelog.store.casebook import ABOUTS
from ridelog.told import shortened

MOST = 1e15
"""No figure of a ride is so large; larger ones can't be told as seconds or degrees."""

_SHOWN = 40

Shape = Callable[[Any, str], None]
"""Looks at a value at a place. Raises _Misfit."""


class _Misfit(Exception):
    def __init__(self, place: str, value: Any, expected: str) -> None:
        self.found = f"{place or 'the document'} is {_shown(value)}"
        self.expected = expected
        super().__init__(self.found)


def _shown(value: Any) -> str:
    if isinstance(value, dict | list):
        return f"a {'group' if isinstance(value, dict) else 'list'} of {len(value)}"
    return shortened(repr(value), _SHOWN) if value is not None else "empty"


def _text(value: Any, place: str) -> None:
    if not isinstance(value, str):
        raise _Misfit(place, value, "a text")


def _about(value: Any, place: str) -> None:
    if value not in ABOUTS:
        raise _Misfit(place, value, f"one of {', '.join(ABOUTS)}")


def _number(low: float = -MOST, high: float = MOST) -> Shape:
    def look(value: Any, place: str) -> None:
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise _Misfit(place, value, f"a number from {low:g} to {high:g}" if high < MOST else "a number")

    return look


def _moment(value: Any, place: str) -> None:
    try:
        aware = isinstance(value, str) and datetime.fromisoformat(value).tzinfo is not None
    except ValueError:
        aware = False
    if not aware:
        raise _Misfit(place, value, "a date and time with its zone")


def _maybe(shape: Shape) -> Shape:
    def look(value: Any, place: str) -> None:
        if value is not None:
            shape(value, place)

    return look


def _each(shape: Shape) -> Shape:
    def look(value: Any, place: str) -> None:
        if not isinstance(value, list):
            raise _Misfit(place, value, "a list")
        for number, item in enumerate(value, 1):
            shape(item, f"{place}, entry {number}")

    return look


def _group(needed: dict[str, Shape], also: dict[str, Shape] | None = None) -> Shape:
    """Names that must be there, and such as may."""

    def look(value: Any, place: str) -> None:
        if not isinstance(value, dict):
            raise _Misfit(place, value, "a group of named values")
        for name, shape in needed.items():
            if name not in value:
                raise _Misfit(_at(place, name), None, "what was written")
            shape(value[name], _at(place, name))
        for name, shape in (also or {}).items():
            if name in value:
                shape(value[name], _at(place, name))

    return look


def _at(place: str, name: str) -> str:
    return f"{place}, {name}" if place else name


def _finite(value: Any, place: str) -> None:
    """No number anywhere that is none."""
    if isinstance(value, dict):
        for name, item in value.items():
            _finite(item, _at(place, name))
    elif isinstance(value, list):
        for number, item in enumerate(value, 1):
            _finite(item, f"{place}, entry {number}")
    elif isinstance(value, float) and not math.isfinite(value):
        raise _Misfit(place, value, "a number")


_TEXTS = _each(_text)
_SECONDS = _maybe(_number(0.0))
_DEGREES = _maybe(_number())

_CAUSE = _group(
    {
        "cause": _text,
        "family": _text,
        "probability": _number(0.0, 1.0),
        "for": _TEXTS,
        "against": _TEXTS,
        "check_next": _TEXTS,
    },
    {"holds": _number(0.0, 1.0)},
)
_DIAGNOSIS = _group(
    {"conclusion": _text, "ranked": _each(_CAUSE), "summary": _TEXTS},
    {"second_cause": _maybe(_text), "advice_followed": _maybe(_text), "reason": _maybe(_text), "cautions": _TEXTS},
)
_BASIS = _group(
    {
        "files": _each(_group({"name": _text, "sha256": _text})),
        "ride_sha256": _text,
        "bike": _maybe(_text),
        "bike_sha256": _maybe(_text),
        "sheet": _text,
        "prior_rides": _TEXTS,
        "known_hash": _text,
    },
    {"ambient_c": _DEGREES, "start_utc": _maybe(_moment)},
)
_ABOVE = _group({"threshold_c": _number(), "name": _text, "observed_s": _SECONDS})
_NOTED = _group({"at_s": _number(0.0), "about": _about, "text": _text})
_KEY = _group(
    {"summary": _TEXTS, "notes": _each(_NOTED), "exposure": _each(_ABOVE), "peak_c": _DEGREES},
    {"start_utc": _maybe(_moment), "duration_s": _SECONDS, "distance_m": _maybe(_number()), "ambient_c": _DEGREES},
)
_DOCUMENT = _group({"ride": _text, "version": _text, "basis": _BASIS, "key": _KEY, "diagnosis": _DIAGNOSIS})


def read_document(case: str, ride: str, text: object, schema: int) -> dict[str, Any]:
    """The document that a case keeps of a ride. Raises LibraryError that says what is wrong with it and what to do."""
    if not isinstance(text, str):
        raise _damaged(case, ride, "it is no text", "the document that was written")
    try:
        document: dict[str, Any] = json.loads(text)
        _group({"schema": _number()})(document, "")
        newer = document["schema"] > schema
        if not newer:
            _look(document, ride)
    except _Misfit as error:
        raise _damaged(case, ride, error.found, error.expected) from error
    except (ValueError, RecursionError) as error:
        raise _damaged(case, ride, "it is no JSON document", "the document that was written") from error
    if newer:
        raise _newer(case, ride, document["schema"])
    return document


def _look(document: dict[str, Any], ride: str) -> None:
    _DOCUMENT(document, "")
    _finite(document, "")
    if document["ride"] != ride:
        raise _Misfit("ride", document["ride"], ride)
    if not document["diagnosis"]["ranked"]:
        raise _Misfit("diagnosis, ranked", [], "at least one cause")


def _damaged(case: str, ride: str, found: str, expected: str) -> LibraryError:
    return LibraryError(
        f"what was found of the ride then can't be read: {found}",
        where=f"case {case}, ride {ride}",
        expected=expected,
        to_do=(
            f"put back a saved copy of library.sqlite; or take the ride out (ridelog case drop {case} {ride}) and add "
            f"it as it is found now (ridelog case add {case} {ride}). A closed case is opened for that: ridelog case "
            f"reopen {case}"
        ),
    )


def _newer(case: str, ride: str, schema: object) -> LibraryError:
    return LibraryError(
        f"what was found of the ride then was written by a newer ridelog (version {schema} of the document)",
        where=f"case {case}, ride {ride}",
        expected="a document this ridelog knows",
        to_do="update ridelog",
    )
