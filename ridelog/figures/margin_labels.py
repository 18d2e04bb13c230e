"""Words for levels, beside the plot: each as near to its level as its neighbours let it, with a line that leads there.

Words on the lines themselves hide the traces, and lie on top of each other where two levels are close.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ridelog.figures.theme import LABEL_PX, SOFT_INK

LEAD_PX = 11
"""Length of the line that leads from a level to its words."""

APART_PX = 21
"""Least distance of two labels on a screen. On paper the picture is drawn at six tenths of its height, the words are
not: they are 13 px apart there."""

_LETTER_PX = 0.57 * LABEL_PX
_LONGEST = 13
"""Letters of a label; thresholds are named by the user, and a name must not push the plot aside."""


def shortened(name: str, rest: str) -> str:
    """`limit 115`: the name cut where the label would be too long, never the figure."""
    room = max(_LONGEST - len(rest) - 1, 3)
    return f"{name if len(name) <= room else name[: room - 1] + '…'} {rest}"


def width_px(texts: Sequence[str]) -> int:
    """Room that labels need at the right of a plot; 0 for none."""
    return round(LEAD_PX + 5 + _LETTER_PX * max(map(len, texts))) if texts else 0


def spread(wanted: Sequence[float], apart: float, high: float) -> list[float]:
    """Places in 0..`high`, `apart` from each other, as near to the wanted ones (rising) as can be in the mean square.

    Where they do not fit, they share the room evenly.
    """
    if len(wanted) > 1:
        apart = min(apart, high / (len(wanted) - 1))
    blocks: list[list[float]] = []
    for number, value in enumerate(wanted):
        blocks.append([value - number * apart])
        while len(blocks) > 1 and _mean(blocks[-2]) >= _mean(blocks[-1]):
            blocks[-2:] = [blocks[-2] + blocks[-1]]
    level = [_mean(block) for block in blocks for _ in block]
    most = high - (len(wanted) - 1) * apart
    return [min(max(value, 0.0), most) + number * apart for number, value in enumerate(level)]


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def labels(
    wanted: Sequence[tuple[float, str]], y_axis: str, low: float, high: float, height_px: float
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Shapes and annotations for the levels (value, words) of one panel whose axis runs from `low` to `high`."""
    ordered = sorted(wanted)
    scale = (high - low) / height_px
    places = spread([(value - low) / scale for value, _ in ordered], APART_PX, height_px)
    shapes, notes = [], []
    for (value, text), place in zip(ordered, places, strict=True):
        y = low + place * scale
        shapes.append(
            {
                "type": "line", "xref": "paper", "xsizemode": "pixel", "xanchor": 1, "x0": 0, "x1": LEAD_PX,
                "yref": y_axis, "y0": value, "y1": y, "line": {"color": SOFT_INK, "width": 1},
            }
        )  # fmt: skip
        notes.append(
            {
                "text": text, "xref": "paper", "x": 1, "xanchor": "left", "xshift": LEAD_PX + 1, "yref": y_axis, "y": y,
                "yanchor": "middle", "showarrow": False, "borderpad": 0, "font": {"size": LABEL_PX, "color": SOFT_INK},
            }
        )  # fmt: skip
    return shapes, notes
