"""Who gives jobs to workers: so many processes at once, the oldest job first, and what became of each."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, replace
from pathlib import Path

from dashboard.adding import jobs
from dashboard.adding.inbox import STOPPED, Inbox
from dashboard.adding.jobs import Job
from dashboard.adding.worker import OUTCOME, PROGRESS

log = logging.getLogger(__name__)

LOOK_S = 0.2
"""So often the foreman looks after its workers while there is work."""

LONGEST_S = 3600.0
"""A worker that takes longer is ended: the largest logs take minutes."""

TOO_LONG = (
    "The import took over an hour and was ended. A terminal has no such limit: ridelog import. What was stored before "
    "that is recognised and not stored twice."
)


@dataclass
class _Hand:
    """A worker at work."""

    job_id: str
    process: subprocess.Popen[bytes]
    since_s: float


class Foreman:
    """Runs jobs of one inbox until closed. `workers`: processes at once."""

    def __init__(self, inbox: Inbox, library_root: Path, workers: int | None = None) -> None:
        self._inbox = inbox
        self._library_root = library_root
        self._most = workers if workers is not None else max(1, min(4, (os.cpu_count() or 2) - 1))
        self._hands: list[_Hand] = []
        self._wake = threading.Event()
        self._closed = False
        self._thread = threading.Thread(target=self._run, name="foreman", daemon=True)

    def start(self) -> None:
        """Begin to look for work."""
        self._thread.start()

    def wake(self) -> None:
        """There may be work."""
        self._wake.set()

    def close(self) -> None:
        """End the workers; their jobs can be taken up again."""
        self._closed = True
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)
        for hand in self._hands:
            _end(hand.process)

    def _run(self) -> None:
        while not self._closed:
            wait_s: float | None = LOOK_S
            try:
                self._look()
                wait_s = LOOK_S if self._hands else None
            except Exception:
                # One bad record, or a disk that is full for a while, must not stop all later imports.
                log.exception("the inbox could not be looked after")
                time.sleep(1.0)
            self._wake.wait(wait_s)
            self._wake.clear()

    def _look(self) -> None:
        for hand in list(self._hands):
            self._after(hand)
        while len(self._hands) < self._most and not self._closed:
            waiting = [job for job in self._inbox.jobs() if job.state == "waiting"]
            if not waiting:
                return
            self._begin(waiting[-1])

    def _begin(self, job: Job) -> None:
        folder = self._inbox.folder(job.id)
        for name in (OUTCOME, PROGRESS):
            (folder / name).unlink(missing_ok=True)
        with self._inbox.locked():
            if self._inbox.job(job.id).state != "waiting":
                return
            process = _worker(self._library_root, folder)
            started = replace(job, state="working", tries=job.tries + 1, worker=process.pid, reason=None)
            try:
                self._inbox.put(started)
            except BaseException:
                _end(process)  # nobody would know of it
                raise
        self._hands.append(_Hand(job.id, process, time.monotonic()))

    def _after(self, hand: _Hand) -> None:
        job = jobs.read(self._inbox.folder(hand.job_id))
        if job is None or job.state == "cancelled":
            _end(hand.process)
            self._hands.remove(hand)
            return
        if hand.process.poll() is None:
            if time.monotonic() - hand.since_s > LONGEST_S:
                _end(hand.process)
                self._settle(hand, replace(job, state="stopped", reason=TOO_LONG, worker=None))
            return
        self._settle(hand, _outcome(self._inbox.folder(hand.job_id), job))

    def _settle(self, hand: _Hand, job: Job) -> None:
        self._inbox.settle(hand.job_id, job)
        self._hands.remove(hand)


def progress_of(folder: Path) -> str:
    """What a job's worker is doing, '' where it has not said."""
    try:
        return (folder / PROGRESS).read_text(encoding="utf-8")
    except OSError:
        return ""


def _worker(library_root: Path, folder: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "dashboard.adding.worker", str(library_root), str(folder)]
    with (folder / "worker.log").open("wb") as said:
        return subprocess.Popen(  # noqa: S603 - our own program, our own paths
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=said,
            start_new_session=True,
        )


def _end(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(timeout=3.0)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _outcome(folder: Path, job: Job) -> Job:
    """What the worker left; without it the job was stopped."""
    try:
        told = json.loads((folder / OUTCOME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return replace(job, state="stopped", reason=STOPPED, worker=None, progress="")
    try:
        done = jobs.of_record(told)
    except (ValueError, TypeError, KeyError):
        return replace(job, state="stopped", reason=STOPPED, worker=None, progress="")
    return replace(done, worker=None, tries=job.tries)
