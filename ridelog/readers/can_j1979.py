"""Replies to service 01 of SAE J1979 (ISO 15031-5) on the identifiers 7E8 to 7EF, as single frames of ISO 15765-4."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ridelog.readers.can_lines import Bools, Bytes, Ints

FIRST_REPLY, LAST_REPLY = 0x7E8, 0x7EF
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

_SIZE = np.zeros(256, np.int64)
for _pid, _quantity in QUANTITIES.items():
    _SIZE[_pid] = _quantity.size


@dataclass
class Replies:
    """What became of the frames of the reply identifiers; every frame is in `kept` or in one of the counts.

    `values` holds, a parameter, the frames (row numbers) and their raw numbers.
    """

    kept: Bools
    values: dict[int, tuple[Ints, Ints]] = field(default_factory=dict)
    declined: int = 0
    wrong_length: int = 0
    multi_frame: int = 0
    other_service: int = 0
    other_quantity: Counter[int] = field(default_factory=Counter)


def read_replies(payload: Bytes, length: Bytes) -> Replies:
    """Take service 01 replies apart. `payload` is (n, at least 8), `length` the bytes each frame really had.

    A reply may carry several parameters one behind the other; it counts only where they fill it exactly.
    """
    count = payload[:, 0].astype(np.int64)
    single = (count >> 4 == 0) & (length > 0)
    stated = single & (count >= 1) & (count <= 7) & (count < length)
    service = payload[:, 1]
    positive = stated & (service == _REPLY) & (count >= 2)
    declined = stated & (service == _DECLINED)
    known = positive & (_SIZE[payload[:, 2]] > 0)
    replies = Replies(np.zeros(len(payload), np.bool_))
    replies.declined = int(np.count_nonzero(declined))
    replies.multi_frame = int(np.count_nonzero(~single & (length > 0)))
    replies.other_service = int(np.count_nonzero(stated & (service != _REPLY) & (service != _DECLINED)))
    strange, counts = np.unique(payload[positive & ~known, 2], return_counts=True)
    replies.other_quantity.update(dict(zip(strange.tolist(), counts.tolist(), strict=True)))

    end = np.where(known, count + 1, 0)
    at = np.where(known, 2, 0)
    active = np.flatnonzero(known)
    found: list[tuple[Ints, Ints, Ints]] = []
    while len(active):
        pid = payload[active, at[active]].astype(np.int64)
        size = _SIZE[pid]
        after = at[active] + 1 + size
        fits = (size > 0) & (after <= end[active])
        rows, pid, size = active[fits], pid[fits], size[fits]
        raw = payload[rows, at[rows] + 1].astype(np.int64)
        wide = size == 2
        raw[wide] = raw[wide] * 256 + payload[rows[wide], at[rows[wide]] + 2]
        found.append((rows, pid, raw))
        at[rows] += 1 + size
        active = rows[at[rows] < end[rows]]
    replies.kept = known & (at == end)
    replies.wrong_length = len(payload) - int(np.count_nonzero(replies.kept)) - (
        replies.declined + replies.multi_frame + replies.other_service + replies.other_quantity.total()
    )  # fmt: skip
    for code in QUANTITIES:
        rows = np.concatenate([np.zeros(0, np.int64), *(rows[pid == code] for rows, pid, _ in found)])
        raw = np.concatenate([np.zeros(0, np.int64), *(raw[pid == code] for _, pid, raw in found)])
        whole = replies.kept[rows]
        if whole.any():
            replies.values[code] = (rows[whole], raw[whole])
    return replies
