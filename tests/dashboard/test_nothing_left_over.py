"""Nothing stands in the dashboard that nothing uses: no text, no id, no rule of the style sheet, no variable of it."""

from __future__ import annotations

import ast
import re
from collections import Counter
from pathlib import Path

import pytest

DASHBOARD = Path(__file__).resolve().parents[2] / "dashboard"
SOURCES = {path: path.read_text(encoding="utf-8") for path in sorted(DASHBOARD.rglob("*.py"))}
SCRIPTS = "\n".join(path.read_text(encoding="utf-8") for path in sorted((DASHBOARD / "assets").glob("*.js")))
STYLE = re.sub(r"/\*.*?\*/", "", (DASHBOARD / "assets" / "page.css").read_text(encoding="utf-8"), flags=re.DOTALL)
OF_FIGURES = "\n".join(
    path.read_text(encoding="utf-8") for path in sorted((DASHBOARD.parent / "ridelog").rglob("*.py"))
)
FOREIGN = re.compile(r"(dash|Dash)-|js-plotly-plot|plotly")
"""What the component and the plotting library name."""


def named(text: str) -> list[str]:
    """Names that a module gives at its top: functions and constants."""
    found: list[str] = []
    for one in ast.parse(text).body:
        if isinstance(one, ast.FunctionDef | ast.ClassDef):
            found.append(one.name)
        targets = one.targets if isinstance(one, ast.Assign) else [one.target] if isinstance(one, ast.AnnAssign) else []
        for target in targets:
            inside = target.elts if isinstance(target, ast.Tuple) else [target]
            found += [part.id for part in inside if isinstance(part, ast.Name)]
    return found


def used(name: str) -> int:
    return sum(len(re.findall(rf"\b{re.escape(name)}\b", text)) for text in SOURCES.values())


@pytest.mark.parametrize("place", ["texts", "ids.py", "config.py"])
def test_each_text_id_and_limit_is_used_and_given_once(place: str) -> None:
    texts = [text for path, text in SOURCES.items() if place in path.relative_to(DASHBOARD).parts]
    found = Counter(name for text in texts for name in named(text))
    assert len(found) > 15
    # those of one import are taken by the name of their module, all others from the package
    assert [name for name, times in found.items() if times > 1] == []
    assert [name for name in found if used(name) < 2] == []


def test_each_function_is_called() -> None:
    public = [name for path, text in SOURCES.items() for name in named(text) if path.parent.name != "texts"]
    assert len(public) > 300
    assert [name for name in public if used(name) < 2 and not name.startswith("__")] == []


def test_each_rule_of_the_style_sheet_meets_something() -> None:
    selectors = re.sub(r"\{[^{}]*\}", " ", STYLE)
    everything = "\n".join(SOURCES.values()) + SCRIPTS + OF_FIGURES
    names = set(re.findall(r"[.#](-?[A-Za-z_][\w-]*)", selectors))
    assert len(names) > 80
    lost = [name for name in sorted(names) if not re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", everything)]
    assert [name for name in lost if not FOREIGN.match(name)] == []


def test_each_colour_of_the_style_sheet_is_given_for_both_grounds_and_used() -> None:
    light = re.search(r":root \{(.*?)\}", STYLE, re.DOTALL)
    dark = re.search(r':root\[data-theme="dark"\] \{(.*?)\}', STYLE, re.DOTALL)
    assert light is not None
    assert dark is not None
    given = {ground: set(re.findall(r"(--[a-z][\w-]*):", found[1])) for ground, found in (("l", light), ("d", dark))}
    asked = set(re.findall(r"var\((--[a-z][\w-]*)", STYLE))
    assert given["l"] == given["d"] == asked
