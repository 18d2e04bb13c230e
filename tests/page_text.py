"""What stands on a page made of components."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dash.development.base_component import Component

TOLD_BY = ("children", "alt", "value")
"""Properties that hold words: what stands inside, a picture's words, what a field holds."""


def parts(node: Any) -> Iterator[Component]:
    """All components of a page, from the top down."""
    if isinstance(node, Component):
        yield node
        yield from parts(getattr(node, "children", None))
    elif isinstance(node, list | tuple):
        for child in node:
            yield from parts(child)


def words(node: Any) -> str:
    """All text of a page, or a text, with single spaces: an unbroken one counts as a space."""
    return " ".join(" ".join(_texts(node)).replace("\u00a0", " ").split())


def _texts(node: Any) -> Iterator[str]:
    if isinstance(node, Component):
        for name in TOLD_BY:
            yield from _texts(getattr(node, name, None))
    elif isinstance(node, list | tuple):
        for child in node:
            yield from _texts(child)
    elif isinstance(node, str | int | float) and not isinstance(node, bool):
        yield str(node)
