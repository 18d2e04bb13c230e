"""Heads and short lines of the commands: whole sentences, the right number, no sign without a word."""

from __future__ import annotations

import pytest

from ridelog.results import Boiling
from ridelog.words import analyzed, library


@pytest.mark.parametrize(
    ("sealed_k", "vented_k", "expected"),
    [(12.2, -11.4, ("its peak was 12 C below that", "its peak was 11 C above that")),
     (0.3, -23.0, ("its peak was just there", "its peak was 23 C above that")),
     (None, None, ("would boil at 130 C.", "at 107 C. Both"))],
)  # fmt: skip
def test_boiling_is_told_without_signed_margins(
    sealed_k: float | None, vented_k: float | None, expected: tuple[str, str]
) -> None:
    lines = analyzed.boiling_lines(Boiling(130.0, 107.0, sealed_k, vented_k, 200.0, 98.0))
    assert all(part in line for part, line in zip(expected, lines, strict=True))
    assert "margin" not in " ".join(lines)


def test_what_was_not_applied_agrees_in_number() -> None:
    assert "--bike was not applied" in library.not_applied("a", ["--bike"])
    assert "--bike, --offset were not applied" in library.not_applied("a", ["--bike", "--offset"])
    assert library.edited("a", {"ambient_c": 27.0, "bike": "b"}) == "a: now air temperature 27.0 C, bike b."
