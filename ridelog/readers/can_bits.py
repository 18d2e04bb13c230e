"""Numbers out of payloads: one signal of all frames of a message at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ridelog.readers.can_lines import Bytes

Raws = npt.NDArray[np.uint64]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Place:
    """Where a signal lies in a payload, counted as description files count: `start` is the number of its lowest bit
    (little-endian) or of its highest (big-endian), bit 0 being the lowest of byte 0. `length` is 1 to 64 bits."""

    start: int
    length: int
    big_endian: bool

    @property
    def first_byte(self) -> int:
        """First payload byte the signal touches."""
        return self.start // 8

    @property
    def _first_bit(self) -> int:
        """Bits of the first byte that come before the signal, in the order the signal runs."""
        return 7 - self.start % 8 if self.big_endian else self.start % 8

    @property
    def bytes_needed(self) -> int:
        """Bytes a payload must have to hold the whole signal."""
        return self.first_byte + (self._first_bit + self.length + 7) // 8

    def bits(self) -> int:
        """The bits the signal is made of, one bit of the answer each, for finding signals that claim the same ones."""
        if not self.big_endian:
            return ((1 << self.length) - 1) << self.start
        run = range(self.first_byte * 8 + self._first_bit, self.first_byte * 8 + self._first_bit + self.length)
        return sum(1 << (bit // 8 * 8 + 7 - bit % 8) for bit in run)

    def raw(self, payload: Bytes) -> Raws:
        """The unsigned bits of the signal, one number a frame. `payload` (n, width) must be `bytes_needed` wide."""
        window = np.zeros((len(payload), 8), np.uint8)
        count = self.bytes_needed - self.first_byte
        window[:, : min(count, 8)] = payload[:, self.first_byte : self.first_byte + min(count, 8)]
        mask = np.uint64((1 << self.length) - 1)
        if self.big_endian:
            word = window.view(">u8").ravel().astype(np.uint64)
            spare = 64 - self._first_bit - self.length
            if spare >= 0:
                return (word >> np.uint64(spare)) & mask
            # Nine bytes: the last bits come from the ninth.
            last = payload[:, self.first_byte + 8].astype(np.uint64) >> np.uint64(8 + spare)
            return ((word << np.uint64(-spare)) | last) & mask
        word = window.view("<u8").ravel() >> np.uint64(self._first_bit)
        if count > 8:
            word |= payload[:, self.first_byte + 8].astype(np.uint64) << np.uint64(64 - self._first_bit)
        return word & mask


def signed(raw: Raws, length: int) -> npt.NDArray[np.int64]:
    """Two's complement of `length` bits."""
    shift = 64 - length
    return (raw << np.uint64(shift)).view(np.int64) >> np.int64(shift)


def floating(raw: Raws, length: int) -> Floats:
    """IEEE 754 numbers of 16, 32 or 64 bits."""
    if length == 64:
        return raw.view(np.float64)
    if length == 32:
        return raw.astype(np.uint32).view(np.float32).astype(np.float64)
    return raw.astype(np.uint16).view(np.float16).astype(np.float64)
