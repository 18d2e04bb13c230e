"""Every example of a command in README runs as it stands there, and begins as shown, whatever the figures are."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import sample_logs
from ridelog.cli.demo_library import build

Example = tuple[str, str]

ASKS = "import sunday.csv"
"""Shows a question at a terminal: tested in test_asking.py."""


def examples(text: str) -> list[Example]:
    """Command and first line shown under it, in the order of the page; '' where nothing is shown."""
    found: list[Example] = []
    for block in re.findall(r"^```\n(\$ .*?)^```", text, re.MULTILINE | re.DOTALL):
        lines = block.splitlines()
        for line, below in zip(lines, [*lines[1:], ""], strict=True):
            if line.startswith("$ ridelog "):
                found.append((line.removeprefix("$ ridelog "), "" if below.startswith("$ ") else below))
    return found


def pattern(line: str) -> re.Pattern[str]:
    """A shown line with any figure for each figure, any space for space, and any ending where it is left out."""
    parts = [re.escape(part) for part in re.split(r"\d[\d.,:]*|\s+|…", line.strip())]
    gaps = re.findall(r"\d[\d.,:]*|\s+|…", line.strip())
    gaps = [r"[\d.,:]+" if gap[0].isdigit() else r"\s+" if gap.isspace() else ".*" for gap in gaps]
    return re.compile("".join(part + gap for part, gap in zip(parts, [*gaps, ""], strict=True)))


@pytest.fixture(scope="module")
def shown(repository: Path) -> list[Example]:
    """The examples of README."""
    return examples((repository / "README.md").read_text(encoding="utf-8"))


def test_examples_run_and_begin_as_shown(shown: list[Example], tmp_path: Path) -> None:
    library = tmp_path / "library"
    assert build(library, lambda _: None, season=False).refused == []
    shutil.copy(sample_logs.folder() / "rides" / "05-first-mud.csv.gz", tmp_path)
    environment = {**os.environ, "RIDELOG_LIBRARY": str(library), "COLUMNS": "200"}
    for command, first in shown:
        if command.startswith(ASKS):
            continue
        done = subprocess.run(
            [sys.executable, "-m", "ridelog", *shlex.split(command)],
            capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL, cwd=tmp_path, env=environment,
        )  # fmt: skip
        assert done.returncode == 0, f"{command}: {done.stderr}"
        assert pattern(first).search(done.stdout), f"{command}: {first!r} is not how it begins:\n{done.stdout[:600]}"


def test_no_example_is_missed(shown: list[Example], repository: Path) -> None:
    text = (repository / "README.md").read_text(encoding="utf-8")
    assert len(shown) == len(re.findall(r"^\$ ridelog ", text, re.MULTILINE))
    assert {command.split()[0] for command, _ in shown} >= {
        "import", "rides", "analyze", "diagnose", "effect", "review", "note", "case", "compare", "places", "report",
        "export", "edit",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("line", "printed", "matches"),
    [("Review of 56 rides", "Review of 12 rides of 3 bikes", True), ("Review of 56 rides", "Review of rides", False),
     ("  Wrote a.html (5.1 MB).", "  Wrote a.html (5.2 MB).", True), ("Above it …", "Above it all", True)],
)  # fmt: skip
def test_figures_may_differ_and_words_not(line: str, printed: str, matches: bool) -> None:
    assert bool(pattern(line).search(printed)) is matches
