"""Turns what the disk and SQLite complain of into a LibraryError that says what to do."""

from __future__ import annotations

import errno
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ridelog.errors import LibraryError

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_DENIED = {errno.EACCES, errno.EPERM, errno.EROFS}

BUSY_S = 30.0
"""How long a command waits for another one that is writing to the library."""


@contextmanager
def library_trouble(root: Path) -> Iterator[None]:
    """Everything inside reads or writes the library in `root`. Raises LibraryError for disk and catalogue trouble."""
    try:
        yield
    except sqlite3.Error as error:
        raise _from_sqlite(root, error) from error
    except OSError as error:
        raise _from_disk(root, error) from error


def _full(root: Path) -> LibraryError:
    return LibraryError(
        "there is no room left on the disk",
        where=str(root),
        expected="room for what is to be kept; to read a library takes a little too",
        to_do="make room or choose another folder with --library; the library is as it was before",
    )


def _no_room(root: Path) -> bool:
    """SQLite can't make its shared-memory file on a full disk and calls that an I/O error."""
    try:
        return shutil.disk_usage(root).free < 64 * 1024
    except OSError:
        return False


def _denied(root: Path, what: str) -> LibraryError:
    return LibraryError(
        f"can't be written ({what})",
        where=str(root),
        expected="a folder you may read and write",
        to_do="correct the permissions, copy the library to a place that is yours, or name another with --library",
    )


def _from_disk(root: Path, error: OSError) -> LibraryError:
    reason = error.strerror or str(error)
    if error.errno in _FULL:
        return _full(root)
    if error.errno in _DENIED:
        return _denied(root, reason)
    place = Path(str(error.filename)) if error.filename else root
    return LibraryError(
        f"can't be read or written ({reason})",
        where=str(place),
        expected="a folder on a working disk",
        to_do="check the disk and the path, or name another library with --library",
    )


def _from_sqlite(root: Path, error: sqlite3.Error) -> LibraryError:
    # The low byte is the primary result code; the rest tells where inside SQLite it arose.
    code = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
    catalogue = root / "library.sqlite"
    if code == sqlite3.SQLITE_FULL:
        return _full(root)
    if code in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH}:
        return _denied(root, str(error))
    if code in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return LibraryError(
            f"another program has kept the catalogue busy for {BUSY_S:.0f} s",
            where=str(catalogue),
            expected="a turn within that time",
            to_do="wait until the other command is done, then try again",
        )
    if code == sqlite3.SQLITE_IOERR and _no_room(root):
        return _full(root)
    return LibraryError(
        f"the catalogue can't be used ({error})",
        where=str(catalogue),
        expected="a sound catalogue of ridelog",
        to_do=(
            "put back a saved copy of library.sqlite; without one, import the files of "
            f"{root / 'originals'} into a new library (--library NEW)"
        ),
    )
