"""The readers, in a fixed order, and the choice among them by content."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.metadata import EntryPoint, entry_points

from ridelog.errors import InputRefused, UsageError
from ridelog.readers.arrow_table import ArrowTableReader
from ridelog.readers.base import Reader, Sniff
from ridelog.readers.can_text import CanTextReader
from ridelog.readers.delimited import DelimitedReader
from ridelog.readers.foreign import refuse_foreign
from ridelog.readers.gpx import GpxReader
from ridelog.readers.mdf import MdfReader
from ridelog.readers.nmea import NmeaReader
from ridelog.ride import Note
from ridelog.words import reading_formats

GROUP = "ridelog.readers"
"""Entry point group through which other packages add readers: each names a class without arguments."""

_SURE = 0.5
"""From here on a reader counts as fitting."""


def built_in() -> tuple[Reader, ...]:
    """The readers that come with ridelog, in the order they are asked."""
    return (GpxReader(), NmeaReader(), ArrowTableReader(), MdfReader(), CanTextReader(), DelimitedReader())


@cache
def readers() -> tuple[tuple[Reader, ...], tuple[Note, ...]]:
    """All readers, and a note for each plug-in that could not be loaded."""
    return with_plugins(tuple(entry_points(group=GROUP)))


def with_plugins(plugins: Sequence[EntryPoint]) -> tuple[tuple[Reader, ...], tuple[Note, ...]]:
    """The built-in readers, then the plug-ins by name. A plug-in that fails to load becomes a note, never a crash."""
    found: list[Reader] = list(built_in())
    notes: list[Note] = []
    for plugin in sorted(plugins, key=lambda entry: entry.name):
        try:
            reader = plugin.load()()
        except Exception as error:
            notes.append(_unusable(plugin.name, reading_formats.plugin_failed(type(error).__name__)))
            continue
        if not isinstance(reader, Reader):
            notes.append(_unusable(plugin.name, reading_formats.PLUGIN_NONE))
        elif reader.name in {known.name for known in found}:
            notes.append(_unusable(plugin.name, reading_formats.plugin_twice(reader.name)))
        else:
            found.append(reader)
    return tuple(found), tuple(notes)


def _unusable(name: str, why: str) -> Note:
    return Note("reader_plugin", reading_formats.plugin_left_out(name, why))


def named(name: str, available: Sequence[Reader]) -> Reader:
    """The reader `--format` names. Raises UsageError."""
    for reader in available:
        if reader.name == name:
            return reader
    raise UsageError(
        f"there is no format {name!r}",
        where="--format",
        expected="one of " + ", ".join(reader.name for reader in available),
        to_do="leave the option out to have the format found from the content",
    )


def choose(head: bytes, file_name: str, available: Sequence[Reader]) -> Reader:
    """The reader that fits the content best. Raises InputRefused that says what each of them missed.

    The file's ending only decides between readers that are equally sure.
    """
    refuse_foreign(head, file_name)
    opinions: list[tuple[Reader, Sniff]] = []
    for reader in available:
        try:
            opinions.append((reader, reader.sniff(head, file_name)))
        except Exception as error:
            opinions.append((reader, Sniff(0.0, f"its check failed with {type(error).__name__}")))
    best = max(sniff.score for _, sniff in opinions)
    if best < _SURE:
        missed = "; ".join(f"{reader.name}: {sniff.reason}" for reader, sniff in opinions)
        raise InputRefused(
            "it is no log that ridelog can read",
            where=file_name,
            expected="rows of values under a line of column names with a column of times, or a file of a known format",
            to_do="check that it is the log as the device wrote it (--format forces a reader). "
            f"What each one missed: {missed}",
        )
    equal = [reader for reader, sniff in opinions if sniff.score == best]
    by_ending = [reader for reader in equal if file_name.lower().endswith(reader.endings)]
    fitting = by_ending or equal
    if len(fitting) > 1 and len({type(reader) for reader in fitting}) > 1 and not by_ending:
        names = ", ".join(reader.name for reader in fitting)
        raise InputRefused(
            f"{names} fit equally well",
            where=file_name,
            expected="content that fits one format",
            to_do=f"choose one with --format {fitting[0].name}",
        )
    return fitting[0]
