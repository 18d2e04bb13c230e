"""What an ASAM MDF file says of itself, read from its own bytes: version, start, and whether its chains of blocks end.

The library that reads the values follows links wherever they lead, and puts the time of reading where a file has no
start. Both are settled here first. Layouts: ASAM MDF 4.1 and 3.3 (from memory, checked against files of the library).
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import BinaryIO

MAGIC, MAGIC_UNFINISHED = b"MDF     ", b"UnFinMF "
_HEADER = 64
"""Address of the header block in every version."""

_MOST_BLOCKS = 5_000_000

# Links that lead to the next block of a chain or down into one, by kind of block (version 4).
_LINKS_4: dict[bytes, tuple[int, ...]] = {
    b"##HD": (0, 1, 2, 3, 4),
    b"##DG": (0, 1, 2),
    b"##CG": (0, 1, 5),
    b"##CN": (0, 1, 5),
    b"##CA": (0,),
    b"##SR": (0, 1),
    b"##FH": (0,),
    b"##CH": (0, 1),
    b"##AT": (0,),
    b"##EV": (0,),
    b"##HL": (0,),
    b"##LD": (0,),
}
# The same for version 3, as offsets of 4-byte links in the block.
_LINKS_3: dict[bytes, tuple[int, ...]] = {b"HD": (4,), b"DG": (4, 8), b"CG": (4, 8), b"CN": (4,)}


class BrokenBlocksError(ValueError):
    """The chains of a file lead in a circle or out of it."""


@dataclass(frozen=True)
class Start:
    """When a recording began: `utc` where the file tells the moment, else `local` (without zone), else neither."""

    utc: datetime | None = None
    local: datetime | None = None

    @property
    def on_the_clock(self) -> datetime | None:
        """The moment; a local one as if its zone were UTC, for arithmetic."""
        return self.utc or (self.local.replace(tzinfo=UTC) if self.local else None)


@dataclass(frozen=True)
class Facts:
    """Version as a number (330, 410), true if the writer never closed the file, its start, its size, and the bytes its
    packed data blocks say they unpack to."""

    version: int
    unfinished: bool
    start: Start
    size_bytes: int
    unpacked_bytes: int


def read_facts(file: BinaryIO) -> Facts:
    """Facts of an open file. Raises BrokenBlocksError (a ValueError) where it can't be an MDF file or is damaged."""
    head = file.read(_HEADER)
    if len(head) < _HEADER or not head.startswith((MAGIC, MAGIC_UNFINISHED)):
        raise BrokenBlocksError("the first bytes are not those of an MDF file")
    text = head[8:16].decode("ascii", errors="replace").strip(" \0")
    digits = text.replace(".", "")
    if not digits.isdecimal() or not digits.isascii():
        raise BrokenBlocksError(f"its version reads {text!r}")
    version = int(digits.ljust(3, "0")[:3])
    size = file.seek(0, 2)
    unpacked = 0
    if version >= 400:
        unpacked = _walk(lambda at: _block_4(file, at, size))
        start = _start_4(_read(file, _HEADER, 104))
    else:
        order = "<" if head[24:26] == b"\0\0" else ">"
        _walk(lambda at: _block_3(file, at, size, order))
        start = _start_3(_read(file, _HEADER, 208), version, order)
    return Facts(version, head.startswith(MAGIC_UNFINISHED), start, size, unpacked)


def _read(file: BinaryIO, at: int, length: int) -> bytes:
    file.seek(at)
    return file.read(length)


def _walk(block: Callable[[int], tuple[list[int], int]]) -> int:
    """Visit every block once, and sum what they unpack to. A block met again on the way to itself closes a circle."""
    on_the_way: set[int] = set()
    done: set[int] = set()
    unpacked = 0
    stack: list[tuple[int, bool]] = [(_HEADER, False)]
    while stack:
        at, leaving = stack.pop()
        if leaving:
            on_the_way.discard(at)
            done.add(at)
            continue
        if at in on_the_way:
            raise BrokenBlocksError(f"its blocks lead in a circle at byte {at:,}")
        if at in done:
            continue
        if len(done) + len(on_the_way) > _MOST_BLOCKS:
            raise BrokenBlocksError(f"it has more than {_MOST_BLOCKS:,} blocks")
        on_the_way.add(at)
        stack.append((at, True))
        links, size = block(at)
        unpacked += size
        stack.extend((link, False) for link in links if link)
    return unpacked


def _block_4(file: BinaryIO, at: int, size: int) -> tuple[list[int], int]:
    head = _read(file, at, 24) if at + 24 <= size else b""
    if not head.startswith(b"##"):
        raise BrokenBlocksError(f"there is no block at byte {at:,} of {size:,}")
    kind = head[:4]
    length, count = struct.unpack("<QQ", head[8:24])
    if kind == b"##DZ":
        original = _read(file, at + 32, 8)
        return [], int.from_bytes(original, "little")
    if kind not in _LINKS_4 and kind != b"##DL":
        return [], 0
    if length < 24 or at + length > size or count > (length - 24) // 8:
        raise BrokenBlocksError(f"the block at byte {at:,} does not fit into the file")
    links = struct.unpack(f"<{count}Q", _read(file, at + 24, 8 * count))
    wanted = range(count) if kind == b"##DL" else [number for number in _LINKS_4[kind] if number < count]
    return [links[number] for number in wanted], 0


def _block_3(file: BinaryIO, at: int, size: int, order: str) -> tuple[list[int], int]:
    head = _read(file, at, 12) if at + 12 <= size else b""
    if not head:
        raise BrokenBlocksError(f"there is no block at byte {at:,} of {size:,}")
    kind = head[:2]
    if kind not in _LINKS_3:
        raise BrokenBlocksError(f"the block at byte {at:,} is of no known kind")
    return [struct.unpack_from(f"{order}I", head, offset)[0] for offset in _LINKS_3[kind]], 0


def _start_4(block: bytes) -> Start:
    # After the 24-byte head and six links: nanoseconds, zone and summer time in minutes, flags (bit 0: local time).
    if len(block) < 85:
        raise BrokenBlocksError("its header block is cut off")
    nanoseconds, _zone, _summer, flags = struct.unpack_from("<QhhB", block, 72)
    moment = _moment(nanoseconds)
    if moment is None:
        return Start()
    return Start(local=moment.replace(tzinfo=None)) if flags & 1 else Start(utc=moment)


def _start_3(block: bytes, version: int, order: str) -> Start:
    # Day and time stand as text in local time; from 3.20 on nanoseconds and the zone in hours follow.
    text = block[18:36].decode("ascii", errors="replace")
    try:
        local = datetime.strptime(text, "%d:%m:%Y%H:%M:%S")  # noqa: DTZ007 - it names no zone
    except ValueError:
        return Start()
    if not _plausible(local.replace(tzinfo=UTC)):
        return Start()
    if version < 320 or len(block) < 174:
        return Start(local=local)
    nanoseconds, zone_h = struct.unpack_from(f"{order}Qh", block, 164)
    local += timedelta(microseconds=(nanoseconds + 500) // 1000 % 1_000_000)
    # A zone of 0 is also what writers leave there that never set one.
    if zone_h and abs(zone_h) <= 14:
        return Start(utc=local.replace(tzinfo=UTC) - timedelta(hours=zone_h))
    return Start(local=local)


def _moment(nanoseconds: int) -> datetime | None:
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=(nanoseconds + 500) // 1000)
    except OverflowError:
        return None
    return moment if _plausible(moment) else None


def _plausible(moment: datetime) -> bool:
    """A clock that was never set reads 1970 or 1980."""
    return 2000 <= moment.year < 2100
