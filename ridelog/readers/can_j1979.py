"""Replies to service 01 of SAE J1979 (ISO 15031-5): which identifiers they come on, and what is in them.

ISO 15765-4 gives replies the identifiers 7E8 to 7EF, or with 29 bits 18DAF100 to 18DAF1FF, whose last byte is the
sender (from memory). One reply may hold up to six parameters, one behind the other.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ridelog.readers.can_lines import EXTENDED, Bools, Bytes, Ints

_FIRST_REPLY, _LAST_REPLY = 0x7E8, 0x7EF
_REPLY_29 = 0x18DAF100
_REPLY, _DECLINED = 0x41, 0x7F


@dataclass(frozen=True)
class Quantity:
    """One parameter of the service: value = raw * numerator / denominator + offset, raw being `size` bytes, high first.

    `doubtful` are raw values that the standard allows but a broken sensor circuit or a blank gives as well.
    """

    name: str
    unit: str
    size: int
    numerator: float = 1.0
    denominator: float = 1.0
    offset: float = 0.0
    doubtful: tuple[int, ...] = ()

    def values(self, raw: Ints) -> npt.NDArray[np.float64]:
        """Raw numbers to the quantity's unit."""
        return raw.astype(np.float64) * self.numerator / self.denominator + self.offset


# Names are those the English name table knows, so that each finds its channel; the load has none and stays raw.
# An open temperature sensor circuit reads 00 (-40 C), a shorted one FF (215 C).
QUANTITIES: dict[int, Quantity] = {
    0x04: Quantity("Calculated engine load", "%", 1, 100.0, 255.0),
    0x05: Quantity("Engine coolant temperature", "C", 1, offset=-40.0, doubtful=(0x00, 0xFF)),
    0x0C: Quantity("Engine speed", "1/min", 2, denominator=4.0, doubtful=(0xFFFF,)),
    0x0D: Quantity("Vehicle speed", "km/h", 1, doubtful=(0xFF,)),
    0x0E: Quantity("Timing advance", "deg", 1, denominator=2.0, offset=-64.0),
    0x0F: Quantity("Intake air temperature", "C", 1, offset=-40.0, doubtful=(0x00, 0xFF)),
    0x11: Quantity("Absolute throttle position", "%", 1, 100.0, 255.0),
    0x33: Quantity("Barometric pressure", "kPa", 1),
    0x46: Quantity("Ambient air temperature", "C", 1, offset=-40.0, doubtful=(0x00, 0xFF)),
}
"""Parameter identifier -> quantity."""

# Bytes of the parameters 00 to 60 (SAE J1979, from memory), so that one not read here can be stepped over. Those with
# one byte or two by the number of banks (06 to 09, 55 to 58) are left out: what stands behind them is not certain.
_SIZE = np.zeros(256, np.int64)
for _size, _pids in (
    (1, "04 05 0A 0B 0D 0E 0F 11 12 13 1C 1D 1E 2C 2D 2E 2F 30 33 45 46 47 48 49 4A 4B 4C 51 52 5A 5B 5C 5F"),
    (2, "02 03 0C 10 14 15 16 17 18 19 1A 1B 1F 21 22 23 31 32 3C 3D 3E 3F 42 43 44 4D 4E 53 54 59 5D 5E"),
    (4, "00 01 20 24 25 26 27 28 29 2A 2B 34 35 36 37 38 39 3A 3B 40 41 4F 50 60"),
):
    for _pid in bytes.fromhex(_pids):
        _SIZE[_pid] = _size
_READ = np.zeros(256, np.bool_)
_READ[list(QUANTITIES)] = True

LONGEST = 31
"""Bytes of the longest reply: the service and six parameters of four bytes."""


def is_reply(can_id: int) -> bool:
    """True for the identifiers replies come on."""
    if can_id & EXTENDED:
        return can_id & 0x1FFFFF00 == _REPLY_29
    return _FIRST_REPLY <= can_id <= _LAST_REPLY


@dataclass
class Replies:
    """What became of the messages of a reply identifier; every one is in `kept` or in one of the counts.

    `values` holds, a parameter, the messages (row numbers) and their raw numbers. `other_quantity` counts messages
    without a quantity that is read here by the first one they hold, `passed_over` such quantities in kept messages.
    """

    kept: Bools
    values: dict[int, tuple[Ints, Ints]] = field(default_factory=dict)
    declined: int = 0
    wrong_length: int = 0
    other_service: int = 0
    other_quantity: Counter[int] = field(default_factory=Counter)
    passed_over: Counter[int] = field(default_factory=Counter)


def read_replies(payload: Bytes, length: Ints) -> Replies:
    """Take service 01 replies apart. `payload` (n, width) begins with the service, `length` is that of each message.

    A reply may carry several parameters one behind the other; it counts only where they fill it exactly.
    """
    service = payload[:, 0]
    positive = (service == _REPLY) & (length >= 2)
    declined = service == _DECLINED
    replies = Replies(np.zeros(len(payload), np.bool_))
    replies.declined = int(np.count_nonzero(declined))
    replies.other_service = int(np.count_nonzero((service != _REPLY) & ~declined))
    room = np.minimum(length, payload.shape[1])
    at: Ints = np.ones(len(payload), np.int64)
    useful: Bools = np.zeros(len(payload), np.bool_)
    strange: Bools = np.zeros(len(payload), np.bool_)
    active = np.flatnonzero(positive)
    found: list[tuple[Ints, Ints, Ints]] = []
    while len(active):
        pid = payload[active, at[active]].astype(np.int64)
        size = _SIZE[pid]
        strange[active[(size == 0) & (at[active] + 1 < room[active])]] = True
        fits = (size > 0) & (at[active] + 1 + size <= room[active])
        rows, pid, size = active[fits], pid[fits], size[fits]
        raw = payload[rows, at[rows] + 1].astype(np.int64)
        wide = size == 2
        raw[wide] = raw[wide] * 256 + payload[rows[wide], at[rows[wide]] + 2]
        found.append((rows, pid, raw))
        useful[rows] |= _READ[pid]
        at[rows] += 1 + size
        active = rows[at[rows] < room[rows]]
    filled = positive & (at == length)
    replies.kept = filled & useful
    other = (filled & ~useful) | (positive & strange)
    replies.wrong_length = int(np.count_nonzero(~replies.kept & ~other & (service == _REPLY)))
    replies.other_quantity.update(payload[other, np.where(strange, at, 1)[other]].tolist())
    all_rows, all_pids, all_raw = (
        np.concatenate([np.zeros(0, np.int64), *(part[column] for part in found)]) for column in range(3)
    )
    whole = replies.kept[all_rows]
    replies.passed_over.update(all_pids[whole & ~_READ[all_pids]].tolist())
    for code in QUANTITIES:
        some = whole & (all_pids == code)
        if some.any():
            order = np.argsort(all_rows[some], kind="stable")
            replies.values[code] = (all_rows[some][order], all_raw[some][order])
    return replies
