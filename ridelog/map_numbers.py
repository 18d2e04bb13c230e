"""Are a bike's slot numbers the right way round? What the heat of its rides says, over all that can be fitted.

Numbers the wrong way round turn every answer about the advice into its opposite. One ride can't show them; the heat
made on each map over many rides can. Where it speaks against the bike file, nothing is said of its riders.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import date
from typing import TYPE_CHECKING

from ridelog import __version__
from ridelog.analysis import diagnosis_shift, diagnosis_table, thermal_prior
from ridelog.analyze_heat import AMBIENT_SD_C, plant_of
from ridelog.analyze_settings import fit_hash
from ridelog.baseline import MOST_RIDES, Subject, fits_of
from ridelog.diagnose_settings import diagnosis_hash
from ridelog.errors import LibraryError

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.store.library import Library

DOUBTED, NOT_DOUBTED = "doubted", "not doubted"

_LATEST = Subject("", date.max, "")
"""No ride is left out, and the latest come first."""


def bikes_doubted(
    library: Library, bikes: Iterable[Bike], progress: Callable[[str], None] | None = None
) -> frozenset[str]:
    """Ids of the bikes of which the map named conservative likely makes more heat than the other, by their latest
    MOST_RIDES rides that can be fitted. The answers are kept. Raises LibraryError."""
    figures = diagnosis_hash()
    return frozenset(bike.id for bike in bikes if _doubted(library, bike, figures, progress))


def _doubted(library: Library, bike: Bike, figures: str, progress: Callable[[str], None] | None) -> bool:
    marks = [" ".join(one) for one in library.ride_marks(bike.id)]
    rests_on = (fit_hash(bike), figures, __version__, *marks)
    basis = hashlib.sha256("\n".join(rests_on).encode()).hexdigest()
    subject = f"map numbers {bike.id}"
    kept = library.estimate(subject)
    if kept is not None and kept[0] == basis and kept[1] in (DOUBTED, NOT_DOUBTED):
        return kept[1] == DOUBTED
    fits = fits_of(library, _LATEST, bike, MOST_RIDES, progress)
    base = thermal_prior.default_prior(
        plant_of(bike), ratio=bike.heat_ratio, map_seen=True, ambient_sd_c=min(AMBIENT_SD_C.values())
    )
    doubtful = diagnosis_shift.map_effect(fits, base, diagnosis_table.DAY_TO_DAY).numbers_doubtful
    # A full disk, or one that can only be read, costs the time to work it out again and no answer.
    with suppress(LibraryError):
        library.keep_estimate(subject, basis, DOUBTED if doubtful else NOT_DOUBTED)
    return doubtful
