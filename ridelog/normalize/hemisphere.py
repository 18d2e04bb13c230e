"""Positions whose sign stands in a column of its own: N or S, E or W."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from ridelog.ride import Meaning, Note, RawColumn
from ridelog.units import fold
from ridelog.words import normalizing

SIGNS = {"lat_sign": "lat_deg", "lon_sign": "lon_deg"}
"""What a column of hemispheres is called among the meanings -> the channel whose sign it holds."""

_WORDS = {
    "lat_sign": {
        1.0: ("n", "north", "nord", "norte", "noord", "norr"),
        -1.0: ("s", "south", "sud", "sued", "sur", "sul", "zuid", "soder", "syd"),
    },
    "lon_sign": {
        1.0: ("e", "east", "ost", "est", "este", "leste", "oost", "oster"),
        -1.0: ("w", "west", "ouest", "oeste", "ovest", "vast", "vaster"),
    },
}
"""English, German, French, Spanish, Italian, Portuguese, Dutch and Swedish, folded."""

_EAST_O = ("de", "nl", "sv")
"""Languages in which O is east; in the others it is west."""


@dataclass(frozen=True)
class Found:
    """One column of hemispheres: its index, and the rows' signs (+1, -1, null where nothing is said), None where it
    holds anything else; `example` is then what it holds."""

    column: int
    name: str
    signs: pl.Series | None
    example: str = ""


def signs(
    columns: Sequence[RawColumn | None], meanings: Sequence[Meaning], languages: Counter[str]
) -> dict[str, Found]:
    """Channel (lat_deg, lon_deg) -> its column of hemispheres. `languages` counts those of the header's names."""
    found: dict[str, Found] = {}
    for meaning in meanings:
        column = columns[meaning.column]
        if column is not None and meaning.channel in SIGNS and SIGNS[meaning.channel] not in found:
            found[SIGNS[meaning.channel]] = _read(meaning, column, languages)
    return found


def holds_signs(values: pl.Series) -> str | None:
    """'lat_sign' or 'lon_sign' where a column of text holds nothing but the words of one, else None."""
    if values.dtype != pl.String:
        return None
    words = _distinct(values)
    if not words or len(words) > 4:
        return None
    for channel, by_sign in _WORDS.items():
        known = {word for texts in by_sign.values() for word in texts}
        if words <= known | ({"o"} if channel == "lon_sign" else set()):
            return channel
    return None


def _distinct(values: pl.Series) -> set[str]:
    return {fold(str(value)).strip(" .") for value in values.drop_nulls().unique().to_list()[:1000]} - {""}


def _read(meaning: Meaning, column: RawColumn, languages: Counter[str]) -> Found:
    values = column.values
    words = {word: sign for sign, texts in _WORDS[meaning.channel].items() for word in texts}
    if values.dtype == pl.Float64:
        odd = values.drop_nulls().filter(~values.drop_nulls().is_in([1.0, -1.0]))
        return Found(meaning.column, column.name, None if odd.len() else values, f"{odd[0]:g}" if odd.len() else "")
    present = _distinct(values)
    if meaning.channel == "lon_sign" and "o" in present:
        sign = _sign_of_o(present, column.name, languages)
        if sign is None:
            return Found(meaning.column, column.name, None, normalizing.O_BY_LANGUAGE)
        words["o"] = sign
    strange = sorted(present - words.keys())
    if strange or not present:
        return Found(meaning.column, column.name, None, strange[0] if strange else "nothing")
    texts = values.drop_nulls().unique().to_list()
    mapping = {text: words[word] for text in texts if (word := fold(str(text)).strip(" ."))}
    return Found(meaning.column, column.name, values.replace_strict(mapping, default=None, return_dtype=pl.Float64))


def _sign_of_o(present: set[str], name: str, languages: Counter[str]) -> float | None:
    """O is east in Ost and oost, west in ouest, oeste and ovest: its partner tells, else the header's language."""
    partners = present | set(fold(name).replace("/", " ").split())
    if partners & {"w", "west", "vast"}:
        return 1.0
    if partners & {"e", "est", "este", "leste"}:
        return -1.0
    spoken = {language: count for language, count in languages.items() if language not in ("en", "any")}
    if not spoken:
        return None
    best = max(spoken.values())
    east = {language in _EAST_O for language, count in spoken.items() if count == best}
    return (1.0 if east.pop() else -1.0) if len(east) == 1 else None


def apply(values: pl.Series, found: Found) -> tuple[pl.Series | None, Note]:
    """Latitudes or longitudes (any unit, signed by now or not) with the sign of their hemisphere. None where the column
    of hemispheres can't be read or contradicts signs that are there."""
    if found.signs is None:
        return None, Note(
            "hemisphere_unread",
            normalizing.hemisphere_unread(found.name, found.example[:60]),
        )
    negative = values < 0.0
    if (negative & (found.signs > 0.0)).any():
        return None, Note(
            "hemisphere_contradiction",
            normalizing.hemisphere_contradicts(found.name, values.name),
        )
    signed = values.abs() * found.signs
    lost = int((signed.is_null() & values.is_not_null()).sum() or 0)
    if lost:
        return signed, Note(
            "hemisphere", normalizing.sign_and_gaps(values.name, found.name),
            rows=lost,
        )  # fmt: skip
    south = int((found.signs < 0.0).sum() or 0)
    return signed, Note(
        "hemisphere",
        normalizing.sign(str(values.name), found.name, south),
    )
