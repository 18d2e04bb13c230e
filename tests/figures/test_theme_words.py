"""Colours against their published values and contrast rules; words for every name the analysis can hand over."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from ridelog.advice import KINDS
from ridelog.channels import CHANNELS
from ridelog.figures.theme import INK, KIND_STYLES, OKABE_ITO, PAPER, SOFT_INK, faint
from ridelog.words import terms as words

# Okabe & Ito, Color Universal Design (2008), the table of RGB values 0..255
_PUBLISHED = {
    "black": (0, 0, 0),
    "orange": (230, 159, 0),
    "sky blue": (86, 180, 233),
    "bluish green": (0, 158, 115),
    "yellow": (240, 228, 66),
    "blue": (0, 114, 178),
    "vermillion": (213, 94, 0),
    "reddish purple": (204, 121, 167),
}


def rgb(color: str) -> tuple[int, int, int]:
    return int(color[1:3], 16), int(color[3:5], 16), int(color[5:7], 16)


def contrast(one: str, other: str) -> float:
    """Contrast ratio by the definition of WCAG 2.2 (relative luminance of sRGB)."""

    def luminance(color: str) -> float:
        parts = [value / 255 for value in rgb(color)]
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_colours_are_the_published_ones() -> None:
    assert {name: rgb(color) for name, color in OKABE_ITO.items()} == _PUBLISHED


def test_contrast_formula_on_known_pairs() -> None:
    # black on white is 21:1 by definition; #767676 is the lightest grey that passes 4.5:1 on white
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("name", ["report/templates/report.css", "../dashboard/assets/page.css"])
def test_text_passes_double_a(name: str, repository: Path) -> None:
    css = (repository / "ridelog" / name).read_text(encoding="utf-8")
    found = dict(
        part.strip().split(": ") for part in css[css.index("{") + 1 : css.index("}")].split(";") if ": " in part
    )
    grounds = [found[key] for key in ("--paper", "--ground", "--chosen") if key in found]
    for ground in grounds:
        for text in [found[key] for key in ("--ink", "--soft", "--link") if key in found]:
            full = ground if len(ground) == 7 else "#" + "".join(2 * c for c in ground[1:])
            assert contrast(text, full) >= 4.5, (text, ground)


def test_text_of_figures_passes_double_a() -> None:
    assert contrast(INK, PAPER) >= 7
    assert contrast(SOFT_INK, PAPER) >= 4.5


def test_faint_colours_keep_their_hue() -> None:
    assert faint("#E69F00", 0.17) == "rgba(230,159,0,0.17)"


def test_every_kind_channel_and_verdict_has_words_and_looks() -> None:
    kinds = {*KINDS, "heat_only"}
    assert kinds == set(words.KIND_WORDS) == set(KIND_STYLES)
    assert set(CHANNELS) == set(words.CHANNEL_WORDS)
    assert (
        set(words.VERDICT_WORDS) == set(words.VERDICT_SIGNS) == {"followed", "late", "missed", "unknown", "not_advised"}
    )


def test_every_question_the_analysis_leaves_open_has_words(repository: Path) -> None:
    asked: set[str] = set()
    for path in sorted((repository / "ridelog").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "say":
                first = node.args[0] if node.args else None
                if isinstance(first, ast.Constant) and isinstance(first.value, str) and len(node.args) == 2:
                    asked.add(first.value)
    assert len(asked) > 5
    assert asked <= set(words.QUESTION_WORDS)


def test_a_question_without_words_is_still_readable() -> None:
    assert words.question_words("lean_mixture") == "Lean mixture"


def test_channels_in_words() -> None:
    assert words.channel_words("coolant_c") == "coolant temperature"
    assert words.channel_words("coolant_c.2") == "coolant temperature 2"
    assert words.channel_words("raw.Something (x)") == "raw.Something (x)"
    assert words.missing_channels({"coolant_c", "wheel_speed_mps"}) == [
        "map switch",
        "throttle",
        "engine speed",
        "position",
    ]
