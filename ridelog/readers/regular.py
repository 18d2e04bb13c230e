"""The file itself: is it one, and what is its hash. Nothing is opened that could keep a reader waiting for ever."""

from __future__ import annotations

import hashlib
import stat
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from ridelog.errors import InputRefused

_BLOCK = 1 << 18


def check_is_file(path: Path, expected: str = "a log file") -> int:
    """Size of a file in bytes. Raises InputRefused for what is no regular file with something in it.

    Pipes and devices have no end, and some files of the system's own say they are empty and then wait for ever: none
    of them may be opened.
    """
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        what, to_do = "there is no such file", "check the path"
    except OSError as error:
        what, to_do = f"can't be read ({error.strerror or error})", "check that it is there, and its permissions"
    except ValueError:  # a zero byte in the name
        what, to_do = "there is no such file", "check the path"
    else:
        if stat.S_ISREG(found.st_mode) and found.st_size:
            return found.st_size
        if stat.S_ISREG(found.st_mode):
            what, to_do = "the file is empty", "copy it from the logger again"
        else:
            what = "is a folder" if stat.S_ISDIR(found.st_mode) else "is not a regular file"
            to_do = "check the path" if stat.S_ISDIR(found.st_mode) else "copy its content to a file, and give that"
    raise InputRefused(what, where=path.name or str(path), expected=expected, to_do=to_do)


def sha256_of(path: Path) -> tuple[str, int]:
    """A file's hash in hexadecimal digits, and its size in bytes."""
    digest, size = hashlib.sha256(), 0
    buffer = memoryview(bytearray(_BLOCK))
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(buffer):
            digest.update(buffer[:count])
            size += count
    return digest.hexdigest(), size


class Hashing:
    """`sha256_of` a file, worked out beside other work: hashing leaves the interpreter free."""

    def __init__(self, path: Path, beside: ThreadPoolExecutor) -> None:
        self._path = path
        self._beside = beside
        self._before = _state(path)
        self._found: Future[tuple[str, int]] | None = None

    def begin(self) -> Future[tuple[str, int]]:
        """Start now, if it is not under way: best when the reading, which needs every processor there is, is done."""
        if self._found is None:
            self._found = self._beside.submit(sha256_of, self._path)
        return self._found

    def result(self) -> tuple[str, int]:
        """Hash and size. Raises InputRefused where the file is no longer what it was before it was read."""
        digest, size = self.begin().result()
        if _state(self._path) != self._before or size != self._before[0]:
            raise InputRefused(
                "changed while it was being imported",
                where=self._path.name,
                expected="a file that stays as it is until the import is done",
                to_do="wait until nothing writes to it, then import it again",
            )
        return digest, size


def _state(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_size, found.st_mtime_ns


@contextmanager
def hashing(path: Path) -> Iterator[Hashing]:
    """A file's hash while it is read; to be entered before the reading begins."""
    with ThreadPoolExecutor(1) as beside:
        yield Hashing(path, beside)
