"""How files of one job lie to each other, kept beside the job until it is accepted: words as JSON, curves as arrays."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ridelog.errors import UsageError

if TYPE_CHECKING:
    from ridelog.ingest_alignment import Alignment

FIGURES, CURVES = "alignment.json", "alignment.npz"
_SIDES = ("own", "beside")


def write(folder: Path, found: Alignment) -> None:
    """Keep it, whole or not at all: the figures, which are looked for, come last."""
    import numpy as np

    curves = {}
    told: dict[str, Any] = {"kept": found.kept, "recordings": []}
    for number, one in enumerate(found.recordings):
        plain = asdict(replace(one, own=None, beside=None))
        for side in _SIDES:
            curve = getattr(one, side)
            if curve is not None:
                curves[f"{side}{number}"] = curve.values.astype(np.float32)
                plain[side] = {name: getattr(curve, name) for name in ("channel", "words", "first_s", "step_s")}
        told["recordings"].append(plain)
    beside = folder / f".{CURVES}-{os.getpid()}"
    with beside.open("wb") as out:
        np.savez(out, **curves)
    beside.replace(folder / CURVES)
    beside = folder / f".{FIGURES}-{os.getpid()}"
    beside.write_text(json.dumps(told, allow_nan=False, ensure_ascii=False), encoding="utf-8")
    beside.replace(folder / FIGURES)


def mark(folder: Path) -> str:
    """Changes with what is kept; '' where nothing is."""
    try:
        return str((folder / FIGURES).stat().st_mtime_ns)
    except OSError:
        return ""


def read(folder: Path) -> Alignment:
    """What is kept. Raises UsageError where nothing is, or it can't be read."""
    try:
        return _read(folder, mark(folder))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise UsageError(
            "the picture of how the files lie to each other can't be read",
            expected="what the import left of it",
            to_do="let it be worked out anew with “Try again”",
        ) from error


@lru_cache(maxsize=8)
def _read(folder: Path, _mark: str) -> Alignment:
    import numpy as np

    from ridelog.ingest_alignment import Alignment, Curve, Lying

    told = json.loads((folder / FIGURES).read_text(encoding="utf-8"))
    recordings = []
    with np.load(folder / CURVES, allow_pickle=False) as curves:
        for number, plain in enumerate(told["recordings"]):
            sides = {
                side: Curve(**plain[side], values=curves[f"{side}{number}"].astype(np.float64))
                for side in _SIDES
                if plain.get(side) is not None
            }
            recordings.append(Lying(**{**plain, "places_s": tuple(plain["places_s"]), **sides}))
    return Alignment(int(told["kept"]), tuple(recordings))
