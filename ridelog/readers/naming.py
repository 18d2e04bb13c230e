"""From the words above a column to the channels they can mean. The words are data: one TOML file a language."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

from ridelog.channels import CHANNELS, RAW_PREFIX, TIME, base_name
from ridelog.ride import Candidate
from ridelog.units import TIME_UNITS_S, fold, parse_unit

ANY = "any"
"""Language of names that belong to none: the canonical names themselves."""

_CAMEL = re.compile(r"(?<=[a-zà-ÿ])(?=[A-Z][a-zà-ÿ])|(?<=[a-zà-ÿ0-9])(?=[A-Z]{2,}(?![a-z]))")
_WORD = re.compile(r"[^\W_]+")
_SENSOR_NUMBER = re.compile(r"[1-4]")
_SQUARE = re.compile(r"^(.*?)[\s_.,:]*[\[{<]([^\[\]{}<>]*)[\]}>]\s*$")
_ROUND = re.compile(r"^(.*?)[\s_.,:]*\(([^()]*)\)\s*$")
_TAIL = re.compile(r"^(.*?)[\s_,:/-]+([^\s_,:-]+)$")
_DATE_LABEL = re.compile(r"^(.*?)[\s_.,:]*[\[{<(](?:[DTGJYA]{2}){1,2}MM(?:[DTGJYA]{2}){1,2}[\]}>)]\s*$", re.IGNORECASE)
"""A date with the order of its digits behind it: 'Date [DDMMYY]', 'Datum (TTMMJJJJ)'."""

_NO_CHANNELS = ("time", "date", "lat_sign", "lon_sign")
"""What a name can mean beside the channels: times, and on which side of equator and meridian a position lies."""

_LONGEST_NAME = 120
"""A longer cell names no column; the patterns below need not be tried on it."""

_OBVIOUS = {
    "km/h",
    "kmh",
    "kph",
    "mph",
    "m/s",
    "degc",
    "degf",
    "rpm",
    "1/min",
    "u/min",
    "kpa",
    "hpa",
    "mbar",
    "psi",
    "%",
    "knots",
}


@dataclass(frozen=True)
class Table:
    """One language: key of a name -> what it can mean. `counters` maps the key of a counter's name to its unit, `long`
    the words of a header of the long format to the role of its column."""

    language: str
    meanings: Mapping[str, tuple[Candidate, ...]]
    counters: Mapping[str, str]
    same: Mapping[str, str]
    noise: frozenset[str]
    long: Mapping[str, str] = field(default_factory=dict)

    def key(self, name: str) -> str:
        """The form in which names compare: words folded, put in order, fillers left out."""
        words = [self.same.get(word, word) for word in words_of(name)]
        kept = [word for word in words if word not in self.noise] or words
        return " ".join(sorted(kept))


@dataclass
class _Draft:
    meanings: dict[str, list[Candidate]] = field(default_factory=dict)
    counters: dict[str, str] = field(default_factory=dict)

    def add(self, key: str, candidate: Candidate) -> None:
        known = self.meanings.setdefault(key, [])
        if all(other.channel != candidate.channel for other in known):
            known.append(candidate)


def words_of(name: str) -> list[str]:
    """The words of a name, folded: 'EngineSpeed', 'engine_speed' and 'Engine speed' give the same."""
    return _WORD.findall(fold(_CAMEL.sub(" ", name)))


def _spellings(name: str) -> Iterable[str]:
    yield name
    if any(letter in name for letter in "äöüß"):
        yield name.replace("ä", "ae").replace("ö", "oe").replace("ü", "ue").replace("ß", "ss")


def parse_table(text: str, where: str) -> Table:
    """A table from TOML. Raises ValueError where it names a channel that does not exist: a fault of the table."""
    data: dict[str, Any] = tomllib.loads(text)
    language: str = data["language"]
    same = {fold(one): fold(other) for key, other in data.get("same", {}).items() for one in _spellings(key)}
    noise = frozenset(fold(word) for word in data.get("noise", {}).get("words", ()))
    bare = Table(language, {}, {}, same, noise)
    draft = _Draft()

    def add(names: Iterable[str], channel: str, *, fallback: bool = False) -> None:
        if channel not in CHANNELS and channel not in _NO_CHANNELS:
            raise ValueError(f"{where}: {channel!r} is no channel")
        for name in names:
            for spelling in _spellings(name):
                draft.add(bare.key(spelling), Candidate(channel, language, fallback))

    for channel, names in data.get("hemisphere", {}).items():
        add(names, f"{channel}_sign")
    time = data.get("time", {})
    add(time.get("names", ()), "time")
    add(time.get("date", ()), "date")
    for unit, names in time.get("counter", {}).items():
        add(names, "time")
        for name in names:
            draft.counters[bare.key(name)] = unit
    for channel, entry in data.get("channels", {}).items():
        add(entry.get("names", ()), channel)
        add(entry.get("instead", ()), channel, fallback=True)
    for name, channels in data.get("unsure", {}).items():
        for channel in channels:
            add([name], channel)
    meanings = {key: tuple(found) for key, found in draft.meanings.items()}
    long = {
        " ".join(words_of(spelling)): role
        for role, names in data.get("long", {}).items()
        for name in names
        for spelling in _spellings(name)
    }
    return Table(language, meanings, draft.counters, same, noise, long)


@cache
def tables() -> tuple[Table, ...]:
    """Every table that comes with ridelog, English first."""
    folder = files("ridelog.readers") / "names"
    found = [
        parse_table(item.read_text(encoding="utf-8"), item.name)
        for item in sorted(folder.iterdir(), key=lambda item: (item.name != "en.toml", item.name))
        if item.name.endswith(".toml")
    ]
    return tuple(found)


@lru_cache(maxsize=4096)
def candidates(name: str) -> tuple[Candidate, ...]:
    """Everything a column's name (without its unit) can mean, over all languages; empty where no table knows it."""
    plain = name.strip()
    if len(plain) > _LONGEST_NAME:
        return ()
    if plain == TIME:
        return (Candidate("time", ANY),)
    if base_name(plain) in CHANNELS and not plain.startswith(RAW_PREFIX):
        tail = plain.partition(".")[2]
        if CHANNELS[base_name(plain)].kind == "time":
            return (Candidate("time", ANY),)
        return (Candidate(base_name(plain), ANY, number=int(tail) if tail.isdecimal() else 1),)
    found = [candidate for table in tables() for candidate in _lookup(table, plain)]
    if not found and (qualified := _ROUND.match(plain) or _DATE_LABEL.match(plain)) and qualified[1]:
        # "Coolant (left radiator)": what stands in brackets says where, not what.
        found = [candidate for table in tables() for candidate in _lookup(table, qualified[1])]
    return tuple(found)


def _lookup(table: Table, name: str) -> tuple[Candidate, ...]:
    key = table.key(name)
    if key in table.meanings:
        return table.meanings[key]
    words = words_of(name)
    number = 1
    if len(words) > 1 and _SENSOR_NUMBER.fullmatch(words[-1]):
        number = int(words[-1])
        words = words[:-1]
    elif words and words[-1][-1:] in "1234" and len(words[-1]) > 2 and words[-1][:-1].isalpha():
        number = int(words[-1][-1])
        words = [*words[:-1], words[-1][:-1]]
    else:
        return ()
    return tuple(
        Candidate(one.channel, one.language, one.fallback, number)
        for one in table.meanings.get(table.key(" ".join(words)), ())
        if one.channel not in _NO_CHANNELS
    )


def counter_unit(name: str) -> str | None:
    """The unit a counter's name implies ('millis' -> 'ms'), None where it implies none."""
    if name.strip() == TIME:
        return "s"
    return next((table.counters[key] for table in tables() if (key := table.key(name)) in table.counters), None)


def long_role(name: str) -> str | None:
    """What a column so named holds in a table of one value a row: "channel", "value" or "unit"; None for another."""
    if len(name) > _LONGEST_NAME:
        return None
    key = " ".join(words_of(name))
    return next((table.long[key] for table in tables() if key in table.long), None)


def is_unit(text: str) -> bool:
    """True for a text that names a unit of a channel or of time (not a bare number or dash)."""
    key = fold(text).strip("[](){} .")
    if not key or not any(char.isalpha() or char == "%" for char in key):
        return key == "deg"
    return key in TIME_UNITS_S or parse_unit(text) is not None


_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]+")
_UNIT_LIKE = re.compile(
    r"[°%/]|^(?:g|w|kw|hp|ps|nm|l|km|mi|a|ma|g/s|utc|gmt|local|lokal|raw|adc|cnt|counts|volt|afr|mg|nn|m\s*asl)$"
)


def split_unit(cell: str) -> tuple[str, str | None]:  # noqa: PLR0911 - one return a case
    """A header cell as name and unit text: 'Temp [°C]', 'speed (km/h)', 't_ms', 'Drehzahl 1/min'."""
    # A control character in a name could act on the terminal it is shown on.
    cell = " ".join(_CONTROL.sub(" ", cell.replace("\u00a0", " ")).split())
    if cell == TIME or base_name(cell) in CHANNELS or len(cell) > _LONGEST_NAME:
        return cell, None  # a canonical name tells its unit itself
    if "/" in cell and any(one.channel in ("lat_sign", "lon_sign") for one in candidates(cell)):
        return cell, None  # N/S are two words, no turns per second
    if _DATE_LABEL.match(cell):
        return cell, None  # how the digits of a date are to be read is no unit
    if square := _SQUARE.match(cell):
        if square[1]:
            return square[1].strip(), square[2].strip()
        return cell, None
    round_ = _ROUND.match(cell)
    if round_ and round_[1]:
        inside = round_[2].strip()
        if is_unit(inside) or _UNIT_LIKE.search(fold(inside)) or inside in ("-", "1", ""):
            return round_[1].strip(), inside
    tail = _TAIL.match(cell)
    if tail and is_unit(tail[2]):
        for name in (tail[1].strip(), tail[1].strip().removesuffix(" in")):
            if candidates(name):
                return name, tail[2].strip()
        if not candidates(cell) and fold(tail[2]).replace(" ", "") in _OBVIOUS:
            return tail[1].strip(), tail[2].strip()
    return cell, None


def mend(text: str) -> str:
    """Undo UTF-8 that was once or twice saved as if it were Windows-1252 ('KÃ¼hl' -> 'Kühl'); else unchanged."""
    for _ in range(2):
        if not any(mark in text for mark in ("Ã", "Â", "â")):
            break
        try:
            better = text.encode("cp1252").decode("utf-8")
        except UnicodeError:
            break
        text = better
    return text
