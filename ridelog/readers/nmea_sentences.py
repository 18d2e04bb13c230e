"""NMEA 0183 sentences out of bytes: framing, checksum and kind, whole blocks at a time.

A sentence runs from `$` to the next `$` or line end, so that glued sentences come apart and torn ones fail alone. It is
believed only if two hexadecimal digits after `*` equal the exclusive or of all bytes between `$` and `*`; digits in
lower case are the same number and are accepted (the standard writes upper case). Without a checksum it is not believed.
"""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import IO

import numpy as np

from ridelog.readers.nmea_fields import BoolArray, ByteArray, FloatArray, IntArray, decimals, words_of
from ridelog.readers.nmea_kinds import KINDS, Sentences, read_fields

BLOCK_BYTES = 2 * 1024 * 1024
"""Bytes looked at together: large enough to hide the cost of a call, small enough to stay near the processor."""


_DOLLAR, _STAR, _COMMA, _LF, _CR = b"$*,\n\r"
_PROPRIETARY = ord("P")
_PADDING = b"\n\0\0\0\0\0\0\0\0"
"""The line end closes the last sentence; the zeros are what an address or a checksum cut off there is compared with."""


def _among(codes: bytes) -> BoolArray:
    table = np.zeros(256, dtype=np.bool_)
    table[list(codes)] = True
    return table


_CAPITALS = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
_TEXT = _among(bytes([9, 10, 13, *range(32, 127)]))
_RUNS_ON = _among(_CAPITALS + _CAPITALS.lower() + b".-*")
"""Characters that can't follow a whole checksum: they are the rest of a torn sentence."""
_BESIDE_A_COUNTER = _among(b" \t,;:|>[]()\"'")
_HEX = np.full(256, 255, dtype=np.uint8)
for _char in b"0123456789abcdefABCDEF":
    _HEX[_char] = int(chr(_char), 16)
_CODES = tuple(int.from_bytes(kind.encode("ascii"), "little") for kind in KINDS)


@dataclass
class Tally:
    """How the sentences of a file fared. `sentences` counts `$` signs; each ended in one of the next seven.

    `glued` and `lower_case` speak of sentences that were read; `text_lines` and `odd_bytes` of what is no sentence.
    """

    sentences: int = 0
    read: int = 0
    proprietary: int = 0
    other: int = 0
    checksum: int = 0
    unverified: int = 0
    torn: int = 0
    malformed: int = 0
    glued: int = 0
    lower_case: int = 0
    text_lines: int = 0
    odd_bytes: int = 0

    def __add__(self, other: Tally) -> Tally:
        """Both together."""
        return Tally(*(getattr(self, item.name) + getattr(other, item.name) for item in fields(self)))


def blocks(file: IO[bytes], utf16: str | None = None) -> Iterator[bytes]:
    """The file in pieces that end at a line end (or, where a block holds none, anywhere)."""
    decoder = codecs.getincrementaldecoder(utf16)("replace") if utf16 else None
    rest = b""
    while block := file.read(BLOCK_BYTES):
        if decoder is not None:
            block = decoder.decode(block).encode("ascii", "replace")
        block = rest + block
        cut = max(block.rfind(b"\n"), block.rfind(b"\r")) + 1 or len(block)
        yield block[:cut]
        rest = block[cut:]
    if rest:
        yield rest


def read_block(block: bytes) -> tuple[Sentences, Tally]:
    """The sentences of one block that can be believed, and how all of them fared."""
    tally = Tally()
    data = np.frombuffer(block + _PADDING, dtype=np.uint8)
    marks = np.flatnonzero((data == _COMMA) | (data == _LF) | (data == _CR) | (data == _DOLLAR) | (data == _STAR))
    mark = data[marks]
    edges = np.flatnonzero(mark != _COMMA)
    edge = mark[edges]
    opening = np.flatnonzero(edge == _DOLLAR)
    line_ends = (edge == _LF) | (edge == _CR)
    # Control characters and bytes past ASCII, less those a text file has: line ends (one is the padding's) and tabs.
    odd_bytes = int(np.count_nonzero(data[: len(block)] < 32)) - int(np.count_nonzero(line_ends)) + 1
    odd_bytes += 0 if block.isascii() and b"\x7f" not in block else int(np.count_nonzero(data > 126))
    odd_bytes -= block.count(b"\t") if odd_bytes else 0
    tally.sentences = opening.size
    tally.odd_bytes = odd_bytes
    line_end_at = marks[edges[line_ends]]
    line = np.cumsum(line_ends)[opening]
    lines = np.diff(line_end_at, prepend=-1) > 1
    lines[line] = False
    tally.text_lines = int(np.count_nonzero(lines))

    first, last = edges[opening], edges[opening + 1]
    start, stop = marks[first], marks[last]
    code, addressed, proprietary = _address(data, start)
    own = addressed & ~proprietary
    starred = mark[last] == _STAR
    verified, wrong = _verify(data, start, stop, starred & ~proprietary)
    verified &= own
    bare = own & ~starred
    if odd_bytes:
        seen = np.concatenate(([0], np.cumsum(~_TEXT[data])))
        bare &= seen[stop] == seen[start]
    kind = np.full(start.size, -1, dtype=np.int8)
    for number, wanted in enumerate(_CODES):
        kind[verified & (code == wanted)] = number
    used = np.flatnonzero(kind >= 0)
    counts = [int(np.count_nonzero(some)) for some in (proprietary, verified, wrong, bare)]
    tally.proprietary = counts[0]
    tally.other = counts[1] - used.size
    tally.checksum = counts[2]
    tally.unverified = counts[3]
    tally.torn = start.size - sum(counts)

    found, good = read_fields(data, marks, first[used], last[used] - first[used] - 1, kind[used])
    head = np.concatenate(([0], line_end_at + 1))[line]
    glued = np.diff(line, prepend=-1) == 0
    tally.glued = int(np.count_nonzero(glued[used]))
    tally.lower_case = int(np.count_nonzero((data[stop[used] + 1] >= ord("a")) | (data[stop[used] + 2] >= ord("a"))))
    found.counter[:] = _counter(data, head[used], start[used], ~glued[used])
    if not good.all():
        tally.malformed = int(np.count_nonzero(~good))
        found = found.where(good)
    tally.read = found.size
    return found, tally


def _address(data: ByteArray, start: IntArray) -> tuple[IntArray, BoolArray, BoolArray]:
    """Code of the kind's three letters; whether the address is whole (two letters of a talker, three, a comma); and
    whether it is a maker's own."""
    words = words_of(data)[start]
    plain = words & ~_TOPS
    # Adding 0x80 less a letter's code to a byte sets the byte's top bit from that letter on.
    from_zero, past_nine, from_a, past_z = (
        plain + np.uint64((0x80 - code) * 0x0101010101010101) for code in (*b"0", ord("9") + 1, *b"A", ord("Z") + 1)
    )
    capital = (from_zero & ~past_nine | from_a & ~past_z) & ~words
    whole = (capital & _ADDRESS == _ADDRESS) & (words >> np.uint64(48) & _BYTE == _COMMA)
    proprietary = (words >> np.uint64(8) & _BYTE == _PROPRIETARY) & (capital & _MAKER == _MAKER)
    return (words >> np.uint64(24) & np.uint64(0xFFFFFF)).view(np.int64), whole, proprietary


_TOPS = np.uint64(0x8080808080808080)
_BYTE = np.uint64(0xFF)
_ADDRESS = np.uint64(0x0000808080808000)
"""Top bits of the five characters after `$`."""
_MAKER = np.uint64(0x0000008080800000)
"""Top bits of the three after `$P`."""


def _verify(data: ByteArray, start: IntArray, stop: IntArray, candidate: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Which of the sentences that end in `*` carry a right checksum, and which a wrong one; the others are torn."""
    right, wrong = np.zeros(start.size, dtype=np.bool_), np.zeros(start.size, dtype=np.bool_)
    rows = np.flatnonzero(candidate)
    if rows.size:
        star = stop[rows]
        pairs = np.empty(2 * rows.size, dtype=np.int64)
        pairs[0::2], pairs[1::2] = start[rows] + 1, star
        total = np.bitwise_xor.reduceat(data, pairs)[0::2]
        ending = words_of(data)[star].view(np.uint8).reshape(-1, 8)
        high, low = _HEX[ending[:, 1]], _HEX[ending[:, 2]]
        written = (high < 16) & (low < 16) & ~_RUNS_ON[ending[:, 3]]
        agrees = total == ((high & 15) << 4 | (low & 15))
        right[rows], wrong[rows] = written & agrees, written & ~agrees
    return right, wrong


def _counter(data: ByteArray, head: IntArray, start: IntArray, first: BoolArray) -> FloatArray:
    """The number in front of each sentence on its line, NaN where there is none or something else."""
    found = np.full(start.size, np.nan)
    rows = np.flatnonzero(first & (start > head))
    if rows.size:
        begin, end = head[rows], start[rows]
        for _ in range(3):
            begin = begin + ((begin < end) & _BESIDE_A_COUNTER[data[begin]])
            end = end - ((begin < end) & _BESIDE_A_COUNTER[data[end - 1]])
        found[rows] = decimals(data, begin, end).values()
    return found
