"""Reading a user's TOML file strictly: types checked, ranges checked, unknown keys named with the nearest known one."""

from __future__ import annotations

import difflib
import math
import stat
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

from ridelog.errors import ProfileError

MAX_BYTES = 100_000
"""A hand-written profile is a few kilobytes; anything larger is some other file."""


class Table:
    """One table of a TOML file that is read key by key; `close()` complains of every key nobody asked for.

    A key that is missing gets the stated default and its dotted name goes to `defaults_used`.
    """

    def __init__(
        self, data: dict[str, Any], where: str, path: str = "", defaults_used: list[str] | None = None
    ) -> None:
        self._data = data
        self.where = where
        self._path = path
        self._known: list[str] = []
        self.defaults_used: list[str] = defaults_used if defaults_used is not None else []

    def _name(self, key: str) -> str:
        return f"{self._path}.{key}" if self._path else key

    def fail(self, key: str, found: str, expected: str, to_do: str = "") -> ProfileError:
        """The error for one key, ready to raise."""
        return ProfileError(
            f"{self._name(key)} {found}", where=self.where, expected=expected, to_do=to_do or "correct the file"
        )

    def has(self, key: str) -> bool:
        """True when the file gives the key."""
        if key not in self._known:
            self._known.append(key)
        return key in self._data

    def raw(self, key: str) -> Any:
        """The value as TOML gave it."""
        self.has(key)
        return self._data[key]

    def table(self, key: str) -> Table:
        """A sub-table; an empty one where the file leaves it out."""
        value = self._data[key] if self.has(key) else {}
        if not isinstance(value, dict):
            raise self.fail(key, f"is {value!r}", f"a table [{self._name(key)}]")
        return Table(value, self.where, self._name(key), self.defaults_used)

    def tables(self, key: str) -> list[Table]:
        """An array of tables; empty where the file leaves it out."""
        value = self._data[key] if self.has(key) else []
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.fail(key, f"is {value!r}", f"tables written as [[{self._name(key)}]]")
        return [
            Table(item, self.where, f"{self._name(key)}[{n}]", self.defaults_used) for n, item in enumerate(value, 1)
        ]

    def _number(self, key: str, value: object, low: float, high: float, unit: str) -> float:
        wanted = f"a number from {low:g} to {high:g} {unit}".rstrip()
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fail(key, f"is {value!r}", wanted)
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not (math.isfinite(number) and low <= number <= high):
            raise self.fail(key, f"is {value!r}", wanted, "check the unit")
        return number

    def number(self, key: str, default: float, low: float, high: float, unit: str = "") -> float:
        """A number within `low`..`high`, else the default, which is then noted."""
        if not self.has(key):
            self.defaults_used.append(self._name(key))
            return default
        return self._number(key, self._data[key], low, high, unit)

    def optional_number(self, key: str, low: float, high: float, unit: str = "") -> float | None:
        """A number, or None where the file leaves the key out: leaving it out means the thing is not there."""
        return self._number(key, self._data[key], low, high, unit) if self.has(key) else None

    def numbers(
        self, key: str, default: tuple[float, ...], low: float, high: float, unit: str = ""
    ) -> tuple[float, ...]:
        """A list of numbers, each within `low`..`high`."""
        if not self.has(key):
            self.defaults_used.append(self._name(key))
            return default
        value = self._data[key]
        if not isinstance(value, list) or not value:
            raise self.fail(key, f"is {value!r}", f"a list of numbers from {low:g} to {high:g} {unit}".rstrip())
        return tuple(self._number(key, item, low, high, unit) for item in value)

    def text(self, key: str, default: str | None = None, *, allowed: tuple[str, ...] = ()) -> str:
        """A text; required where there is no default."""
        if not self.has(key):
            if default is None:
                raise self.fail(key, "is missing", "a text", f'add a line: {key} = "..."')
            return default
        value = self._data[key]
        if not isinstance(value, str) or not value.strip():
            raise self.fail(key, f"is {value!r}", "a text in quotation marks")
        if allowed and value not in allowed:
            raise self.fail(key, f"is {value!r}", "one of " + ", ".join(allowed) + did_you_mean(value, allowed))
        return value

    def day(self, key: str, default: date | None = None) -> date | None:
        """A TOML date such as 2026-05-02, without quotation marks."""
        if not self.has(key):
            return default
        value = self._data[key]
        if type(value) is not date:
            raise self.fail(key, f"is {value!r}", "a date such as 2026-05-02, without quotation marks")
        return value

    def schema(self) -> None:
        """The file's `schema` must be 1."""
        value = self._data["schema"] if self.has("schema") else None
        if value is None:
            raise self.fail("schema", "is missing", "schema = 1", "add the line: schema = 1")
        if value != 1 or isinstance(value, bool):
            raise self.fail(
                "schema", f"is {value!r}", "schema = 1", "use a newer ridelog, or write the file for schema 1"
            )

    def items(self) -> dict[str, Any]:
        """All of the table, for tables whose keys the user names."""
        self._known.extend(self._data)
        return self._data

    def close(self) -> None:
        """Refuse keys that nobody asked for."""
        for key in self._data:
            if key not in self._known:
                raise self.fail(
                    key,
                    "is not a known key",
                    "one of " + ", ".join(self._known) + did_you_mean(key, tuple(self._known)),
                    "correct or delete the line",
                )


def did_you_mean(word: str, known: tuple[str, ...]) -> str:
    """' (did you mean X?)' for a near miss, else ''."""
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    return f" (did you mean {near[0]}?)" if near else ""


def parse(text: str, where: str) -> Table:
    """The top table of a TOML text. `where` names the file in messages."""
    try:
        return Table(tomllib.loads(text), where)
    except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
        # Beyond its own error, the parser lets through what int() says of endless digits and endless nesting.
        reason = "it is nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise ProfileError(
            f"is not valid TOML: {reason}",
            where=where,
            expected="a TOML file as README.md describes it",
            to_do="correct the place named",
        ) from error


def read_text(path: Path, what: str = "a TOML file") -> str:
    """The text of a profile file, with a clear message where there is none; `what` it should be."""
    try:
        facts = path.stat()
        if not stat.S_ISREG(facts.st_mode):
            raise ProfileError("is not a regular file", where=str(path), to_do=f"name {what}")
        if facts.st_size > MAX_BYTES:
            raise ProfileError(
                f"is {facts.st_size:,} bytes long",
                where=path.name,
                expected=f"{what} of at most {MAX_BYTES:,} bytes",
                to_do="name the right file",
            )
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise ProfileError("there is no such file", where=str(path), to_do="check the path") from error
    except UnicodeDecodeError as error:
        raise ProfileError(
            "is not UTF-8 text",
            where=path.name,
            expected=f"{what} saved as UTF-8",
            to_do="save it as UTF-8",
        ) from error
    except OSError as error:
        raise ProfileError(
            f"can't be read ({error.strerror})", where=str(path), to_do="check the path and its permissions"
        ) from error
