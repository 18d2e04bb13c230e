"""Messages of SAE J1939 longer than one frame, put together from their packets (transport protocol, SAE J1939-21).

A sender announces size, number of packets and parameter group: to all (a broadcast announcement), or to one receiver,
which then asks for packets and acknowledges the end. Packets are numbered from 1 and carry seven bytes each. A message
counts only where every packet is in the trace, in order and in time: what a receiver would have thrown away, or could
only guess, is never read. Layouts and times from memory of the standard.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from ridelog.readers.can_lines import EXTENDED, Frames, Ints
from ridelog.words import reading_can

CONTROL, PACKET = 0xEC00, 0xEB00
"""Parameter groups of the frames that manage a transfer, and of those that carry its bytes."""

LEAST_BYTES, MOST_BYTES = 9, 1785
"""Shorter messages fit a frame; 255 packets of seven bytes hold no more."""

PACKET_WAIT_S = 0.75
ANSWER_WAIT_S = 1.25
"""A receiver gives a broadcast up where a packet is later than the first, a connection where nothing came for the
second (times T1 and T2 of the standard)."""

_BROADCAST, _REQUEST, _CLEAR, _DONE, _ABORT = 32, 16, 17, 19, 255
_ALL = 255
_PRIORITY = 6


def is_transport(can_id: int) -> bool:
    """True for the identifiers of transport frames, whoever sends them to whomever."""
    return bool(can_id & EXTENDED) and (can_id >> 8) & 0x3FF00 in (CONTROL, PACKET)


@dataclass
class Transfers:
    """Messages put together: `rows` are their announcing frames, `ids` the identifiers they would bear as single frames
    (priority 6), `data` their bytes. Other transport frames are counted: `joined` carried the rest of these messages,
    `not_whole` belong to ones that can't be believed (`example` tells of the first), `unwanted` counts frames by
    parameter group where nobody describes it."""

    rows: list[int] = field(default_factory=list)
    ids: list[int] = field(default_factory=list)
    data: list[bytes] = field(default_factory=list)
    joined: int = 0
    not_whole: int = 0
    example: str | None = None
    unwanted: Counter[int] = field(default_factory=Counter)


@dataclass
class _Transfer:
    can_id: int
    group: int
    size: int
    packets: int
    broadcast: bool
    last_s: float
    rows: list[int]
    due: int = 1
    data: bytearray = field(default_factory=bytearray)

    def whole(self) -> bool:
        return self.due > self.packets


_Ends = tuple[int, int, int]
"""Bus, sender and receiver of a transfer: there is one at a time between two."""


def put_together(frames: Frames, rows: Ints, wanted: Callable[[int], bool]) -> Transfers:
    """The messages in the transport frames at `rows`, in the order of the file. `wanted` tells by its identifier
    whether a message is described."""
    return _Assembly(wanted).run(frames, rows)


class _Assembly:
    def __init__(self, wanted: Callable[[int], bool]) -> None:
        self.wanted = wanted
        self.open: dict[_Ends, _Transfer] = {}
        self.found = Transfers()

    def run(self, frames: Frames, rows: Ints) -> Transfers:
        payload = np.ascontiguousarray(frames.payload[rows, :8]).tobytes()
        lengths = frames.length[rows].tolist()
        ids, buses, times = frames.ids[rows].tolist(), frames.bus[rows].tolist(), frames.time_s[rows].tolist()
        for at, row in enumerate(rows.tolist()):
            can_id, now = ids[at], times[at]
            data = payload[at * 8 : at * 8 + min(lengths[at], 8)]
            ends = (buses[at], can_id & 0xFF, (can_id >> 8) & 0xFF)
            if (can_id >> 8) & 0x3FF00 == PACKET:
                self._packet(ends, row, data, now)
            elif lengths[at] != 8:
                self._stray(1, reading_can.CONTROL_SHORT, now)
            else:
                self._control(ends, row, data, now)
        for ends in list(self.open):
            self._close(ends, reading_can.TRACE_ENDS)
        # Messages that run side by side end in another order than they begin.
        order = np.argsort(np.array(self.found.rows, np.int64)).tolist()
        self.found.rows = [self.found.rows[one] for one in order]
        self.found.ids = [self.found.ids[one] for one in order]
        self.found.data = [self.found.data[one] for one in order]
        return self.found

    def _control(self, ends: _Ends, row: int, data: bytes, now: float) -> None:
        bus, sender, receiver = ends
        what, group = data[0], int.from_bytes(data[5:8], "little")
        if what in (_BROADCAST, _REQUEST):
            self._begin(ends, row, data, now)
            return
        back = (bus, receiver, sender)
        for one in (ends, back) if what == _ABORT else (back,):
            transfer = self.open.get(one)
            if transfer is None or transfer.broadcast or transfer.group != group:
                continue
            if self._late(one, now):
                continue
            transfer.rows.append(row)
            transfer.last_s = now
            if what == _ABORT:
                self._fail(one, reading_can.CALLED_OFF)
            elif what == _DONE:
                self._close(one, reading_can.EARLY_END)
            elif what == _CLEAR and data[1]:
                self._asked(one, data[2], data[1])
            elif what != _CLEAR:
                self._fail(one, reading_can.odd_answer(what))
            return
        self._stray(1, reading_can.NOT_OPEN, now)

    def _begin(self, ends: _Ends, row: int, data: bytes, now: float) -> None:
        self._close(ends, reading_can.BEGUN_AGAIN)
        _, sender, receiver = ends
        broadcast = data[0] == _BROADCAST
        size, packets, group = data[1] | data[2] << 8, data[3], int.from_bytes(data[5:8], "little")
        addressed = group & 0xFF00 < 0xF000
        if not LEAST_BYTES <= size <= MOST_BYTES or packets != -(-size // 7):
            self._stray(1, reading_can.odd_size(size, packets), now)
        elif broadcast != (receiver == _ALL) or group > 0x3FFFF or (addressed and group & 0xFF):
            self._stray(1, reading_can.odd_group(group, receiver), now)
        else:
            can_id = EXTENDED | _PRIORITY << 26 | (group | (receiver if addressed else 0)) << 8 | sender
            self.open[ends] = _Transfer(can_id, group, size, packets, broadcast, now, [row])

    def _asked(self, ends: _Ends, number: int, count: int) -> None:
        """The receiver asks for packets; it may ask again for ones that were sent."""
        transfer = self.open[ends]
        if not 1 <= number <= transfer.due or number + count - 1 > transfer.packets:
            self._fail(ends, reading_can.odd_request(number, number + count - 1, transfer.due))
            return
        transfer.due = number
        del transfer.data[(number - 1) * 7 :]

    def _packet(self, ends: _Ends, row: int, data: bytes, now: float) -> None:
        transfer = self.open.get(ends)
        if transfer is None or self._late(ends, now):
            self._stray(1, reading_can.PACKET_ALONE, now)
            return
        transfer.rows.append(row)
        transfer.last_s = now
        missing = min(transfer.size - (transfer.due - 1) * 7, 7)
        if transfer.whole() or not data or data[0] != transfer.due:
            came = f"packet {data[0]}" if data else "an empty packet"
            due = "none" if transfer.whole() else str(transfer.due)
            self._fail(ends, reading_can.not_due(came, due))
        elif len(data) < 1 + missing:
            self._fail(ends, reading_can.packet_short(transfer.due, len(data)))
        else:
            transfer.data += data[1 : 1 + missing]
            transfer.due += 1
            if transfer.whole() and transfer.broadcast:
                self._close(ends, "")

    def _late(self, ends: _Ends, now: float) -> bool:
        """Closes a transfer for which nobody would have waited so long (or whose clock ran back)."""
        transfer = self.open[ends]
        pause = now - transfer.last_s
        if 0.0 <= pause <= (PACKET_WAIT_S if transfer.broadcast else ANSWER_WAIT_S):
            return False
        self._close(ends, reading_can.silence(pause))
        return True

    def _close(self, ends: _Ends, why: str) -> None:
        """End a transfer that may be open: a message where it is whole."""
        transfer = self.open.get(ends)
        if transfer is None:
            return
        if not transfer.whole():
            self._fail(ends, why)
            return
        del self.open[ends]
        if self.wanted(transfer.can_id):
            self.found.rows.append(transfer.rows[0])
            self.found.ids.append(transfer.can_id)
            self.found.data.append(bytes(transfer.data))
            self.found.joined += len(transfer.rows) - 1
        else:
            self.found.unwanted[transfer.group] += len(transfer.rows)

    def _fail(self, ends: _Ends, why: str) -> None:
        transfer = self.open.pop(ends)
        text = reading_can.transfer(transfer.group, ends[1], why)
        self._stray(len(transfer.rows), text, transfer.last_s)

    def _stray(self, frames: int, why: str, now: float) -> None:
        self.found.not_whole += frames
        if self.found.example is None:
            self.found.example = f"{why}, at {now:.6f} s"
