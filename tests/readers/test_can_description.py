"""CAN traces with a message description: signals, ranges, selection, J1939, and the reference libraries beside them."""

from __future__ import annotations

import math
import random
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from ridelog.errors import InputRefused
from ridelog.readers.base import ReadOptions
from ridelog.readers.can_description import load_description, parameter_group
from ridelog.readers.can_text import CanTextReader
from ridelog.ride import RawLog

READER = CanTextReader()

DESCRIPTION = """VERSION ""
NS_ :
BS_:
BU_: Box
BO_ 256 Motor: 8 Box
 SG_ Revs : 0|16@1+ (0.25,0) [0|16000] "rpm" Box
 SG_ WaterTemp : 16|8@1+ (1,-40) [-40|210] "degC" Box
 SG_ Opening : 24|8@1+ (0.5,0) [0|100] "%" Box
 SG_ Torque : 32|12@1- (0.1,-5) [0|0] "Nm" Box
 SG_ Flags : 44|4@1+ (1,0) [0|0] "" Box
BO_ 257 Turned: 8 Box
 SG_ High : 7|16@0+ (1,0) [0|0] "" Box
 SG_ Odd : 19|11@0- (0.5,3) [0|0] "" Box
 SG_ Wide : 37|21@0+ (1,0) [0|0] "" Box
BO_ 258 Long: 16 Box
 SG_ Nine : 3|64@1+ (1,0) [0|0] "" Box
 SG_ NineTurned : 76|37@0+ (1,0) [0|0] "" Box
BO_ 259 Decimal: 8 Box
 SG_ Single : 0|32@1- (1,0) [0|0] "V" Box
 SG_ Half : 32|16@1- (2,0) [0|0] "" Box
BO_ 260 Choice: 8 Box
 SG_ Page M : 0|4@1+ (1,0) [0|0] "" Box
 SG_ Sub m1M : 4|4@1+ (1,0) [0|0] "" Box
 SG_ First m0 : 8|8@1+ (1,0) [0|0] "" Box
 SG_ Deep m5 : 8|16@1+ (1,0) [0|0] "" Box
 SG_ Always : 56|8@1+ (1,0) [0|0] "" Box
BO_ 2566844158 Temperatures: 8 Box
 SG_ EngCoolant : 0|8@1+ (1,-40) [-40|210] "degC" Box
 SG_ EngOil : 16|16@1+ (0.03125,-273) [-273|1735] "degC" Box
 SG_ Lamp : 32|2@1+ (1,0) [0|3] "" Box
 SG_ Level : 36|4@1+ (1,0) [0|0] "" Box
 SG_ Hours : 40|24@1+ (0.05,0) [0|0] "h" Box
BA_DEF_ BO_  "VFrameFormat" ENUM  "StandardCAN","ExtendedCAN","reserved","J1939PG","StandardCAN_FD","ExtendedCAN_FD";
BA_DEF_DEF_  "VFrameFormat" "StandardCAN";
BA_ "VFrameFormat" BO_ 2566844158 3;
BA_ "VFrameFormat" BO_ 258 4;
VAL_ 256 Flags 0 "off" 1 "on" 14 "Error" 15 "SNA" ;
SG_MUL_VAL_ 260 Sub Page 1-1;
SG_MUL_VAL_ 260 First Page 0-0;
SG_MUL_VAL_ 260 Deep Sub 5-7;
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


# Message descriptions


def test_a_description_is_decoded(tmp_path: Path) -> None:
    log = read_text(tmp_path, lines("100#204E7B64F4110000", "7E8#0341057B"), DESCRIPTION)
    # By hand: 0x4E20 = 20000 / 4; 0x7B = 123 - 40; 0x64 = 100 / 2; 0x1F4 = 500 / 10 - 5.
    assert values(log, "Revs") == [5000.0, None]
    assert values(log, "WaterTemp") == [83.0, None]
    assert values(log, "Opening") == [50.0, None]
    assert values(log, "Torque") == [pytest.approx(45.0), None]
    assert values(log, "Flags") == [1.0, None]
    assert values(log, "Engine coolant temperature") == [None, 83.0]
    units = {column.name: column.unit for column in log.columns}
    assert units["WaterTemp"] == "degC"
    assert units["Flags"] is None


def test_values_outside_the_described_range_and_all_ones_count_as_none(tmp_path: Path) -> None:
    log = read_text(
        tmp_path, lines("100#204E7B64F4010000", "100#FFFFFFFFFFFFFFFF", "100#204EFEC900000000"), DESCRIPTION
    )
    assert values(log, "Revs") == [5000.0, None, 5000.0]
    assert values(log, "WaterTemp") == [83.0, None, None]
    assert values(log, "Opening") == [50.0, None, None]
    assert values(log, "Torque") == pytest.approx([45.0, -5.1, -5.0])
    dropped = {note.text.split(" ")[0]: note for note in log.notes if note.kind == "cells_out_of_range"}
    assert {name: note.rows for name, note in dropped.items()} == {"Revs": 1, "WaterTemp": 2, "Opening": 2}
    assert dropped["Revs"].example == "16383.8 rpm"
    assert kinds(log)["all_ones"] == 1
    assert kinds(log)["cells_invalid"] == 1


def test_named_values_that_mean_invalid_count_as_none(tmp_path: Path) -> None:
    frames = [f"100#0000000000{flag:X}00000" for flag in (0, 1, 14, 15)]
    log = read_text(tmp_path, lines(*frames), DESCRIPTION)
    assert values(log, "Flags") == [0.0, 1.0, None, None]


def test_short_frames_give_what_they_hold(tmp_path: Path) -> None:
    log = read_text(tmp_path, lines("100#204E7B", "100#204E", "100#20", "100#", "100#204E7B64F4010000"), DESCRIPTION)
    assert values(log, "Revs") == [5000.0, 5000.0, 5000.0]
    assert values(log, "WaterTemp") == [83.0, None, 83.0]
    assert values(log, "Opening") == [None, None, 50.0]
    assert kinds(log)["left_out_short_frames"] == 2
    assert kinds(log)["short_frames"] == 2


def test_selected_signals_are_read_only_where_they_are_selected(tmp_path: Path) -> None:
    frames = ["104#00AA0000000000EE", "104#51BBCC00000000EE", "104#41BBCC00000000EE", "104#0FDDDD0000000022", "104#71"]
    log = read_text(tmp_path, lines(*frames), DESCRIPTION)
    assert values(log, "Page") == [0.0, 1.0, 1.0, 15.0, 1.0]
    assert values(log, "Sub") == [None, 5.0, 4.0, None, 7.0]
    assert values(log, "First") == [float(0xAA), None, None, None, None]
    assert values(log, "Deep") == [None, float(0xCCBB), None, None, None]
    assert values(log, "Always") == [238.0, 238.0, 238.0, 34.0, None]


def test_signals_on_the_same_bits_are_left_out_and_named(tmp_path: Path) -> None:
    overlapping = DESCRIPTION.replace(
        " SG_ Opening : 24|8@1+", ' SG_ Twin : 20|8@1+ (1,0) [0|0] "" Box\n SG_ Opening : 28|4@1+'
    )
    log = read_text(tmp_path, lines("100#204E7B64F4010000"), overlapping)
    assert [column.name for column in log.columns] == ["time", "Revs", "Opening", "Torque", "Flags"]
    texts = [note.text for note in log.notes if note.kind == "description_overlap"]
    assert len(texts) == 2
    assert "WaterTemp" in texts[1]
    assert "same bits as Twin" in texts[1]


def test_big_endian_overlap_is_seen_on_the_bits_not_the_numbers(tmp_path: Path) -> None:
    head = DESCRIPTION.partition("BO_ 256")[0]
    rows = ['A : 3|12@0+ (1,0) [0|0] "" Box', 'B : 4|4@1+ (1,0) [0|0] "" Box', 'C : 16|8@1+ (1,0) [0|0] "" Box']
    text = head + "BO_ 256 M: 3 Box\n" + "".join(f" SG_ {row}\n" for row in rows)
    log = read_text(tmp_path, lines("100#A12345"), text)
    assert values(log, "A") == [float(0x123)]
    assert values(log, "B") == [float(0xA)]
    assert values(log, "C") == [float(0x45)]
    clash = text.replace("C : 16|8@1+", "C : 8|8@1+")
    with pytest.raises(InputRefused) as caught:
        read_text(tmp_path, lines("100#A12345"), clash.replace("SG_ B : 4|4@1+", "SG_ B : 0|1@1+"))
    assert "same bits" in caught.value.found


def test_a_signal_outside_its_message_is_left_out(tmp_path: Path) -> None:
    log = read_text(tmp_path, lines("100#204E7B64F4010000"), DESCRIPTION.replace("24|8@1+", "60|8@1+"))
    assert "Opening" not in {column.name for column in log.columns}
    assert any("needs 9 bytes and the message has 8" in note.text for note in log.notes)


def test_descriptions_that_cannot_be_used_are_refused(tmp_path: Path) -> None:
    for text in ("", "nonsense {", "BO_ 1 M: 8", DESCRIPTION.partition("BO_ 256")[0]):
        with pytest.raises(InputRefused, match=r"bus\.dbc") as caught:
            read_text(tmp_path, lines("100#00"), text)
        assert ".dbc" in caught.value.expected
    with pytest.raises(InputRefused, match="can't be read"):
        load_description(tmp_path / "missing.dbc")


def test_two_messages_of_one_identifier_are_told(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    log = read_text(tmp_path, lines("100#204E7B64F4110000"), DESCRIPTION.replace("BO_ 257", "BO_ 256"))
    assert values(log, "Revs") == [5000.0]
    assert "High" not in {column.name for column in log.columns}
    (note,) = [note for note in log.notes if note.kind == "description_message"]
    assert "Turned was left out" in note.text
    assert not capfd.readouterr().err


def test_a_cut_description_is_refused_or_read_never_more(tmp_path: Path) -> None:
    told = tmp_path / "bus.dbc"
    refused = 0
    for cut in range(0, len(DESCRIPTION), 29):
        told.write_text(DESCRIPTION[:cut])
        try:
            assert load_description(told).messages
        except InputRefused:
            refused += 1
    assert refused > 10


def test_without_the_library_the_refusal_names_the_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cantools", None)
    with pytest.raises(InputRefused, match=r"ridelog\[can\]"):
        read_text(tmp_path, lines("100#00"), DESCRIPTION)
    log = read_text(tmp_path, lines("7E8#0341057B"))
    assert values(log, "Engine coolant temperature") == [83.0]


def test_a_description_may_be_in_either_encoding(tmp_path: Path) -> None:
    told = tmp_path / "bus.dbc"
    for encoding in ("utf-8", "utf-8-sig", "cp1252"):
        told.write_bytes(DESCRIPTION.replace("degC", "°C").encode(encoding))
        described = load_description(told)
        assert described.messages[0].signals[1].unit == "°C"


# J1939: FF not available, FE error, FB to FD reserved, in two bytes by the upper one; 2-bit 11 and 10 (from memory of
# SAE J1939-71). Parameter groups by SAE J1939-21: the low byte of a group below PDU format 240 is an address.


@pytest.mark.parametrize(
    ("raw", "value"),
    [
        ("00", -40.0),
        ("7B", 83.0),
        ("FA", 210.0),
        ("FB", None),
        ("FD", None),
        ("FE", None),
        ("FF", None),
    ],
)
def test_not_available_and_error_count_as_none(tmp_path: Path, raw: str, value: float | None) -> None:
    log = read_text(tmp_path, lines(f"18FEEE00#{raw}FF002D01FFFFFF", "18FEEE00#7BFF002D01FFFFFF"), DESCRIPTION)
    assert values(log, "EngCoolant") == [value, 83.0]
    if value is None:
        kind = "cells_not_available" if raw == "FF" else "cells_error"
        assert [note.rows for note in log.notes if note.kind == kind and "EngCoolant" in note.text] == [1]


def test_two_byte_and_two_bit_codes_of_j1939(tmp_path: Path) -> None:
    frames = [
        f"18FEEE00#7BFF{word}{lamp:02X}FFFFFF"
        for word, lamp in (("002D", 0), ("FFFA", 1), ("00FB", 2), ("00FF", 3), ("12FE", 0xF0))
    ]
    log = read_text(tmp_path, lines(*frames), DESCRIPTION)
    assert values(log, "EngOil") == [87.0, pytest.approx(0xFAFF * 0.03125 - 273), None, None, None]
    assert values(log, "Lamp") == [0.0, 1.0, None, None, 0.0]
    assert values(log, "Level") == [0.0, 0.0, 0.0, 0.0, None]
    assert "Hours" not in {column.name for column in log.columns}
    assert any(note.kind == "empty_signals" and "Hours" in note.text for note in log.notes)


def test_priority_and_sender_do_not_matter_to_j1939(tmp_path: Path) -> None:
    log = read_text(tmp_path, lines("18FEEE00#7B", "0CFEEE00#7C", "18FEEE17#7D", "18FEEF00#7E"), DESCRIPTION)
    told = {column.name: column.values.to_list() for column in log.columns}
    assert sorted(
        value for name, column in told.items() if name.startswith("EngCoolant") for value in column if value
    ) == [
        83.0,
        84.0,
        85.0,
    ]
    assert kinds(log)["left_out_other_frames"] == 1


def test_a_message_described_for_one_sender_is_read_by_its_own_description(tmp_path: Path) -> None:
    # 18FEEE17 is described apart, in other units; every other sender of the group by the general message.
    own = f'BO_ {0x98FEEE17} TemperaturesOfOne: 8 Box\n SG_ Deep : 0|8@1+ (1,0) [0|0] "" Box\n'
    text = DESCRIPTION.replace("BA_DEF_ BO_", own + "BA_DEF_ BO_") + f'BA_ "VFrameFormat" BO_ {0x98FEEE17} 3;\n'
    log = read_text(
        tmp_path,
        lines("18FEEE17#7B", "18FEEE00#7B"),
        text.replace("SG_ Deep m5", "SG_ Deeper m5").replace("260 Deep", "260 Deeper"),
    )
    assert values(log, "Deep") == [123.0, None]
    assert values(log, "EngCoolant") == [None, 83.0]


def test_parameter_groups() -> None:
    assert parameter_group(0x18FEEE00) == 0xFEEE
    assert parameter_group(0x0CF00400) == 0xF004
    assert parameter_group(0x18EA17F9) == 0xEA00
    assert parameter_group(0x19EA17F9) == 0x1EA00


def test_without_the_word_of_the_description_no_code_of_j1939_is_used(tmp_path: Path) -> None:
    plain = DESCRIPTION.replace('BA_ "VFrameFormat" BO_ 2566844158 3;\n', "")
    log = read_text(tmp_path, lines("18FEEEFE#FAFF002D03FFFFFF", "18FEEE00#7B"), plain)
    assert values(log, "Lamp") == [3.0]
    assert kinds(log)["left_out_other_frames"] == 1
    whole = plain + 'BA_DEF_ "ProtocolType" STRING ;\nBA_DEF_DEF_ "ProtocolType" "";\nBA_ "ProtocolType" "J1939";\n'
    log = read_text(tmp_path, lines("18FEEEFE#FAFF002D03FFFFFF"), whole)
    assert "Lamp" not in {column.name for column in log.columns}


# Against python-can and cantools, frame by frame


def _frames(seed: int, count: int) -> str:
    source = random.Random(seed)  # noqa: S311 - the same frames every time
    made: list[str] = []
    for _ in range(count):
        can_id = source.choice(["100", "101", "102", "103", "104"])
        size = source.choice([16, 16, 12, 8, 3]) if can_id == "102" else source.choice([8, 8, 8, 8, 7, 5, 2, 1])
        data = source.choice([source.randbytes(size), source.randbytes(size), b"\xff" * size, b"\0" * size])
        made.append(f"{can_id}#{'#1' if size > 8 or can_id == '102' else ''}{data.hex().upper()}")
    return lines(*made)


@pytest.mark.parametrize("seed", range(8))
def test_values_are_those_of_the_reference_libraries(tmp_path: Path, seed: int) -> None:
    can = pytest.importorskip("can")
    cantools = pytest.importorskip("cantools")
    # Ranges and named values taken out: the reference applies neither.
    plain = "\n".join(line for line in DESCRIPTION.splitlines() if not line.startswith("VAL_"))
    for limits in ("[0|16000]", "[-40|210]", "[0|100]"):
        plain = plain.replace(limits, "[0|0]")
    log = read_text(tmp_path, _frames(seed, 400), plain)
    database = cantools.database.load_string(plain, "dbc")
    expected: dict[str, dict[float, float]] = {}
    with can.CanutilsLogReader(tmp_path / "trace.log") as reader:
        for frame in reader:
            message = database.get_message_by_frame_id(frame.arbitration_id)
            try:
                decoded = message.decode(bytes(frame.data), decode_choices=False, allow_truncated=True)
            except cantools.database.DecodeError:
                continue  # a selector nobody described, or a frame shorter than any signal
            for name, value in decoded.items():
                if math.isfinite(value):
                    expected.setdefault(name, {})[frame.timestamp] = float(value)
    times = values(log, "time")
    for name, want in expected.items():
        got = {t: v for t, v in zip(times, values(log, name), strict=True) if v is not None}
        assert {stamp: got.get(stamp) for stamp in want} == pytest.approx(want, rel=1e-12), name
    assert len(expected) >= 14


def test_reading_twice_gives_the_same(tmp_path: Path) -> None:
    text = _frames(3, 100) + lines("7E9#04410C1AF9", "7E8#04410C1AF8")
    one, other = (read_text(tmp_path, text, DESCRIPTION) for _ in range(2))
    assert replace(one, columns=()) == replace(other, columns=())
    assert [column.values.to_list() for column in one.columns] == [column.values.to_list() for column in other.columns]
