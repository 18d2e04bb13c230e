"""Imports in a rough world: a disk that fills, a server that dies, the same log twice at once, whole folders."""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dashboard.adding import inbox as inbox_module
from dashboard.adding.desk import Desk
from dashboard.adding.foreman import Foreman
from dashboard.adding.inbox import MOST_TOGETHER, Inbox
from dashboard.adding.jobs import OPEN, Told
from dashboard.components.adding import job_list
from ridelog.errors import UsageError
from ridelog.store.library import Library


def log(number: int, seconds: int = 300) -> bytes:
    rows = "".join(f"{t},{3000 + (t * 37 + number) % 4000},{60 + t * 0.1:.1f}\n" for t in range(seconds))
    return f"Time s,RPM,Coolant C\n{rows}".encode()


def until(met: Callable[[], Any], seconds: float = 60.0) -> Any:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := met():
            return found
        time.sleep(0.05)
    pytest.fail("it did not come to pass")


@pytest.fixture
def inbox(tmp_path: Path) -> Inbox:
    found = Inbox(Library.open(tmp_path / "library").root)
    found.open()
    return found


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EDQUOT])
def test_a_disk_that_fills_while_a_file_comes_leaves_no_part_of_it(
    inbox: Inbox, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    job = inbox.make([("a.csv", 1000)], Told())

    def full(path: Path, body: Any, length: int) -> int:
        path.write_bytes(body.read(length // 2))
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as patched:
        patched.setattr(inbox_module, "_written", full)
        with pytest.raises(UsageError, match="could not be written") as caught:
            inbox.receive(job.id, 0, io.BytesIO(b"x" * 1000), 1000)
    assert "make room" in caught.value.to_do
    assert not inbox.files(job)[0].exists()
    # There is room again: the same file may be sent once more.
    assert inbox.receive(job.id, 0, io.BytesIO(b"x" * 1000), 1000).state == "waiting"


def test_a_disk_that_is_full_for_a_while_stops_no_import_for_good(
    inbox: Inbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = log(1)
    job = inbox.make([("a.csv", len(content))], Told())
    inbox.receive(job.id, 0, io.BytesIO(content), len(content))
    fails = iter([True])
    real = Inbox.put

    def once_full(self: Inbox, one: Any) -> Any:
        if one.state == "working" and next(fails, False):
            raise OSError(errno.ENOSPC, "no room")
        return real(self, one)

    monkeypatch.setattr(Inbox, "put", once_full)
    foreman = Foreman(inbox, inbox.root.parent, 1)
    foreman.start()
    foreman.wake()
    try:
        until(lambda: inbox.job(job.id).state not in OPEN)
    finally:
        foreman.close()
    assert inbox.job(job.id).state == "done", inbox.job(job.id).reason


def test_the_same_log_twice_at_once_is_one_ride(tmp_path: Path) -> None:
    library = Library.open(tmp_path / "library")
    desk = Desk(library.root, workers=2)
    content = log(3)
    try:
        made = [desk.inbox.make([(f"{name}.csv", len(content))], Told()) for name in ("one", "two", "three")]
        for job in made:
            desk.inbox.receive(job.id, 0, io.BytesIO(content), len(content))
        desk.foreman.wake()
        ended = [until(lambda job=job: one if (one := desk.job(job.id)).state not in OPEN else None) for job in made]
    finally:
        desk.close()
    assert [job.state for job in ended] == ["done"] * 3, [job.reason for job in ended]
    assert sorted(job.added[0].status for job in ended) == ["already_stored", "already_stored", "stored"]
    assert len(library.list_rides()) == 1


def test_a_worker_ends_with_the_server_that_started_it() -> None:
    """Else it would go on beside the same import taken up again by the next server."""
    child = (
        "import os, threading; from dashboard.adding.worker import stop_with; stop_with(int(__import__('sys').argv[1]))"
    )
    parent = (
        "import os, subprocess, sys; "
        f"one = subprocess.Popen([sys.executable, '-c', {child!r}, str(os.getpid())], start_new_session=True); "
        "print(one.pid, flush=True); sys.stdin.read()"
    )
    command = [sys.executable, "-c", parent]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        worker = int(server.stdout.readline())
        assert _runs(worker)
        server.kill()
    until(lambda: not _runs(worker), 20.0)


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
    except OSError:
        return False


def test_of_a_folder_of_logs_the_refused_ones_stay_in_sight(tmp_path: Path) -> None:
    desk = Desk(Library.open(tmp_path / "library").root, workers=1)
    desk.foreman.close()
    refused = []
    for number in range(60):
        job = desk.inbox.make([(f"{number}.csv", 1)], Told())
        state = "refused" if number < 5 else "done"
        desk.inbox.put(replace(job, state=state, reason="no log" if number < 5 else None))
        refused += [job.id] if number < 5 else []
    found, doing, counts = desk.listed()
    listed = {job.id for job in found}
    assert set(refused) <= listed
    assert len(listed) < 60
    assert counts == {"refused": 5, "done": 55}
    shown = job_list(found, doing, counts)
    assert getattr(shown[1], "children", "") == "60 imports: 55 stored, 5 not imported"


def test_a_folder_is_no_ride(inbox: Inbox) -> None:
    files = [(f"{number}.csv", 1) for number in range(MOST_TOGETHER + 1)]
    with pytest.raises(UsageError, match="as one ride"):
        inbox.make(files, Told(together=True))
    assert inbox.make(files, Told()).state == "receiving"


@pytest.mark.parametrize("gone", ["library", "inbox"])
def test_a_library_that_was_taken_away_is_said_so(tmp_path: Path, gone: str) -> None:
    root = Library.open(tmp_path / "library").root
    inbox = Inbox(root)
    inbox.open()
    job = inbox.make([("a.csv", 3)], Told())
    (root if gone == "library" else inbox.root).rename(tmp_path / "elsewhere")
    with pytest.raises(UsageError):
        inbox.make([("b.csv", 3)], Told())
    with pytest.raises(UsageError):
        inbox.receive(job.id, 0, io.BytesIO(b"abc"), 3)
    with pytest.raises(UsageError):
        inbox.call_off(job.id)
    assert inbox.jobs() == []
    assert not root.exists() or gone == "inbox"


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EROFS])
def test_no_step_of_an_import_fails_unsaid_on_a_bad_disk(
    inbox: Inbox, number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = inbox.make([("a.csv", 3)], Told())

    def full(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("dashboard.adding.jobs.tempfile.mkstemp", full)
    for step in (
        lambda: inbox.make([("b.csv", 3)], Told()),
        lambda: inbox.receive(job.id, 0, io.BytesIO(b"abc"), 3),
        lambda: inbox.call_off(job.id),
    ):
        with pytest.raises(UsageError, match="could not be written"):
            step()


def test_an_upload_whose_page_is_gone_makes_room_for_others(inbox: Inbox) -> None:
    old, new = (inbox.make([("a.csv", 3)], Told()) for _ in range(2))
    inbox.put(replace(old, made_utc="2020-01-01T00:00:00.000000+00:00"))
    os.utime(inbox.folder(old.id) / "job.json", (1e9, 1e9))
    inbox.make([("b.csv", 3)], Told())
    assert inbox.job(old.id).state == "stopped"
    assert inbox.job(new.id).state == "receiving"
    assert "broke off" in (inbox.job(old.id).reason or "")
