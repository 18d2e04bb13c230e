"""What a reader is: a name, a look at the first bytes, and a way to read the file into tables."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol, runtime_checkable

from ridelog.readers.limits import Limits
from ridelog.ride import RawLog

HEAD_BYTES = 256 * 1024
"""How much of a file a reader sees when it is asked whether it can read it."""


@dataclass(frozen=True)
class Sniff:
    """A reader's opinion of a file. `score` 0 (can't be mine) to 1 (certain); `reason` says why, in words."""

    score: float
    reason: str


@dataclass(frozen=True)
class ReadOptions:
    """What a reader may be told.

    `file_name` is the name to show in messages (the path may be a temporary one). `named_columns` are column names the
    user spoke of, so that a header none of the name tables knows is still found. `description` is a file that describes
    the messages of a bus, for traces that hold no names of their own.
    """

    file_name: str
    limits: Limits = field(default_factory=Limits)
    named_columns: tuple[str, ...] = ()
    description: Path | None = None


@runtime_checkable
class Reader(Protocol):
    """One format. Implementations hold no state: the same file read twice gives the same tables."""

    @property
    def name(self) -> str:
        """Short name, as `--format` takes it."""

    @property
    def description(self) -> str:
        """One line for people."""

    @property
    def endings(self) -> tuple[str, ...]:
        """File name endings usual for the format, with the dot; they only break ties."""

    def sniff(self, head: bytes, file_name: str) -> Sniff:
        """Judge a file by its first bytes (up to HEAD_BYTES). Never raises."""

    def read(self, path: Path, options: ReadOptions) -> list[RawLog]:
        """Every table of the file, in its order. Raises InputRefused (or a kind of it) and OSError only."""
