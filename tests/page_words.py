"""What a page of the dashboard says, read out of its components."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

TOLD_BY = ("children", "alt", "value")
"""Properties of a component that hold words: what stands inside it, a picture's words, what a field holds."""


def words(part: Any) -> str:
    """All words of a page or a part of one, with the alternative texts of its pictures and what its fields hold, white
    space single."""
    return " ".join(" ".join(_words(part)).replace("\u00a0", " ").split())


def _words(part: Any) -> Iterator[str]:
    if part is None or isinstance(part, bool):
        return
    if isinstance(part, str | int | float):
        yield str(part)
    elif isinstance(part, list | tuple):
        for one in part:
            yield from _words(one)
    else:
        for name in TOLD_BY:
            yield from _words(getattr(part, name, None))


def pieces(part: Any) -> list[Any]:
    """Every component of a page, outer before inner."""
    if isinstance(part, list | tuple):
        return [one for inner in part for one in pieces(inner)]
    if not hasattr(part, "_prop_names"):
        return []
    inner = getattr(part, "children", None)  # a component without children counts as false
    return [part, *(pieces(inner) if inner is not None else [])]
