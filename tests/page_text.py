"""What stands on a page made of components."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dash.development.base_component import Component


def parts(node: Any) -> Iterator[Component]:
    """All components of a page, from the top down."""
    if isinstance(node, Component):
        yield node
        yield from parts(getattr(node, "children", None))
    elif isinstance(node, list | tuple):
        for child in node:
            yield from parts(child)


def words(node: Any) -> str:
    """All text of a page."""
    if isinstance(node, str | int | float):
        return str(node)
    if isinstance(node, Component):
        return words(getattr(node, "children", None))
    if isinstance(node, list | tuple):
        return " ".join(" ".join(words(child) for child in node).replace("\u00a0", " ").split())
    return ""
