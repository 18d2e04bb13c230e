"""Plain track points taken a run at a time, so that a long track costs no call of Python for each of its elements.

A run is a stretch of points of one shape written in the plainest way: ASCII, two attributes, no entity, comment or
other element. It is cut out of the bytes and an empty element with a name nobody can know beforehand is put in its
place. The XML parser still sees the whole document and decides what the run is part of: where the stand-in turns up in
a comment or outside a track, the points were not points.
"""

from __future__ import annotations

import itertools
import re
import secrets
from collections.abc import Iterator
from typing import IO, NamedTuple

_SPACE = r"[ \t\r\n]*+"
_NUMBER = r"[-+.\d]{1,32}+"
_TIME = r"[-+.:TZ\d]{1,40}+"
_CHILDREN = {"ele": _NUMBER, "time": _TIME, "speed": _NUMBER}
_BLOCK = 1024 * 1024
_END = b"</trkpt>"


class Shape(NamedTuple):
    """How the points of a run are written: which attribute comes first, and which children follow in which order."""

    lat_first: bool
    children: tuple[str, ...]

    def pattern(self) -> str:
        """A regular expression for one such point and the white space behind it. It never backtracks."""
        first, second = ("lat", "lon") if self.lat_first else ("lon", "lat")
        inner = "".join(f"<{name}>{_CHILDREN[name]}</{name}>{_SPACE}" for name in self.children)
        attributes = rf'[ \t\r\n]++{first}="{_NUMBER}"[ \t\r\n]++{second}="{_NUMBER}"{_SPACE}'
        return rf"<trkpt{attributes}>{_SPACE}{inner}</trkpt>{_SPACE}"


_SHAPES = tuple(
    Shape(lat_first, children)
    for lat_first, children in itertools.product(
        (True, False), (("ele", "time"), ("time",), ("ele", "time", "speed"), ("time", "speed"), ("ele",), ())
    )
)
_RUN = re.compile("|".join(f"((?:{shape.pattern()}){{2,20000}}+)" for shape in _SHAPES).encode())


class Run(NamedTuple):
    """Points of one run, as written: `lat` and `lon`, and for each child of the shape its texts."""

    lat: list[str]
    lon: list[str]
    children: dict[str, list[str]]


class Runs:
    """Cuts runs out of blocks of bytes and keeps them until the parser meets their stand-ins."""

    def __init__(self) -> None:
        self.name = f"run-{secrets.token_hex(8)}"
        self._stand_in = f'<{self.name} at="%d"/>'
        self._kept: dict[str, tuple[Shape, bytes]] = {}
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
        self._kept[str(at)] = (_SHAPES[(match.lastindex or 1) - 1], match[0])
        return (self._stand_in % at).encode()

    def take(self, at: str) -> Run:
        """The points of a stand-in. All have one shape, so each part is every n-th piece between the signs."""
        shape, data = self._kept.pop(at)
        pieces = data.decode("ascii").split("<")
        # A point is <trkpt ...>, then an opening and a closing piece for each child, then </trkpt>.
        width = 2 + 2 * len(shape.children)
        attributes = "".join(pieces[1::width]).split('"')
        first, second = attributes[1::4], attributes[3::4]
        children = {
            name: [piece[len(name) + 1 :] for piece in pieces[2 + 2 * place :: width]]
            for place, name in enumerate(shape.children)
        }
        return Run(first, second, children) if shape.lat_first else Run(second, first, children)
