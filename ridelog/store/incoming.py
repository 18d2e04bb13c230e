"""Where rides and originals wait until they are whole, and what is left of them after a crash.

Whoever writes owns one folder `incoming/<token>/` and holds the lock of `incoming/<token>.lock` as long as it lives;
the operating system lets go of a lock when its holder dies, however it dies (a process id would not do: ids are used
again). In the folder stands `intent.json`: the names the writer is going to put in place. So a later program can tell
the living from the dead, and knows which files the dead may have left behind. The door, `incoming/door.lock`, is held
for the moments in which a writer enters or leavings are cleared, so that nobody clears a writer who is just entering.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

DOOR = "door.lock"
DOOR_WAIT_S = 60.0
CLEAR_WAIT_S = 2.0
"""Clearing can wait for the next command: whoever holds the door so long is at the same work."""


@dataclass(frozen=True)
class Intent:
    """What a writer is about to put in place, or to take away: one ride file and originals by hash."""

    ride_id: str
    originals: tuple[str, ...]


@contextmanager
def door(folder: Path, wait_s: float = DOOR_WAIT_S) -> Iterator[None]:
    """Held while a writer enters, while leavings are cleared, and while the catalogue is created or upgraded.

    Raises TimeoutError where another program does not let go of it.
    """
    import filelock

    lock = filelock.FileLock(folder / DOOR, timeout=wait_s, poll_interval=0.01)
    try:
        lock.acquire()
    except filelock.Timeout as error:
        raise TimeoutError(None, "another program holds the library's door", str(folder / DOOR)) from error
    try:
        yield
    finally:
        lock.release()


@contextmanager
def writing(folder: Path, intent: Intent, settle: Callable[[Intent], None]) -> Iterator[Path]:
    """A folder of the writer's own. After a failure `settle` removes what is in place without an entry.

    A crash inside leaves the folder to `clear`.
    """
    import filelock

    token = secrets.token_hex(12)
    space = folder / token
    lock = filelock.FileLock(folder / f"{token}.lock")
    with door(folder):
        lock.acquire()
        space.mkdir(mode=0o700)
    try:
        _write_intent(space, intent)
        try:
            yield space
        except BaseException:
            settle(intent)
            _forget(space)
            raise
        # The work is done and entered: leavings that can't be removed now are the next command's, not a failure.
        with suppress(OSError):
            _forget(space)
    finally:
        lock.release()
        with suppress(OSError):
            (folder / f"{token}.lock").unlink()


def clear(folder: Path, settle: Callable[[Intent], None]) -> None:
    """Finish what dead writers left; living ones are not touched."""
    with os.scandir(folder) as entries:
        tokens = {entry.name.removesuffix(".lock") for entry in entries if entry.name != DOOR}
    if not tokens:
        return
    with suppress(TimeoutError), door(folder, CLEAR_WAIT_S):
        for token in sorted(tokens):
            _clear_one(folder, token, settle)


def _clear_one(folder: Path, token: str, settle: Callable[[Intent], None]) -> None:
    import filelock

    lock = filelock.FileLock(folder / f"{token}.lock", timeout=0)
    try:
        lock.acquire()
    except filelock.Timeout:
        return  # its writer lives
    try:
        intent = _read_intent(folder / token)
        if intent is not None:
            settle(intent)
        _forget(folder / token)
    finally:
        lock.release()
    with suppress(OSError):
        (folder / f"{token}.lock").unlink()


def _write_intent(space: Path, intent: Intent) -> None:
    path = space / "intent.json"
    path.write_text(json.dumps({"ride": intent.ride_id, "originals": list(intent.originals)}), encoding="utf-8")
    sync_file(path)
    sync_folders([space, space.parent])


def _read_intent(space: Path) -> Intent | None:
    """None where the writer died before its intent was whole: until then it puts nothing in place."""
    try:
        document = json.loads((space / "intent.json").read_text(encoding="utf-8"))
        return Intent(document["ride"], tuple(document["originals"]))
    except (FileNotFoundError, NotADirectoryError, ValueError, KeyError):
        return None


def _forget(space: Path) -> None:
    if space.is_dir():
        # The intent goes last: a crash half-way still leaves the names to settle.
        for path in sorted(space.iterdir(), key=lambda path: path.name == "intent.json"):
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()
        space.rmdir()


def sync_file(path: Path) -> None:
    """Have the disk keep the file's content."""
    # Windows flushes only handles opened for writing.
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folders(folders: Sequence[Path]) -> None:
    """Have the disk keep the names in the folders. Windows has no call for it; its renames are kept by its journal."""
    if os.name == "nt":
        return
    for folder in folders:
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
