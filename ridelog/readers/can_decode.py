"""Frames of a CAN trace to columns: every frame of one message and sender at a time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ridelog.readers.can_bits import Floats, Raws, floating, signed
from ridelog.readers.can_description import Message, Signal, parameter_group
from ridelog.readers.can_isotp import assemble
from ridelog.readers.can_j1979 import LONGEST, QUANTITIES, is_reply, read_replies
from ridelog.readers.can_lines import EXTENDED, Bools, Bytes, Frames, Ints
from ridelog.readers.can_transport import Transfers, is_transport, put_together
from ridelog.ride import Note
from ridelog.words import reading_can

_J1979, _TRANSPORT = -1, -2
"""What `Messages.owner` answers for the replies read without a description, and for the frames of J1939 that carry
parts of longer messages."""

# SAE J1939-71: raw numbers kept for "not available" and "error", by length in bits -> (lowest error, lowest not
# available). From the error value up nothing is a measurement; for lengths the standard has no row for, all ones.
_J1939_TOP: dict[int, tuple[int, int]] = {
    2: (0b10, 0b11),
    4: (0xE, 0xF),
    8: (0xFB, 0xFF),
    16: (0xFB00, 0xFF00),
    32: (0xFB00_0000, 0xFF00_0000),
}


_NO_PRIORITY = ~(7 << 26)


@dataclass(frozen=True)
class Piece:
    """Values of one signal from one sender: `rows` count into the kept frames. `name` is what the column is called
    where no other bears the same, `origin` tells which message and sender it came from."""

    name: str
    unit: str | None
    origin: str
    rows: Ints
    values: Floats


@dataclass
class Decoded:
    """All pieces, the frames that are rows of the table (`kept`), and notes; frames not kept are counted in notes whose
    kind begins with `left_out_`."""

    kept: Bools
    pieces: list[Piece] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)


class Messages:
    """Which identifiers can be decoded: those of a description, and replies of SAE J1979 it does not speak of."""

    def __init__(self, described: Sequence[Message]) -> None:
        self._described = tuple(described)
        self._exact: dict[int, int] = {}
        self._senders: dict[int, int] = {}
        self._groups: dict[int, int] = {}
        for number, message in enumerate(self._described):
            self._exact.setdefault(message.can_id, number)
            if message.j1939:
                self._senders.setdefault(message.can_id & _NO_PRIORITY, number)
                self._groups.setdefault(parameter_group(message.can_id), number)

    def message(self, owner: int) -> Message | None:
        """The described message a number from `owner` stands for; None for J1979 replies and transport frames."""
        return None if owner < 0 else self._described[owner]

    def owner(self, can_id: int) -> int | None:
        """Which message an identifier belongs to, None for one nobody describes."""
        exact = self._exact.get(can_id)
        if exact is not None and not self._described[exact].j1939:
            return exact
        if can_id & EXTENDED and self._groups:
            if is_transport(can_id):
                return _TRANSPORT
            found = self._senders.get(can_id & _NO_PRIORITY, self._groups.get(parameter_group(can_id)))
            if found is not None:
                return found
        return _J1979 if is_reply(can_id) else None

    def described(self, can_id: int) -> bool:
        """Whether a message with this identifier is described."""
        owner = self.owner(can_id)
        return owner is not None and owner >= 0

    def wanted(self, ids: npt.NDArray[np.uint32]) -> Bools:
        """Which of some distinct identifiers can be decoded."""
        return np.array([self.owner(can_id) is not None for can_id in ids.tolist()], np.bool_)


def id_text(can_id: int) -> str:
    """An identifier as the trace writes it: 3 hexadecimal digits, 8 for a 29-bit one."""
    return f"{can_id & 0x1FFFFFFF:08X}" if can_id & EXTENDED else f"{can_id:03X}"


def decode(frames: Frames, messages: Messages, buses: Sequence[str]) -> Decoded:
    """All signals of all frames, grouped by message, sender and bus, in a fixed order."""
    result = Decoded(np.ones(len(frames), np.bool_))
    key = (frames.ids.astype(np.int64) << 8) | frames.bus
    order = np.argsort(key, kind="stable")
    groups = [group for group in np.split(order, np.flatnonzero(np.diff(key[order])) + 1) if len(group)]
    named = [(int(frames.ids[group[0]]), buses[frames.bus[group[0]]], group) for group in groups]
    parts: list[Ints] = []
    for can_id, bus, rows in sorted(named, key=lambda one: one[:2]):
        owner = messages.owner(can_id)
        if owner is None:
            raise ValueError(f"a frame nobody describes was kept: {id_text(can_id)}")
        message = messages.message(owner)
        origin = f"{id_text(can_id)} on {bus}"
        if message is not None:
            received = _Received(origin, rows, frames.length[rows].astype(np.int64), frames.payload[rows])
            _described(received, message, result)
        elif owner == _TRANSPORT:
            parts.append(rows)
        else:
            _replies(frames, rows, origin, result)
    if parts:
        _transported(frames, np.sort(np.concatenate(parts)), messages, buses, result)
    return result


def _transported(frames: Frames, rows: Ints, messages: Messages, buses: Sequence[str], result: Decoded) -> None:
    """Messages of several packets, each in the row of its announcement: then its sender had put the values in it."""
    found = put_together(frames, rows, messages.described)
    result.kept[rows] = False
    result.kept[found.rows] = True
    result.notes.extend(_transport_notes(found))
    groups: dict[tuple[int, str], list[int]] = {}
    for number, (row, can_id) in enumerate(zip(found.rows, found.ids, strict=True)):
        groups.setdefault((can_id, buses[frames.bus[row]]), []).append(number)
    for (can_id, bus), numbers in sorted(groups.items()):
        owner = messages.owner(can_id)
        message = messages.message(owner) if owner is not None else None
        if message is None:
            raise ValueError(f"a message nobody describes was kept: {id_text(can_id)}")
        needed = max(signal.place.bytes_needed for signal in message.signals)
        payload = np.zeros((len(numbers), needed), np.uint8)
        for place, number in enumerate(numbers):
            data = found.data[number][:needed]
            payload[place, : len(data)] = np.frombuffer(data, np.uint8)
        length = np.array([len(found.data[number]) for number in numbers], np.int64)
        own = np.array([found.rows[number] for number in numbers], np.int64)
        _described(_Received(reading_can.in_packets(id_text(can_id), bus), own, length, payload), message, result)


def _transport_notes(found: Transfers) -> list[Note]:
    notes: list[Note] = []
    if found.joined:
        notes.append(
            Note(
                "left_out_packets",
                reading_can.packets_joined(len(found.rows)),
                rows=found.joined,
            )
        )
    if found.not_whole:
        notes.append(
            Note(
                "left_out_not_whole",
                reading_can.LONGER_BROKEN,
                rows=found.not_whole,
                example=found.example,
            )
        )
    if found.unwanted:
        notes.append(
            Note(
                "left_out_other_messages",
                reading_can.LONGER_UNKNOWN,
                rows=found.unwanted.total(),
                example=", ".join(f"group {group:05X} ({count:,})" for group, count in found.unwanted.most_common(5)),
            )
        )
    return notes


def _replies(frames: Frames, frame_rows: Ints, origin: str, result: Decoded) -> None:
    parts = assemble(frames.payload[frame_rows], frames.length[frame_rows], frames.time_s[frame_rows], LONGEST)
    rows = frame_rows[parts.rows]
    replies = read_replies(parts.payload, parts.length)
    result.kept[frame_rows] = False
    result.kept[rows[replies.kept]] = True
    wrong = replies.wrong_length + parts.misstated
    if parts.joined:
        text = reading_can.replies_joined(origin)
        result.notes.append(Note("left_out_packets", text, rows=parts.joined))
    for kind, text, count, example in (
        ("declined", reading_can.declined(origin), replies.declined, None),
        ("wrong_length", reading_can.wrong_length(origin), wrong, None),
        ("not_whole", reading_can.replies_broken(origin),
         parts.broken, parts.example),
        ("no_reply", reading_can.no_reply(origin), parts.foreign, None),
        ("other_service", reading_can.other_service(origin), replies.other_service, None),
        ("other_quantity", reading_can.other_quantities(origin),
         replies.other_quantity.total(), _pids(replies.other_quantity)),
    ):  # fmt: skip
        if count:
            result.notes.append(Note(f"left_out_{kind}", reading_can.left_out(text), rows=count, example=example))
    if replies.passed_over:
        text = reading_can.quantities_unread(origin)
        total = replies.passed_over.total()
        result.notes.append(Note("quantities_passed_over", text, rows=total, example=_pids(replies.passed_over)))
    for pid, (some, raw) in replies.values.items():
        quantity = QUANTITIES[pid]
        result.pieces.append(Piece(quantity.name, quantity.unit, origin, rows[some], quantity.values(raw)))
        for doubtful in quantity.doubtful:
            count = int(np.count_nonzero(raw == doubtful))
            if count:
                value = float(quantity.values(np.array([doubtful], np.int64))[0])
                result.notes.append(
                    Note(
                        "sentinel",
                        reading_can.broken_sensor(quantity.name, origin, value, quantity.unit),
                        rows=count,
                    )
                )


def _pids(counts: Counter[int]) -> str:
    return ", ".join(f"{pid:02X}" for pid, _ in counts.most_common(5))


@dataclass(frozen=True)
class _Received:
    """The messages of one sender: their rows, the bytes each of them had, and the first (or all) of these."""

    origin: str
    rows: Ints
    length: Ints
    payload: Bytes


def _described(received: _Received, message: Message, result: Decoded) -> None:
    origin, rows, length, payload = received.origin, received.rows, received.length, received.payload
    needed = max(signal.place.bytes_needed for signal in message.signals)
    if needed > payload.shape[1]:
        payload = np.pad(payload, ((0, 0), (0, needed - payload.shape[1])))
    least = min(signal.place.bytes_needed for signal in message.signals)
    empty = length < least
    if empty.any():
        result.kept[rows[empty]] = False
        result.notes.append(
            Note(
                "left_out_short_frames",
                reading_can.frames_too_short(message.name, origin),
                rows=int(np.count_nonzero(empty)),
            )
        )
    short = ~empty & (length < needed)
    if short.any():
        result.notes.append(
            Note(
                "short_frames",
                reading_can.frames_short(message.name, origin),
                rows=int(np.count_nonzero(short)),
                example=f"{int(length[short][0])} of {needed} bytes",
            )
        )
    raws = {signal.name: signal.place.raw(payload) for signal in message.signals}
    by_name = {signal.name: signal for signal in message.signals}
    for signal in message.signals:
        there = _present(signal, by_name, raws, length)
        context = reading_can.signal_of(signal.name, message.name, origin)
        values, missing = _values(signal, raws[signal.name][there], result.notes, context, j1939=message.j1939)
        some = rows[there][~missing]
        result.pieces.append(Piece(signal.name, signal.unit, origin, some, values[~missing]))
    blank = ~empty & (length > 1) & ((received.payload == 0xFF).sum(axis=1) == length)
    if blank.any() and not message.j1939:
        result.notes.append(
            Note(
                "all_ones",
                reading_can.all_ones(message.name, origin),
                rows=int(np.count_nonzero(blank)),
            )
        )


def _present(signal: Signal, by_name: dict[str, Signal], raws: dict[str, Raws], length: Ints) -> Bools:
    """Frames that hold a signal: long enough, and every selector above it set to one of its numbers."""
    there: Bools = length >= signal.place.bytes_needed
    at = signal
    while at.selector is not None:
        chosen = raws[at.selector]
        there = there & np.isin(chosen, np.array(at.selected_by, np.uint64))
        at = by_name[at.selector]
        there = there & (length >= at.place.bytes_needed)
    return there


def _values(signal: Signal, raw: Raws, notes: list[Note], context: str, *, j1939: bool) -> tuple[Floats, Bools]:
    """A signal's values in its unit, and which of them are none; a note for every reason there is."""
    if signal.floating:
        numbers = floating(raw, signal.place.length)
    elif signal.signed:
        numbers = signed(raw, signal.place.length).astype(np.float64)
    else:
        numbers = raw.astype(np.float64)
    with np.errstate(over="ignore", invalid="ignore"):
        values = numbers * signal.scale + signal.offset
    missing: Bools = np.zeros(len(values), np.bool_)

    def drop(which: Bools, kind: str, text: str) -> None:
        which = which & ~missing
        count = int(np.count_nonzero(which))
        if count:
            number = values[which][0]
            shown = f"{number:.6g}{' ' + signal.unit if signal.unit else ''}" if np.isfinite(number) else None
            notes.append(Note(f"cells_{kind}", reading_can.no_value(context, text), rows=count, example=shown))
            missing[which] = True

    drop(~np.isfinite(values), "not_a_number", reading_can.NOT_A_NUMBER)
    if signal.no_value:
        wrong = np.array([number % (1 << signal.place.length) for number in signal.no_value], np.uint64)
        drop(np.isin(raw, wrong), "invalid", reading_can.INVALID)
    if j1939 and signal.place.length > 1 and not signal.floating:
        ones = (1 << signal.place.length) - 1
        error, absent = _J1939_TOP.get(signal.place.length, (ones, ones))
        drop(raw >= np.uint64(absent), "not_available", reading_can.NOT_AVAILABLE)
        drop(raw >= np.uint64(error), "error", reading_can.RESERVED)
    # Descriptions round their limits: half a step beyond is still inside.
    slack = 0.0 if signal.floating else abs(signal.scale) / 2
    if signal.low is not None:
        drop(values < signal.low - slack, "out_of_range", reading_can.under(signal.low))
    if signal.high is not None:
        drop(values > signal.high + slack, "out_of_range", reading_can.over(signal.high))
    return values, missing
