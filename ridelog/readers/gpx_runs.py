"""Plain track points taken a run at a time, so that a long track costs no call of Python for each of its elements.

A run is a stretch of points written in the plainest way: ASCII, two attributes, no entity, comment or other element. It
is cut out of the bytes and an empty element with a name nobody can know beforehand is put in its place. The XML parser
still sees the whole document and decides what the run is part of: where the stand-in turns up in a comment or outside
a track, the points were not points.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterator
from typing import IO, NamedTuple

_SPACE = r"[ \t\r\n]*+"
_VALUE = r"[-+.\d]{1,32}+"
_POINT = (
    rf'<trkpt[ \t\r\n]++(?:lat="({_VALUE})"[ \t\r\n]++lon="({_VALUE})"'
    rf'|lon="({_VALUE})"[ \t\r\n]++lat="({_VALUE})"){_SPACE}>{_SPACE}'
    rf"(?:<ele>({_VALUE})</ele>{_SPACE})?+"
    rf"(?:<time>([-+.:TZ\d]{{1,40}}+)</time>{_SPACE})?+"
    rf"(?:<speed>({_VALUE})</speed>{_SPACE})?+"
    rf"</trkpt>{_SPACE}"
)
_ONE = re.compile(_POINT)
_RUN = re.compile(f"(?:{re.sub(r'[(](?![?])', '(?:', _POINT)}){{2,20000}}+".encode())
_END = b"</trkpt>"
_BLOCK = 1024 * 1024


class Run(NamedTuple):
    """Points of one run, as written; an entry of `ele`, `time` or `speed` is '' where the point has none."""

    lat: list[str]
    lon: list[str]
    ele: list[str]
    time: list[str]
    speed: list[str]


class Runs:
    """Cuts runs out of blocks of bytes and keeps them until the parser meets their stand-ins."""

    def __init__(self) -> None:
        self.name = f"run-{secrets.token_hex(8)}"
        self._stand_in = f'<{self.name} at="%d"/>'
        self._kept: dict[str, bytes] = {}
        self._next = 0

    def blocks(self, file: IO[bytes], first: bytes) -> Iterator[bytes]:
        """The file's bytes with stand-ins for runs; `first` is what was read of it already."""
        rest = first
        while True:
            more = file.read(_BLOCK)
            rest += more
            if not more:
                yield self._cut(rest)
                return
            # Cut behind a whole point, so that a run is never torn by the edge of a block.
            end = rest.rfind(_END)
            if end >= 0:
                yield self._cut(rest[: end + len(_END)])
                rest = rest[end + len(_END) :]
            elif len(rest) > 8 * _BLOCK:
                yield rest
                rest = b""

    def _cut(self, block: bytes) -> bytes:
        return _RUN.sub(self._keep, block)

    def _keep(self, match: re.Match[bytes]) -> bytes:
        at = self._next
        self._next += 1
        self._kept[str(at)] = match[0]
        return (self._stand_in % at).encode()

    def take(self, at: str) -> Run:
        """The points of a stand-in."""
        found = _ONE.findall(self._kept.pop(at).decode("ascii"))
        lat_first, lon_second, lon_first, lat_second, ele, time, speed = (
            list(column) for column in zip(*found, strict=True)
        )
        if not all(lat_first):
            lat_first = [one or other for one, other in zip(lat_first, lat_second, strict=True)]
            lon_second = [one or other for one, other in zip(lon_second, lon_first, strict=True)]
        return Run(lat_first, lon_second, ele, time, speed)
