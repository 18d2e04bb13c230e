"""What `import`, `rides`, `edit`, `remove`, `bikes` and `advice` say of what the library holds and what was done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from ridelog.words.terms import column_words, duration

# import

STATUS_WORDS = {"stored": "stored", "already_stored": "was there already", "refused": "refused"}
IMPORT_COLUMNS = ("ride", "file", "result")
STOP_CHOICE = "s  stop: leave this file out of the library"
NO_ANSWER = "no answer"
SHOWN_COLUMNS = 12


def noted(ride: str) -> str:
    """Over the notes of an import."""
    return f"{ride}: what the importer noted"


def next_step(ride: str) -> str:
    """What to do with a ride that was stored."""
    return f"Next: ridelog analyze {ride}"


def not_applied(ride: str, asked: Sequence[str]) -> str:
    """A ride that was there already is not changed by what was said with the import."""
    verb = "was" if len(asked) == 1 else "were"
    return (
        f"{ride} was there already and stays as it is: {', '.join(asked)} {verb} not applied. To correct it: "
        f"ridelog edit {ride}. To read the file anew: ridelog remove {ride}, then import it again"
    )


def not_imported(reason: str | None) -> str:
    """A file that was refused."""
    return f"not imported: {reason}"


def bike_added_with_import(bike: str) -> str:
    """A bike file named at an import went into the library."""
    return f"bike {bike} added to the library"


def which(last: int) -> str:
    """The question behind the choices of a column."""
    return f"Which is it? [1-{last}, s] "


def type_a_number(last: int) -> str:
    """What was typed is none of the choices."""
    return f"Please type a number from 1 to {last}, or s."


def seen(low: float | None, high: float | None, examples: Sequence[str]) -> str:
    """What stands in a column that is asked about."""
    listed = ", ".join(examples)
    if low is None or high is None:
        return f"texts such as {listed}" if examples else "no values"
    return f"values from {low:g} to {high:g}, for example {listed}"


# rides, edit, remove

RIDE_COLUMNS = ("ride", "bike", "start (UTC)", "duration", "distance", "peak coolant", "condition")
NO_RIDES = "No rides here yet. Import a log: ridelog import FILE --bike BIKE. Or look around: ridelog demo."
NOTHING_REMOVED = "nothing removed"
DAMAGED = "what the catalogue says of it is damaged"

_EDITED = {"bike": "bike", "ambient_c": "air temperature", "start_utc": "start", "condition": "condition"}


def no_rides_of(bike: str, known: Sequence[str]) -> str:
    """A bike without rides, with those that have some."""
    return f"No rides of bike {bike}. Bikes with rides: {', '.join(known) or 'none'}."


def latest(count: int) -> str:
    """The list was cut."""
    return f"the latest {count} are shown; --all shows every ride"


def edited(ride: str, changes: Mapping[str, object]) -> str:
    """What a ride's facts are now."""
    unit = {"ambient_c": " C"}
    listed = ", ".join(f"{_EDITED[key]} {value}{unit.get(key, '')}" for key, value in changes.items())
    return f"{ride}: now {listed}."


def ask_removal(ride: str, lost: str) -> str:
    """Before a ride is removed."""
    return f"Remove ride {ride} ({lost})?"


def removed(ride: str) -> str:
    """A ride is gone."""
    return f"{ride} removed."


def lost_with(duration_s: float, files: str, notes: int) -> str:
    """What is lost with a ride: importing the log again brings it back, but not what people wrote of it."""
    with_it = f"; {notes} note{'' if notes == 1 else 's'} with it" if notes else ""
    return f"{duration(duration_s)}; {files}{with_it}"


# bikes

NO_BIKES = "No bikes here yet. Draft a file: ridelog bikes new ID. Then: ridelog bikes add FILE."
BIKE_COLUMNS = ("bike", "build", "mass", "peak power", "fan", "thresholds", "keys at default")
DEFAULTS = "Keys left at their default:"


def wrote_draft(path: str, group: str) -> str:
    """A draft of a file was written."""
    return f"Wrote {path}. Fill it in, then: ridelog {group} add {path}"


def bike_replaced(bike: str) -> str:
    """A bike was there with other figures."""
    return f"bike {bike} was there with other figures and is replaced; its old file is kept"


def bike_added(bike: str, build: str) -> str:
    """A bike was added."""
    return f"Bike {bike} added (build {build})."


def confirmed_head(bike: str) -> str:
    """Over what was confirmed of columns."""
    return f"Columns confirmed at an import (ridelog bikes forget-columns {bike} forgets them):"


def confirmed_header(names: Sequence[str]) -> str:
    """The header of the logs it holds for."""
    more = f" and {len(names) - SHOWN_COLUMNS} more" if len(names) > SHOWN_COLUMNS else ""
    return f"in logs with the columns {', '.join(names[:SHOWN_COLUMNS])}{more}:"


def confirmed_column(column: str, channel: str, unit: str | None, day: date) -> str:
    """What one column is."""
    meant = channel + (f":{unit}" if unit else "")
    return f"{column!r} is {column_words(channel, unit)} ({meant}), confirmed {day:%Y-%m-%d}"


def forgotten(count: int, bike: str) -> str:
    """What was confirmed is forgotten."""
    return f"{count} column{'' if count == 1 else 's'} of bike {bike} forgotten."


# advice sheets

NO_SHEETS = "No sheets here: the built-in one is used. Print it: ridelog advice show built-in"
SHEET_COLUMNS = ("sheet", "holds from", "conservative map on", "noted without advice")
RULE_COLUMNS = ("kind", "map", "levels", "held for", "pauses bridged", "left at", "time to switch")


def sheet_replaced(version: str) -> str:
    """A sheet was there with other rules."""
    return f"sheet {version} was there with other rules and is replaced: rides of its time are judged anew"


def sheet_added(version: str, valid_from: date) -> str:
    """A sheet was added."""
    return f"Advice sheet {version} added; it holds from {valid_from.isoformat()}."


def sheet_title(version: str, valid_from: date) -> str:
    """Over the rules of a sheet."""
    return f"Advice sheet {version}, from {valid_from.isoformat()}"
