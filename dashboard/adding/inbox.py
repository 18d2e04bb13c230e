"""The inbox of a library: jobs made, files received, work taken up, called off and taken up again."""

from __future__ import annotations

import secrets
import shutil
import threading
import time
from collections.abc import Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO, TYPE_CHECKING

from dashboard.adding import jobs
from dashboard.adding.jobs import JOB_ID, Job, JobFile, State, Told
from ridelog.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator

FILE_BYTES = 2 * 1024**3
"""Largest file taken from a browser."""

MOST_FILES = 200
MOST_TOGETHER = 8
"""Devices of one ride: each is compared with the others."""

MOST_OPEN = 400
SPARE_BYTES = 200 * 1024**2
"""So much of the disk stays free: a library on a full disk can't be written."""

KEPT_DAYS = 7
"""What is done stays listed so long, what broke off stays to be taken up again."""

PIECE_BYTES = 1024 * 1024

WRITERS = 2
"""Files written at once: the disk is no quicker with more, and the threads that answer pages get their turn."""

STOPPED = (
    "The import ended before it was finished: its process was stopped, or ran out of memory. Try again: what was "
    "stored before that is recognised and not stored twice."
)
RESTARTED = (
    "The dashboard was closed while this was being imported. Try again: what was stored before that is recognised and "
    "not stored twice."
)
IDLE_S = 3600.0
"""An upload of which nothing has come for so long is over: its page is gone."""

BROKE_OFF = "The upload broke off: the page was closed or lost its connection. Add the file again."


ENDED: frozenset[State] = frozenset({"stopped", "refused", "cancelled"})
"""Ended without a ride."""


def _disk(what: str, root: Path, error: OSError) -> UsageError:
    return UsageError(
        f"{what} could not be written ({error.strerror or error})",
        where=str(root),
        expected="room on the disk, a library that is there, and a connection that holds",
        to_do="make room if the disk is full, then try again",
    )


def _anew(job: Job) -> Job:
    return replace(job, state="waiting", reason=None, refusals=(), asked=None, progress="", added=())


def _written(path: Path, body: IO[bytes], length: int) -> int:
    """Write what comes; the bytes that did not come. Raises OSError."""
    left = length
    with path.open("wb") as out:
        while left > 0:
            piece = body.read(min(PIECE_BYTES, left))
            if not piece:
                break
            out.write(piece)
            left -= len(piece)
    return left


class Inbox:
    """Jobs of one library. May be shared by threads of one process; another process only reads."""

    def __init__(self, library_root: Path) -> None:
        self.root = library_root / "inbox"
        self._lock = threading.RLock()
        self._writers = threading.BoundedSemaphore(WRITERS)

    def open(self) -> None:
        """Make the folder, and settle what an earlier process left: nothing of it is still going on."""
        self.root.mkdir(mode=0o700, parents=True, exist_ok=True)
        for job in self.jobs():
            if job.state == "receiving":
                self._drop(job, BROKE_OFF)
            elif job.state == "working":
                self.put(replace(job, state="stopped", reason=RESTARTED, worker=None))
        self._forget_old()

    def folder(self, job_id: str) -> Path:
        """Where a job lives. Raises UsageError for what is no id."""
        if not JOB_ID.fullmatch(job_id):
            raise UsageError(f"{job_id[:40]!r} is no import of this inbox", expected="an import that is listed")
        return self.root / job_id

    def jobs(self) -> list[Job]:
        """All jobs, latest first."""
        found = []
        if self.root.is_dir():
            for folder in self.root.iterdir():
                job = jobs.read(folder) if JOB_ID.fullmatch(folder.name) else None
                if job is not None and job.id == folder.name:
                    found.append(job)
        return sorted(found, key=lambda job: (job.made_utc, job.id), reverse=True)

    def job(self, job_id: str) -> Job:
        """One job. Raises UsageError."""
        job = jobs.read(self.folder(job_id))
        if job is None:
            raise UsageError("this import is no longer listed", expected="an import that is listed", to_do="look again")
        return job

    def put(self, job: Job) -> Job:
        """Write a job's record. Raises UsageError where the disk does not take it."""
        try:
            return jobs.write(self.folder(job.id), job)
        except OSError as error:
            raise _disk("the record of this import", self.root, error) from error

    def files(self, job: Job) -> list[Path]:
        """Where its files are, in their order."""
        folder = self.folder(job.id)
        return [folder / str(number) / file.name for number, file in enumerate(job.files)]

    # -- from the browser -------------------------------------------------------------------------------------------

    def make(self, files: Sequence[tuple[str, int]], told: Told) -> Job:
        """A job for files of these names and sizes, which are to be received. Raises UsageError for what can't be
        taken."""
        if not 1 <= len(files) <= MOST_FILES:
            raise UsageError(f"{len(files)} files", expected=f"1 to {MOST_FILES} files", to_do="add fewer at a time")
        for name, size in files:
            if not 0 < size <= FILE_BYTES:
                raise UsageError(
                    f"{jobs.safe_name(name)} has {size:,} bytes",
                    expected=f"1 byte to {FILE_BYTES // 1024**3} GB",
                    to_do="import it from a terminal: ridelog import FILE" if size else "choose a file with data in it",
                )
        if told.together and len(files) > MOST_TOGETHER:
            raise UsageError(
                f"{len(files)} files as one ride",
                expected=f"{MOST_TOGETHER} devices at most",
                to_do="add only the files of one ride at once, or leave the box for files of one ride empty",
            )
        self.check_space(sum(size for _, size in files))
        with self._lock:
            self._drop_idle()
            if sum(job.state in jobs.OPEN for job in self.jobs()) >= MOST_OPEN:
                raise UsageError("too many imports are waiting", expected=f"{MOST_OPEN} at most", to_do="wait a little")
            job = Job(
                id=secrets.token_hex(8),
                state="receiving",
                files=tuple(JobFile(jobs.safe_name(name), size) for name, size in files),
                told=told,
                made_utc=datetime.now(UTC).isoformat(timespec="microseconds"),
            )
            try:
                self.folder(job.id).mkdir(mode=0o700)
            except OSError as error:
                raise _disk("the record of this import", self.root, error) from error
            return self.put(job)

    def check_space(self, needed_bytes: int) -> None:
        """Raises UsageError where the disk has no room: an upload, its ride, and the library's own needs."""
        try:
            free = shutil.disk_usage(self.root).free
        except OSError as error:
            raise UsageError(
                f"the library's folder can't be read ({error.strerror or error})", where=str(self.root),
                expected="a library that is where it was", to_do="put it back, or start ridelog serve anew",
            ) from error  # fmt: skip
        if free < 2 * needed_bytes + SPARE_BYTES:
            raise UsageError(
                f"the disk has {free / 1e9:.1f} GB left",
                where=str(self.root),
                expected=f"{(2 * needed_bytes + SPARE_BYTES) / 1e9:.1f} GB for these files",
                to_do="make room, or move the library",
            )

    def receive(self, job_id: str, number: int, body: IO[bytes], length: int) -> Job:
        """Write one file of a job as it comes; the last one makes the job ready. Raises UsageError where it is not
        what was announced."""
        job = self.job(job_id)
        if job.state != "receiving" or not 0 <= number < len(job.files):
            raise UsageError("this import takes no more files", expected="an import that waits for its files")
        file = job.files[number]
        if length != file.size_bytes:
            raise UsageError(f"{length:,} bytes for {file.name}", expected=f"{file.size_bytes:,} bytes as announced")
        path = self.files(job)[number]
        try:
            path.parent.mkdir(mode=0o700, exist_ok=True)
            with self._writers:
                left = _written(path, body, length)
        except OSError as error:
            # A reader that broke off and a disk that is full both leave a part of a file, which is no file.
            path.unlink(missing_ok=True)
            raise _disk(file.name, self.root, error) from error
        if left:
            path.unlink(missing_ok=True)
            raise UsageError(f"{file.name} broke off {left:,} bytes before its end", to_do="add the file again")
        with self._lock:
            job = self.job(job_id)
            got = tuple(replace(one, received=True) if n == number else one for n, one in enumerate(job.files))
            state: State = "waiting" if job.state == "receiving" and all(one.received for one in got) else job.state
            return self.put(replace(job, files=got, state=state))

    def answer(self, job_id: str, text: str) -> Job:
        """Settle the column a job asks about; `text` is one of its options. Raises UsageError."""
        with self._lock:
            job = self.job(job_id)
            if job.state != "asking" or job.asked is None or text not in {option for _, option in job.asked.options}:
                raise UsageError("this import does not ask that", expected="one of the answers on the page")
            told = replace(job.told, columns=(*job.told.columns, text))
            return self.put(replace(job, state="waiting", asked=None, told=told))

    def tell(self, job_id: str, told: Told) -> Job:
        """Say more of the files of a job that waits for that, or that ended without a ride, and take it up again.
        Raises UsageError."""
        with self._lock:
            job = self.job(job_id)
            if job.state not in {*jobs.ASKS, *ENDED} or not self._has_files(job):
                raise UsageError("this import can't be taken up again", expected="its files, and an import that waits")
            return self.put(_anew(replace(job, told=told)))

    def retry(self, job_id: str) -> Job:
        """Take a job up again whose worker was stopped, or that was refused or called off. Raises UsageError."""
        with self._lock:
            job = self.job(job_id)
            if job.state not in {"joining", *ENDED} or not self._has_files(job):
                raise UsageError("this import can't be taken up again", expected="its files, and an import that ended")
            return self.put(_anew(job))

    def call_off(self, job_id: str) -> Job:
        """Call a job off; its worker, if it has one, is ended by the foreman. Raises UsageError."""
        with self._lock:
            job = self.job(job_id)
            if job.state not in {*jobs.OPEN, *jobs.ASKS}:
                raise UsageError("this import has ended", expected="one that is still going on")
            return self.put(replace(job, state="cancelled", reason=None, asked=None))

    def dismiss(self, job_id: str) -> None:
        """Take an ended job off the list, with its files. Raises UsageError."""
        with self._lock:
            job = self.job(job_id)
            if job.state in jobs.OPEN:
                raise UsageError(
                    "this import is still going on", expected="one that has ended", to_do="call it off first"
                )
            shutil.rmtree(self.folder(job_id), ignore_errors=True)

    def _has_files(self, job: Job) -> bool:
        return all(path.is_file() for path in self.files(job))

    # -- for the foreman ----------------------------------------------------------------------------------------------

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Nobody else changes a job meanwhile."""
        with self._lock:
            yield

    def settle(self, job_id: str, job: Job) -> None:
        """Record how a job ended, unless it was called off; files of what is stored are not kept twice."""
        with self._lock:
            now = jobs.read(self.folder(job_id))
            if now is None or now.state == "cancelled":
                return
            self.put(job)
            if job.state == "done":
                for path in self.files(job):
                    path.unlink(missing_ok=True)

    def _drop_idle(self) -> None:
        """Uploads whose page is gone make room for others."""
        for job in self.jobs():
            if job.state == "receiving" and time.time() - self._touched_s(job) > IDLE_S:
                self._drop(job, BROKE_OFF)

    def _touched_s(self, job: Job) -> float:
        """When something last came of a job."""
        folder = self.folder(job.id)
        times = [datetime.fromisoformat(job.made_utc).timestamp()]
        for path in (folder / "job.json", *self.files(job)):
            with suppress(OSError):
                times.append(path.stat().st_mtime)
        return max(times)

    def _drop(self, job: Job, reason: str) -> None:
        self.put(replace(job, state="stopped", reason=reason))
        for path in self.files(job):
            with suppress(OSError):
                path.unlink(missing_ok=True)

    def _forget_old(self) -> None:
        limit = (datetime.now(UTC) - timedelta(days=KEPT_DAYS)).isoformat(timespec="microseconds")
        for job in self.jobs():
            if job.state not in jobs.OPEN and job.made_utc < limit:
                shutil.rmtree(self.folder(job.id), ignore_errors=True)
