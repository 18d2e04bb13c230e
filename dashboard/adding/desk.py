"""Inbox and foreman together: what pages ask of the imports."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.adding.foreman import Foreman, progress_of
from dashboard.adding.inbox import Inbox
from dashboard.adding.jobs import Job
from ridelog.errors import UsageError

if TYPE_CHECKING:
    from ridelog.store.library import Library

MOST_LISTED = 40


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

    def listed(self) -> tuple[list[Job], dict[str, str]]:
        """The latest jobs, and what the workers are doing."""
        found = self.inbox.jobs()[:MOST_LISTED]
        doing = {job.id: progress_of(self.inbox.folder(job.id)) for job in found if job.state == "working"}
        return found, doing

    def act(self, job_id: str, name: str) -> None:
        """One of a job's buttons. Raises UsageError."""
        acts = {"retry": self.inbox.retry, "call_off": self.inbox.call_off, "dismiss": self.inbox.dismiss}
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
