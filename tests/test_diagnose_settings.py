"""Whatever figure of the diagnosis is moved, its hash moves; else it stays, also in another process."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from ridelog import diagnose, diagnose_advice
from ridelog.analysis import diagnosis_table
from ridelog.diagnose_settings import diagnosis_hash


def test_it_stays_in_another_process() -> None:
    asked = "from ridelog.diagnose_settings import diagnosis_hash; print(diagnosis_hash())"
    told = [
        subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True).stdout.strip()
        for _ in range(2)
    ]
    assert told == [diagnosis_hash()] * 2


def nudged(values: np.ndarray) -> np.ndarray:
    """One number among many moved by its last digit."""
    changed = values.copy()
    changed.flat[-1] = np.nextafter(changed.flat[-1], np.inf)
    return changed


DAY = diagnosis_table.DAY_TO_DAY
CAUSE = next(iter(diagnosis_table.FAMILY))
MOVED = {
    "a number": (diagnosis_table, "UNSHOWN", diagnosis_table.UNSHOWN + 1e-9),
    "a share of the advice": (diagnose_advice, "SWAPPED", 0.41),
    "a map known for less": (diagnose, "KNOWN_SHARE", 0.81),
    "an array": (diagnosis_table, "DAY_TO_DAY", replace(DAY, covariance=nudged(DAY.covariance))),
    "a table": (diagnosis_table, "FAMILY", {**diagnosis_table.FAMILY, CAUSE: "healthy"}),
    "a tuple": (diagnosis_table, "MAP_READINGS", ((0.0, 0.5), (1.0, 0.5))),
}


@pytest.mark.parametrize("what", MOVED)
def test_it_moves_with_every_figure(monkeypatch: pytest.MonkeyPatch, what: str) -> None:
    before = diagnosis_hash()
    module, name, value = MOVED[what]
    assert hasattr(module, name)
    monkeypatch.setattr(module, name, value)
    assert diagnosis_hash() != before
    monkeypatch.undo()
    assert diagnosis_hash() == before
