"""Message description files (.dbc): which signals a message holds, where, in what unit and range."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ridelog.errors import InputRefused
from ridelog.readers.can_bits import Place
from ridelog.readers.can_lines import EXTENDED
from ridelog.ride import Note
from ridelog.words import reading_can

if TYPE_CHECKING:
    from cantools.database.can import Message as SourceMessage
    from cantools.database.can import Signal as SourceSignal

_MOST_BYTES = 64 * 1024 * 1024
_MOST_MESSAGES = 20_000
_NO_VALUE = re.compile(r"\b(?:sna|not (?:available|avail|valid)|unavailable|invalid|error)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Signal:
    """One signal: value = raw * scale + offset, in `unit`. `low`..`high` is the range the description gives, None where
    it gives none. `no_value` are raw numbers the description calls invalid. `selector` names the signal whose raw
    number must be one of `selected_by` for this one to be in the frame."""

    name: str
    unit: str | None
    place: Place
    signed: bool
    floating: bool
    scale: float
    offset: float
    low: float | None
    high: float | None
    no_value: tuple[int, ...] = ()
    selector: str | None = None
    selected_by: tuple[int, ...] = ()


@dataclass(frozen=True)
class Message:
    """One message. `can_id` holds EXTENDED for a 29-bit identifier. With `j1939` it is matched by its parameter group,
    whatever the priority and the sender."""

    name: str
    can_id: int
    j1939: bool
    length: int
    signals: tuple[Signal, ...]


@dataclass(frozen=True)
class Description:
    """A whole description file, with notes on what in it can't be used."""

    messages: tuple[Message, ...]
    notes: tuple[Note, ...]


def parameter_group(can_id: int) -> int:
    """Parameter group number of a 29-bit identifier (SAE J1939-21): below PDU format 240 the low byte is an address."""
    group = (can_id >> 8) & 0x3FFFF
    return group if group & 0xFF00 >= 0xF000 else group & 0x3FF00


def load_description(path: Path) -> Description:
    """Read a description file. Raises InputRefused where the library for it is missing or the file can't be used."""
    try:
        import cantools
    except ImportError as error:
        raise InputRefused(
            "message description files need a library that is not installed",
            where=path.name,
            expected="ridelog installed with the extra 'can'",
            to_do="run: pip install 'ridelog[can]'",
        ) from error
    try:
        size = path.stat().st_size
        if size > _MOST_BYTES:
            raise _refused(path, f"it has {size:,} bytes, more than a description ever needs")
        data = path.read_bytes()
    except OSError as error:
        raise _refused(path, f"it can't be read ({error.strerror or error})") from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    log = logging.getLogger("cantools")
    was_silent, log.disabled = log.disabled, True  # what it warns of is looked for below, and told as notes
    try:
        # Not strict: a fault in one message must not cost the others; faults are looked for below.
        source: Any = cantools.database.load_string(text, "dbc", strict=False)
        messages: list[SourceMessage] = list(source.messages)
        everywhere = _is_j1939(source)
    except Exception as error:  # whatever the library raises on a file it can't read
        first = (str(error).strip().splitlines() or [type(error).__name__])[0][:200]
        raise _refused(path, f"it is not a message description ({first})") from error
    finally:
        log.disabled = was_silent
    if len(messages) > _MOST_MESSAGES:
        raise _refused(path, f"it describes {len(messages):,} messages, more than any bus has")
    notes: list[Note] = []
    read = tuple(_message(message, everywhere, notes) for message in messages)
    usable = _distinct(tuple(message for message in read if message.signals), notes)
    if not usable:
        raise _refused(path, "it describes no signal that can be read", notes)
    return Description(usable, tuple(notes))


def _distinct(messages: Sequence[Message], notes: list[Note]) -> tuple[Message, ...]:
    """The messages, without those whose identifier an earlier one has."""
    first: dict[int, str] = {}
    kept: list[Message] = []
    for message in messages:
        if message.can_id in first:
            text = reading_can.same_identifier(message.name, first[message.can_id])
            notes.append(Note("description_message", text))
        else:
            first[message.can_id] = message.name
            kept.append(message)
    return tuple(kept)


def _refused(path: Path, found: str, notes: Iterable[Note] = ()) -> InputRefused:
    return InputRefused(
        " ".join([found, *(f"({note.sentence()})" for note in notes)]),
        where=f"description {path.name}",
        expected="a .dbc file with messages and their signals",
        to_do="correct the description, or leave it out to read SAE J1979 replies alone",
    )


def _is_j1939(source: Any) -> bool:
    specifics = getattr(source, "dbc", None)
    kind = specifics.attributes.get("ProtocolType") if specifics and specifics.attributes else None
    return kind is not None and "J1939" in str(kind.value).upper()


def _message(source: SourceMessage, j1939_everywhere: bool, notes: list[Note]) -> Message:
    extended = bool(source.is_extended_frame)
    can_id = source.frame_id | (EXTENDED if extended else 0)
    j1939 = extended and (source.protocol == "j1939" or j1939_everywhere)
    signals: list[Signal] = []
    for signal in source.signals:
        place = Place(signal.start, signal.length, signal.byte_order == "big_endian")
        fault = _fault(signal, place, source.length)
        if fault:
            notes.append(Note("description_signal", reading_can.signal_left_out(signal.name, source.name, fault)))
        else:
            signals.append(_signal(signal, place, source.name, notes))
    clashing = _clashes(signals)
    for name, other in sorted(clashing.items()):
        notes.append(
            Note(
                "description_overlap",
                reading_can.signal_overlaps(name, source.name, other),
            )
        )
    kept = {signal.name for signal in signals} - clashing.keys()
    whole = tuple(signal for signal in signals if _reachable(signal, {one.name: one for one in signals}, kept))
    notes.extend(
        Note(
            "description_signal",
            reading_can.selector_unusable(signal.name, source.name),
        )
        for signal in signals
        if signal.name in kept and signal not in whole
    )
    return Message(source.name, can_id, j1939, source.length, whole)


def _fault(signal: SourceSignal, place: Place, message_bytes: int) -> str | None:
    if not 1 <= signal.length <= 64 or signal.start < 0:
        return reading_can.no_place(signal.length, signal.start)
    if signal.conversion.is_float and signal.length not in (16, 32, 64):
        return reading_can.no_float(signal.length)
    if place.bytes_needed > message_bytes:
        return reading_can.too_long(place.bytes_needed, message_bytes)
    return None


def _signal(source: SourceSignal, place: Place, message: str, notes: list[Note]) -> Signal:
    low = None if source.minimum is None else float(source.minimum)
    high = None if source.maximum is None else float(source.maximum)
    if low is not None and high is not None and low >= high:
        notes.append(
            Note(
                "description_range",
                reading_can.range_unused(source.name, message, low, high),
            )
        )
        low = high = None
    choices: Mapping[int, object] = source.conversion.choices or {}
    no_value = [raw for raw, text in choices.items() if _NO_VALUE.search(str(text).replace("_", " "))]
    return Signal(
        source.name,
        source.unit or None,
        place,
        bool(source.is_signed),
        bool(source.conversion.is_float),
        float(source.conversion.scale),
        float(source.conversion.offset),
        low,
        high,
        tuple(sorted(no_value)),
        source.multiplexer_signal,
        tuple(source.multiplexer_ids or ()),
    )


def _clashes(signals: list[Signal]) -> dict[str, str]:
    """Signals that share bits with another one that can be in the same frame -> that other one."""
    by_name = {signal.name: signal for signal in signals}
    bits = {signal.name: signal.place.bits() for signal in signals}
    conditions = {signal.name: _conditions(signal, by_name) for signal in signals}
    found: dict[str, str] = {}
    for number, one in enumerate(signals):
        for other in signals[number + 1 :]:
            if bits[one.name] & bits[other.name] and not _exclusive(conditions[one.name], conditions[other.name]):
                found.setdefault(one.name, other.name)
                found.setdefault(other.name, one.name)
    return found


def _conditions(signal: Signal, by_name: dict[str, Signal]) -> dict[str, frozenset[int]]:
    """Selectors and their numbers that have to hold for a signal to be in a frame."""
    found: dict[str, frozenset[int]] = {}
    at: Signal | None = signal
    while at is not None and at.selector is not None and at.selector not in found:
        found[at.selector] = frozenset(at.selected_by)
        at = by_name.get(at.selector)
    return found


def _exclusive(one: dict[str, frozenset[int]], other: dict[str, frozenset[int]]) -> bool:
    return any(not (numbers & other[selector]) for selector, numbers in one.items() if selector in other)


def _reachable(signal: Signal, by_name: dict[str, Signal], kept: set[str]) -> bool:
    """True where a signal and every selector above it can be read."""
    seen: set[str] = set()
    while signal.name in kept and signal.name not in seen:
        if signal.selector is None:
            return True
        seen.add(signal.name)
        if signal.selector not in by_name:
            return False
        signal = by_name[signal.selector]
    return False
