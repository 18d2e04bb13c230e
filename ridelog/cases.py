"""Complaints: what a rider said, the rides behind it with what was found of them then, what the workshop found.

What was found is frozen with all it rests on. Later it is told beside today's answer and what changed in between; it is
never worked out anew. Closed cases are the tool's own record.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Literal

from ridelog.case_findings import NOT_ENOUGH, Frozen, findings
from ridelog.errors import LibraryError, UsageError
from ridelog.store.casebook import already_there, check_bike
from ridelog.store.complaints import ComplaintRow
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.store.library import Library

Progress = Callable[[str], None]

NONE_OF_THESE = "none_of_these"
MOST_RIDES = 50
"""Rides attached in one call."""

FIRST_YEAR = 1970


def open_case(
    library: Library,
    bike: str,
    said: str,
    *,
    day: date | None = None,
    rides: Sequence[str] = (),
    progress: Progress | None = None,
) -> ComplaintRow:
    """Take down a complaint of today, or of `day`; `rides` are ids or starts of ids, each frozen as it is found now.
    All or nothing. Raises NotInLibrary, UsageError, LibraryError."""
    today = datetime.now(UTC).astimezone().date()
    if day is not None and not (day.year >= FIRST_YEAR and day <= today + timedelta(days=1)):
        raise UsageError(
            f"{day.isoformat()} is no day a complaint can be of",
            where="--date",
            expected=f"a day from {FIRST_YEAR} up to today ({today.isoformat()})",
            to_do="correct the day, or leave it out for today",
        )
    profile = library.bike(bike)
    return library.open_complaint(
        profile.id, day or today, said, frozen_rides(library, rides, profile.id, progress=progress)
    )


def add_rides(
    library: Library, case: ComplaintRow, rides: Sequence[str], progress: Progress | None = None
) -> ComplaintRow:
    """Attach rides to an open case, each frozen as it is found now, all or none. Raises NotInLibrary, UsageError,
    LibraryError."""
    if case.is_closed:
        # Says so before the work is done; the store looks again inside its transaction.
        return library.add_to_complaint(case.id, ())
    there = {one.ride for one in case.rides}
    for text in rides:
        if (name := library.resolve(text)) in there:
            raise already_there(case.id, name)
    return library.add_to_complaint(case.id, frozen_rides(library, rides, case.bike, progress=progress))


def close_case(library: Library, case: ComplaintRow, found: str, cause: str | None = None) -> ComplaintRow:
    """Write down what the workshop found; `cause` as `cause_of` takes it. Raises UsageError, LibraryError."""
    return library.close_complaint(case.id, found, cause_of(cause) if cause is not None else None)


def cause_of(text: str) -> str:
    """A cause or a family of the diagnosis, or "none_of_these", from how it was typed. Raises UsageError that names the
    near ones."""
    known = [*_families(), *dict.fromkeys(_families().values()), NONE_OF_THESE]
    name = "_".join(text.casefold().replace("-", " ").replace("_", " ").split())
    if name in known:
        return name
    near = difflib.get_close_matches(name, known, n=3, cutoff=0.5) or [
        one for one in known if any(len(word) > 2 and word in one for word in name.split("_"))
    ]
    near, known = ([one.replace("_", "-") for one in names] for names in (near[:3], known))  # as the help spells them
    raise UsageError(
        f"{text[:60]!r} is no cause ridelog knows",
        where="--cause",
        expected=f"perhaps {', '.join(near)}" if near else ", ".join(known),
        to_do=f"choose one of {', '.join(known)}" if near else f"choose one; {known[-1]} where none fits",
    )


def _families() -> dict[str, str]:
    from ridelog.analysis.diagnosis_table import FAMILY

    return FAMILY


def frozen_rides(
    library: Library, rides: Sequence[str], bike: str | None, *, progress: Progress | None = None
) -> list[tuple[str, str]]:
    """Ids of rides with their findings of now, for the store. All are looked at before the first is analyzed. Raises
    NotInLibrary, UsageError for a ride of another bike and for one named twice, LibraryError."""
    if len(rides) > MOST_RIDES:
        raise UsageError(f"{len(rides)} rides at once", expected=f"at most {MOST_RIDES}", to_do="name fewer")
    names = [library.resolve(text) for text in rides]
    for position, name in enumerate(names):
        check_bike(library.row(name), bike)
        if name in names[:position]:
            raise UsageError("the ride is named twice", where=name, expected="each ride once")
    found = []
    for number, name in enumerate(names, 1):
        if progress is not None:
            progress(doing.analyzing_one_of(number, len(names)))
        found.append((name, json.dumps(findings(library, name, progress), allow_nan=False, ensure_ascii=False)))
    return found


def frozen_of(case: ComplaintRow) -> list[Frozen]:
    """What was found of each ride of a case, in the order they were attached. Raises LibraryError."""
    return [Frozen.of(case.id, row) for row in case.rides]


@dataclass(frozen=True)
class Answer:
    """What the tool said of a whole case: the cause that is likeliest over its rides (the mean of their probabilities),
    or "not_enough_evidence" where on none of them a cause was named. None without rides."""

    conclusion: str | None
    probability: float | None
    rides: int


def answer_of(case: ComplaintRow) -> Answer:
    """The tool's answer over the rides of a case. Raises LibraryError."""
    rides = frozen_of(case)
    if not rides:
        return Answer(None, None, 0)
    if all(one.conclusion == NOT_ENOUGH for one in rides):
        return Answer(NOT_ENOUGH, None, len(rides))
    causes = dict.fromkeys(cause for one in rides for cause in one.chances)
    mean = {cause: sum(one.chances.get(cause, 0.0) for one in rides) / len(rides) for cause in causes}
    first = max(mean, key=lambda cause: mean[cause])
    return Answer(first, mean[first], len(rides))


Outcome = Literal["open", "first_right", "family_right", "not_right", "not_enough_evidence", "no_cause", "no_rides"]


def outcome(case: ComplaintRow) -> Outcome:
    """What the workshop found beside what the tool had said. Where the workshop names a family alone, the most that can
    be right is the family. Raises LibraryError."""
    if not case.is_closed:
        return "open"
    if case.cause is None:
        return "no_cause"
    said = answer_of(case).conclusion
    if said is None:
        return "no_rides"
    if said == NOT_ENOUGH:
        return "not_enough_evidence"
    if said == case.cause:
        return "first_right"
    families = _families()
    return "family_right" if families.get(said) == families.get(case.cause, case.cause) else "not_right"


@dataclass(frozen=True)
class LeftOut:
    """A case of which what was found can't be read, and why."""

    case: str
    reason: str


def unreadable(
    library: Library, bike: str | None = None, since: date | None = None, *, closed: bool = False
) -> list[LeftOut]:
    """Cases (of one bike where named, of complaints `since` a day, `closed` ones only) of which what was found can't be
    read, the latest first. Raises LibraryError."""
    left: list[LeftOut] = []
    for case in library.complaints(bike):
        if (since is None or case.day >= since) and (case.is_closed or not closed):
            try:
                frozen_of(case)
            except LibraryError as error:
                left.append(LeftOut(case.id, error.one_line()))
    return left


def tool_record(library: Library, bike: str | None = None, since: date | None = None) -> dict[str, int]:
    """The tool's own record over closed cases (of one bike where named, of complaints `since` a day): how many there
    are; of how many the first cause was right, and the family (which holds the former); on how many it had not enough
    evidence; how many tell nothing of it, having no cause by the workshop or no ride; and how many are damaged, so that
    what was found can't be read (`unreadable` names them). Raises LibraryError."""
    heard = [case for case in library.complaints(bike) if case.is_closed and (since is None or case.day >= since)]
    closed = [_outcome_or_damaged(case) for case in heard]
    return {
        "closed": len(closed),
        "first_right": closed.count("first_right"),
        "family_right": closed.count("first_right") + closed.count("family_right"),
        "not_right": closed.count("not_right"),
        "not_enough_evidence": closed.count("not_enough_evidence"),
        "no_cause": closed.count("no_cause"),
        "no_rides": closed.count("no_rides"),
        "unreadable": closed.count("unreadable"),
    }


def _outcome_or_damaged(case: ComplaintRow) -> Outcome | Literal["unreadable"]:
    try:
        return outcome(case)
    except LibraryError:
        return "unreadable"
