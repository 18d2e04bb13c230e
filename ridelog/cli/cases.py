"""`ridelog case`: complaints, what was found of their rides, and what the workshop found."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ridelog.cli import show
from ridelog.cli.common import InOrder, json_option, library_option, open_library, print_json, progress
from ridelog.cli.edge import say
from ridelog.errors import LibraryError, UsageError
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.case_findings import Frozen, Today
    from ridelog.store.complaints import ComplaintRow

SHOWN_CAUSES = 3
SAID_SHOWN = 60
"""Characters of the customer's words in the list."""


@click.group(cls=InOrder, short_help="Complaints: said, found then, found in the end.")
def case() -> None:
    """Complaints as records: what the rider said, the rides with what was found of them at that time, and what the
    workshop found in the end.

    What was found is kept as it was, with all it rests on. `show` tells whether a ride gives the same today.
    """


@case.command("open")
@click.option("--bike", required=True, metavar="BIKE", help="A bike id of the library.")
@click.option("--said", required=True, metavar="TEXT", help="What the rider said, in the rider's words.")
@click.option("--date", "day", metavar="DATE", help="Day of the complaint, such as 2026-05-02. Default: today.")
@click.option("--ride", "rides", multiple=True, metavar="RIDE", help="A ride it is about. May be given several times.")
@json_option
@library_option
def open_(
    bike: str, said: str, *, day: str | None, rides: tuple[str, ...], as_json: bool, library_folder: Path | None
) -> None:
    """Open a case. Rides can be added later."""
    from ridelog.cases import open_case
    from ridelog.words import cases as words

    library = open_library(library_folder, must_exist=True)
    with progress() as tell:
        made = open_case(library, bike, said, day=_day(day), rides=rides, progress=tell)
    _told(made, [words.opened(made.id, len(made.rides)), words.said(made.said)], as_json=as_json)


@case.command()
@click.argument("case_", metavar="CASE")
@click.argument("rides", metavar="RIDE...", nargs=-1, required=True)
@json_option
@library_option
def add(case_: str, rides: tuple[str, ...], *, as_json: bool, library_folder: Path | None) -> None:
    """Add rides to CASE and keep what is found of them now."""
    from ridelog.cases import add_rides
    from ridelog.words import cases as words

    library = open_library(library_folder, must_exist=True)
    with progress() as tell:
        made = add_rides(library, library.complaint(case_), rides, tell)
    _told(made, [words.added(made.id, len(rides))], as_json=as_json)


@case.command()
@click.argument("case_", metavar="CASE")
@click.option("--found", required=True, metavar="TEXT", help="What the workshop found in the end.")
@click.option(
    "--cause",
    metavar="CAUSE",
    help="The same as a cause or family of `ridelog diagnose` (airflow-blocked, coolant-side), or none-of-these.",
)
@json_option
@library_option
def close(case_: str, found: str, *, cause: str | None, as_json: bool, library_folder: Path | None) -> None:
    """Close CASE with what the workshop found."""
    from ridelog.cases import close_case, outcome
    from ridelog.words import cases as words

    library = open_library(library_folder, must_exist=True)
    made = close_case(library, library.complaint(case_), found, cause)
    said = [words.closed(made.id, made.cause)]
    if made.cause is not None:
        try:
            said.append(words.OUTCOME_WORDS[outcome(made)])
        except LibraryError as error:
            # The case is closed; only what ridelog had said of it can't be set beside it.
            said.append(words.damaged([made.id], error.one_line()))
    _told(made, said, as_json=as_json)


@case.command(short_help="Open CASE again; the earlier finding stays with it.")
@click.argument("case_", metavar="CASE")
@json_option
@library_option
def reopen(case_: str, *, as_json: bool, library_folder: Path | None) -> None:
    """Open CASE again; what the workshop had found stays with it as an earlier finding."""
    from ridelog.words import cases as words

    library = open_library(library_folder, must_exist=True)
    made = library.reopen_complaint(library.complaint(case_).id)
    _told(made, [words.reopened(made.id)], as_json=as_json)


@case.command(short_help="Remove CASE, or take RIDE out of it. Asks first.")
@click.argument("case_", metavar="CASE")
@click.argument("ride", metavar="[RIDE]", required=False)
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
@library_option
def drop(case_: str, ride: str | None, *, yes: bool, as_json: bool, library_folder: Path | None) -> None:
    """Remove CASE, or take RIDE out of it, with what was found. Asks first."""
    from ridelog.words import cases as words

    library = open_library(library_folder, must_exist=True)
    # By its id alone: what is damaged can be removed like the rest.
    case_name = library.complaint_id(case_)
    name = _ride_of(library.complaint(case_name), ride) if ride is not None else None
    what = words.losing(case_name, name)
    if not yes and not click.confirm(f"Remove {what}?", err=True):
        say("nothing removed")
        return
    if name is None:
        library.drop_complaint(case_name)
        if as_json:
            print_json({"schema": 1, "removed": [case_name]})
        else:
            show.lines("", [words.dropped(case_name, None)])
    else:
        _told(library.drop_from_complaint(case_name, name), [words.dropped(case_name, name)], as_json=as_json)


@case.command("list", short_help="List the cases, and how often ridelog was right.")
@click.option("--bike", metavar="BIKE", help="Only cases of this bike.")
@json_option
@library_option
def list_(bike: str | None, *, as_json: bool, library_folder: Path | None) -> None:
    """List the cases, the latest day first, and how often ridelog was right."""
    from ridelog.cases import tool_record, unreadable
    from ridelog.told import quoted, shortened
    from ridelog.words import cases as words

    library = open_library(library_folder, must_exist=True)
    found, record, left = library.complaints(bike), tool_record(library, bike), unreadable(library, bike)
    if not found and bike is not None:
        library.bike_text(bike)  # a slip of the pen in the id is told; a bike that is gone may still have cases
    if as_json:
        entries = [case_entry(one) for one in found]
        print_json({"schema": 1, "cases": entries, "record": record, "left_out": [asdict(one) for one in left]})
        return
    if not found:
        show.lines("", [words.NO_CASES])
        return
    rows = [
        (
            one.id,
            one.bike or show.DASH,
            words.state(one.closed_utc),
            str(len(one.rides)),
            words.cause_words(one.cause) if one.cause is not None else show.DASH,
            quoted(shortened(one.said, SAID_SHOWN)),
        )
        for one in found
    ]
    show.table("", ("case", "bike", "state", "rides", "cause", "the rider said"), rows, right=(3,), optional=(3,))
    show.lines("", [words.record(record)])
    if left:
        say(words.damaged([one.case for one in left], left[0].reason))


@case.command("show", short_help="Show what was found then, and whether it is so today.")
@click.argument("case_", metavar="CASE")
@json_option
@library_option
def show_(case_: str, *, as_json: bool, library_folder: Path | None) -> None:
    """Show CASE: what was found of its rides then, and whether they give the same today."""
    from ridelog.case_findings import today
    from ridelog.cases import answer_of, frozen_of, outcome

    library = open_library(library_folder, must_exist=True)
    found = library.complaint(case_)
    frozen = frozen_of(found)
    with progress() as tell:
        tell(doing.COMPARING_WITH_TODAY)
        beside = [today(library, one, tell) for one in frozen]
    if as_json:
        answer = answer_of(found)
        rides = [
            {
                "ride": one.ride,
                "frozen_utc": one.frozen_utc.isoformat(),
                "findings": one.document,
                "today": now.to_json(),
            }
            for one, now in zip(frozen, beside, strict=True)
        ]
        over = {"conclusion": answer.conclusion, "probability": answer.probability, "outcome": outcome(found)}
        print_json({"schema": 1, **case_entry(found), "answer": over, "rides": rides})
        return
    _print_case(found)
    for one, now in zip(frozen, beside, strict=True):
        _print_ride(one, now)


def case_entry(row: ComplaintRow) -> dict[str, Any]:
    """A case in JSON, its rides by their ids."""
    return {
        "id": row.id,
        "bike": row.bike,
        "date": row.day.isoformat(),
        "said": row.said,
        "opened_utc": row.opened_utc.isoformat(),
        "closed_utc": row.closed_utc.isoformat() if row.closed_utc is not None else None,
        "found": row.workshop,
        "cause": row.cause,
        "found_before": [
            {
                "found": one.workshop,
                "cause": one.cause,
                "closed_utc": one.closed_utc.isoformat(),
                "reopened_utc": one.reopened_utc.isoformat(),
            }
            for one in row.found_before
        ],
        "rides": [one.ride for one in row.rides],
    }


def _told(row: ComplaintRow, said: list[str], *, as_json: bool) -> None:
    if as_json:
        print_json({"schema": 1, **case_entry(row)})
    else:
        show.lines("", said)


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            f"{text[:40]!r} is no date", where="--date", expected="such as 2026-05-02", to_do="correct the option"
        ) from error


def _ride_of(row: ComplaintRow, text: str) -> str:
    """The ride of a case that an id, or the start of one, names; it may be gone from the library."""
    found = [one.ride for one in row.rides if one.ride == text] or [
        one.ride for one in row.rides if text and one.ride.startswith(text)
    ]
    if len(found) == 1:
        return found[0]
    raise UsageError(
        f"{text[:40]!r} could be several of its rides" if found else f"it has no ride {text[:40]!r}",
        where=f"case {row.id}",
        expected=f"one of {', '.join(one.ride for one in row.rides)}" if row.rides else "a case with rides",
        to_do="type more of the id" if found else "correct the id",
    )


def _print_case(row: ComplaintRow) -> None:
    from ridelog.cases import answer_of, outcome
    from ridelog.words import cases as words

    lines = [words.said(row.said)]
    lines += [words.found(one.workshop, one.cause, before=True) for one in row.found_before]
    answer = answer_of(row)
    lines.append(words.answer(answer.conclusion, answer.probability, answer.rides))
    if row.workshop is not None:
        lines += [words.found(row.workshop, row.cause), words.OUTCOME_WORDS[outcome(row)]]
    head = [f"Case {row.id}", f"bike {row.bike}" if row.bike else "no bike", words.state(row.closed_utc)]
    show.lines(", ".join(head), lines)


def _print_ride(frozen: Frozen, now: Today) -> None:
    from ridelog.words import cases as words

    document, diagnosis = frozen.document, frozen.document["diagnosis"]
    causes = list(frozen.holds.items())[:SHOWN_CAUSES]
    named = ", ".join(f"{words.cause_words(cause)}{words.chance(share)}" for cause, share in causes)
    lines = [
        words.figures(document["key"]),
        *words.noted(document["key"]),
        *diagnosis["summary"],
        f"Likeliest: {named}.",
        words.rested_on(document["version"], document["basis"]),
        *_today_lines(frozen, now),
    ]
    show.lines(f"{frozen.ride}, found on {frozen.frozen_utc:%Y-%m-%d}", lines)


def _today_lines(frozen: Frozen, now: Today) -> list[str]:
    from ridelog import __version__
    from ridelog.words import cases as words

    if now.state == "gone":
        return [words.GONE]
    if now.state == "same":
        return [words.SAME]
    if now.state == "unknown":
        return [words.unknown(now.reason or "")]
    parts = []
    for part in now.changed:
        if part == "version":
            parts.append(words.versions(frozen.document["version"], __version__))
        elif part == "baseline" and now.now is not None:
            parts.append(words.rides_beside(frozen.document["basis"]["prior_rides"], now.now["prior_rides"]))
        else:
            parts.append(words.CHANGED_WORDS[part])
    then = words.named(frozen.conclusion, next(iter(frozen.holds.values()), None))
    later = words.named(now.conclusion or "", now.holds)
    return [words.changed(parts, then, later, same_answer=now.conclusion == frozen.conclusion)]
