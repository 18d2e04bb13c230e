"""How figures look in a terminal: durations, temperatures, speeds, tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from ridelog.words import terms as words

if TYPE_CHECKING:
    from pathlib import Path

DASH = "–"
"""Stands where a figure can't be told."""


PIPE_WIDTH = 160
"""Columns of text that goes into a file or another program, unless $COLUMNS says otherwise."""

_GAP = "   "


def width() -> int:
    """Columns there are."""
    import os
    import shutil
    import sys

    if sys.stdout.isatty():
        return shutil.get_terminal_size().columns
    asked = os.environ.get("COLUMNS", "")
    return int(asked) if asked.isdecimal() and int(asked) > 0 else PIPE_WIDTH


def duration(seconds: float | None) -> str:
    """A duration in words, or a dash."""
    return DASH if seconds is None else words.duration(seconds)


def number(value: float | None, digits: int = 0, unit: str = "") -> str:
    """A figure with its unit, or a dash."""
    return DASH if value is None else f"{value:,.{digits}f}{' ' + unit if unit else ''}"


def share(value: float | None) -> str:
    """A share as a percentage, or a dash."""
    return DASH if value is None else words.share(value)


def wrote(path: Path) -> str:
    """`Wrote ride.html (5.1 MB).`"""
    size = path.stat().st_size
    return f"Wrote {path} ({f'{size / 1e6:.1f} MB' if size >= 100_000 else f'{size / 1e3:.0f} kB'})."


def table(
    title: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    right: Sequence[int] = (),
    optional: Sequence[int] = (),
) -> None:
    """Print a table, nothing where it has no rows.

    `right` are the indices of columns set flush right. Where there is too little room, columns of `optional` are left
    out one by one; where even that is not enough, each row becomes a block of lines. No cell is ever broken.
    """
    if not rows:
        return
    shown = list(range(len(columns)))
    wide = [max(len(columns[i]), *(len(row[i]) for row in rows)) for i in shown]
    room = width()
    for index in optional:
        if _needed(wide, shown) <= room:
            break
        shown.remove(index)
    if title:
        _say(f"\n{title}", bold=True)
    if _needed(wide, shown) > room:
        _blocks(columns, rows)
        return

    def line(cells: Sequence[str]) -> str:
        return _GAP.join(cells[i].rjust(wide[i]) if i in right else cells[i].ljust(wide[i]) for i in shown).rstrip()

    _say(line(columns), bold=True)
    _say("─" * _needed(wide, shown))
    for row in rows:
        _say(line(row))


def _needed(wide: Sequence[int], shown: Sequence[int]) -> int:
    return sum(wide[i] for i in shown) + len(_GAP) * (len(shown) - 1)


def _blocks(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Each row as its first cell and a line for each of the rest."""
    label = max(len(name) for name in columns)
    for row in rows:
        _say(f"{columns[0]} {row[0]}", bold=True)
        for name, cell in zip(columns[1:], row[1:], strict=True):
            _paragraph(f"{name.ljust(label)}  {cell}", indent=2, hanging=label + 4)


def lines(title: str, sentences: Iterable[str]) -> None:
    """Print sentences under a title; nothing where there are none."""
    listed = list(sentences)
    if not listed:
        return
    if title:
        _say(f"\n{title}", bold=True)
    for sentence in listed:
        _paragraph(sentence, indent=2, hanging=2)


def _paragraph(text: str, indent: int, hanging: int) -> None:
    """One sentence, wrapped for a screen, whole for a pipe: a program or a search finds it on one line."""
    import sys
    import textwrap

    if not sys.stdout.isatty():
        _say(" " * indent + text)
        return
    room = max(width(), hanging + 20)
    wrapped = textwrap.wrap(
        text, room, initial_indent=" " * indent, subsequent_indent=" " * hanging, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
    for line in wrapped:
        _say(line)


def _say(text: str, *, bold: bool = False) -> None:
    import click

    click.secho(plain(text), bold=bold or None)


def plain(text: str) -> str:
    """Without control characters: a name in a log must not steer the terminal."""
    return words.printable(text)
