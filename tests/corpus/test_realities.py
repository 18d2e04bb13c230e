"""The table of how logs break is whole: every number has its tests, every test exists, every form is counted."""

from __future__ import annotations

import ast
import importlib.util
import re
import sys
import tomllib
from functools import cache
from pathlib import Path
from types import ModuleType

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import test_corpus_forms

HERE = Path(__file__).parent
TOP = HERE.parents[1]
TABLE = tomllib.loads((HERE / "realities.toml").read_text(encoding="utf-8"))
REALITIES = TABLE["reality"]
TRAPS = TABLE["trap"]
VERDICTS = ("accept", "repair", "refuse")
COUNT, TRAP_COUNT, FORM_COUNT = 85, 12, 60
_NODE = re.compile(r"(?P<file>tests/[\w/]+\.py)::(?P<name>test_\w+)(?:\[(?P<case>.+)\])?")
_RAISES = re.compile(r"\b(?:pytest\.raises|refused)\b")
_ASSERTS = re.compile(r"\bassert|\bsame_ride\(|\bnote\(|\bpytest\.raises|\brefused\(")
_TELLS = re.compile(r"\b(?:notes?|kinds?|marks?|quality|told|outcomes?|verdicts?|gaps|null_count|facts|asked)\b")
"""What a test looks at that looks at what was said of a repair."""


@cache
def source(file: str) -> str:
    return (TOP / file).read_text(encoding="utf-8")


@cache
def named_in(file: str) -> dict[str, str]:
    """Name of every test of a file -> its text."""
    text = source(file)
    return {
        node.name: ast.get_source_segment(text, node) or ""
        for node in ast.parse(text).body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }


def body_of(node: str) -> str:
    """The text of a test named in the table. Fails where there is none."""
    match = _NODE.fullmatch(node)
    assert match, f"{node!r} is no test id"
    file, name, case = match.group("file", "name", "case")
    assert (TOP / file).is_file(), f"{file} is not there"
    assert name in named_in(file), f"{file} has no test {name}"
    assert case is None or f'"{case}": Form(' in source(file), f"{file} has no form {case!r}"
    return named_in(file)[name]


def test_every_number_is_there_once() -> None:
    assert [one["number"] for one in REALITIES] == list(range(1, COUNT + 1))
    assert [one["number"] for one in TRAPS] == list(range(1, TRAP_COUNT + 1))
    assert len({one["what"] for one in REALITIES}) == COUNT


@pytest.mark.parametrize("one", REALITIES, ids=lambda one: str(one["number"]))
def test_each_reality_has_tests_that_exist_or_a_reason(one: dict[str, object]) -> None:
    assert one.keys() <= {"number", "what", "why_no_file", *VERDICTS}
    assert len(str(one["what"])) > 10
    shown = [verdict for verdict in VERDICTS if one.get(verdict)]
    if "why_no_file" in one:
        assert len(str(one["why_no_file"])) > 20
        return
    assert shown, "neither a test nor a reason why there can be none"
    bodies = {verdict: {node: body_of(node) for node in one[verdict]} for verdict in shown}  # type: ignore[attr-defined]
    for verdict in shown:
        for node, body in bodies[verdict].items():
            assert _ASSERTS.search(body), f"{node} asserts nothing"
            assert verdict != "refuse" or _RAISES.search(body), f"{node} stands under refuse, but refuses nothing"
    if "repair" in shown:
        assert any(_TELLS.search(body) for body in bodies["repair"].values()), "no test looks at what is told"


@pytest.mark.parametrize("one", TRAPS, ids=lambda one: str(one["number"]))
def test_each_trap_has_tests_that_exist(one: dict[str, object]) -> None:
    assert one.keys() == {"number", "what", "tests"}
    assert one["tests"]
    for node in one["tests"]:  # type: ignore[attr-defined]
        assert _ASSERTS.search(body_of(node))


def test_most_realities_are_shown_through_the_whole_import() -> None:
    through = [one for one in REALITIES if any("tests/corpus/" in str(one.get(verdict, "")) for verdict in VERDICTS)]
    named = {node.partition("::")[0] for one in REALITIES for verdict in VERDICTS for node in one.get(verdict, [])}
    assert len(through) >= 80
    assert {f"tests/corpus/{path.name}" for path in HERE.glob("test_corpus_*.py")} <= named | {
        "tests/corpus/test_corpus_forms.py"
    }


def dialects() -> ModuleType:
    path = HERE.parent / "readers" / "test_delimited_dialects.py"
    spec = importlib.util.spec_from_file_location("ridelog_test_dialects", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_one_log_is_written_in_as_many_forms_as_promised() -> None:
    as_text, others = dialects().FORMS, test_corpus_forms.FORMS
    assert not set(as_text) & set(others)
    assert len(as_text) >= FORM_COUNT
    assert len(as_text) + len(others) >= FORM_COUNT + 20
