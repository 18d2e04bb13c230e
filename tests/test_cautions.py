"""What the cautions must say and must never say (facts: safety data sheets of glycol coolant, NIOSH's card of ethylene
glycol; that a colder plug does not cool the engine and richer is not always cooler is common to engine textbooks)."""

from __future__ import annotations

import re
from pathlib import Path

from ridelog.words.cautions import CAUTIONS

TEXT = " ".join(" ".join(part) for part in CAUTIONS).lower()


def test_what_has_to_be_said_is_said() -> None:
    for pattern in (
        r"cold to the touch", r"scald", r"poison", r"glycol", r"children", r"seize", r"without warning", r"lean",
        r"detonat", r"can't\s+see", r"estimates", r"qualified technician", r"handbook", r"rules",
    ):  # fmt: skip
        assert re.search(pattern, TEXT), pattern


def test_nothing_harmful_is_advised_anywhere(repository: Path) -> None:
    never = (
        r"(raise|higher|stronger)[^.]{0,30}(cap|pressure)", r"(raise|higher)[^.]{0,20}(limit|threshold)",
        r"colder plug[^.]{0,30}cool", r"richer[^.]{0,30}(always|cooler)", r"remove the thermostat",
    )  # fmt: skip
    texts = [TEXT]
    for folder in ("ridelog/report", "ridelog/figures", "dashboard"):
        for path in (repository / folder).rglob("*"):
            if path.suffix in {".py", ".j2"}:
                texts.append(path.read_text(encoding="utf-8").lower())  # noqa: PERF401
    for pattern in never:
        assert not any(re.search(pattern, text) for text in texts), pattern
