"""What a page sends to a callback, and what it can't have sent.

The callbacks read what the pages keep and what their fields hold. Whoever writes a request by hand may put anything in
its place; it is refused here, before a callback sees it. Every property that a callback of the server takes has its
shape in SHAPES (a test counts them).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dashboard import ids

if TYPE_CHECKING:
    from flask import Request

Shape = Callable[[Any], bool]

DEEPEST, GREATEST = 100, 2**53
"""Pages hold no deeper lists than this, and a browser counts no further without gaps."""

_WHOLE = frozenset({"index", "number", "file", "option"})
"""Parts of pattern-matched ids that are counts; all others are words."""


def is_ours(body: Any, callbacks: Mapping[str, Any]) -> bool:
    """Is a request's body one that a page sends to one of `callbacks` (as Dash keeps them, by output)?"""
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        return False
    asked = callbacks.get(body["output"])
    if asked is None or "callback" not in asked:
        return False  # unknown, or one that runs in the browser
    takes, keeps = asked["inputs"], asked["state"]
    return (
        _outputs_fit(body.get("outputs"), body["output"])
        and _values_fit(body.get("inputs", []), takes)
        and _values_fit(body.get("state", []), keeps)
        and _changes_fit(body.get("changedPropIds", []), takes)
    )


def json_of(asked: Request) -> Any:
    """The JSON of a request, None where it has none that can be read or that a page would send."""
    try:
        body = asked.get_json(silent=True)
    except RecursionError:
        return None
    return body if within_reason(body) else None


def within_reason(body: Any) -> bool:
    """No numbers that JSON does not have, none that is out of all proportion, and an end to the depth."""
    level = [body]
    for _ in range(DEEPEST):
        below: list[Any] = []
        for one in level:
            if isinstance(one, dict):
                below += one.values()
            elif isinstance(one, list):
                below += one
            elif isinstance(one, int | float) and not abs(one) <= GREATEST:  # NaN is not, either
                return False
        if not below:
            return True
        level = below
    return False


def _spec(name: str) -> Any:
    """An id as a callback names it: a word, or the parts of a pattern."""
    return json.loads(name) if name.startswith("{") else name


def _id_fits(found: Any, name: str) -> bool:
    wanted = _spec(name)
    if isinstance(wanted, str):
        return bool(found == wanted)
    if not isinstance(found, dict) or found.keys() != wanted.keys():
        return False
    return all(_part_fits(part, found[part], told) for part, told in wanted.items())


def _part_fits(part: str, found: Any, told: Any) -> bool:
    if not isinstance(told, list):
        return bool(found == told)
    if part in _WHOLE:
        return isinstance(found, int) and not isinstance(found, bool)
    return isinstance(found, str)


def _many(name: str) -> bool:
    wanted = _spec(name)
    return isinstance(wanted, dict) and any(one in (["ALL"], ["ALLSMALLER"]) for one in wanted.values())


def _outputs_fit(found: Any, output: str) -> bool:
    several = output.startswith("..")
    names = [one.rpartition(".")[0] for one in (output[2:-2].split("...") if several else [output])]
    given = found if several else [found]
    if not isinstance(given, list) or len(given) != len(names):
        return False
    return all(_ids_fit(one, name) for one, name in zip(given, names, strict=True))


def _ids_fit(found: Any, name: str) -> bool:
    if _many(name):
        return isinstance(found, list) and all(_one_fits(one, name) for one in found)
    return _one_fits(found, name)


def _one_fits(found: Any, name: str) -> bool:
    return isinstance(found, dict) and isinstance(found.get("property"), str) and _id_fits(found.get("id"), name)


def _values_fit(found: Any, wanted: Sequence[Mapping[str, str]]) -> bool:
    if not isinstance(found, list) or len(found) != len(wanted):
        return False
    return all(_value_fits(one, told) for one, told in zip(found, wanted, strict=True))


def _value_fits(found: Any, told: Mapping[str, str]) -> bool:
    if not _ids_fit(found, told["id"]):
        return False
    shape = SHAPES.get(key_of(told))
    if shape is None:
        return False
    for one in found if isinstance(found, list) else [found]:
        value = one.get("value")
        if one["property"] != told["property"] or not shape(value):
            return False
        if told["property"] == "id" and value != one["id"]:
            return False
    return True


def _changes_fit(found: Any, takes: Sequence[Mapping[str, str]]) -> bool:
    return isinstance(found, list) and all(isinstance(one, str) and _is_change(one, takes) for one in found)


def _is_change(found: str, takes: Sequence[Mapping[str, str]]) -> bool:
    name, _, prop = found.rpartition(".")
    try:
        given = _spec(name)
    except (ValueError, RecursionError):
        return False
    return any(prop == told["property"] and _id_fits(given, told["id"]) for told in takes)


def key_of(told: Mapping[str, str]) -> tuple[str, str]:
    """The key of a property in SHAPES: the id, or the type of a pattern-matched one."""
    wanted = _spec(told["id"])
    return (wanted["type"] if isinstance(wanted, dict) else wanted), told["property"]


# -- shapes -----------------------------------------------------------------------------------------------------------


def _count(value: Any) -> bool:
    return value is None or (isinstance(value, int) and not isinstance(value, bool) and value >= 0)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _words(value: Any) -> bool:
    return value is None or isinstance(value, str)


def _names(value: Any) -> bool:
    return value is None or (isinstance(value, list) and all(map(_name, value)))


def _tick(value: Any) -> bool:
    return value is None or _number(value)


def _anything(value: Any) -> bool:  # noqa: ARG001 - what only has to be there or not
    return True


def _one_of(*allowed: str) -> Shape:
    return lambda value: isinstance(value, str) and value in allowed


def _record(value: Any, **parts: Shape) -> bool:
    return isinstance(value, dict) and all(shape(value.get(part)) for part, shape in parts.items())


def _screen(value: Any) -> bool:
    return value is None or _record(
        value, path=_words, search=_words, prefs=lambda prefs: prefs is None or isinstance(prefs, dict)
    )


def _view(value: Any) -> bool:
    return _record(value, start_s=_number, end_s=_number, selected=_count)


def _search(value: Any) -> bool:
    return value is None or _record(value, search=_words)


def _drag(value: Any) -> bool:
    if value is None:
        return True
    if not isinstance(value, dict):
        return False
    pair = value.get("xaxis.range")
    ends = [value[key] for key in ("xaxis.range[0]", "xaxis.range[1]") if key in value]
    return all(map(_number, ends)) and (
        pair is None or (isinstance(pair, list) and len(pair) == 2 and all(map(_number, pair)))
    )


def _click(value: Any) -> bool:
    if value is None:
        return True
    points = value.get("points", []) if isinstance(value, dict) else None
    return isinstance(points, list) and all(isinstance(one, dict) for one in points)


def _profile(value: Any) -> bool:
    return _record(value, kind=_one_of("bike", "advice"), name=_name, seen=_words)


def _seen(value: Any) -> bool:
    return value is None or isinstance(value, list)


def _typed(value: Any) -> bool:
    return value is None or isinstance(value, str) or _number(value)


def _name(value: Any) -> bool:
    """A name that can be looked up: half of a character pair is no character, and no name holds one."""
    return isinstance(value, str) and not any("\ud800" <= one <= "\udfff" for one in value)


def _name_or_none(value: Any) -> bool:
    return value is None or _name(value)


SHAPES: dict[tuple[str, str], Shape] = {
    (ids.SCREEN, "data"): _screen,
    (ids.ADDED, "data"): _tick,
    (ids.URL, "pathname"): _words,
    (ids.STACK, "relayoutData"): _drag,
    (ids.STACK, "clickData"): _click,
    (ids.VIEW_ASKED, "data"): _search,
    (ids.WHAT_IF, "value"): _names,
    (ids.RIDE, "data"): _name,
    (ids.VIEW, "data"): _view,
    (ids.MAP_COLOR, "value"): _one_of("stretches", "coolant"),
    (ids.NOTE_FORM, "children"): _anything,
    (ids.PLACES_CLOCK, "n_intervals"): _count,
    (ids.PLACES_BIKE, "data"): _name_or_none,
    (ids.CASE_BIKE, "value"): _name_or_none,
    (ids.CASE, "data"): _name,
    (ids.CASE_RIDE, "data"): _name_or_none,
    (ids.IMPORT_JOB, "data"): _name,
    (ids.ADD_SHOWN, "data"): _words,
    (ids.CASE_RIDES, "value"): _names,
    (ids.PROFILE, "data"): _profile,
    (ids.ADD_TICK, "data"): _tick,
    (ids.ADD_CLOCK, "n_intervals"): _count,
    (ids.IMPORT_SEEN, "data"): _seen,
    (ids.JOIN_AT, "value"): _typed,
    (ids.JOIN_AT, "id"): _anything,
    **{
        (name, "n_clicks"): _count
        for name in (
            ids.WHOLE, ids.EARLIER, ids.LATER, ids.CLOSER, ids.WIDER, ids.ROW, ids.MORE, ids.NOTE_CHANGE, ids.NOTE_SAVE,
            ids.NOTE_REMOVE, ids.CASE_OPEN, ids.CASE_ATTACH, ids.CASE_CLOSE, ids.CASE_REOPEN, ids.CASE_OUT,
            ids.CASE_REMOVE, ids.PROFILE_LOOK, ids.PROFILE_SAVE, ids.EARLIER_TEXT, ids.ADD_ACT, ids.ADD_ANSWER,
            ids.JOIN_ACCEPT, ids.JOIN_ELSE, ids.MORE_SEND,
        )
    },
    **{
        (name, "value"): _words
        for name in (
            ids.NOTE_AT, ids.NOTE_ABOUT, ids.NOTE_TEXT, ids.CASE_DAY, ids.CASE_WORDS, ids.CASE_FOUND,
            ids.CASE_CAUSE, ids.PROFILE_TEXT, ids.MORE_ZONE, ids.MORE_START, ids.MORE_FORMAT, ids.MORE_COLUMN,
            ids.MORE_HOLDS,
        )
    },
}  # fmt: skip
"""By id (or type of a pattern-matched one) and property: is this value one that a page sends?"""
