"""Lines of a CAN trace to arrays of frames: many lines at a time, grouped by their layout.

A line is `(1436509052.249713) can0 7E8#0341057B00000000`: seconds, name of the bus, identifier (3 hexadecimal digits,
8 for a 29-bit one), payload. `##` and a flag digit mark a flexible data-rate frame, `R` a remote request, bit 29 of the
identifier an error frame; an R or T at the end of a line (received, sent) and a raw length code (`_9`) are read over.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

BLOCK_BYTES = 8 * 1024 * 1024
EXTENDED = 1 << 31
"""Added to a 29-bit identifier, so that 0x100 and 0x00000100 stay apart."""

_LONGEST_LINE = 256
_MOST_BUSES = 100
_ERROR_BIT = 1 << 29
_LENGTHS = frozenset((*range(9), 12, 16, 20, 24, 32, 48, 64))
_NEWLINE, _RETURN, _SPACE, _HASH, _OPEN, _CLOSE, _DOT, _UNDERSCORE = b"\n\r #()._"
_HEX = np.full(256, 255, np.uint8)
for _digit in "0123456789abcdefABCDEF":
    _HEX[ord(_digit)] = int(_digit, 16)


@dataclass(frozen=True)
class Frames:
    """Data frames in the order of the file. `ids` hold EXTENDED for 29-bit identifiers; `payload` is (n, width),
    zero behind each frame's own `length`; `bus` counts into `Tally.buses`."""

    time_s: npt.NDArray[np.float64]
    ids: npt.NDArray[np.uint32]
    bus: Bytes
    length: Bytes
    payload: Bytes

    def __len__(self) -> int:
        return len(self.ids)

    def take(self, index: Ints | Bools) -> Frames:
        """Some of the frames."""
        return Frames(self.time_s[index], self.ids[index], self.bus[index], self.length[index], self.payload[index])


@dataclass
class Tally:
    """What the lines were. `seen` counts data frames by identifier, wanted or not; `damaged_line` is the first line
    that could not be read."""

    lines: int = 0
    blank: int = 0
    damaged: int = 0
    damaged_line: int = 0
    cut: int = 0
    remote: int = 0
    error: int = 0
    unwanted: int = 0
    seen: Counter[int] = field(default_factory=Counter)
    buses: list[bytes] = field(default_factory=list)


def read_frames(path: Path, wanted: Callable[[npt.NDArray[np.uint32]], Bools], tally: Tally) -> Iterator[Frames]:
    """The wanted data frames of a plain text file, block by block; `tally` counts every line on the way.

    `wanted` gets distinct identifiers and tells which to keep. A last line without a line end is left out: its payload
    may be cut in the middle and would still read as a shorter one.
    """
    rest = b""
    with path.open("rb") as file:
        while block := file.read(BLOCK_BYTES):
            whole, newline, rest = (rest + block).rpartition(b"\n")
            if newline:
                yield _block(np.frombuffer(whole + newline, np.uint8), wanted, tally)
            elif len(rest) > BLOCK_BYTES:
                rest = b"?" * _LONGEST_LINE  # no line is that long: kept as one line nobody can read
    if rest.strip():
        tally.lines += 1
        tally.cut += 1


def _block(data: Bytes, wanted: Callable[[npt.NDArray[np.uint32]], Bools], tally: Tally) -> Frames:
    ends = np.flatnonzero(data == _NEWLINE)
    starts = np.concatenate((np.zeros(1, np.int64), ends[:-1] + 1))
    ends = ends - ((ends > starts) & (data[ends - 1] == _RETURN))
    found = _Found(len(starts), tally)
    _parse(data, starts, ends - starts, np.arange(len(starts)), found)
    blank = int(np.count_nonzero(ends == starts))
    failed = np.flatnonzero(~found.read & (ends > starts))
    if len(failed):
        # Lines with other white space than one blank between the parts get a second look.
        text = b"\n".join(data[starts[line] : ends[line]].tobytes() for line in failed) + b"\n"
        text = re.sub(rb"(?m)^ | $", b"", re.sub(rb"[ \t\v\f]+", b" ", text))
        again = np.frombuffer(text, np.uint8)
        stops = np.flatnonzero(again == _NEWLINE)
        begins = np.concatenate((np.zeros(1, np.int64), stops[:-1] + 1))
        _parse(again, begins, stops - begins, failed, found)
        white = failed[(stops == begins) & ~found.read[failed]]
        blank += len(white)
        found.read[white] = True
        failed = failed[~found.read[failed]]
        if len(failed) and not tally.damaged:
            tally.damaged_line = tally.lines + tally.blank + int(failed[0]) + 1
    tally.damaged += len(failed)
    tally.blank += blank
    tally.lines += len(starts) - blank
    return found.frames(wanted)


class _Found:
    """Frames of one block while it is taken apart; `read` marks the lines that were understood."""

    def __init__(self, lines: int, tally: Tally) -> None:
        self.read: Bools = np.zeros(lines, np.bool_)
        self.tally = tally
        self.parts: list[tuple[Ints, Frames]] = []

    def buses(self, text: Bytes) -> tuple[Bytes, Bools]:
        """Number of the bus each row of characters names, and which rows have one."""
        numbers = np.zeros(len(text), np.uint8)
        open_: Bools = np.ones(len(text), np.bool_)
        while open_.any():
            first = text[int(np.argmax(open_))]
            name = first.tobytes()
            if name not in self.tally.buses:
                if len(self.tally.buses) >= _MOST_BUSES:
                    break
                self.tally.buses.append(name)
            same = open_ & (text == first).all(axis=1)
            numbers[same] = self.tally.buses.index(name)
            open_ &= ~same
        return numbers, ~open_

    def frames(self, wanted: Callable[[npt.NDArray[np.uint32]], Bools]) -> Frames:
        """The wanted frames in the order of their lines; the others are only counted."""
        kept: list[tuple[Ints, Frames]] = []
        for lines, frames in self.parts:
            ids, where, counts = np.unique(frames.ids, return_inverse=True, return_counts=True)
            self.tally.seen.update(dict(zip(ids.tolist(), counts.tolist(), strict=True)))
            keep = wanted(ids)[where]
            self.tally.unwanted += int(np.count_nonzero(~keep))
            if keep.all():
                kept.append((lines, frames))
            elif keep.any():
                kept.append((lines[keep], frames.take(keep)))
        order = np.argsort(np.concatenate([lines for lines, _ in kept])) if kept else np.zeros(0, np.int64)
        return joined([frames for _, frames in kept]).take(order)


def joined(parts: list[Frames]) -> Frames:
    """Frames one after the other, payloads padded to the widest."""
    width = max((part.payload.shape[1] for part in parts), default=8)
    payload = np.zeros((sum(len(part) for part in parts), width), np.uint8)
    at = 0
    for part in parts:
        payload[at : at + len(part), : part.payload.shape[1]] = part.payload
        at += len(part)
    return Frames(
        np.concatenate([np.zeros(0, np.float64), *(part.time_s for part in parts)]),
        np.concatenate([np.zeros(0, np.uint32), *(part.ids for part in parts)]),
        np.concatenate([np.zeros(0, np.uint8), *(part.bus for part in parts)]),
        np.concatenate([np.zeros(0, np.uint8), *(part.length for part in parts)]),
        payload,
    )


def _parse(data: Bytes, starts: Ints, lengths: Ints, lines: Ints, found: _Found) -> None:
    """Take lines apart, those of one layout at a time. `lines` are their numbers in the block."""
    for length in np.unique(lengths):
        if not 8 <= length <= _LONGEST_LINE:
            continue
        some = np.flatnonzero(lengths == length)
        text = np.lib.stride_tricks.sliding_window_view(data, length)[starts[some]]
        dot = np.argmax(text == _DOT, axis=1)
        close = np.argmax(text == _CLOSE, axis=1)
        mark = np.argmax(text == _HASH, axis=1)
        layout = (dot * length + close) * length + mark
        order = np.argsort(layout, kind="stable")
        borders = np.flatnonzero(np.diff(layout[order])) + 1
        for group in np.split(order, borders):
            one = int(group[0])
            rows = text if len(group) == len(text) else text[group]
            _layout(rows, (int(dot[one]), int(close[one]), int(mark[one])), lines[some[group]], found)


def _layout(text: Bytes, layout: tuple[int, int, int], lines: Ints, found: _Found) -> None:
    """Lines (as rows of characters) with the dot, the closing bracket and the # at the same places."""
    dot, close, mark = layout
    if not 2 <= dot < close - 1 <= dot + 9 or dot > 12 or mark < close + 6 or text.shape[1] <= mark:
        return
    digits = np.concatenate((text[:, 1:dot], text[:, dot + 1 : close]), axis=1) - np.uint8(48)
    good = (text[:, 0] == _OPEN) & (text[:, close + 1] == _SPACE) & (digits <= 9).all(axis=1)
    stamp = np.zeros(len(text), np.int64)
    for column in digits.T:
        stamp = stamp * 10 + column
    time_s = stamp / 10.0 ** (close - 1 - dot)
    for extended, width in ((False, 3), (True, 8)):
        before = mark - width - 1
        if before < close + 3:
            continue
        some = good & (text[:, before] == _SPACE) & (text[:, close + 2 : before] > _SPACE).all(axis=1)
        if not some.any():
            continue
        rows = np.flatnonzero(some)
        part = text[rows]
        bus, named = found.buses(part[:, close + 2 : before])
        digits = _HEX[part[:, before + 1 : mark]]
        ids = np.zeros(len(part), np.uint32)
        for column in digits.T:
            ids = (ids << np.uint32(4)) | (column & np.uint8(15))
        valid = named & (digits < 16).all(axis=1) & (ids <= (0x3FFF_FFFF if extended else 0x7FF))
        keep = np.flatnonzero(valid)
        if extended:
            error = (ids & _ERROR_BIT) != 0
            errors = keep[error[keep]]
            found.tally.error += len(errors)
            found.read[lines[rows[errors]]] = True
            keep = keep[~error[keep]]
            ids |= np.uint32(EXTENDED)
        _payloads(part[keep], mark + 1, _Heads(lines[rows[keep]], time_s[rows[keep]], ids[keep], bus[keep]), found)


@dataclass(frozen=True)
class _Heads:
    """What stands before the # of some lines, and the numbers of these lines in their block."""

    lines: Ints
    time_s: npt.NDArray[np.float64]
    ids: npt.NDArray[np.uint32]
    bus: Bytes


def _payloads(text: Bytes, at: int, heads: _Heads, found: _Found) -> None:
    """The part of the lines behind the first #, which begins at column `at`."""
    length = text.shape[1]
    directed: Bools = np.zeros(len(text), np.bool_)
    if length >= at + 2:
        directed = (text[:, -2] == _SPACE) & np.isin(text[:, -1], np.frombuffer(b"RTrt", np.uint8))
    for stop, chosen in ((length, ~directed), (length - 2, directed)):
        some = np.flatnonzero(chosen)
        if not len(some):
            continue
        first = text[some, at] if stop > at else np.zeros(len(some), np.uint8)
        remote = (first == ord("R")) | (first == ord("r"))
        request = some[remote]
        request = request[((text[request, at + 1 : stop] - np.uint8(48)) <= 9).all(axis=1)]
        found.tally.remote += len(request)
        found.read[heads.lines[request]] = True
        flexible = first == _HASH
        if stop > at + 1:
            fast = some[flexible]
            _hex(text[:, at + 2 : stop], fast[_HEX[text[fast, at + 1]] < 16], heads, found)
        plain = some[~remote & ~flexible]
        if stop == at + 18:
            _hex(text[:, at : at + 16], plain[text[plain, at + 16] == _UNDERSCORE], heads, found)
        elif stop <= at + 16:
            _hex(text[:, at:stop], plain, heads, found)


def _hex(text: Bytes, rows: Ints, heads: _Heads, found: _Found) -> None:
    """Payloads as hexadecimal digits in some rows of `text`; only whole bytes and lengths that exist are frames."""
    width, odd = divmod(text.shape[1], 2)
    if odd or width not in _LENGTHS or not len(rows):
        return
    digits = _HEX[text[rows]]
    good = (digits < 16).all(axis=1)
    if not good.all():
        rows, digits = rows[good], digits[good]
    payload = np.zeros((len(rows), max(width, 8)), np.uint8)
    payload[:, :width] = (digits[:, 0::2] << 4) | digits[:, 1::2]
    length = np.full(len(rows), width, np.uint8)
    lines = heads.lines[rows]
    found.read[lines] = True
    found.parts.append((lines, Frames(heads.time_s[rows], heads.ids[rows], heads.bus[rows], length, payload)))
