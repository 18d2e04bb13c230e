"""The header of a table as the mark by which a file of the same logger, set up the same way, is known again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from ridelog.ride import RawColumn


@dataclass(frozen=True)
class Header:
    """Names and units of a table's columns as written, whatever their order."""

    columns: tuple[tuple[str, str | None], ...]

    @classmethod
    def of(cls, columns: Sequence[RawColumn]) -> Header:
        """The header of these columns."""
        return cls(tuple(sorted(((c.name, c.unit) for c in columns), key=lambda pair: (pair[0], pair[1] or ""))))

    @property
    def fingerprint(self) -> str:
        """SHA-256 over names and units, 64 hex digits."""
        return hashlib.sha256(json.dumps(self.columns, ensure_ascii=True).encode()).hexdigest()
