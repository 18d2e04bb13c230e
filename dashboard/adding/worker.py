"""The process that imports and analyzes the files of one job: `python -m dashboard.adding.worker LIBRARY JOB_FOLDER`.

One process a job: a file that brings it down takes nothing else with it. It writes what it does into the job's record
and leaves the outcome in `outcome.json`; whoever started it reads that, so that a job that was called off stays so.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.adding import drawings, jobs, remedies
from dashboard.adding.jobs import Added, Asked, Job, State

if TYPE_CHECKING:
    from collections.abc import Callable

    from ridelog.errors import Preview
    from ridelog.ingest import Answer, ImportOptions, Outcome, Question
    from ridelog.store.library import Library

OUTCOME = "outcome.json"
PROGRESS = "progress.txt"
NOTES_SHOWN = 12
PARENT_LOOK_S = 0.5


def main(library_root: Path, folder: Path) -> int:
    """Do the work; 0 where there is an outcome, whatever it is."""
    from ridelog.errors import RidelogError

    job = jobs.read(folder)
    if job is None:
        return 2
    try:
        done = work(library_root, folder, job)
    except RidelogError as error:
        refusal = remedies.of(error)
        done = replace(job, state="refused", reason=remedies.one_line(refusal), refusals=(refusal,))
    _put(folder / OUTCOME, json.dumps(asdict(done), ensure_ascii=False))
    return 0


def work(library_root: Path, folder: Path, job: Job) -> Job:
    """Import the job's files, then analyze what was stored. Raises RidelogError."""
    from ridelog.ingest import ImportOptions, import_files, parse_column_option
    from ridelog.store.library import Library

    library = Library.open(library_root)
    bike = library.bike(job.told.bike) if job.told.bike is not None else None
    paths = [folder / str(number) / file.name for number, file in enumerate(job.files)]
    together = job.told.together and len(paths) > 1
    options = ImportOptions(
        bike=bike,
        bike_id=bike.id if bike is not None else None,
        ambient_c=job.told.ambient_c,
        start=datetime.fromisoformat(job.told.start) if job.told.start is not None else None,
        timezone=job.told.timezone,
        format=job.told.format,
        columns=tuple(parse_column_option(text) for text in job.told.columns),
        offsets=tuple((str(paths[number]), seconds) for number, seconds in job.told.offsets) if together else (),
    )
    open_questions: list[Asked] = []

    def ask(question: Question) -> Answer:
        open_questions.append(_asked(question))
        return None

    def tell(text: str) -> None:
        _put(folder / PROGRESS, text)

    if together and not job.told.joined and not _there_already(library, paths):
        tell("working out how the files lie to each other")
        return _shown(library, paths, options, folder, job)
    outcomes = import_files(library, paths, options, together=together, progress=tell, ask=ask)
    if open_questions and all(outcome.ride_id is None for outcome in outcomes):
        return replace(job, state="asking", asked=open_questions[0], progress="")
    return _ended(library, job, outcomes, tell)


def _there_already(library: Library, paths: list[Path]) -> bool:
    """Is a ride of exactly these files stored? Then there is nothing to look at."""
    from ridelog.readers.regular import sha256_of

    return bool(library.find_by_content([sha256_of(path)[0] for path in paths]))


def _shown(library: Library, paths: list[Path], options: ImportOptions, folder: Path, job: Job) -> Job:
    """How the files lie to each other, kept for the page; nothing is stored. Raises RidelogError."""
    from ridelog.errors import AmbiguousColumn
    from ridelog.ingest_alignment import align_files
    from ridelog.ingest_ask import question_of

    try:
        found = align_files(library, paths, options)
    except AmbiguousColumn as error:
        question = question_of(error)
        if question is None:
            raise
        return replace(job, state="asking", asked=_asked(question), progress="")
    drawings.write(folder, found)
    return replace(job, state="joining", progress="")


def _asked(question: Question) -> Asked:
    options = tuple((option.words, option.text) for option in question.options)
    return Asked(question.where, question.column, question.found, _seen(question.preview), options)


def _ended(library: Library, job: Job, outcomes: list[Outcome], tell: Callable[[str], None]) -> Job:
    added = []
    for outcome in outcomes:
        if outcome.ride_id is not None:
            tell(f"analyzing {outcome.ride_id}")
            notes = tuple(remedies.page_words(note.sentence()) for note in outcome.notes[:NOTES_SHOWN])
            added.append(Added(outcome.ride_id, outcome.status, notes, _answer(library, outcome.ride_id)))
    refused = tuple(remedies.of(outcome.error) for outcome in outcomes if outcome.error is not None)
    state: State = "done" if added else "refused"
    reason = "\n".join(remedies.one_line(one) for one in refused) or None
    return replace(job, state=state, added=tuple(added), reason=reason, refusals=refused, progress="")


def _answer(library: Library, ride_id: str) -> str | None:
    """The first sentence of the analysis; what it needs of other rides is kept on the way, so that the page opens
    quickly. An analysis that fails is told when the ride is opened, and takes nothing from the import."""
    from ridelog.errors import RidelogError
    from ridelog.study import known_of, study

    try:
        known = known_of(library, library.row(ride_id))
        return study(library.load(ride_id), known).found.analysis.summary[0]
    except RidelogError:
        return None


def _seen(preview: Preview) -> str:
    examples = ", ".join(" ".join(example.split()) for example in preview.examples)
    if preview.low is None or preview.high is None:
        return f"texts such as {examples}" if examples else "no values"
    return f"values from {preview.low:g} to {preview.high:g}, for example {examples}"


def _put(path: Path, text: str) -> None:
    """Whole or not at all."""
    beside = path.with_name(f".{path.name}-{os.getpid()}")
    beside.write_text(text, encoding="utf-8")
    beside.replace(path)


def stop_with(parent: int) -> None:
    """End this process when `parent` is gone: an import nobody waits for must not go on beside one taken up again."""
    while os.getppid() == parent:
        time.sleep(PARENT_LOOK_S)
    os._exit(4)


if __name__ == "__main__":
    threading.Thread(target=stop_with, args=(os.getppid(),), daemon=True).start()
    if hasattr(os, "nice"):
        os.nice(10)  # pages are answered first
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
