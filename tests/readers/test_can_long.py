"""CAN messages longer than a frame: the transport protocol of J1939, long replies of J1979, 29-bit reply identifiers.

Layouts, limits and times: SAE J1939-21 and ISO 15765-2, -4 from memory; the fields of the announcement frame (command,
size, packets, group) agree with public descriptions of the transport protocol. Values of J1979: the rows of its table.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ridelog.errors import InputRefused
from ridelog.readers.base import ReadOptions
from ridelog.readers.can_text import CanTextReader
from ridelog.ride import RawLog

DESCRIPTION = """VERSION ""
BU_: Box
BO_ 2566839294 Long: 20 Box
 SG_ Serial : 0|8@1+ (1,0) [0|0] "" Box
 SG_ Coolant : 40|8@1+ (1,-40) [0|0] "degC" Box
 SG_ Across : 48|16@1+ (1,0) [0|0] "" Box
 SG_ Turned : 111|16@0+ (1,0) [0|0] "" Box
 SG_ Last : 152|8@1+ (1,0) [0|0] "" Box
BO_ 2565800190 Addressed: 20 Box
 SG_ ToOne : 0|8@1+ (1,0) [0|0] "" Box
 SG_ ToOneLast : 128|8@1+ (1,0) [0|0] "" Box
BO_ 2566844158 Short: 8 Box
 SG_ EngCoolant : 0|8@1+ (1,-40) [-40|210] "degC" Box
BA_DEF_ "ProtocolType" STRING ;
BA_DEF_DEF_ "ProtocolType" "";
BA_ "ProtocolType" "J1939";
"""
"""Group FEDB (to all), EF00 (to one receiver), and FEEE, which fits a frame."""

GROUP = "DBFE00"
"""Group FEDB as an announcement writes it, low byte first."""


def trace(*frames: str, step: float = 0.05) -> str:
    """One frame a line, a twentieth of a second apart unless a frame begins with its own time and a blank."""
    text, now = "", 10.0
    for frame in frames:
        own, _, rest = frame.rpartition(" ")
        now = float(own) if own else now + step
        text += f"({now:.6f}) can0 {rest}\n"
    return text


def read(folder: Path, text: str, description: str | None = DESCRIPTION) -> RawLog:
    """The one table of a trace; every line is a row or counted, every value is finite or null."""
    path = folder / "trace.log"
    path.write_text(text, encoding="ascii")
    told: Path | None = None
    if description is not None:
        told = folder / "bus.dbc"
        told.write_text(description, encoding="utf-8")
    (log,) = CanTextReader().read(path, ReadOptions("trace.log", description=told))
    left_out = sum(note.rows or 0 for note in log.notes if note.kind.startswith("left_out_"))
    assert log.rows_in == log.height + left_out
    assert all(column.values.is_finite().all() for column in log.columns)
    return log


def values(log: RawLog, name: str) -> list[float | None]:
    """Values of the column with this name."""
    return next(column for column in log.columns if column.name == name).values.to_list()


def kinds(log: RawLog) -> dict[str, int | None]:
    """Kind of every note -> its rows."""
    return {note.kind: note.rows for note in log.notes}


def example(log: RawLog, kind: str) -> str:
    """The example of the one note of a kind."""
    (note,) = [note for note in log.notes if note.kind == kind]
    return note.example or ""


# 20 bytes: 64 00 .. with 7B (83 C) in byte 5, 34 12 across the border of the first two packets (bytes 6 and 7), 56 78
# with the high byte first across the next (13 and 14), 2A at the end.
DATA = bytes.fromhex("64000000007B3412000000000056780000000000")[:19] + b"\x2a"


def packets(data: bytes) -> list[str]:
    """Payloads of the packets of a message, the last filled with FF."""
    parts = [data[at : at + 7] for at in range(0, len(data), 7)]
    return [f"{number:02X}" + part.hex().upper().ljust(14, "F") for number, part in enumerate(parts, 1)]


def broadcast(data: bytes = DATA, sender: str = "00", group: str = GROUP) -> list[str]:
    """A message to all: its announcement and its packets."""
    first = f"20{len(data).to_bytes(2, 'little').hex().upper()}{-(-len(data) // 7):02X}FF{group}"
    return [f"1CECFF{sender}#{first}", *(f"1CEBFF{sender}#{packet}" for packet in packets(data))]


def test_a_broadcast_message_is_read_at_the_time_of_its_announcement(tmp_path: Path) -> None:
    frames = broadcast()
    assert frames[0] == "1CECFF00#20140003FFDBFE00"
    assert frames[1] == "1CEBFF00#0164000000007B34"
    log = read(tmp_path, trace("18FEEE00#7BFFFFFFFFFFFFFF", *frames, "18FEEE00#7CFFFFFFFFFFFFFF"))
    assert values(log, "time") == pytest.approx([10.05, 10.1, 10.3])
    assert values(log, "Serial") == [None, 100.0, None]
    assert values(log, "Coolant") == [None, 83.0, None]
    assert values(log, "Across") == [None, float(0x1234), None]
    assert values(log, "Turned") == [None, float(0x5678), None]
    assert values(log, "Last") == [None, 42.0, None]
    assert values(log, "EngCoolant") == [83.0, None, 84.0]
    assert kinds(log)["left_out_packets"] == 3


def test_values_are_those_the_reference_library_reads_from_the_whole_payload(tmp_path: Path) -> None:
    cantools = pytest.importorskip("cantools")
    database = cantools.database.load_string(DESCRIPTION, "dbc", strict=False)
    message = database.get_message_by_name("Long")
    for seed in range(40):
        data = bytes((seed * 37 + at * 101) % 250 for at in range(20))
        log = read(tmp_path, trace(*broadcast(data)))
        for name, value in message.decode(data, decode_choices=False).items():
            place = message.get_signal_by_name(name)
            # FB and above in the (upper) byte means error or not available in J1939; the library does not know that.
            top = int(value - place.offset) >> (place.length - 8)
            if top < 0xFB:
                assert values(log, name) == [float(value)], (seed, name)


def connection(data: bytes, *, answers: bool = True) -> list[str]:
    """A message from 03 to 17, asked for in two turns and acknowledged."""
    size, count = len(data).to_bytes(2, "little").hex().upper(), -(-len(data) // 7)
    parts = [f"1CEB1703#{packet}" for packet in packets(data)]
    frames = [f"1CEC1703#10{size}{count:02X}FF00EF00"]
    frames += ["1CEC0317#110201FFFF00EF00", *parts[:2]] if answers else parts[:2]
    frames += [f"1CEC0317#11{count - 2:02X}03FFFF00EF00", *parts[2:]] if answers else parts[2:]
    return [*frames, f"1CEC0317#13{size}{count:02X}FF00EF00"] if answers else frames


def test_a_message_to_one_receiver_is_read_with_and_without_its_answers(tmp_path: Path) -> None:
    log = read(tmp_path, trace(*connection(DATA)))
    assert values(log, "ToOne") == [100.0]
    assert kinds(log)["left_out_packets"] == 6
    log = read(tmp_path, trace(*connection(DATA, answers=False)))
    assert values(log, "ToOne") == [100.0]
    assert kinds(log)["left_out_packets"] == 3


def test_packets_may_be_asked_for_again_and_a_receiver_may_hold(tmp_path: Path) -> None:
    whole = connection(DATA)
    old = whole[3].replace("0200", "0299")
    again = [*whole[:3], old, "1CEC0317#110202FFFF00EF00", whole[3], whole[5], whole[6]]
    log = read(tmp_path, trace(*again))
    assert values(log, "ToOne") == [100.0]
    assert kinds(log)["left_out_packets"] == 7
    hold = "1CEC0317#1100FFFFFF00EF00"
    held = [*whole[:4], *(f"{at:.1f} {hold}" for at in (10.5, 11.4, 12.3)), *whole[4:]]
    log = read(tmp_path, trace(*held))
    assert values(log, "ToOne") == [100.0]


def test_transfers_of_several_senders_run_side_by_side(tmp_path: Path) -> None:
    first, second = broadcast(bytes([1]) + DATA[1:], "00"), broadcast(bytes([2]) + DATA[1:], "21")
    third = connection(bytes([3]) + DATA[1:])
    mixed = [frame for group in zip(first, second, third, strict=False) for frame in group] + third[4:]
    log = read(tmp_path, trace(*mixed, step=0.02))
    assert values(log, "Serial") == [1.0, None, None]
    assert values(log, "Serial 2") == [None, 2.0, None]
    assert values(log, "ToOne") == [None, None, 3.0]
    # One sender may talk to all and to one receiver at the same time.
    own = [frame.replace("FF00#", "FF03#") for frame in first]
    mixed = [frame for group in zip(own, third, strict=False) for frame in group] + third[4:]
    log = read(tmp_path, trace(*mixed, step=0.02))
    assert values(log, "Serial") == [1.0, None]
    assert values(log, "ToOne") == [None, 3.0]


def test_the_same_transfer_on_two_buses_stays_apart(tmp_path: Path) -> None:
    one, other = broadcast(bytes([1]) + DATA[1:]), broadcast(bytes([2]) + DATA[1:])
    mixed = [frame for pair in zip(one, other, strict=True) for frame in pair]
    text = "".join(f"({10 + at * 0.02:.6f}) can{at % 2} {frame}\n" for at, frame in enumerate(mixed))
    log = read(tmp_path, text)
    assert values(log, "Serial") == [1.0, None]
    assert values(log, "Serial 2") == [None, 2.0]


B = broadcast()
C = connection(DATA)


@pytest.mark.parametrize(
    ("frames", "reason"),
    [
        ([B[0], B[1], B[3]], "packet 3 came where 2 was due"),
        ([B[0], B[2], B[1], B[3]], "packet 2 came where 1 was due"),
        ([B[0], B[1], B[1], B[2], B[3]], "packet 1 came where 2 was due"),
        ([B[0], B[1], B[2]], "the trace ends"),
        (B[1:], "without an open transfer"),
        ([B[0], B[1], B[2], "11.0 " + B[3]], "nothing came for 0.800 s"),
        ([B[0], B[1], B[2], "9.0 " + B[3]], "nothing came for -"),
        ([B[0], B[1], broadcast(group="EEFE00")[0], B[2], B[3]], "another one was begun"),
        ([B[0], B[1], B[2], B[3][:-12]], "packet 3 has 2 bytes"),
        ([B[0], B[1], "1CEBFF00#", B[2], B[3]], "an empty packet"),
        (["1CECFF00#20140004FFDBFE00", *B[1:]], "20 bytes in 4 packets"),
        (["1CECFF00#20080002FFDBFE00", *B[1:3]], "8 bytes in 2 packets"),
        (["1CECFF00#20FA0600FFDBFE00", *B[1:]], "1786 bytes"),
        (["1CECFF00#20140003FFDBFE04", *B[1:]], "can't be"),
        (["1CEC1700#20140003FFDBFE00", *B[1:]], "to address 23 can't be"),
        (["1CECFF00#10140003FFDBFE00", *B[1:]], "to address 255 can't be"),
        (["1CECFF00#20140003FFDB", *B[1:]], "not its 8 bytes"),
        ([*C[:4], "1CEC0317#FF03FFFFFF00EF00", *C[4:]], "called off"),
        ([*C[:4], "1CEC1703#FF03FFFFFF00EF00", *C[4:]], "called off"),
        ([*C[:4], C[-1], *C[4:-1]], "acknowledged before"),
        ([*C[:3], C[4], *C[5:]], "asked for where 2 was due"),
        ([*C[:2], "1CEC0317#110901FFFF00EF00", *C[2:]], "packets 1 to 9"),
        ([*C[:4], "1CEC0317#2201FFFFFF00EF00", *C[4:]], "kind 34"),
        ([*C[:4], *("11.6 " + frame if frame is C[4] else frame for frame in C[4:])], "nothing came for 1."),
        (["1CEC0317#FF03FFFFFF00EF00"], "not open"),
    ],
)
def test_what_is_not_whole_and_in_order_is_counted_never_read(tmp_path: Path, frames: list[str], reason: str) -> None:
    log = read(tmp_path, trace("18FEEE00#7BFFFFFFFFFFFFFF", *frames))
    assert {column.name for column in log.columns} == {"time", "EngCoolant"}
    assert kinds(log)["left_out_not_whole"] == len(frames)
    assert reason in example(log, "left_out_not_whole")


def test_error_frames_and_remote_requests_between_packets_are_no_packets(tmp_path: Path) -> None:
    frames = [B[0], "20000080#0000000000000000", B[1], "1CEBFF00#R", B[2], "3CEBFF00#02FFFFFFFFFFFFFF", B[3]]
    log = read(tmp_path, trace(*frames))
    assert values(log, "Serial") == [100.0]
    assert kinds(log)["left_out_error"] == 2
    assert kinds(log)["left_out_remote"] == 1


def test_the_longest_message_is_read(tmp_path: Path) -> None:
    data = DATA + bytes(1785 - 20)
    log = read(tmp_path, trace(*broadcast(data)))
    assert values(log, "Last") == [42.0]
    assert kinds(log)["left_out_packets"] == 255


def test_a_described_message_may_come_shorter_and_codes_of_j1939_hold(tmp_path: Path) -> None:
    log = read(tmp_path, trace(*broadcast(DATA[:12]), *broadcast(DATA[:5] + b"\xff" + DATA[6:])))
    assert values(log, "Coolant") == [83.0, None]
    assert values(log, "Last") == [None, 42.0]
    assert kinds(log)["short_frames"] == 1
    assert kinds(log)["cells_not_available"] == 1


def test_messages_nobody_describes_are_counted_by_group(tmp_path: Path) -> None:
    log = read(tmp_path, trace("18FEEE00#7B", *broadcast(group="ECFE00"), *broadcast()))
    assert kinds(log)["left_out_other_messages"] == 4
    assert example(log, "left_out_other_messages") == "group 0FEEC (4)"


def test_without_a_description_of_j1939_transport_frames_are_nothing_special(tmp_path: Path) -> None:
    log = read(tmp_path, trace("7E8#0341057B", *broadcast()), None)
    assert kinds(log)["left_out_other_frames"] == 4
    plain = f'VERSION ""\nBU_: Box\nBO_ {0x9CEBFF00} Own: 8 Box\n SG_ Number : 0|8@1+ (1,0) [0|0] "" Box\n'
    log = read(tmp_path, trace(*broadcast()), plain)
    assert values(log, "Number") == [1.0, 2.0, 3.0]


def test_one_senders_own_description_holds_for_its_long_messages_too(tmp_path: Path) -> None:
    own = f'BO_ {0x8CFEDB21} Own: 20 Box\n SG_ Mine : 152|8@1+ (2,0) [0|0] "" Box\n'
    log = read(
        tmp_path,
        trace(*broadcast(sender="21"), *broadcast()),
        DESCRIPTION.replace("BO_ 2566844158", own + "BO_ 2566844158"),
    )
    assert values(log, "Mine") == [84.0, None]
    assert values(log, "Last") == [None, 42.0]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_is_lost_doubled_or_swapped_no_message_is_made_of_two(tmp_path: Path, data: st.DataObject) -> None:
    # Every byte of a message bears its number, so one made of two would show. Messages of a sender are two seconds
    # apart: a hole long enough to hide a whole announcement is longer than a receiver waits.
    lines: list[tuple[float, str]] = []
    count = data.draw(st.integers(1, 5))
    for number in range(1, count + 1):
        payload = bytes([number]) * 20
        for place, frame in enumerate(broadcast(payload)):
            lines.append((10.0 + 2 * number + place * 0.05, frame))
        for place, frame in enumerate(connection(payload)):
            lines.append((10.03 + 2 * number + place * 0.06, frame))
    lines.sort()
    damaged = 0
    for _ in range(data.draw(st.integers(0, 5))):
        at = data.draw(st.integers(0, len(lines) - 2))
        what = data.draw(st.sampled_from(["lose", "double", "swap"]))
        damaged += 1
        if what == "lose" and len(lines) > 4:
            del lines[at]
        elif what == "double":
            lines.insert(at, lines[at])
        else:
            (one, a), (two, b) = lines[at], lines[at + 1]
            lines[at], lines[at + 1] = (one, b), (two, a)
    text = "(9.0) can0 18FEEE00#7B\n" + "".join(f"({stamp:.6f}) can0 {frame}\n" for stamp, frame in lines)
    log = read(tmp_path, text)
    names = {column.name for column in log.columns}
    read_whole = 0
    for first, last in (("Serial", "Last"), ("ToOne", "ToOneLast")):
        if first not in names:
            continue
        times = values(log, "time")
        for stamp, one, other in zip(times, values(log, first), values(log, last), strict=True):
            if one is not None:
                assert one == other
                assert stamp is not None
                assert abs(stamp - 10.0 - 2 * one) < 1.0
                read_whole += 1
    assert read_whole >= 2 * count - 2 * damaged
    if not damaged:
        assert kinds(log).get("left_out_not_whole") is None


# SAE J1979 over ISO 15765: long replies, 29-bit identifiers


@pytest.mark.parametrize("sender", ["7E8", "7EF", "18DAF110", "18DAF1FE"])
def test_single_replies_come_on_either_kind_of_identifier(tmp_path: Path, sender: str) -> None:
    log = read(tmp_path, trace(f"{sender}#0341057B00000000", "18DB33F1#0201050000000000"), None)
    assert values(log, "Engine coolant temperature") == [83.0]
    assert kinds(log)["left_out_other_frames"] == 1


@pytest.mark.parametrize("stranger", ["18DAF010", "18DA10F1", "14DAF110", "18DBF110", "7E7", "7F0", "000007E8"])
def test_other_identifiers_are_no_replies(tmp_path: Path, stranger: str) -> None:
    log = read(tmp_path, trace("7E8#0341057B", f"{stranger}#0341057C"), None)
    assert values(log, "Engine coolant temperature") == [83.0]
    assert kinds(log)["left_out_other_frames"] == 1


LONG = ["7E8#100C410C1AF80D3C", "7E8#21057B0F41117F00"]
"""41 | 0C 1A F8 | 0D 3C | 05 7B | 0F 41 | 11 7F: rows of the table of J1979 one behind the other, 12 bytes."""


@pytest.mark.parametrize("sender", ["7E8", "18DAF110"])
def test_a_long_reply_is_read_at_the_time_of_its_first_frame(tmp_path: Path, sender: str) -> None:
    asked = ("7DF#06010C0D050F1100", "7E0#3000000000000000")  # the question and the go-ahead of the one who asks
    log = read(tmp_path, trace(asked[0], LONG[0], asked[1], LONG[1]).replace("7E8#", f"{sender}#"), None)
    assert values(log, "time") == pytest.approx([10.1])
    assert values(log, "Engine speed") == [1726.0]
    assert values(log, "Vehicle speed") == [60.0]
    assert values(log, "Engine coolant temperature") == [83.0]
    assert values(log, "Intake air temperature") == [25.0]
    assert values(log, "Absolute throttle position") == pytest.approx([49.804], abs=5e-4)
    assert kinds(log)["left_out_packets"] == 1
    assert kinds(log)["left_out_other_frames"] == 2


def test_quantities_not_read_here_are_stepped_over_and_named(tmp_path: Path) -> None:
    # 10 (air flow, two bytes) and 01 (four) stand between; 1F (two) at the end. 14 bytes.
    frames = ["7E8#100E411001020101", "7E8#21020304057B1F01", "7E8#2202AAAAAAAAAAAA"]
    told = read(tmp_path, trace(*frames), None)
    assert values(told, "Engine coolant temperature") == [83.0]
    assert kinds(told)["quantities_passed_over"] == 3
    assert sorted(example(told, "quantities_passed_over").split(", ")) == ["01", "10", "1F"]


def test_numbers_of_further_frames_run_over_fifteen(tmp_path: Path) -> None:
    frames = [f"7E8#10{6 + 7 * 20:02X}490201414141"]
    frames += [f"7E8#2{number % 16:X}" + "41" * 7 for number in range(1, 21)]
    log = read(tmp_path, trace(*frames, "7E8#0341057B"), None)
    assert kinds(log)["left_out_packets"] == 20
    assert kinds(log)["left_out_other_service"] == 1
    assert "left_out_not_whole" not in kinds(log)


@pytest.mark.parametrize(
    "frames",
    [
        [LONG[0]],
        [LONG[1]],
        [LONG[0], LONG[1].replace("#21", "#22")],
        [LONG[0], LONG[1].replace("#21", "#20")],
        [LONG[0], LONG[1][:-6]],  # one byte short
        [LONG[0], "11.2 " + LONG[1]],  # later than a receiver waits
        [LONG[0], "9.0 " + LONG[1]],
        [LONG[0][:-2], LONG[1]],  # a first frame of seven bytes
        [LONG[0].replace("100C", "1007"), LONG[1]],  # would have fitted a single frame
        [LONG[0].replace("100C", "1000"), LONG[1]],
        [LONG[0].replace("100C", "1013"), LONG[1]],  # one further frame is missing
        [LONG[0].replace("100C", "1013"), LONG[1], LONG[1]],
        ["7E9" + LONG[0][3:], LONG[1]],
    ],
)
def test_a_long_reply_that_is_not_whole_is_counted_never_read(tmp_path: Path, frames: list[str]) -> None:
    log = read(tmp_path, trace("7E8#03410D10", *frames), None)
    assert {column.name for column in log.columns} == {"time", "Vehicle speed"}
    assert sum(note.rows or 0 for note in log.notes if note.kind == "left_out_not_whole") == len(frames)


def test_a_reply_between_ends_the_long_one_before_it(tmp_path: Path) -> None:
    log = read(tmp_path, trace(LONG[0], "7E8#0341057C", LONG[1]), None)
    assert values(log, "Engine coolant temperature") == [84.0]
    assert kinds(log)["left_out_not_whole"] == 2
    log = read(tmp_path, trace(LONG[0], "7E9#0341057C", LONG[1]), None)
    assert values(log, "Engine coolant temperature") == [83.0, None]


def test_a_long_reply_of_a_wrong_length_is_not_read(tmp_path: Path) -> None:
    for size in ("0B", "0D"):
        log = read(tmp_path, trace("7E8#03410D10", LONG[0].replace("100C", f"10{size}"), LONG[1]), None)
        assert {column.name for column in log.columns} == {"time", "Vehicle speed"}
        assert kinds(log)["left_out_wrong_length"] == 1


def test_an_answer_of_which_nothing_is_certain_behind_an_unknown_quantity_is_not_read(tmp_path: Path) -> None:
    # 06 has one byte or two by the number of banks, A6 is none of the first 96.
    for reply in ("7E8#054106800341", "7E8#0641057BA60102", "7E8#06410680057B00"):
        log = read(tmp_path, trace("7E8#03410D10", reply), None)
        assert {column.name for column in log.columns} == {"time", "Vehicle speed"}
        assert kinds(log)["left_out_other_quantity"] == 1


def test_nothing_but_halves_is_refused_with_the_reason(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="not whole"):
        read(tmp_path, trace(LONG[0]), None)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_is_lost_or_doubled_no_reply_is_made_of_two(tmp_path: Path, data: st.DataObject) -> None:
    # Coolant and intake air bear the reply's number in different frames; replies are two seconds apart.
    frames: list[tuple[float, str]] = []
    count = data.draw(st.integers(1, 5))
    for number in range(1, count + 1):
        text = f"4105{number:02X}0C1AF80D3C0F{number:02X}117F"
        stamp = 10.0 + 2 * number
        frames.append((stamp, f"7E8#100C{text[:12]}"))
        frames.append((stamp + 0.01, f"7E8#21{text[12:]}00"))
        frames.append((stamp + 0.02, f"7E8#0341{0x46:02X}41"))
    for _ in range(data.draw(st.integers(0, 4))):
        at = data.draw(st.integers(0, len(frames) - 1))
        if data.draw(st.booleans()):
            frames.insert(at, frames[at])
        elif len(frames) > 1:
            del frames[at]
    text = "(9.0) can0 7E8#03413365\n" + "".join(f"({stamp:.6f}) can0 {frame}\n" for stamp, frame in frames)
    log = read(tmp_path, text, None)
    if "Engine coolant temperature" in {column.name for column in log.columns}:
        coolant, air = values(log, "Engine coolant temperature"), values(log, "Intake air temperature")
        for stamp, one, other in zip(values(log, "time"), coolant, air, strict=True):
            assert one == other
            if one is not None and stamp is not None:
                assert one == round((stamp - 10.0) / 2) - 40
