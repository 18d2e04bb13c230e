"""Columns that hold states, not quantities: map, gear, fan. Words and numbers become numbers; what is unknown stays
null."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

from ridelog.bike import Bike
from ridelog.ride import Note
from ridelog.units import fold
from ridelog.words import normalizing

_MOST_LISTED = 12

_ON_WORDS = """
1 on true yes y high running active enabled ein an ja j aktiv wahr laeuft oui o vrai marche allume active si v verdadero
cierto encendido activado activo vero acceso attivo inserito sim s verdadeiro ligado ativo ativado aan waar actief
ingeschakeld pa till sant sann
"""
_OFF_WORDS = """
0 off false no n low stopped inactive disabled aus nein inaktiv falsch steht non faux arret arrete eteint inactif
desactive falso apagado desactivado inactivo spento disattivo inattivo disinserito nao desligado inativo desativado
uit nee onwaar inactief uitgeschakeld av fran nej falskt falsk
"""
_ON, _OFF = frozenset(_ON_WORDS.split()), frozenset(_OFF_WORDS.split())
"""English, German, French, Spanish, Italian, Portuguese, Dutch and Swedish, folded (accents off)."""

_NEUTRAL = frozenset(
    ("n", "neutral", "leerlauf", "0", "neutre", "point mort", "pm", "neutro", "punto muerto", "folle", "in folle",
     "ponto morto", "vrij", "neutraal", "vrijloop", "frilage")
)  # fmt: skip
_GEAR = re.compile(
    r"(?:g|gear|gang|marcha|marcia|mudanca|rapport|vitesse|versnelling|vaxel)?\s*(\d)\s*"
    r"(?:st|nd|rd|th|er|re|e|eme|a|o|\.|\. gang)?"
)


@dataclass(frozen=True)
class State:
    """Float64 values (None: the column can't be read as this state and stays as it came) and what to tell."""

    values: pl.Series | None
    notes: tuple[Note, ...] = ()


def written(value: object) -> str:
    """A cell as a word: 1.0 is '1', ' B ' is 'b'."""
    if isinstance(value, float):
        return f"{value:g}"
    return str(value).strip().lower()


def spoken(value: object) -> str:
    """A cell as a word of any language, accents off: 'Não' is 'nao'."""
    return fold(written(value))


def read_state(channel: str, values: pl.Series, name: str, bike: Bike | None) -> State:
    """One state column. `channel` is map_slot, gear or fan_on."""
    if channel == "map_slot":
        return _map(values, name, bike)
    if channel == "gear":
        if values.dtype == pl.Float64:
            return State(values)
        return _from_words(values, name, _gear_words(values))
    return _from_words(values, name, dict.fromkeys(_ON, 1.0) | dict.fromkeys(_OFF, 0.0))


def _distinct(values: pl.Series) -> list[object]:
    return list(values.drop_nulls().unique(maintain_order=True).to_list())


def _gear_words(values: pl.Series) -> dict[str, float]:
    words: dict[str, float] = dict.fromkeys(_NEUTRAL, 0.0)
    for value in _distinct(values)[:1000]:
        text = spoken(value)
        if (match := _GEAR.fullmatch(text)) and int(match[1]) <= 8:
            words[text] = float(match[1])
    return words


def _map(values: pl.Series, name: str, bike: Bike | None) -> State:
    if bike is None:
        if values.dtype == pl.Float64:
            note = Note("map_slots", normalizing.map_numbers(name))
            return State(values, (note,))
        text = normalizing.map_words(name, line_to_add(values, ()))
        return State(None, (Note("map_unread", text),))
    # What the bike file does not list is told by map_words.kept, with what becomes of it.
    mapping = {value: float(slot) for value in _distinct(values) if (slot := bike.slot_of(written(value))) is not None}
    if not mapping and values.null_count() < values.len():
        return State(None)
    return State(values.replace_strict(mapping, default=None, return_dtype=pl.Float64))


def line_to_add(values: pl.Series, listed: Iterable[tuple[str, int]]) -> str:
    """The line of a bike file that would list every value of this column, the numbers of new ones an example."""
    known = {text: int(slot) for text, slot in listed}
    free = iter(slot for slot in range(1, 1000) if slot not in known.values())
    new = list(dict.fromkeys(text for v in _distinct(values)[:_MOST_LISTED] if (text := written(v)) not in known))
    pairs = [*known.items(), *((text, next(free)) for text in new)]
    line = ", ".join(f"{json.dumps(text[:40], ensure_ascii=False)} = {slot}" for text, slot in pairs)
    return normalizing.line_to_add(line)


def _from_words(values: pl.Series, name: str, words: dict[str, float]) -> State:
    distinct = _distinct(values)
    mapping = {value: words[spoken(value)] for value in distinct if spoken(value) in words}
    unknown = [value for value in distinct if value not in mapping]
    if not mapping and unknown:
        return State(None, (Note("state_unread", normalizing.no_state(name)),))
    result = values.replace_strict(mapping, default=None, return_dtype=pl.Float64)
    if not unknown:
        return State(result)
    rows = int(values.is_in(unknown).sum() or 0)
    example = ", ".join(repr(written(value))[:20] for value in unknown[:3])
    text = normalizing.some_no_state(name, example + (", ..." if len(unknown) > 3 else ""))
    return State(result, (Note("state_unknown", text, rows, example),))
