"""What the conservative map does to heat input, estimated over a bike's rides, else over those of its build.

Looked at are the latest rides of the bike with coolant, engine speed and throttle logged, whatever their condition: a
blocked radiator or a rich mixture moves a ride's own level of cooling or heat, which the estimate leaves free, and not
the ratio of the two maps. Work on the bike makes no difference either, for the same reason. A ride whose coolant does
not follow the engine (a sick sensor) gives nothing. What a ride gives is kept in the library with a hash of all it
rests on, and so is the estimate.

An analysis asks for the effect as well (`known_effect`), and must not wait for many rides: it goes by the bike's latest
LATEST_RIDES, else by LATEST_OF_BUILD of the other bikes of its build. What happens to be worked out already is never
asked: whoever only looks must not change what the next analysis says.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from ridelog import __version__
from ridelog.analysis import effect as estimate
from ridelog.analysis.effect import Part
from ridelog.analyze_settings import effect_hash
from ridelog.effect_ride import part_of
from ridelog.errors import LibraryError, NotInLibrary
from ridelog.results import Band, to_json
from ridelog.words import effect as words
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.store.kept_parts import PartRow
    from ridelog.store.library import Library

Progress = Callable[[str], None]

MOST_RIDES = 40
"""More rides hardly narrow the interval, which rests on what the map costs in work by then."""

LATEST_RIDES = 12
"""Rides of a bike that an analysis goes by: as many as for the heat balance's prior."""

LATEST_OF_BUILD, LEAST_OF_BIKE = 24, 3
"""Rides of the other bikes of the build that an analysis goes by, shared out among them, and how few of each."""

MOST_BIKES = 8
"""Bikes of a build that are asked, in the order of their ids."""

NEEDED = ("coolant_c", "engine_rpm", "throttle_pct")
"""Channels without which a ride gives nothing. The map may stand in words, so it is looked for in the ride itself."""

KIND = "effect"


@dataclass(frozen=True)
class LeftOut:
    """A ride that gave nothing, and why."""

    ride: str
    reason: str


@dataclass(frozen=True)
class Effect:
    """The effect of the conservative map for a bike.

    `heat_ratio`: heat input over that on the standard map at the same work and speed, `same_throttle` at the same
    throttle; both None where it is not identified, and `reason` says why. `level`: whose rides these are; `rides_used`
    their ids, the bike's own first, `bikes` theirs. `standard_s` and `conservative_s`: seconds on each map that count;
    `switches`: changes between them, `switches_on_like_ground` those with like ground before and after.
    `explained_by_ground`: share of the map's use that ground and riding tell, 0 to 1. `hash`: over all it rests on.
    """

    bike: str
    build: str
    level: Literal["bike", "build"]
    identified: bool
    reason: str | None
    heat_ratio: Band | None
    same_throttle: Band | None
    method: str
    rides_used: tuple[str, ...] = ()
    bikes: tuple[str, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    rides_with_both_maps: int = 0
    switches: int = 0
    switches_on_like_ground: int = 0
    standard_s: float = 0.0
    conservative_s: float = 0.0
    explained_by_ground: float | None = None
    hash: str = ""

    @property
    def rides(self) -> int:
        """How many rides count."""
        return len(self.rides_used)

    def to_json(self) -> dict[str, Any]:
        """The document of `effect --json`."""
        told = to_json(self)
        return {"schema": 1, "bike": told.pop("bike"), "rides": self.rides, **told}


def effect_of(library: Library, bike: Bike, progress: Progress | None = None) -> Effect:
    """The effect from up to MOST_RIDES rides, worked out where they are not kept; over the build's rides where the
    bike's own do not tell. Raises LibraryError."""
    return _Search(library, MOST_RIDES, MOST_RIDES * MOST_BIKES, progress).effect(bike)


def known_effect(library: Library, bike: Bike | None, progress: Progress | None = None) -> Effect | None:
    """The same for an analysis, from the latest rides alone; None without a bike, or where it is not identified. Raises
    LibraryError."""
    if bike is None:
        return None
    found = _Search(library, LATEST_RIDES, LATEST_OF_BUILD, progress).effect(bike)
    return found if found.identified else None


@dataclass(frozen=True)
class _Rides:
    """Rides of a bike that count in an estimate, each with the hash of what its part rests on."""

    bike: Bike
    rows: tuple[PartRow, ...]
    bases: tuple[str, ...]


@dataclass
class _Search:
    library: Library
    most: int
    most_of_build: int
    """So many latest rides of the bike, and of all other bikes of its build, count."""
    progress: Progress | None
    made: dict[str, bytes] = field(default_factory=dict)

    def effect(self, bike: Bike) -> Effect:
        own = self._rides(bike, self.most)
        found = self._estimate([own], bike)
        if found.identified:
            return found
        others = self._others(bike)
        if not others:
            return found
        of_build = self._estimate([own, *others], bike)
        return of_build if of_build.identified else found

    def _same_build(self, bike: Bike) -> list[Bike]:
        return [one for one in self.library.bikes_of_build(bike.build) if one.id != bike.id][:MOST_BIKES]

    def _others(self, bike: Bike) -> list[_Rides]:
        """Rides of the other bikes of the build; bikes without any are left out."""
        bikes = self._same_build(bike)
        each = min(self.most, max(LEAST_OF_BIKE, self.most_of_build // max(1, len(bikes))))
        return [rides for rides in (self._rides(other, each) for other in bikes) if rides.rows]

    def _rides(self, bike: Bike, most: int) -> _Rides:
        of_bike = _hash_of(bike)
        rows = self.library.part_rows(bike.id, KIND, NEEDED, most)
        return _Rides(bike, tuple(rows), tuple(_basis(of_bike, row) for row in rows))

    def _estimate(self, groups: Sequence[_Rides], bike: Bike) -> Effect:
        """The kept estimate where it rests on just these rides, else a new one."""
        told = [[group.bike.id, group.bases] for group in groups]
        basis = hashlib.sha256(json.dumps([told, bike.id, bike.build, __version__]).encode()).hexdigest()
        subject = f"{KIND} {'build' if len(groups) > 1 else 'bike'} {self.most} {bike.id}"
        kept = self.library.estimate(subject)
        if kept is not None and kept[0] == basis:
            known = _read(kept[1])
            if known is not None:
                return known
        found = replace(self._fitted(groups, bike), hash=basis)
        # A full disk, or one that can only be read, costs the time to make it again and no answer.
        with suppress(LibraryError):
            self.library.keep_estimate(subject, basis, json.dumps(asdict(found)))
        return found

    def _fitted(self, groups: Sequence[_Rides], bike: Bike) -> Effect:
        parts: dict[str, Part] = {}
        left_out: list[LeftOut] = []
        counted: list[str] = []
        for group in groups:
            some = self._parts(group)
            parts |= {ride: part for ride, part in some.items() if isinstance(part, Part)}
            left_out += [LeftOut(ride, part) for ride, part in some.items() if isinstance(part, str)]
            if any(isinstance(part, Part) for part in some.values()):
                counted.append(group.bike.id)
        of_build = len(groups) > 1
        found = estimate.pooled(list(parts.values()), of_build=of_build)
        why = None
        if found.reason is not None:
            band = found.same_throttle if found.reason == "swapped" else found.ratio
            why = words.reason(
                found.reason, rides=len(parts), both=found.rides_with_both, explained=found.explained, band=band
            )
        on_s = np.sum([part.on_s for part in parts.values()], axis=0) if parts else np.zeros(2)
        return Effect(
            bike=bike.id,
            build=bike.build,
            level="build" if of_build else "bike",
            identified=found.reason is None,
            reason=why,
            heat_ratio=found.ratio if found.reason is None else None,
            same_throttle=found.same_throttle if found.reason is None else None,
            method=words.METHOD + (words.BUILD_METHOD if of_build else ""),
            rides_used=tuple(parts),
            bikes=tuple(counted),
            left_out=tuple(left_out),
            rides_with_both_maps=found.rides_with_both,
            switches=sum(part.switches for part in parts.values()),
            switches_on_like_ground=sum(part.like for part in parts.values()),
            standard_s=float(on_s[0]),
            conservative_s=float(on_s[1]),
            explained_by_ground=found.explained,
        )

    def _parts(self, group: _Rides) -> dict[str, Part | str]:
        """What each ride gives, or why nothing, from what is kept or worked out now."""
        fine = [row.id for row, basis in zip(group.rows, group.bases, strict=True) if row.basis == basis]
        kept = self.library.parts([ride for ride in fine if ride not in self.made], KIND)
        found: dict[str, Part | str] = {}
        for row, basis in zip(group.rows, group.bases, strict=True):
            told = _part_from(self.made.get(row.id) or kept.get(row.id, b""))
            found[row.id] = told if told is not None else self._made(row, basis, group.bike)
        return found

    def _made(self, row: PartRow, basis: str, bike: Bike) -> Part | str:
        if self.progress is not None:
            self.progress(doing.LEARNING_MAP)
        try:
            ride = self.library.load(row.id)
        except (LibraryError, NotInLibrary):
            # Damaged, or removed meanwhile: told when that ride is asked for, and no reason to fail this one.
            return words.UNREADABLE
        # The air's temperature as the row has it: another command may have changed it since.
        part = part_of(replace(ride, ambient_c=row.ambient_c), bike)
        numbers = _bytes_of(part)
        self.made[row.id] = numbers
        with suppress(LibraryError):
            self.library.keep_part(row.id, KIND, basis, numbers)
        return part


@lru_cache(maxsize=256)
def _hash_of(bike: Bike) -> str:
    return effect_hash(bike)


def _basis(of_bike: str, row: PartRow) -> str:
    """A hash over all that a ride's part rests on."""
    return hashlib.sha256("\n".join((of_bike, row.content, repr(row.ambient_c))).encode()).hexdigest()


def _bytes_of(part: Part | str) -> bytes:
    """A part as it is kept: a letter for what it is, then the numbers or the reason."""
    if isinstance(part, str):
        return b"R" + part.encode()
    return b"N" + estimate.numbers_of(part).astype("<f8").tobytes()


def _part_from(kept: bytes) -> Part | str | None:
    """What `_bytes_of` wrote; None for anything else."""
    if kept[:1] == b"R":
        return kept[1:].decode(errors="replace") or None
    if kept[:1] != b"N" or len(kept) != 1 + 8 * estimate.NUMBERS:
        return None
    return estimate.part_from(np.frombuffer(kept[1:], dtype="<f8").astype(np.float64))


def _read(document: str) -> Effect | None:
    """The estimate as it was kept; None where the document is not one."""
    try:
        told = json.loads(document)
        for name in ("heat_ratio", "same_throttle"):
            told[name] = Band(**told[name]) if told[name] is not None else None
        told["left_out"] = tuple(LeftOut(**one) for one in told["left_out"])
        for name in ("rides_used", "bikes"):
            told[name] = tuple(told[name])
        return Effect(**told)
    except (ValueError, TypeError, KeyError):
        return None
