"""ISO 15765-2 at one sender: single frames, and messages of a first frame and consecutive ones, put together again.

A message counts only where all of it is in the trace, in order and without a pause longer than a receiver waits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.readers.can_bits import Floats
from ridelog.readers.can_lines import Bools, Bytes, Ints
from ridelog.words import reading_can

WAIT_S = 1.0
"""A receiver gives up a message whose next frame does not come within this time (ISO 15765-2, from memory)."""

_SINGLE, _FIRST, _NEXT = 0, 1, 2
_IN_FIRST, _IN_NEXT = 6, 7
"""Bytes of a message in its first frame and in each that follows."""


@dataclass(frozen=True)
class Parts:
    """The messages of one sender in the order of their first frames.

    `rows` are those frames (row numbers), `length` the bytes of each message, `payload` (n, width) its first bytes: as
    many as were asked for, zero behind its end. Every other frame is in one of the counts: `joined` carry the rest of
    messages, `misstated` are single frames whose stated length can't be, `broken` belong to messages not all of which
    came, `foreign` are neither. `example` tells of the first broken message.
    """

    rows: Ints
    length: Ints
    payload: Bytes
    joined: int
    misstated: int
    broken: int
    foreign: int
    example: str | None


def assemble(payload: Bytes, length: Bytes, time_s: Floats, most: int) -> Parts:
    """Messages out of a sender's frames; the first `most` bytes of each are handed over (32 or less).

    `payload` is (n, at least 8), `length` the bytes each frame really had, `time_s` its stamp.
    """
    head = payload[:, 0].astype(np.int64)
    kind = np.where(length > 0, head >> 4, -1)
    stated = head & 15
    single = (kind == _SINGLE) & (stated >= 1) & (stated <= 7) & (stated < length)
    misstated = int(np.count_nonzero((kind == -1) | ((kind == _SINGLE) & ~single)))
    begins = (kind == _SINGLE) | (kind == _FIRST)
    whole, joined, broken, example = _long(payload, length, time_s, kind)
    rows = np.flatnonzero(single | whole)
    long = whole[rows]
    width = most if long.any() else min(most, _IN_NEXT)
    bytes_: Bytes = np.zeros((len(rows), width), np.uint8)
    size = stated[rows]
    bytes_[:, : min(width, 7)] = payload[rows, 1 : 1 + min(width, 7)]
    bytes_[np.arange(width) >= size[:, None]] = 0
    if long.any():
        at = rows[long]
        size[long] = (stated[at] << 8) | payload[at, 1]
        bytes_[long] = _joined(payload, at, np.flatnonzero(begins | (kind == _NEXT)), size[long], width)
    foreign = int(np.count_nonzero(kind > _NEXT))
    return Parts(rows, size, bytes_, joined, misstated, broken, foreign, example)


def _long(payload: Bytes, length: Bytes, time_s: Floats, kind: Ints) -> tuple[Bools, int, int, str | None]:
    """First frames of whole messages, the frames that follow these, and those of messages that are not whole."""
    whole: Bools = np.zeros(len(kind), np.bool_)
    some = np.flatnonzero((kind >= _SINGLE) & (kind <= _NEXT))
    follows = kind[some] == _NEXT
    starts = np.flatnonzero(~follows)  # a single frame ends the message before it just as a first frame does
    if not (kind == _FIRST).any():
        return whole, 0, int(np.count_nonzero(follows)), None
    first = some[starts]
    size = ((payload[first, 0].astype(np.int64) & 15) << 8) | payload[first, 1]
    valid = (kind[first] == _FIRST) & (length[first] == 8) & (size > _IN_NEXT)
    needed = np.where(valid, -(-(size - _IN_FIRST) // _IN_NEXT), 0)
    owner = np.cumsum(~follows) - 1
    here = np.flatnonzero(follows & (owner >= 0))
    message, frame = owner[here], some[here]
    place = here - starts[message]
    pause = time_s[frame] - time_s[some[here - 1]]
    last = size[message] - _IN_FIRST - (place - 1) * _IN_NEXT
    good = (
        (place <= needed[message])
        & ((payload[frame, 0] & 15) == place % 16)
        & (pause >= 0.0)
        & (pause <= WAIT_S)
        & (length[frame] <= 8)
        & (length[frame] >= 1 + np.minimum(last, _IN_NEXT))
    )
    came = np.bincount(message[good], minlength=len(starts))
    done = valid & (came == needed)
    whole[first[done]] = True
    joined = int(needed[done].sum())
    firsts = kind[first] == _FIRST
    broken = int(np.count_nonzero(follows)) - joined + int(np.count_nonzero(firsts & ~done))
    example = None
    failed = np.flatnonzero(firsts & ~done)
    if len(failed):
        one = int(failed[0])
        example = reading_can.reply_broken(time_s[first[one]], came[one], needed[one])
    return whole, joined, broken, example


def _joined(payload: Bytes, at: Ints, frames: Ints, size: Ints, width: int) -> Bytes:
    """The first `width` bytes of whole messages that begin at rows `at`; `frames` are all rows a message may use."""
    place = np.searchsorted(frames, at)
    text = np.zeros((len(at), width + _IN_NEXT), np.uint8)
    text[:, :_IN_FIRST] = payload[at, 2:8]
    for number in range(1, -(-(width - _IN_FIRST) // _IN_NEXT) + 1):
        begin = _IN_FIRST + (number - 1) * _IN_NEXT
        there = np.flatnonzero(size > begin)
        text[there, begin : begin + _IN_NEXT] = payload[frames[place[there] + number], 1:8]
    text = text[:, :width]
    text[np.arange(width) >= size[:, None]] = 0
    return text
