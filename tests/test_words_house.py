"""Every sentence of a result stands in `ridelog/words/`: no other module of the package makes one.

A sentence is a text of five words or more, f-strings with what they fill in counted whole. Docstrings, help of commands
and options, statements to the database, patterns, lists of words and messages of errors are none. What else may stand
elsewhere is listed with its reason.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

LEAST_WORDS = 5

ALLOWED: dict[str, tuple[int, str]] = {
    "readers/foreign.py": (11, "refusals of files that are no logs"),
    "readers/regular.py": (5, "refusals of what is no file"),
    "readers/arrow_table.py": (2, "a refusal"),
    "readers/delimited_careful.py": (1, "half of a refusal"),
    "readers/mdf_worker.py": (1, "half of a refusal"),
    "readers/long_order.py": (1, "half of a refusal"),
    "readers/time_per_signal.py": (1, "half of a refusal"),
    "readers/nmea.py": (1, "half of a refusal"),
    "readers/gpx_runs.py": (1, "patterns of the text of a track"),
    "normalize/by_value.py": (2, "half of a refusal"),
    "normalize/fitting.py": (1, "half of a refusal"),
    "clock/counter.py": (1, "half of a refusal"),
    "clock/zones.py": (1, "half of a refusal"),
    "ingest_clocks.py": (1, "half of a refusal"),
    "ingest_compare.py": (1, "names of two channels"),
    "ingest_read.py": (1, "half of a refusal"),
    "store/": (39, "statements to the catalogue and refusals"),
    "channels.py": (8, "the table of channels, which README repeats"),
    "bike.py": (1, "the draft of a bike file"),
    "advice.py": (12, "the draft of an advice sheet, and refusals of one"),
    "profile_file.py": (2, "refusals of a file that a user wrote"),
    "ignition_table.py": (4, "refusals of a table"),
    "notes.py": (4, "refusals of a time or a note"),
    "note_about.py": (3, "patterns of what riders write"),
    "report/sentences.py": (2, "how a date is written"),
    "cli/edge.py": (1, "how a fault of the program reads"),
    "figures/theme.py": (2, "colours and fonts"),
    "report/render.py": (1, "a policy of the page, not to be read"),
    "export.py": (1, "the head of a GPX file"),
    "export_heat.py": (1, "half of a refusal"),
    "analysis/thermal_prior.py": (1, "a mark in JSON"),
    "analyze_drive.py": (1, "a mark in JSON"),
}
"""By the begin of a module's name: how many sentences stand there at most, and why."""

_HELP = {"option", "argument", "command", "group", "version_option"}
_ERRORS = re.compile(r"(Error|Refused|[Ee]xceeded|NotInLibrary|BadParameter|fail|Undecided|Sniff|AmbiguousColumn)$")
"""Reasons of a `Sniff` are read in the refusal of a file that no reader takes."""
_NO_PROSE = re.compile(r"\A\n|\A\S+\Z|\(\?[:P=!]|%H:%M|\A<\w|\A\w=\"")
"""A list of words over several lines; a single name; a part of a pattern, of how a time is written, of a drawing."""
_WORD = re.compile(r"[A-Za-z]{2,}")
_SQL = re.compile(r"^\s*(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER|DROP|PRAGMA)\b|\bFROM \w+ (WHERE|JOIN)\b")


def sentences(source: str) -> Iterator[tuple[int, str]]:
    """Line and text of each sentence in a module."""
    tree = ast.parse(source)
    above = {id(child): node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for node in ast.walk(tree):
        text = _text(node)
        parent = above.get(id(node))
        if text is None or isinstance(parent, ast.JoinedStr | ast.FormattedValue | ast.Expr):
            continue
        if (
            len(_WORD.findall(text)) < LEAST_WORDS
            or _SQL.search(text)
            or _NO_PROSE.search(text)
            or _is_message(node, above)
        ):
            continue
        yield node.lineno, text


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else " it " for part in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def _is_message(node: ast.AST, above: dict[int, ast.AST]) -> bool:
    while (parent := above.get(id(node))) is not None and not isinstance(parent, ast.stmt):
        node = parent
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in _HELP or name == "compile" or _ERRORS.search(name):
                return True
        if isinstance(node, ast.Attribute) and node.attr == "split":
            return True  # a list of words, written as one text
    return isinstance(parent, ast.Raise)


@pytest.fixture(scope="module")
def found(repository: Path) -> dict[str, list[tuple[int, str]]]:
    """Sentences by module, those of the words left out."""
    package = repository / "ridelog"
    names = {path.relative_to(package).as_posix(): path for path in sorted(package.rglob("*.py"))}
    listed = {name: list(sentences(path.read_text(encoding="utf-8"))) for name, path in names.items()}
    return {name: said for name, said in listed.items() if said and not name.startswith("words/")}


def test_no_module_but_the_words_makes_a_sentence(found: dict[str, list[tuple[int, str]]]) -> None:
    strays = [
        f"{name}:{line}: {text!r}"
        for name, said in found.items()
        if not name.startswith(tuple(ALLOWED))
        for line, text in said
    ]
    assert not strays, "move these to ridelog/words/:\n" + "\n".join(strays)


@pytest.mark.parametrize("prefix", ALLOWED)
def test_no_exception_holds_more_than_was_excepted(found: dict[str, list[tuple[int, str]]], prefix: str) -> None:
    said = [
        f"{name}:{line}: {text!r}" for name, told in found.items() if name.startswith(prefix) for line, text in told
    ]
    most, reason = ALLOWED[prefix]
    assert said, f"nothing stands in {prefix} any more ({reason})"
    assert len(said) <= most, f"only {most} were excepted ({reason}):\n" + "\n".join(said)


@pytest.mark.parametrize(
    ("source", "count"),
    [
        ('def f() -> str:\n    return "The coolant was hot for a while."\n', 1),
        ('def f(n: int) -> str:\n    return f"The coolant was over {n} C."\n', 1),
        ('say("the ride was there already")\n', 1),
        ('TEXTS = {"a": "hot for most of the ride"}\n', 1),
        ('"""A docstring of many plain words."""\n', 0),
        ('raise UsageError(f"{1} is not one of the rides here")\n', 0),
        ('raise ValueError("this is not one of the rides")\n', 0),
        ('option("--bike", help="A bike of the library, by its id.")\n', 0),
        ('database.execute("SELECT id, bike, start FROM ride WHERE id = ?")\n', 0),
        ('PATTERN = re.compile("this is one of the rides")\n', 0),
        ('WORDS = "one two three four five six".split()\n', 0),
        ('NAMES = ("coolant temperature", "engine speed")\n', 0),
    ],
)
def test_the_scan_sees_what_it_should(source: str, count: int) -> None:
    assert len(list(sentences(source))) == count
