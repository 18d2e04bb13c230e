"""CAN traces as text: lines, SAE J1979 replies, damage."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ridelog.errors import InputRefused, LimitExceeded
from ridelog.readers import can_lines, naming
from ridelog.readers.base import Reader, ReadOptions
from ridelog.readers.can_j1979 import QUANTITIES
from ridelog.readers.can_text import CanTextReader
from ridelog.readers.limits import Limits
from ridelog.ride import RawLog

READER = CanTextReader()

SMALL = """VERSION ""
BU_: Box
BO_ 256 Motor: 8 Box
 SG_ Revs : 0|16@1+ (0.25,0) [0|16000] "rpm" Box
 SG_ WaterTemp : 16|8@1+ (1,-40) [-40|210] "degC" Box
BO_ 260 Choice: 8 Box
 SG_ Page M : 0|4@1+ (1,0) [0|0] "" Box
 SG_ First m0 : 8|8@1+ (1,0) [0|0] "" Box
"""


def read_text(folder: Path, text: str | bytes, description: str | None = None, **more: object) -> RawLog:
    """The one table of a trace with this text."""
    path = folder / "trace.log"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    told: Path | None = None
    if description is not None:
        told = folder / "bus.dbc"
        told.write_text(description, encoding="utf-8")
    (log,) = READER.read(path, ReadOptions("trace.log", description=told, **more))
    check(log)
    return log


def check(log: RawLog) -> None:
    """What holds for every table: rows add up, columns are equally long, every value is finite or null."""
    left_out = sum(note.rows or 0 for note in log.notes if note.kind.startswith("left_out_"))
    assert log.rows_in == log.height + left_out
    assert len({column.name for column in log.columns}) == len(log.columns)
    for column in log.columns:
        assert len(column.values) == log.height
        assert column.values.is_finite().all()


def lines(*frames: str, start: float = 10.0, step: float = 0.01) -> str:
    """A trace with one frame a line on can0."""
    return "".join(f"({start + step * number:.6f}) can0 {frame}\n" for number, frame in enumerate(frames))


def values(log: RawLog, name: str) -> list[float | None]:
    """Values of the column with this name."""
    return next(column for column in log.columns if column.name == name).values.to_list()


def kinds(log: RawLog) -> dict[str, int | None]:
    """Kind of every note -> its rows."""
    return {note.kind: note.rows for note in log.notes}


# SAE J1979 / ISO 15031-5, service 01: the scaling of each parameter with example bytes; the same rows were decoded by
# an independent implementation of the service when the list was made. Layout of the frame (ISO 15765-4) from memory.
ROWS = [
    ("04", "80", "Calculated engine load", "%", 50.196),
    ("04", "FF", "Calculated engine load", "%", 100.0),
    ("05", "7B", "Engine coolant temperature", "C", 83.0),
    ("05", "8C", "Engine coolant temperature", "C", 100.0),
    ("05", "00", "Engine coolant temperature", "C", -40.0),
    ("05", "FF", "Engine coolant temperature", "C", 215.0),
    ("0C", "1AF8", "Engine speed", "1/min", 1726.0),
    ("0C", "FFFF", "Engine speed", "1/min", 16383.75),
    ("0D", "3C", "Vehicle speed", "km/h", 60.0),
    ("0E", "80", "Timing advance", "deg", 0.0),
    ("0E", "90", "Timing advance", "deg", 8.0),
    ("0E", "00", "Timing advance", "deg", -64.0),
    ("0F", "41", "Intake air temperature", "C", 25.0),
    ("11", "7F", "Absolute throttle position", "%", 49.804),
    ("11", "00", "Absolute throttle position", "%", 0.0),
    ("11", "FF", "Absolute throttle position", "%", 100.0),
    ("33", "65", "Barometric pressure", "kPa", 101.0),
    ("33", "4B", "Barometric pressure", "kPa", 75.0),
    ("46", "41", "Ambient air temperature", "C", 25.0),
]


@pytest.mark.parametrize("row", ROWS)
def test_every_row_of_the_service_is_decoded(tmp_path: Path, row: tuple[str, str, str, str, float]) -> None:
    pid, data, name, unit, value = row
    size = len(data) // 2
    log = read_text(tmp_path, lines(f"7E8#{size + 2:02X}41{pid}{data}".ljust(20, "0")))
    assert [column.name for column in log.columns] == ["time", name]
    assert log.columns[1].unit == unit
    assert values(log, name) == pytest.approx([value], abs=5e-4)
    assert values(log, "time") == [10.0]


def test_names_of_the_service_find_their_channels() -> None:
    found = {
        pid: [(one.channel, one.fallback) for one in naming.candidates(item.name)] for pid, item in QUANTITIES.items()
    }
    assert found == {
        0x04: [],
        0x05: [("coolant_c", False)],
        0x0C: [("engine_rpm", False)],
        0x0D: [("wheel_speed_mps", False)],
        0x0E: [("ignition_deg", False)],
        0x0F: [("intake_air_c", False)],
        0x11: [("throttle_pct", False)],
        0x33: [("baro_kpa", False)],
        0x46: [("ambient_c", False)],
    }


@pytest.mark.parametrize(
    "frame",
    [
        "7E8#024105",  # no value at all
        "7E8#0441057B00",  # one byte too many
        "7E8#03410C1A",  # one byte of a two-byte value
        "7E8#05410C1AF800",
        "7E8#0341",  # the frame ends before the stated length
        "7E8#04410C1A",
        "7E8#",
        "7E8#00",
        "7E8#0641057B0D3C99",  # a second parameter fits, a third does not
    ],
)
def test_replies_of_a_wrong_length_are_counted_not_read(tmp_path: Path, frame: str) -> None:
    log = read_text(tmp_path, lines("7E8#0341057B", frame, "7E8#0341057C"))
    assert values(log, "Engine coolant temperature") == [83.0, 84.0]
    assert kinds(log)["left_out_wrong_length"] == 1


def test_a_negative_reply_is_not_data(tmp_path: Path) -> None:
    log = read_text(tmp_path, lines("7E8#037F0112", "7E8#0341057B00000000", "7E8#037F0112AAAAAAAA"))
    assert values(log, "Engine coolant temperature") == [83.0]
    assert kinds(log)["left_out_declined"] == 2


def test_other_services_quantities_and_long_replies_are_counted_apart(tmp_path: Path) -> None:
    log = read_text(
        tmp_path,
        lines("7E8#0341057B", "7E8#034305AA", "7E8#06410098180001", "7E8#03412F80", "7E8#1014490201314434", "7E8#21"),
    )
    assert kinds(log)["left_out_other_service"] == 1
    assert kinds(log)["left_out_other_quantity"] == 2
    assert kinds(log)["left_out_not_whole"] == 2
    (note,) = [note for note in log.notes if note.kind == "left_out_other_quantity"]
    assert note.example == "00, 2F"


def test_several_parameters_in_one_reply_share_its_row(tmp_path: Path) -> None:
    # ISO 15765-4 lets one reply carry several parameters (from memory).
    log = read_text(tmp_path, lines("7E8#0641057B0C1AF8", "7E8#0541057C0D3C00"))
    assert values(log, "Engine coolant temperature") == [83.0, 84.0]
    assert values(log, "Engine speed") == [1726.0, None]
    assert values(log, "Vehicle speed") == [None, 60.0]


@pytest.mark.parametrize(
    ("frame", "name", "value"),
    [
        ("7E8#03410500", "Engine coolant temperature", -40.0),
        ("7E8#034105FF", "Engine coolant temperature", 215.0),
        ("7E8#03410F00", "Intake air temperature", -40.0),
        ("7E8#034146FF", "Ambient air temperature", 215.0),
        ("7E8#04410CFFFF", "Engine speed", 16383.75),
        ("7E8#03410DFF", "Vehicle speed", 255.0),
    ],
)
def test_values_of_a_broken_sensor_go_out_with_a_note(tmp_path: Path, frame: str, name: str, value: float) -> None:
    log = read_text(tmp_path, lines(frame, "7E8#0341057B"))
    assert value in values(log, name)
    (note,) = [note for note in log.notes if note.kind == "sentinel"]
    assert note.rows == 1
    assert name in note.text


def test_each_signal_has_values_only_at_its_own_frames(tmp_path: Path) -> None:
    log = read_text(tmp_path, lines("7E8#0341057B", "7E8#04410C1AF8", "7E8#0341057C"))
    assert values(log, "Engine coolant temperature") == [83.0, None, 84.0]
    assert values(log, "Engine speed") == [None, 1726.0, None]
    assert values(log, "time") == pytest.approx([10.0, 10.01, 10.02])


def test_a_second_controller_is_a_second_sensor(tmp_path: Path) -> None:
    text = lines("7E9#04410C1AF9", "7E8#04410C1AF8")
    log = read_text(tmp_path, text)
    assert values(log, "Engine speed") == [None, 1726.0]
    assert values(log, "Engine speed 2") == [1726.25, None]
    assert [(one.channel, one.number) for one in naming.candidates("Engine speed 2")] == [("engine_rpm", 2)]
    (note,) = [note for note in log.notes if note.kind == "same_name"]
    assert "7E8 on can0" in note.text
    assert "7E9 on can0" in note.text


def test_the_same_message_on_two_buses_stays_apart(tmp_path: Path) -> None:
    log = read_text(tmp_path, "(1.0) can1 7E8#0341057B\n(1.1) can0 7E8#0341057C\n")
    assert values(log, "Engine coolant temperature") == [None, 84.0]
    assert values(log, "Engine coolant temperature 2") == [83.0, None]


def test_stamps_keep_every_digit(tmp_path: Path) -> None:
    log = read_text(tmp_path, "(1436509052.249713) can0 7E8#0341057B\n(1436509052.249714) can0 7E8#0341057B\n")
    assert values(log, "time") == [1_436_509_052_249_713.0, 1_436_509_052_249_714.0]
    assert log.columns[0].unit == "us"
    log = read_text(tmp_path, "(000.000000) vcan0 7E8#0341057B\n(000.120000) vcan0 7E8#0341057B\n")
    assert values(log, "time") == [0.0, 0.12]
    assert log.columns[0].unit == "s"


def test_every_kind_of_line_is_kept_or_counted(tmp_path: Path) -> None:
    text = (
        "(1.0) can0 7E8#0341057B00000000 R\n"
        "(1.1) can0 7E8#0341057C00000000 T\r\n"
        "\n"
        "  (1.2)  can0   7E8#0341057D \n"
        "(1.3) can0 7e8#0341057e\n"
        "(1.4) can0 7E8#R\n"
        "(1.5) can0 7E8#R8\n"
        "(1.6) can0 20000004#0000000000000000\n"
        "(1.7) can0 7DF#0201050000000000\n"
        "(1.8) can0 18DB33F1#0201050000000000\n"
        "(1.9) can0 7E8##10341057F00000000\n"
        "(2.0) can0 7E8##0" + "00" * 64 + "\n"
        "(2.1) can0 7E8#0341058000000000_9\n"
        "(2.2) can0 7E8#034105800\n"
        "(2.3) can0 7E8#03410X80\n"
        "(2.4) can0 7E8#034105800000000000\n"
        "(2.5) can0 7E8##1" + "00" * 9 + "\n"
        "(2.6) can0 FFF#03\n"
        "(2.7) can0 7E8 0341\n"
        "hello\n"
        "(x.y) can0 7E8#0341058000\n"
        "   \n"
    )
    log = read_text(tmp_path, text)
    assert values(log, "Engine coolant temperature") == [83.0, 84.0, 85.0, 86.0, 87.0, 88.0]
    found = kinds(log)
    assert found["left_out_remote"] == 2
    assert found["left_out_error"] == 1
    assert found["left_out_other_frames"] == 2
    assert found["left_out_damaged"] == 8
    assert found["left_out_wrong_length"] == 1
    assert found["blank_lines"] == 2
    assert log.rows_in == 20
    (damaged,) = [note for note in log.notes if note.kind == "left_out_damaged"]
    assert damaged.example == "line 14"
    (other,) = [note for note in log.notes if note.kind == "left_out_other_frames"]
    assert other.example == "7DF (1), 18DB33F1 (1)"


@pytest.mark.parametrize("cut", range(1, 22))
def test_a_cut_last_line_is_left_out_wherever_it_was_cut(tmp_path: Path, cut: int) -> None:
    # A general reader of this form takes half a frame for a whole one with fewer bytes.
    log = read_text(tmp_path, lines("7E8#0341057B00000000", "7E8#0341057C00000000")[:-cut])
    assert values(log, "Engine coolant temperature") == [83.0]
    assert kinds(log)["left_out_cut_line"] == 1


def test_a_trace_across_many_blocks_reads_as_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    frames = [f"7E8#034105{50 + number % 100:02X}" for number in range(200)]
    whole = read_text(tmp_path, lines(*frames))
    monkeypatch.setattr(can_lines, "BLOCK_BYTES", 97)
    again = read_text(tmp_path, lines(*frames))
    assert [column.values.to_list() for column in again.columns] == [
        column.values.to_list() for column in whole.columns
    ]
    assert again.notes == whole.notes
    log = read_text(tmp_path, lines(frames[0]) + "z" * 1000 + "\n" + lines(frames[1]))
    assert log.height == 2
    assert kinds(log)["left_out_damaged"] == 1


def test_a_power_cut_tail_and_another_encoding_are_read(tmp_path: Path) -> None:
    text = lines("7E8#0341057B", "7E8#0341057C")
    log = read_text(tmp_path, text.encode() + bytes(4096))
    assert values(log, "Engine coolant temperature") == [83.0, 84.0]
    assert "nul_tail" in kinds(log)
    log = read_text(tmp_path, text.encode("utf-16"))
    assert values(log, "Engine coolant temperature") == [83.0, 84.0]


def test_nothing_to_decode_says_what_was_seen_and_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(InputRefused) as caught:
        read_text(tmp_path, lines("123#00", "18FEEE00#00", "123#01", "7DF#020105"))
    assert "123 (2), 7DF (1), 18FEEE00 (1)" in caught.value.found
    assert "--description FILE" in caught.value.to_do
    with pytest.raises(InputRefused, match="negative replies"):
        read_text(tmp_path, lines("7E8#037F0112"))
    with pytest.raises(InputRefused, match="no CAN frame"):
        read_text(tmp_path, lines("7E8#R"))
    with pytest.raises(InputRefused, match="--description is the one of this bus"):
        read_text(tmp_path, lines("123#00"), SMALL)


def test_limits_hold(tmp_path: Path) -> None:
    text = lines("7E8#0341057B", "7E8#0341057C", "7E8#03410D10")
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_ROWS"):
        read_text(tmp_path, text, limits=Limits(max_rows=2))
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_COLUMNS"):
        read_text(tmp_path, text, limits=Limits(max_columns=2))


def test_it_is_told_by_its_content() -> None:
    assert isinstance(READER, Reader)
    assert READER.sniff(lines("7E8#0341057B", "123#00").encode(), "x.txt").score > 0.9
    assert READER.sniff(lines("7E8##1AABB", "18FEEE00#R").encode("utf-16"), "x.txt").score > 0.9
    for other in (b"time,rpm\n1,2\n", b"<gpx/>", b"", bytes(1000), b"PAR1" + bytes(100), b"(a) b\n"):
        assert READER.sniff(other, "x.log").score == 0.0


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_random_frames_with_damage_read_or_are_refused(tmp_path: Path, data: st.DataObject) -> None:
    frame = st.builds(
        lambda can_id, flag, payload, tail: f"{can_id}#{flag}{payload.hex()}{tail}",
        st.sampled_from(["7E8", "7EF", "100", "104", "18FEEE00", "20000088", "000"]),
        st.sampled_from(["", "", "", "#0", "R"]),
        st.binary(max_size=8),
        st.sampled_from(["", "", " R", " T", "_9"]),
    )
    text = bytearray(lines(*data.draw(st.lists(frame, min_size=1, max_size=12))).encode())
    for _ in range(data.draw(st.integers(0, 6))):
        at = data.draw(st.integers(0, max(len(text) - 1, 0)))
        change = data.draw(st.sampled_from(["flip", "cut", "double", "newline"]))
        if change == "flip" and text:
            text[at] ^= 1 << data.draw(st.integers(0, 7))
        elif change == "cut":
            del text[at : at + data.draw(st.integers(1, 30))]
        elif change == "double":
            text[at:at] = text[at : at + 20]
        else:
            text[at:at] = b"\r\n"
    told = SMALL if data.draw(st.booleans()) else None
    try:
        log = read_text(tmp_path, bytes(text), told)
    except InputRefused:
        return
    assert log.height > 0
