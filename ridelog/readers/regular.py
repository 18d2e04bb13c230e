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
    raise InputRefused(what, where=path.name, expected=expected, to_do=to_do)


def sha256_of(path: Path) -> tuple[str, int]:
    """A file's hash in hexadecimal digits, and its size in bytes."""
    digest, size = hashlib.sha256(), 0
    buffer = memoryview(bytearray(_BLOCK))
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(buffer):
            digest.update(buffer[:count])
            size += count
    return digest.hexdigest(), size


@contextmanager
def hashing(path: Path) -> Iterator[Future[tuple[str, int]]]:
    """`sha256_of` worked out beside the reading: hashing leaves the interpreter free."""
    with ThreadPoolExecutor(1) as beside:
        yield beside.submit(sha256_of, path)
