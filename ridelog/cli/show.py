"""How figures look in a terminal: durations, temperatures, speeds, tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from ridelog import words

if TYPE_CHECKING:
    from rich.console import Console

DASH = "–"
"""Stands where a figure can't be told."""


def console() -> Console:
    """A console on stdout. A pipe gets plain text wide enough for every table."""
    import sys

    from rich.console import Console

    return Console(highlight=False, width=None if sys.stdout.isatty() else 160)


def duration(seconds: float | None) -> str:
    """A duration in words, or a dash."""
    return DASH if seconds is None else words.duration(seconds)


def number(value: float | None, digits: int = 0, unit: str = "") -> str:
    """A figure with its unit, or a dash."""
    return DASH if value is None else f"{value:,.{digits}f}{' ' + unit if unit else ''}"


def share(value: float | None) -> str:
    """A share as a percentage, or a dash."""
    return DASH if value is None else words.share(value)


def table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = ()) -> None:
    """Print a table, nothing where it has no rows; `right` are the indices of columns set flush right."""
    if not rows:
        return
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    drawn = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False, title_style="bold")
    for index, name in enumerate(columns):
        drawn.add_column(name, justify="right" if index in right else "left", overflow="fold")
    for row in rows:
        drawn.add_row(*(escape(cell) for cell in row))
    console().print(drawn)


def lines(title: str, sentences: Iterable[str]) -> None:
    """Print sentences under a title; nothing where there are none."""
    from rich.markup import escape
    from rich.padding import Padding

    out = console()
    listed = list(sentences)
    if not listed:
        return
    if title:
        out.print(f"[bold]{escape(title)}[/bold]")
    for sentence in listed:
        out.print(Padding(escape(sentence), (0, 0, 0, 2)))
