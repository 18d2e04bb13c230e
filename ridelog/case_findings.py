"""What is found of a ride, frozen with all it rests on, and the same ride beside it on a later day."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from ridelog.case_document import read_document
from ridelog.errors import NotInLibrary, RidelogError
from ridelog.store.complaints import FrozenRide

if TYPE_CHECKING:
    from ridelog.results import Analysis
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow
    from ridelog.study import Known

Progress = Callable[[str], None]

SCHEMA = 1
"""Version of the frozen document."""

NOT_ENOUGH = "not_enough_evidence"
"""The conclusion where no cause is likely enough."""


def findings(library: Library, ride_id: str, progress: Progress | None = None) -> dict[str, Any]:
    """What is found of a stored ride now, with all it rests on: the document that a case keeps. Raises NotInLibrary,
    LibraryError."""
    from ridelog import __version__
    from ridelog.diagnose import diagnose
    from ridelog.study import known_of_ride, study

    ride = library.load(ride_id)
    row = library.row(ride_id)
    done = study(ride, known_of_ride(library, ride, progress=progress))
    return {
        "schema": SCHEMA,
        "ride": ride_id,
        "version": __version__,
        "basis": basis(library, row, done.known),
        "key": _key_figures(done.found.analysis),
        "diagnosis": diagnose(done).to_json(),
    }


def basis(library: Library, row: RideRow, known: Known) -> dict[str, Any]:
    """Hashes and names of all that an answer on a ride rests on. Equal bases give equal answers."""
    from ridelog.analyze_heat import prior_hash
    from ridelog.analyze_settings import settings_hash
    from ridelog.diagnose_settings import diagnosis_hash

    return {
        "files": [{"name": file.name, "sha256": file.sha256} for file in row.files],
        "ride_sha256": library.stored_sha256(row.id),
        "bike": known.bike.id if known.bike is not None else None,
        "bike_sha256": _hashed(asdict(known.bike)) if known.bike is not None else None,
        "sheet": known.advice.version,
        "sheet_sha256": _hashed(asdict(known.advice)),
        "settings_hash": settings_hash(known.bike, known.advice),
        "diagnosis_sha256": diagnosis_hash(),
        "prior_hash": prior_hash(known.baseline),
        "prior_rides": [fit.ride for fit in known.baseline],
        "effect_sha256": known.effect.hash if known.effect is not None else None,
        "notes_sha256": _hashed([[note.at_s, note.about, note.text] for note in known.notes]),
        "ambient_c": row.ambient_c,
        "start_utc": row.start_utc.isoformat() if row.start_utc is not None else None,
        "known_hash": known.hash,
    }


def _hashed(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True, default=str).encode()).hexdigest()


def _key_figures(analysis: Analysis) -> dict[str, Any]:
    from ridelog.results import to_json

    ride, kept, heat = analysis.ride, analysis.adherence, analysis.heat
    peaks = [row.peak_c for row in analysis.exposure if row.peak_c is not None]
    above = ("threshold_c", "name", "observed_s", "observed_low_s", "observed_high_s", "estimated_s", "unknown_s")
    figures = {
        "start_utc": ride.start_utc,
        "duration_s": ride.duration_s,
        "distance_m": ride.distance_m,
        "ambient_c": ride.ambient_c,
        "peak_c": max(peaks) if peaks else None,
        "exposure": [{name: getattr(row, name) for name in above} for row in analysis.exposure],
        "advised_s": kept.advised_s,
        "conservative_share": kept.share,
        "map_unknown_s": kept.unknown_s,
        "stretches": len(analysis.segments),
        "heat_fitted": heat.fitted,
        "heat_reason": heat.reason,
        "heat_input": heat.heat_input,
        "cooling": heat.cooling,
        "boiling_margin_sealed_c": analysis.boiling.margin_sealed_c if analysis.boiling is not None else None,
        "summary": analysis.summary,
        "notes": analysis.notes,
    }
    found: dict[str, Any] = to_json(figures)
    return found


@dataclass(frozen=True)
class Frozen:
    """What was found of a ride when it was attached. `document` is what `findings` gave then."""

    ride: str
    frozen_utc: datetime
    document: dict[str, Any]

    @classmethod
    def of(cls, case: str, row: FrozenRide) -> Frozen:
        """From the store. Raises LibraryError for a document that is not as it was written."""
        return cls(row.ride, row.frozen_utc, read_document(case, row.ride, row.findings, SCHEMA))

    @property
    def conclusion(self) -> str:
        """The cause that was named, or "not_enough_evidence"."""
        return str(self.document["diagnosis"]["conclusion"])

    @property
    def chances(self) -> dict[str, float]:
        """Cause -> its probability then, the likeliest first."""
        return {one["cause"]: float(one["probability"]) for one in self.document["diagnosis"]["ranked"]}

    @property
    def holds(self) -> dict[str, float]:
        """Cause -> how likely it held then, alone or with another, in the same order: what sentences say."""
        return {
            one["cause"]: float(one.get("holds", one["probability"])) for one in self.document["diagnosis"]["ranked"]
        }


Changed = Literal[
    "version",
    "ride_bike",
    "bike",
    "sheet",
    "baseline",
    "effect",
    "notes",
    "ambient",
    "start",
    "ride_file",
    "figures",
    "other",
]


@dataclass(frozen=True)
class Today:
    """A frozen ride beside today. `state`: "same" (all that the answer rests on is as it was), "changed" (`changed`
    says what; `conclusion`, `probability` and `holds` of the first cause are today's), "gone" (the ride left the
    library), "unknown" with `reason`. `now` holds today's basis."""

    state: Literal["same", "changed", "gone", "unknown"]
    changed: tuple[Changed, ...] = ()
    conclusion: str | None = None
    probability: float | None = None
    holds: float | None = None
    reason: str | None = None
    now: dict[str, Any] | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain values; `same` is true, false, or null where that can't be told."""
        return {
            "same": {"same": True, "changed": False}.get(self.state),
            "state": self.state,
            "changed": list(self.changed),
            "conclusion": self.conclusion,
            "probability": self.probability,
            "reason": self.reason,
        }


def today(library: Library, frozen: Frozen, progress: Progress | None = None) -> Today:
    """Would the ride give the same today? Where anything it rests on changed, it is run again. Never raises for what a
    ride or the library lacks."""
    from ridelog import __version__
    from ridelog.study import known_of

    try:
        row = library.row(frozen.ride)
    except NotInLibrary:
        return Today("gone")
    try:
        now = basis(library, row, known_of(library, row, progress))
        changed = _changes(frozen.document["basis"], now)
        if frozen.document["version"] != __version__:
            changed = ("version", *(one for one in changed if one != "other"))
        if not changed:
            return Today("same", conclusion=frozen.conclusion, probability=_first(frozen.chances), now=now)
        again = findings(library, frozen.ride, progress)
    except RidelogError as error:
        return Today("unknown", reason=error.one_line())
    answer = Frozen(frozen.ride, frozen.frozen_utc, again)
    first = next(iter(answer.holds.values()), None)
    return Today("changed", changed, answer.conclusion, _first(answer.chances), first, now=now)


def _first(chances: dict[str, float]) -> float | None:
    return max(chances.values(), default=None)


_PARTS: tuple[tuple[Changed, tuple[str, ...]], ...] = (
    ("ride_file", ("ride_sha256",)),
    ("sheet", ("sheet", "sheet_sha256")),
    ("baseline", ("prior_hash",)),
    ("effect", ("effect_sha256",)),
    ("notes", ("notes_sha256",)),
    ("ambient", ("ambient_c",)),
    ("start", ("start_utc",)),
)


def _changes(then: dict[str, Any], now: dict[str, Any]) -> tuple[Changed, ...]:
    """What differs between two bases."""
    if then == now:
        return ()

    def differs(*keys: str) -> bool:
        # What an older case did not keep shows in the hash over everything.
        return any(key in then and then[key] != now[key] for key in keys)

    found: list[Changed] = []
    if differs("bike"):
        found.append("ride_bike")
    elif differs("bike_sha256"):
        found.append("bike")
    found += [name for name, keys in _PARTS if differs(*keys)]
    if found[:1] == ["bike"]:
        # Another bike file gives the same rides other figures: that is one change, not two or three.
        same = [name for name in ("baseline", "effect") if name == "effect" or not differs("prior_rides")]
        found = [name for name in found if name not in same]
    if differs("diagnosis_sha256") or (differs("settings_hash") and not differs("bike_sha256", "sheet_sha256")):
        found.append("figures")
    return tuple(found) or (("other",) if differs("known_hash") else ())
