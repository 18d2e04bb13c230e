"""What a reader notes of a CAN trace and of the description of its messages."""

from __future__ import annotations

# the trace

CAN_TEXT = "CAN frames as text, one a line: (seconds) bus identifier#payload"
CUT_FRAME = "the last line has no line end and its frame may be cut off; it was left out"
DAMAGED = "lines that are no whole frame were left out"
REMOTE = "remote requests hold no data and were left out"
ERROR = "error frames of the bus were left out"
UNEXPLAINED = "frames that neither a description nor SAE J1979 explains were left out"


def no_values(signals: str) -> str:
    """Signals of which the trace has no value, by name."""
    return f"signals without a single value were left out: {signals}"


# the description; `message` and `signal` are names in it


def same_identifier(message: str, other: str) -> str:
    """Two messages with one identifier."""
    return f"message {message} was left out: it has the identifier of message {other}"


def signal_left_out(signal: str, message: str, why: str) -> str:
    """A signal that can't be read."""
    return f"signal {signal} of message {message} was left out: {why}"


def signal_overlaps(signal: str, message: str, other: str) -> str:
    """Signals that share bits."""
    return f"signal {signal} of message {message} was left out: it claims the same bits as {other}"


def selector_unusable(signal: str, message: str) -> str:
    """A signal whose selector is no signal here."""
    return f"signal {signal} of message {message} was left out: its selector can't be used"


def range_unused(signal: str, message: str, low: float, high: float) -> str:
    """A range that holds nothing."""
    return f"the range of signal {signal} of message {message} is {low:g} to {high:g} and was not used"


def no_place(bits: int, first: int) -> str:
    """A place outside any frame."""
    return f"{bits} bits from bit {first} is no place"


def no_float(bits: int) -> str:
    """A length that no floating-point number has."""
    return f"a floating-point number can't have {bits} bits"


def too_long(needs: int, has: int) -> str:
    """A signal that reaches beyond its message, in bytes."""
    return f"it needs {needs} bytes and the message has {has}"


# frames of described messages; `origin` is identifier and bus


def frames_too_short(message: str, origin: str) -> str:
    """Frames in which no signal is whole."""
    return f"frames of message {message} ({origin}) too short for any of its signals were left out"


def frames_short(message: str, origin: str) -> str:
    """Frames in which some are not."""
    return (
        f"frames of message {message} ({origin}) are shorter than its description; signals that are not whole have no "
        "value there"
    )


def all_ones(message: str, origin: str) -> str:
    """Frames of nothing but ones."""
    return (
        f"frames of message {message} ({origin}) are all FF, as from a sender that has nothing to say; values inside "
        "the described range were kept, but check them before you trust them"
    )


def signal_of(signal: str, message: str, origin: str) -> str:
    """A signal and where it comes from."""
    return f"{signal} of message {message} ({origin})"


def no_value(signal: str, why: str) -> str:
    """Values of a signal (see `signal_of`) that are none."""
    return f"{signal}: {why} and count as no value"


# why; each reads on with "and count as no value"

NOT_A_NUMBER = "values are no number"
INVALID = "values mean invalid by the description"
NOT_AVAILABLE = "values mean not available"
RESERVED = "values mean an error or are reserved"


def under(low: float) -> str:
    """Under the range of the description."""
    return f"values are under the described {low:g}"


def over(high: float) -> str:
    """Above it."""
    return f"values are above the described {high:g}"


# messages of several frames

LONGER_BROKEN = "frames of longer messages that are not whole in the trace, in order and in time, were left out"
LONGER_UNKNOWN = "frames of longer messages nobody describes were left out"


def in_packets(identifier: str, bus: str) -> str:
    """Where a message of several packets comes from."""
    return f"{identifier} on {bus}, in packets"


def packets_joined(messages: int) -> str:
    """Packets that were put together."""
    return (
        f"frames with packets, requests and answers were put together to {messages:,} longer messages, each of which "
        "has one row at the time it was announced"
    )


# why one of them is not whole; each reads on with "at ... s"

CONTROL_SHORT = "a frame that manages a transfer has not its 8 bytes"
TRACE_ENDS = "the trace ends before it does"
CALLED_OFF = "it was called off"
EARLY_END = "it was acknowledged before all of its packets came"
NOT_OPEN = "an answer to a transfer that is not open"
BEGUN_AGAIN = "another one was begun before its end"
PACKET_ALONE = "a packet without an open transfer"


def odd_answer(kind: int) -> str:
    """A frame in a transfer that the standard does not know."""
    return f"it was answered by a frame of kind {kind}"


def odd_request(first: int, last: int, due: int) -> str:
    """Packets were asked for that can't be next."""
    return f"packets {first} to {last} were asked for where {due} was due"


def not_due(came: str, due: str) -> str:
    """A packet out of order."""
    return f"{came} came where {due} was due"


def packet_short(number: int, size: int) -> str:
    """A packet whose bytes are too few."""
    return f"packet {number} has {size} bytes"


def silence(pause_s: float) -> str:
    """A pause nobody would wait for."""
    return f"nothing came for {pause_s:.3f} s"


def odd_size(size: int, packets: int) -> str:
    """An announcement whose figures contradict each other."""
    return f"{size} bytes in {packets} packets were announced, which can't be"


def odd_group(group: int, address: int) -> str:
    """An announcement to an address its group does not go to."""
    return f"an announcement of group {group:05X} to address {address} can't be"


def transfer(group: int, sender: int, why: str) -> str:
    """Which transfer it was."""
    return f"group {group:05X} from {sender:02X}: {why}"


def reply_broken(time_s: float, came: int, needed: int) -> str:
    """A reply of several frames that is not whole."""
    return f"the one begun at {time_s:.6f} s, {came} of {needed} further frames in order"


# replies of SAE J1979


def replies_joined(origin: str) -> str:
    """Frames with the rest of a longer reply."""
    return f"frames of {origin} with the rest of longer replies were joined to the first one, which has the row"


def declined(origin: str) -> str:
    """Replies that say no."""
    return f"negative replies of {origin} hold no value"


def wrong_length(origin: str) -> str:
    """Replies that are too long or too short."""
    return f"replies of {origin} whose length does not fit what they answer"


def replies_broken(origin: str) -> str:
    """Longer replies that are not whole."""
    return f"frames of longer replies of {origin} that are not whole in the trace, in order and in time"


def no_reply(origin: str) -> str:
    """Frames that can't be placed."""
    return f"frames of {origin} that are no part of a reply"


def other_service(origin: str) -> str:
    """Replies to another kind of request."""
    return f"replies of {origin} to other services than 01"


def other_quantities(origin: str) -> str:
    """Replies with nothing that is read here."""
    return f"replies of {origin} about quantities that are not read here"


def left_out(what: str) -> str:
    """What became of one of these."""
    return f"{what}; they were left out"


def quantities_unread(origin: str) -> str:
    """Quantities beside others that are read."""
    return f"quantities in replies of {origin} that are not read here were passed over"


def broken_sensor(quantity: str, origin: str, value: float, unit: str) -> str:
    """A value that may be no measurement."""
    return (
        f"{quantity} of {origin} reads {value:g} {unit}, which a broken sensor circuit gives as well; the values were "
        "kept, but check them before you trust them"
    )
