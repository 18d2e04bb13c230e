"""The table of questions in DEVELOPERS.md: whole, and every row names a browser test that is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

QUESTIONS = 41
ROW = re.compile(r"^\| (\d+) \| ([^|]+) \| ([^|]+) \| `(\w+)` \|$", re.MULTILINE)


def rows(repository: Path) -> list[tuple[str, ...]]:
    text = (repository / "DEVELOPERS.md").read_text(encoding="utf-8")
    part = text.split("## What riders, tuners and workshops ask\n", 1)[1].split("\n## ", 1)[0]
    return [found.groups() for found in ROW.finditer(part)]


def written(repository: Path) -> list[str]:
    return [
        node.name
        for path in sorted((repository / "tests" / "browser" / "questions").glob("test_browser_questions_*.py"))
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    ]


def test_every_question_has_its_row(repository: Path) -> None:
    assert [int(number) for number, *_ in rows(repository)] == list(range(1, QUESTIONS + 1))
    assert all(asked.strip() and page.strip() for _, asked, page, _ in rows(repository))


def test_every_row_names_a_test_of_its_own_that_is_there(repository: Path) -> None:
    named = [test for *_, test in rows(repository)]
    assert sorted(named) == sorted(written(repository))
    assert len(set(named)) == QUESTIONS
    assert all(test.startswith(f"test_q{int(number):02d}_") for number, _, _, test in rows(repository))


def test_every_test_counts_its_clicks_and_reads_a_page(repository: Path) -> None:
    """A test that begins nowhere, or compares nothing, answers nothing."""
    for path in sorted((repository / "tests" / "browser" / "questions").glob("test_browser_questions_*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_q"):
                calls = {ast.unparse(one.func) for one in ast.walk(node) if isinstance(one, ast.Call)}
                assert calls & {"asker.ride", "asker.review"}, node.name
                assert any(isinstance(one, ast.Assert) for one in ast.walk(node)), node.name
