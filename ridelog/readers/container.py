"""Compressed files and archives, told by their first bytes and unpacked in a stream, with the limits held all along."""

from __future__ import annotations

import errno
import gzip
import lzma
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, cast

from ridelog.errors import InputRefused, LimitExceeded
from ridelog.readers.limits import Limits

_BLOCK = 1024 * 1024
_RATIO_FROM_BYTES = 16 * _BLOCK
"""Small files of one repeated row compress beyond any ratio and hurt nobody."""

_GZIP, _XZ = b"\x1f\x8b", b"\xfd7zXZ\x00"
_ZIP = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
_NESTED = (_GZIP, _XZ, *_ZIP)


@dataclass(frozen=True)
class Unpacked:
    """One readable file. `name` is for messages and the format's file ending; `path` is where the bytes are."""

    path: Path
    name: str


@contextmanager
def unpacked(path: Path, limits: Limits) -> Iterator[list[Unpacked]]:
    """The logs inside `path`: the file itself where it is not packed. Temporary files vanish at the end.

    Raises InputRefused for nested archives, spreadsheets, encrypted or damaged archives, LimitExceeded for size.
    """
    size = path.stat().st_size
    if size > limits.max_bytes:
        raise limits.exceeded("max_bytes", f"the file has {size:,} bytes", where=path.name)
    with path.open("rb") as file:
        magic = file.read(8)
    if not magic.startswith(_NESTED):
        yield [Unpacked(path, path.name)]
        return
    with tempfile.TemporaryDirectory(prefix="ridelog-") as folder:
        yield _unpack(path, Path(folder), limits, magic)


def _unpack(path: Path, folder: Path, limits: Limits, magic: bytes) -> list[Unpacked]:
    try:
        if magic.startswith(_ZIP):
            return _unzip(path, folder, limits)
        return [_inflate(path, folder, limits, xz=magic.startswith(_XZ))]
    except (InputRefused, MemoryError):
        raise
    except OSError as error:
        if error.errno is not None and error.errno != errno.EINVAL:  # the disk's; EINVAL is a seek to before the start
            raise
        raise _damaged(path, error) from error
    except Exception as error:
        # The libraries check little before they work on a damaged archive: what they meet there has many names.
        raise _damaged(path, error) from error


def _damaged(path: Path, error: Exception) -> InputRefused:
    return InputRefused(
        f"the archive is damaged or cut off ({str(error)[:200] or type(error).__name__})",
        where=path.name,
        expected="a whole .gz, .xz or .zip file",
        to_do="copy it again, or unpack what can be saved and give that",
    )


def _inflate(path: Path, folder: Path, limits: Limits, *, xz: bool) -> Unpacked:
    name = path.name
    for ending in (".gz", ".xz"):
        if name.lower().endswith(ending):
            name = name[: -len(ending)]
    target = folder / "0"
    with lzma.open(path, "rb") if xz else gzip.open(path, "rb") as source:
        _copy(cast("IO[bytes]", source), target, limits, packed=path.stat().st_size, where=path.name, so_far=0)
    _refuse_nested(target, path.name)
    return Unpacked(target, name or path.name)


def _unzip(path: Path, folder: Path, limits: Limits) -> list[Unpacked]:
    with zipfile.ZipFile(path) as archive:
        members = [member for member in archive.infolist() if not member.is_dir()]
        names = [member.filename for member in members]
        if any(name.startswith(("xl/", "Index/")) or name in ("content.xml", "mimetype") for name in names):
            raise InputRefused(
                "this is a spreadsheet workbook",
                where=path.name,
                expected="a log as text",
                to_do="use the logger's own file; if there is none any more, export the sheet as CSV",
            )
        members = [m for m in members if not m.filename.startswith("__MACOSX/") and not _inner(m, 0).startswith(".")]
        if not members:
            raise InputRefused(
                "the archive holds no file", where=path.name, expected="one log or more", to_do="pack the logs again"
            )
        if len(members) > limits.max_members:
            raise limits.exceeded("max_members", f"the archive holds {len(members):,} files", where=path.name)
        stated = sum(member.file_size for member in members)
        if stated > limits.max_bytes:
            raise limits.exceeded("max_bytes", f"the archive unpacks to {stated:,} bytes", where=path.name)
        found: list[Unpacked] = []
        total = 0
        for number, member in enumerate(members):
            # A member's own name never becomes a path: "../../x" inside an archive must not write outside.
            inner = _inner(member, number)
            where = f"{path.name}, {inner}"
            target = folder / str(number)
            try:
                with archive.open(member) as source:
                    total += _copy(source, target, limits, packed=path.stat().st_size, where=where, so_far=total)
            except (RuntimeError, NotImplementedError) as error:
                raise InputRefused(
                    "is locked with a password or packed in a way this program can't undo",
                    where=where,
                    expected="an ordinary .zip",
                    to_do="unpack it yourself and give the log",
                ) from error
            _refuse_nested(target, where)
            found.append(Unpacked(target, inner))
        return found


def _inner(member: zipfile.ZipInfo, number: int) -> str:
    """A member's own name without its folders."""
    return PurePosixPath(member.filename.replace("\\", "/")).name or str(number)


def _copy(source: IO[bytes], target: Path, limits: Limits, *, packed: int, where: str, so_far: int) -> int:
    written = 0
    with target.open("wb") as file:
        while block := source.read(_BLOCK):
            written += len(block)
            out = so_far + written
            if out > limits.max_bytes:
                raise limits.exceeded("max_bytes", f"unpacks to more than {limits.max_bytes:,} bytes", where=where)
            if out > _RATIO_FROM_BYTES and out > limits.max_unpack_ratio * packed:
                raise _bomb(limits, where)
            file.write(block)
    return written


def _bomb(limits: Limits, where: str) -> LimitExceeded:
    return limits.exceeded(
        "max_unpack_ratio", f"unpacks to more than {limits.max_unpack_ratio} times its packed size", where=where
    )


def _refuse_nested(target: Path, where: str) -> None:
    with target.open("rb") as file:
        if file.read(8).startswith(_NESTED):
            raise InputRefused(
                "holds another archive",
                where=where,
                expected="logs, packed once",
                to_do="unpack the outer archive and give the inner one",
            )
