"""The question what a column holds, put to a person at a terminal."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING

import click

from ridelog.cli.show import plain
from ridelog.words import library as words

if TYPE_CHECKING:
    from ridelog.errors import Preview
    from ridelog.ingest import Answer, Ask, Question

_STOP = ("s", "stop", "q", "quit")


def at_terminal() -> bool:
    """Is there a person to ask: do questions reach a screen, and come answers from a keyboard?"""
    return sys.stdin.isatty() and sys.stderr.isatty()


def asker(paused: Callable[[], AbstractContextManager[None]]) -> Ask:
    """The function that asks. `paused` gives a context in which nothing else is drawn on the screen."""
    ended = False

    def ask(question: Question) -> Answer:
        nonlocal ended
        if ended:
            return None
        with paused():
            number = _ask(question)
        ended = number is None
        return question.options[number] if number is not None and number < len(question.options) else None

    return ask


def _ask(question: Question) -> int | None:
    """The place of the chosen option, one more than the last to stop, None at the end of input."""
    _say(f"\n{question.where}: {question.found}")
    _say(f"  {_name(question.column)}: {_seen(question.preview)}")
    for number, option in enumerate(question.options, start=1):
        _say(f"  {number:>2}  {option.words}")
    _say(f"   {words.STOP_CHOICE}")
    last = len(question.options)
    while True:
        click.echo(words.which(last), err=True, nl=False)
        line = _line()
        if not line:
            _say(f"\n{words.NO_ANSWER}")
            return None
        word = line.strip().lower()
        if word in _STOP:
            return last
        if word.isdecimal() and word.isascii() and 1 <= int(word[:4]) <= last:
            return int(word[:4]) - 1
        _say(words.type_a_number(last))


def _line() -> str:
    """What is typed, '' at the end of input. Ctrl-C raises KeyboardInterrupt at once."""
    if hasattr(signal, "siginterrupt"):
        # A library loaded meanwhile may have its own handler, after which a call goes on: Ctrl-C would wait for Enter.
        signal.siginterrupt(signal.SIGINT, True)
    return sys.stdin.readline()


def _name(column: str) -> str:
    """A name on one line, not too long for it."""
    one_line = " ".join(column.split())
    return one_line if len(one_line) <= 60 else one_line[:57] + "..."


def _seen(preview: Preview) -> str:
    return words.seen(preview.low, preview.high, [" ".join(example.split()) for example in preview.examples])


def _say(text: str) -> None:
    click.echo(plain(text), err=True)
