"""Inbox and foreman together: what pages ask of the imports."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.adding import drawings, joining, remedies
from dashboard.adding.foreman import Foreman, progress_of
from dashboard.adding.inbox import ENDED, Inbox
from dashboard.adding.jobs import ASKS, Job, State
from ridelog.errors import RidelogError, UsageError

if TYPE_CHECKING:
    from ridelog.ingest_alignment import Alignment
    from ridelog.store.library import Library

MOST_LISTED, MOST_WANTING = 40, 100
WANTS: frozenset[State] = frozenset({*ASKS, *ENDED, "working"})
"""States in which a job is always listed: it wants an answer, or has to be taken up again."""


class Desk:
    """The imports of one library."""

    def __init__(self, library_root: Path, workers: int | None = None) -> None:
        from ridelog.store.library import Library

        self._library: Library = Library.open(library_root)
        self.inbox = Inbox(self._library.root)
        self.inbox.open()
        self.foreman = Foreman(self.inbox, self._library.root, workers)
        self.foreman.start()
        self.foreman.wake()

    def listed(self) -> tuple[list[Job], dict[str, str], dict[State, int]]:
        """Jobs that want something of the user and the latest of the others, what the workers are doing, and how many
        jobs are in each state, listed or not."""
        found = self.inbox.jobs()
        # Of a folder of 200 logs the few that were refused must not fall off the end of the list.
        others = [job.id for job in found if job.state not in WANTS]
        shown = {*others[:MOST_LISTED], *[job.id for job in found if job.state in WANTS][:MOST_WANTING]}
        listed = [job for job in found if job.id in shown]
        doing = {job.id: progress_of(self.inbox.folder(job.id)) for job in listed if job.state == "working"}
        return listed, doing, dict(Counter(job.state for job in found))

    def job(self, job_id: str) -> Job:
        """One job. Raises UsageError."""
        return self.inbox.job(job_id)

    def alignment(self, job_id: str) -> Alignment:
        """How the files of a job lie to each other. Raises UsageError."""
        return drawings.read(self.inbox.folder(job_id))

    def mark(self, job_id: str) -> str:
        """Changes when a job has another picture."""
        return drawings.mark(self.inbox.folder(job_id))

    def act(self, job_id: str, name: str) -> None:
        """One of a job's buttons. Raises UsageError."""
        acts = {
            "retry": self.inbox.retry,
            "call_off": self.inbox.call_off,
            "dismiss": self.inbox.dismiss,
            "apart": self._apart,
        }
        if name not in acts:
            raise UsageError(f"{name[:20]!r} is no button of an import")
        acts[name](job_id)
        self.foreman.wake()

    def answer(self, job_id: str, number: int) -> None:
        """An answer to a job's question. Raises UsageError."""
        job = self.inbox.job(job_id)
        if job.asked is None or not 0 <= number < len(job.asked.options):
            raise UsageError("this import does not ask that", expected="one of the answers on the page")
        self.inbox.answer(job_id, job.asked.options[number][1])
        self.foreman.wake()

    def join(self, job_id: str, mark: str, starts_s: Sequence[float | None]) -> Job:
        """Accept how the files of a job lie: `starts_s` are where the recordings begin after the kept one, None where a
        recording stays as it was found. `mark` is that of the picture that was looked at. With three files and more a
        correction may move the others, so the picture is drawn anew. Raises UsageError."""
        job = self.inbox.job(job_id)
        if job.state != "joining" or mark != self.mark(job_id):
            raise UsageError(
                "this is not the newest picture of this import", expected="the newest", to_do="load the page again"
            )
        found = self.alignment(job_id)
        offsets, moved = joining.offsets(found, starts_s, dict(job.told.offsets))
        again = moved and len(job.files) > 2
        done = self.inbox.tell(job_id, replace(job.told, offsets=tuple(sorted(offsets.items())), joined=not again))
        self.foreman.wake()
        return done

    def more(self, job_id: str, said: joining.Said) -> Job:
        """Say more of the files of a job, and take it up again. Raises UsageError."""
        job = self.inbox.job(job_id)
        done = self.inbox.tell(job_id, joining.told_with(job.told, said))
        self.foreman.wake()
        return done

    def _apart(self, job_id: str) -> Job:
        told = replace(self.inbox.job(job_id).told, together=False, joined=False, offsets=())
        return self.inbox.tell(job_id, told)

    @staticmethod
    def formats() -> list[str]:
        """Names of the formats a log can be read as."""
        from ridelog.readers import registry

        return [reader.name for reader in registry.readers()[0]]

    @staticmethod
    def page_words(error: RidelogError) -> str:
        """A refusal in words of the page."""
        return remedies.one_line(remedies.of(error))

    def bikes(self) -> list[str]:
        """Ids of the library's bikes."""
        return [bike.id for bike in self._library.bikes()]

    def knows_bike(self, bike_id: str) -> bool:
        """Is this a bike of the library?"""
        return bike_id in self.bikes()

    def close(self) -> None:
        """End what is running."""
        self.foreman.close()

    @staticmethod
    def tick() -> float:
        """A value the page's clock store did not hold before."""
        return time.time()
