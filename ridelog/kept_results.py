"""What a review needs of each ride: worked out once, kept in the library, and made anew where what it rests on changed.

A result rests on the ride's samples, its air temperature, its notes, the bike file, the sheet in force on its day,
every numeric constant of the analysis and the version. What other rides of the bike tell (the prior of the heat
balance) moves neither the map in use nor a reading of the sensor; it reaches a result only where the sheet advises on
stretches that are found by their heat (`rests_on_prior`). Only then does another ride of the bike count as well. What
other rides say of the bike's slot numbers is laid over the results when they are read, and not kept with them.

The hashes of thousands of rides are compared in memory, after one reading of the catalogue.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from ridelog import __version__
from ridelog.advice import Advice, in_force
from ridelog.analyze_heat import prior_hash
from ridelog.analyze_settings import fit_hash, settings_hash
from ridelog.baseline import Subject, learned
from ridelog.diagnose_advice import followed
from ridelog.diagnose_settings import diagnosis_hash
from ridelog.errors import LibraryError, ProfileError, RidelogError
from ridelog.map_numbers import bikes_doubted
from ridelog.results import Analysis
from ridelog.ride import day_of
from ridelog.store.kept_results import KeptResult
from ridelog.study import Study, known_of_ride, study
from ridelog.words import causes as cause_words
from ridelog.words import review as words

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.ride import Ride
    from ridelog.store.kept_results import ReviewRow
    from ridelog.store.library import Library
    from ridelog.study import Known

FORM = 2
"""Rises when a document holds something else than before."""

MAP_CHANNEL = "map_conservative"
"""Stands among a result's channels where the map is known from something else than its switch."""

VERDICTS = ("followed", "late", "missed", "unknown", "not_advised")


class KindRow(NamedTuple):
    """The stretches of one kind that the sheet advises the conservative map on: seconds after the grace time, those of
    which the map is not known, those on the conservative map, and how many stretches had each verdict."""

    kind: str
    advised_s: float
    unknown_s: float
    conservative_s: float
    counts: tuple[int, ...]


class AboveRow(NamedTuple):
    """Seconds the sensor showed above a threshold with the engine not off, and what its steps allow that to be."""

    threshold_c: float
    name: str
    seconds: float
    low_s: float
    high_s: float


class RideResult(NamedTuple):
    """What a review needs of one ride.

    `riding_s`: seconds with the coolant known and the engine not off. `air_c`: the day's air, None where not known.
    `one_map`: the log shows a single map all through. `estimated_map`: the map was not logged, but noted by hand or
    inferred, which can speak for a rider and hardly against. `reason`: why nothing can be said of the advice on this
    ride, None where something can, were it that nothing was advised.
    """

    kinds: tuple[KindRow, ...]
    above: tuple[AboveRow, ...]
    riding_s: float
    air_c: float | None
    one_map: bool
    estimated_map: bool
    reason: str | None
    prior: str | None


@dataclass(frozen=True)
class Found:
    """A ride of the library beside its result; without one, `reason` says why. `day` is None for an undated ride,
    `sheet` the version of the sheet in force on it."""

    row: ReviewRow
    day: date | None
    sheet: str
    result: RideResult | None
    reason: str | None


def rests_on_prior(sheet: Advice) -> bool:
    """Whether other rides of the bike can move what a review counts: stretches found by their heat, where the map is
    advised on them, or where they can take part of a drag stretch (see analysis.segments)."""
    by_heat = sheet.rule("heat_only").map
    return by_heat == "conservative" or (by_heat != "none" and by_heat == sheet.rule("heavy_drag").map)


def result_of(done: Study) -> RideResult:
    """From the analysis of a ride to what a review needs of it."""
    analysis, traces = done.found.analysis, done.found.traces
    swapped = followed(analysis, traces, done.known.advice).reason == cause_words.MAP_MAY_BE_SWAPPED
    coolant, rpm, used = (traces.series.get(name) for name in ("coolant_c", "engine_rpm", "map_conservative"))
    riding = np.isfinite(coolant) if coolant is not None else np.zeros(0, dtype=np.bool_)
    if rpm is not None and riding.size:
        riding &= rpm != 0.0
    estimated = any(one.origin == "estimated" for name, one in analysis.ride.channels.items() if name == MAP_CHANNEL)
    seen = np.unique(used[np.isfinite(used)]) if used is not None else np.zeros(0)
    return RideResult(
        kinds=_kinds(analysis, known=not swapped),
        above=tuple(
            AboveRow(
                one.threshold_c,
                one.name,
                _ms(one.observed_s - (one.engine_off_s or 0.0)),
                _ms(max(0.0, one.observed_low_s - (one.engine_off_s or 0.0))),
                _ms(one.observed_high_s - (one.engine_off_s or 0.0)),
            )
            for one in analysis.exposure
        )
        if riding.any()
        else (),
        riding_s=_ms(float(np.count_nonzero(riding)) * traces.step_s),
        air_c=analysis.ride.ambient_c,
        one_map=seen.size == 1 and not estimated,
        estimated_map=estimated,
        reason=_reason(analysis, done.known.advice, swapped=swapped),
        prior=prior_hash(done.known.baseline),
    )


def _kinds(analysis: Analysis, *, known: bool) -> tuple[KindRow, ...]:
    """By kind; all of it unknown where the map in the log can't be gone by."""
    counts: dict[str, list[int]] = {}
    for segment in analysis.segments:
        if segment.advised_map == "conservative":
            verdict = segment.verdict if known or segment.verdict == "not_advised" else "unknown"
            counts.setdefault(segment.kind, [0] * len(VERDICTS))[VERDICTS.index(verdict)] += 1
    rows = []
    for kind, of_kind in counts.items():
        kept = analysis.adherence.by_kind[kind]
        told = known and kept.conservative_s is not None
        unknown_s = kept.unknown_s if told else kept.advised_s
        conservative_s = (kept.conservative_s or 0.0) if told else 0.0
        rows.append(KindRow(kind, _ms(kept.advised_s), _ms(unknown_s), _ms(conservative_s), tuple(of_kind)))
    return tuple(rows)


def _reason(analysis: Analysis, advice: Advice, *, swapped: bool) -> str | None:
    kept = analysis.adherence
    why = {item.question: item.reason for item in analysis.cannot_tell}
    if kept.advised_s > 0.0:
        if swapped:
            return cause_words.MAP_MAY_BE_SWAPPED
        return words.map_not_known(why.get("map_in_use")) if kept.share is None else None
    hidden = [rule.kind for rule in advice.rules if rule.map == "conservative" and rule.kind in why]
    return words.kinds_not_told(hidden, why[hidden[0]]) if hidden else None


def _ms(seconds: float) -> float:
    return round(max(0.0, seconds), 3)


# -- what a result rests on -------------------------------------------------------------------------------------------


class Bases:
    """Hashes that many rides share, each worked out once."""

    def __init__(self, library: Library) -> None:
        files = library.bike_files()
        self.bikes: dict[str, Bike] = {name: one for name, one in files.items() if not isinstance(one, ProfileError)}
        self.lost_bikes = {name: one for name, one in files.items() if isinstance(one, ProfileError)}
        self.sheets = library.sheets()
        self._library = library
        self._diagnosis = diagnosis_hash()
        self._of_sheet: dict[str, tuple[str, bool]] = {}
        self._of_bike: dict[str, str] = {}
        self._of_build: dict[str, str] = {}
        self._in_force: dict[date | None, Advice] = {}

    def sheet_on(self, day: date | None) -> Advice:
        """The sheet in force on a day."""
        if day not in self._in_force:
            self._in_force[day] = in_force(list(self.sheets.usable), day)
        return self._in_force[day]

    def of_row(self, row: ReviewRow, sheet: Advice, day: date | None) -> str:
        """What a result of this ride rests on, by what the catalogue says."""
        bike = self.bikes[row.bike] if row.bike is not None else None
        return self._whole(
            bike=bike, sheet=sheet, content=row.content, ambient_c=row.ambient_c, notes=row.notes, day=day
        )

    def of_study(self, content: str, ride: Ride, known: Known, day: date | None) -> str:
        """The same by what an analysis was given: another command may have changed the catalogue meanwhile."""
        notes = [(note.at_s, note.about, note.text) for note in known.notes]
        return self._whole(
            bike=known.bike, sheet=known.advice, content=content, ambient_c=ride.ambient_c, notes=notes, day=day
        )

    def _whole(
        self,
        *,
        bike: Bike | None,
        sheet: Advice,
        content: str,
        ambient_c: float | None,
        notes: Sequence[tuple[float, str, str]],
        day: date | None,
    ) -> str:
        of_sheet, by_others = self._sheet(sheet)
        own = (of_sheet, self._bike(bike), content, repr(ambient_c), json.dumps(list(notes)) if notes else "")
        others = _hash((self._build(bike), str(day))) if bike is not None and by_others else ""
        return f"{_hash(own)}:{others}"

    def _sheet(self, sheet: Advice) -> tuple[str, bool]:
        known = self._of_sheet.get(sheet.version)
        if known is None:
            known = _hash((settings_hash(None, sheet), self._diagnosis, __version__, str(FORM))), rests_on_prior(sheet)
            self._of_sheet[sheet.version] = known
        return known

    def _bike(self, bike: Bike | None) -> str:
        key = bike.id if bike is not None else ""
        # A bike that was read again may have been changed by another command.
        if bike is not None and bike is not self.bikes.get(key):
            return _told(bike)
        if key not in self._of_bike:
            self._of_bike[key] = _told(bike)
        return self._of_bike[key]

    def _build(self, bike: Bike) -> str:
        """All that the fits of the bike's rides, and of those of its build, rest on."""
        if bike.build not in self._of_build:
            alike = sorted((one for one in self.bikes.values() if one.build == bike.build), key=lambda one: one.id)
            marks = [f"{fit_hash(one)} {self._library.ride_marks(one.id)}" for one in alike]
            self._of_build[bike.build] = _hash(marks)
        return self._of_build[bike.build]


def _told(bike: Bike | None) -> str:
    return _hash((json.dumps(asdict(bike), sort_keys=True, default=str),)) if bike is not None else ""


def _hash(parts: Sequence[str]) -> str:
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


# -- results of many rides --------------------------------------------------------------------------------------------


def results(
    library: Library,
    rows: Sequence[ReviewRow],
    progress: Callable[[str], None] | None = None,
) -> list[Found]:
    """Each ride's result, in the order given: the one kept where it rests on what holds now, else made and kept. A ride
    that can't be analyzed is told with the reason. Raises LibraryError where the catalogue fails."""
    bases = Bases(library)
    found: list[Found | None] = []
    open_: list[int] = []
    for row in rows:
        day = day_of(row.start_utc, row.timezone, row.start_local)
        sheet = bases.sheet_on(day)
        if (lost := bases.sheets.lost_on(day)) is not None:
            found.append(Found(row, day, lost.version, None, words.cannot_judge(lost.error.one_line())))
            continue
        if row.bike is not None and row.bike not in bases.bikes:
            broken = bases.lost_bikes.get(row.bike)
            why = words.no_such_bike(row.bike) if broken is None else words.cannot_judge(broken.one_line())
            found.append(Found(row, day, sheet.version, None, why))
            continue
        result = _read(row.document) if row.document and row.basis == bases.of_row(row, sheet, day) else None
        found.append(Found(row, day, sheet.version, result, result.reason) if result is not None else None)
        if result is None:
            open_.append(len(found) - 1)
    for number, index in enumerate(open_, 1):
        if progress is not None:
            progress(words.analyzing(number, len(open_)))
        found[index] = _made(library, bases, rows[index])
    return _with_doubted_numbers(library, bases, [one for one in found if one is not None], progress)


def _with_doubted_numbers(
    library: Library, bases: Bases, found: Sequence[Found], progress: Callable[[str], None] | None
) -> list[Found]:
    """The same, with the map not known on the rides of a bike whose slot numbers the heat of its rides speaks against.
    Other rides say so, and the kept result of one ride holds none of it."""
    asked = sorted({one.row.bike for one in found if one.row.bike is not None and _by_number(one.result)})
    doubted = bikes_doubted(library, [bases.bikes[name] for name in asked], progress)
    return [
        replace(one, result=(without := _without_map(one.result)), reason=without.reason)
        if one.row.bike in doubted and one.result is not None and _by_number(one.result)
        else one
        for one in found
    ]


def _by_number(result: RideResult | None) -> bool:
    """Whether something of the advice is told by a logged slot number."""
    return (
        result is not None and not result.estimated_map and any(one.unknown_s < one.advised_s for one in result.kinds)
    )


def _without_map(result: RideResult) -> RideResult:
    unknown, not_advised = VERDICTS.index("unknown"), VERDICTS.index("not_advised")
    kinds = []
    for one in result.kinds:
        counts = [0] * len(VERDICTS)
        counts[not_advised] = one.counts[not_advised]
        counts[unknown] = sum(one.counts) - one.counts[not_advised]
        kinds.append(one._replace(unknown_s=one.advised_s, conservative_s=0.0, counts=tuple(counts)))
    return result._replace(kinds=tuple(kinds), reason=cause_words.HEAT_SPEAKS_AGAINST_NUMBERS)


def _made(library: Library, bases: Bases, row: ReviewRow) -> Found:
    day = day_of(row.start_utc, row.timezone, row.start_local)
    sheet = bases.sheet_on(day)
    try:
        still = _still_good(library, bases, row, sheet, day)
        if still is not None:
            return Found(row, day, sheet.version, still, still.reason)
        ride = library.load(row.id)
        known = known_of_ride(library, ride, others=rests_on_prior)
        result = result_of(study(ride, known))
    except RidelogError as error:
        return Found(row, day, sheet.version, None, words.not_analyzed(error.one_line()))
    _keep(library, row.id, bases.of_study(row.content, ride, known, day), result)
    return Found(row, day, known.advice.version, result, result.reason)


def _still_good(library: Library, bases: Bases, row: ReviewRow, sheet: Advice, day: date | None) -> RideResult | None:
    """The kept result where only other rides changed, and none of those this ride is analyzed by."""
    basis = bases.of_row(row, sheet, day)
    own, _, others = basis.partition(":")
    kept = _read(row.document) if others and row.document and row.basis is not None else None
    if kept is None or row.basis is None or row.basis.partition(":")[0] != own or row.bike is None:
        return None
    fits = learned(library, Subject.listed(library.row(row.id)), bases.bikes[row.bike])
    if prior_hash(fits) != kept.prior:
        return None
    _keep(library, row.id, basis, kept)
    return kept


def _keep(library: Library, ride: str, basis: str, result: RideResult) -> None:
    # A full disk, or one that can only be read, costs the time to make it again and no answer.
    with suppress(LibraryError):
        library.keep_results([KeptResult(ride, basis, document_of(result))])


def document_of(result: RideResult) -> str:
    """A result as it is kept."""
    return json.dumps(result, separators=(",", ":"), allow_nan=False)


def _read(document: str) -> RideResult | None:
    """A kept document; None for one that is not what was written."""
    try:
        kinds, above, *rest = json.loads(document)
        return RideResult(
            tuple([KindRow(one[0], one[1], one[2], one[3], tuple(one[4])) for one in kinds]),
            tuple([AboveRow(*one) for one in above]),
            *_checked(rest),
        )
    except (ValueError, TypeError, IndexError):
        return None


def _checked(rest: list[Any]) -> list[Any]:
    if len(rest) != len(RideResult._fields) - 2:
        raise ValueError(f"{len(rest)} fields")
    return rest
