"""How much of a file is read at most, each limit with a default, a setting and a message that names it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, fields

from ridelog.errors import LimitExceeded, UsageError

_GIB = 1024**3


@dataclass(frozen=True)
class Limits:
    """Upper bounds on one log file. Each can be set through the environment: `RIDELOG_` and the name in capitals."""

    max_bytes: int = 4 * _GIB
    """Size of a file as it lies on disk, and of what is unpacked from it."""

    max_rows: int = 100_000_000
    """Rows of a table, or track points. A day at 1000 Hz has 86 million."""

    max_columns: int = 2_000
    """Columns of a table."""

    max_members: int = 200
    """Files inside one archive."""

    max_unpack_ratio: int = 500
    """Unpacked over packed size, looked at once more than 16 MB have come out. Logs compress 5 to 40 times."""

    max_xml_depth: int = 32
    """Nesting of XML elements. A GPX file with extensions needs about eight."""

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Limits:
        """The defaults, overridden by `RIDELOG_MAX_BYTES`, `RIDELOG_MAX_ROWS` and so on. Raises UsageError."""
        environment = os.environ if environment is None else environment
        found: dict[str, int] = {}
        for field in fields(cls):
            text = environment.get(setting(field.name))
            if text is None:
                continue
            if not text.strip().isdecimal() or int(text) < 1:
                raise UsageError(
                    f"is {text!r}", where=setting(field.name), expected="a whole number above 0", to_do="correct it"
                )
            found[field.name] = int(text)
        return cls(**found)

    def exceeded(self, name: str, found: str, *, where: str = "") -> LimitExceeded:
        """The error for one limit: what was found, what is allowed, which setting raises it."""
        return LimitExceeded(
            found,
            where=where,
            expected=f"at most {getattr(self, name):,} ({_WORDS[name]})",
            to_do=f"check that this is the log you meant; if it is, raise the limit with {setting(name)}",
        )


_WORDS = {
    "max_bytes": "bytes",
    "max_rows": "rows",
    "max_columns": "columns",
    "max_members": "files in an archive",
    "max_unpack_ratio": "times its packed size",
    "max_xml_depth": "levels of nesting",
}


def setting(name: str) -> str:
    """Name of the environment variable for a limit."""
    return f"RIDELOG_{name.upper()}"
