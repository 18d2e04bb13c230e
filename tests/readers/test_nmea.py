"""NMEA 0183 logs: the worked sentences, what is believed and what is not, clocks and dates, damage.

The nine sentences and their values come from a published description of the sentences (see `references.md` section 8 of
the project's notes), decoded with pynmea2, which is also the reference for random sentences here.
"""

from __future__ import annotations

import random
import re
import sys
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pynmea2
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from contract import GARBAGE, check_log, check_reader, check_ride

from ridelog.errors import InputRefused, LimitExceeded
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers import nmea_sentences
from ridelog.readers.base import Reader, ReadOptions
from ridelog.readers.limits import Limits
from ridelog.readers.naming import candidates
from ridelog.readers.nmea import NmeaReader
from ridelog.readers.registry import built_in
from ridelog.ride import RawLog

RMC_1994 = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"
GGA_1 = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
VTG_3 = "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48"
RMC_SOUTH = "$GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E*62"
MIDNIGHT = (
    "$GNRMC,235959.90,A,4530.0000,N,00730.0000,E,40.000,090.0,311226,,,A*76",
    "$GNRMC,000000.10,A,4530.0000,N,00730.0000,E,40.000,090.0,010127,,,A*7F",
)
RMC_VOID = "$GPRMC,120000.00,V,,,,,,,240726,,,N*7B"
GGA_VOID = "$GPGGA,120000.00,,,,,0,00,99.99,,,,,,*65"
VTG_8 = "$GNVTG,,T,,M,12.500,N,23.150,K,D*3B"
GGA_9 = "$GNGGA,120000.20,4530.0000,N,00730.0000,E,4,12,0.60,1500.0,M,48.0,M,1.0,0000*52"
KNOT_MPS = 1852 / 3600


def sealed(body: str) -> str:
    """A sentence with its checksum."""
    total = 0
    for char in body.encode("latin-1"):
        total ^= char
    return f"${body}*{total:02X}"


def rmc(clock: str, date: str = "240726", lat: str = "4530.0000", speed: str = "10.0", status: str = "A") -> str:
    return sealed(f"GNRMC,{clock},{status},{lat},N,00730.0000,E,{speed},090.0,{date},,,A")


def gga(clock: str, lat: str = "4530.0000", quality: str = "1") -> str:
    return sealed(f"GNGGA,{clock},{lat},N,00730.0000,E,{quality},12,0.60,1500.0,M,48.0,M,,")


@pytest.fixture
def read(tmp_path: Path):
    def _read(*lines: str | bytes, end: bytes = b"\r\n", limits: Limits | None = None) -> RawLog:
        path = tmp_path / "gps.nmea"
        path.write_bytes(
            b"".join((line if isinstance(line, bytes) else line.encode("latin-1")) + end for line in lines)
        )
        (log,) = NmeaReader().read(path, ReadOptions("gps.nmea", limits or Limits()))
        check_log(log)
        return log

    return _read


def values(log: RawLog, name: str) -> list:
    return next(column.values for column in log.columns if column.name == name).to_list()


def has(log: RawLog, name: str) -> bool:
    return any(column.name == name for column in log.columns)


def times(log: RawLog) -> list[datetime]:
    return [datetime.fromisoformat(text) for text in values(log, "time")]


def note(log: RawLog, kind: str) -> int | None:
    return next((item.rows for item in log.notes if item.kind == kind), None)


# --- the nine sentences -------------------------------------------------------------------------------------------


def test_sentence_1_rmc(read) -> None:
    log = read(RMC_1994)
    assert times(log) == [datetime(1994, 3, 23, 12, 35, 19, tzinfo=UTC)]
    assert values(log, "lat_deg")[0] == pytest.approx(48.1173, abs=1e-9)
    assert values(log, "lon_deg")[0] == pytest.approx(11.516667, abs=5e-7)
    assert values(log, "gps_speed_mps")[0] == pytest.approx(11.523556, abs=5e-7)
    assert note(log, "nmea_old_dates") == 1


def test_sentence_1_with_another_checksum_is_rejected(read) -> None:
    with pytest.raises(InputRefused, match="1 with a wrong checksum"):
        read(RMC_1994.replace("*6A", "*6B"))
    log = read(RMC_1994.replace("*6A", "*6B"), *MIDNIGHT)
    assert log.height == 2
    assert note(log, "left_out_checksum") == 1


def test_sentence_2_gga_joins_sentence_1(read) -> None:
    log = read(RMC_1994, GGA_1)
    assert log.height == 1
    found = {name: values(log, name)[0] for name in ("gps_fix", "gps_satellites", "gps_hdop", "elevation_m")}
    assert found == {"gps_fix": 1, "gps_satellites": 8, "gps_hdop": 0.9, "elevation_m": 545.4}
    assert values(log, "gps_speed_mps")[0] == pytest.approx(11.523556, abs=5e-7)


def test_sentence_2_alone_has_a_time_of_day_only(read) -> None:
    log = read(GGA_1)
    assert values(log, "UTC time") == ["12:35:19.000"]
    assert not has(log, "gps_speed_mps")
    assert note(log, "nmea_no_date") is None
    assert any(item.kind == "nmea_no_date" for item in log.notes)


def test_sentence_3_vtg_gives_the_speed_of_the_moment_before_it(read) -> None:
    assert values(read(GGA_1, VTG_3), "gps_speed_mps")[0] == pytest.approx(5.5 * KNOT_MPS, rel=1e-12)
    # RMC and VTG of one moment are rounded alike; where they are not, RMC is the one with a status.
    assert values(read(RMC_1994, VTG_3), "gps_speed_mps")[0] == pytest.approx(22.4 * KNOT_MPS, rel=1e-12)


def test_sentence_4_south_and_east(read) -> None:
    log = read(RMC_SOUTH)
    assert times(log) == [datetime(1998, 9, 13, 8, 18, 36, tzinfo=UTC)]
    assert values(log, "lat_deg")[0] == pytest.approx(-37.860833, abs=5e-7)
    assert values(log, "lon_deg")[0] == pytest.approx(145.122667, abs=5e-7)
    assert values(log, "gps_speed_mps") == [0.0]


def test_sentence_5_midnight_pair_is_two_tenths_apart(read) -> None:
    first, second = times(read(*MIDNIGHT))
    assert second - first == timedelta(seconds=0.2)
    assert (first.year, second.year) == (2026, 2027)


def test_forty_knots(read) -> None:
    for speed in values(read(*MIDNIGHT), "gps_speed_mps"):
        assert speed == pytest.approx(20.577778, abs=5e-7)
        assert speed * 3.6 == pytest.approx(74.08, abs=1e-9)


@pytest.mark.parametrize("void", [RMC_VOID, GGA_VOID])
def test_sentences_6_and_7_say_there_is_no_fix(read, void: str) -> None:
    with pytest.raises(InputRefused, match="no fix in the whole log"):
        read(void)
    log = read(rmc("115959.00"), void, rmc("120001.00"))
    assert values(log, "lat_deg") == [45.5, 45.5]
    assert note(log, "left_out_void") == 1


def test_sentences_8_and_9(read) -> None:
    log = read(GGA_9, VTG_8)
    found = {name: values(log, name)[0] for name in ("gps_fix", "gps_satellites", "gps_hdop", "elevation_m", "lat_deg")}
    assert found == {"gps_fix": 4, "gps_satellites": 12, "gps_hdop": 0.6, "elevation_m": 1500.0, "lat_deg": 45.5}
    assert values(log, "gps_speed_mps")[0] == pytest.approx(12.5 * KNOT_MPS, rel=1e-12)


# --- what is believed ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("talker", ["GP", "GN", "GL", "GA", "GB", "BD", "GQ", "QZ", "GI", "IN", "II"])
def test_every_talker_is_read(read, talker: str) -> None:
    body = MIDNIGHT[0][1 : MIDNIGHT[0].index("*")]
    assert read(sealed(talker + body[2:])).height == 1


def test_checksums_in_lower_case_are_the_same_number(read) -> None:
    log = read(RMC_1994.replace("*6A", "*6a"))
    assert log.height == 1
    assert note(log, "nmea_lower_case") == 1


def test_a_sentence_without_checksum_is_not_believed(read) -> None:
    bare = RMC_1994[: RMC_1994.index("*")]
    with pytest.raises(InputRefused, match="1 without a checksum"):
        read(bare)
    log = read(bare, *MIDNIGHT)
    assert log.height == 2
    assert note(log, "left_out_unverified") == 1


@pytest.mark.parametrize(
    "body",
    [
        "GPRMC,126019,A,4807.038,N,01131.000,E,022.4,084.4,240726,,,A",
        "GPRMC,243519,A,4807.038,N,01131.000,E,022.4,084.4,240726,,,A",
        "GPRMC,12351,A,4807.038,N,01131.000,E,022.4,084.4,240726,,,A",
        "GPRMC,123519,A,4860.000,N,01131.000,E,022.4,084.4,240726,,,A",
        "GPRMC,123519,A,9100.000,N,01131.000,E,022.4,084.4,240726,,,A",
        "GPRMC,123519,A,4807.038,N,18100.000,E,022.4,084.4,240726,,,A",
        "GPRMC,123519,A,4807.038,X,01131.000,E,022.4,084.4,240726,,,A",
        "GPRMC,123519,A,4807.038,,01131.000,E,022.4,084.4,240726,,,A",
        "GPRMC,123519,A,48O7.038,N,01131.000,E,022.4,084.4,240726,,,A",
        "GPRMC,123519,A,4807.038,N,,,022.4,084.4,240726,,,A",
        "GPRMC,123519,A,4807.038,N,01131.000,E,2x.4,084.4,240726,,,A",
        "GPRMC,123519,A,4807.038,N,01131.000,E,2.2.4,084.4,240726,,,A",
        "GPRMC,123519,A,4807.038,N,01131.000,E,-22.4,084.4,240726,,,A",
        "GPRMC,123519,B,4807.038,N,01131.000,E,22.4,084.4,240726,,,A",
        "GPRMC,123519,A,4807.038,N,01131.000,E",
        "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,F,46.9,M,,",
        "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,5-45,M,46.9,M,,",
        "GPGGA,123519,4807.038,N,01131.000,E,12,08,0.9,545.4,M,46.9,M,,",
        "GPVTG,084.4,T,,M,022.4,K,041.5,K,A",
    ],
)
def test_fields_out_of_the_standard_are_not_used_although_the_checksum_is_right(read, body: str) -> None:
    log = read(*MIDNIGHT, sealed(body))
    assert log.height == 2
    assert note(log, "left_out_malformed") == 1


def test_heights_below_the_sea_and_fine_minutes(read) -> None:
    log = read(sealed("GPGGA,123519.123456,3130.1234567,N,03528.7654321,W,1,08,0.9,-412.7,M,,M,,"))
    assert values(log, "elevation_m") == [-412.7]
    assert values(log, "lat_deg") == [31 + 30.1234567 / 60]
    assert values(log, "lon_deg") == [-(35 + 28.7654321 / 60)]
    assert values(log, "UTC time") == ["12:35:19.123456"]


def test_modes_and_qualities_that_are_no_measurement_give_nothing(read) -> None:
    simulated = sealed("GNRMC,120000.00,A,4530.0000,N,00730.0000,E,40.000,090.0,240726,,,S")
    by_hand = sealed("GNGGA,120001.00,4530.0000,N,00730.0000,E,7,12,0.60,1500.0,M,48.0,M,,")
    with pytest.raises(InputRefused, match="no fix"):
        read(simulated, by_hand)


def test_a_moment_is_void_if_one_of_its_sentences_says_so(read) -> None:
    log = read(rmc("120000.00"), rmc("120001.00"), gga("120001.00", quality="0"), rmc("120002.00"))
    assert [time.second for time in times(log)] == [0, 2]


def test_null_island_is_no_position(read) -> None:
    nowhere = sealed("GNRMC,120000.00,A,0000.0000,N,00000.0000,E,0.0,,240726,,,A")
    log = read(nowhere, rmc("120001.00"))
    assert values(log, "lat_deg") == [45.5]
    assert note(log, "left_out_null_island") == 1
    with pytest.raises(InputRefused, match="no fix"):
        read(nowhere)


def test_a_fix_without_speed_has_no_speed(read) -> None:
    log = read(rmc("120000.00", speed=""), rmc("120001.00"))
    assert values(log, "gps_speed_mps") == [None, pytest.approx(10 * KNOT_MPS)]


def test_gll_counts_by_its_status(read) -> None:
    good = sealed("GPGLL,4530.0000,N,00730.0000,E,120000.00,A,A")
    assert values(read(good), "lat_deg") == [45.5]
    with pytest.raises(InputRefused, match="no fix"):
        read(sealed("GPGLL,4530.0000,N,00730.0000,E,120000.00,V,N"))


def test_speed_alone_is_no_ride(read) -> None:
    with pytest.raises(InputRefused, match="both a position and a time"):
        read(VTG_3, VTG_8)


# --- between the sentences ----------------------------------------------------------------------------------------


def test_glued_torn_and_binary_bytes_are_told_apart_and_counted(read) -> None:
    log = read(
        MIDNIGHT[0] + MIDNIGHT[1],
        "$GPGSA,A,1,,,,,,,,,,,,,,,*1E0,*4E",
        "$GP",
        b"\xb5b\x01\x07\x00\xff\x80" + rmc("000000.30", "010127").encode(),
        "$PLCS,REV,WORD012,070312",
        "# made on a bench",
    )
    assert [time.microsecond for time in times(log)] == [900_000, 100_000, 300_000]
    assert note(log, "nmea_glued") == 1
    assert note(log, "left_out_torn") == 2
    assert note(log, "left_out_proprietary") == 1
    assert note(log, "nmea_text_lines") == 1
    assert any("6 bytes" in item.text for item in log.notes if item.kind == "nmea_odd_bytes")


def test_names_in_a_log_reach_neither_notes_nor_errors(read) -> None:
    private = ("# rider: Quillon Vexley", sealed("PXYZ,Quillon,Vexley"), sealed("GPTXT,01,01,02,Quillon Vexley"))
    log = read(*private, *MIDNIGHT)
    assert "Quillon" not in " ".join(item.sentence() for item in log.notes)
    assert "Quillon" not in "".join(column.name for column in log.columns)
    with pytest.raises(InputRefused) as refused:
        read(*private)
    assert "Quillon" not in str(refused.value)


def test_a_makers_own_sentence_is_never_a_position(read) -> None:
    with pytest.raises(InputRefused):
        read(sealed("PGRMC,120000.00,A,4530.0000,N,00730.0000,E,40.000,090.0,240726,,,A"))


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r", b"\n\r\n", b" \r\n", b""])
def test_line_ends(read, end: bytes) -> None:
    assert read(*MIDNIGHT, GGA_9, end=end).height == 3


def test_utf16(tmp_path: Path) -> None:
    path = tmp_path / "gps.txt"
    path.write_text("\r\n".join(MIDNIGHT) + "\r\n", encoding="utf-16")
    (log,) = NmeaReader().read(path, ReadOptions("gps.txt"))
    assert log.height == 2
    assert NmeaReader().sniff(path.read_bytes(), "gps.txt").score > 0.9


def _stamped(form: str, count: int = 20, factor: float = 1000.0) -> list[str]:
    return [form.format(round(500 + i * factor / 5)) + rmc(f"1200{i // 5:02d}.{i % 5 * 2}0") for i in range(count)]


@pytest.mark.parametrize(("form", "factor", "unit"), [("{},", 1e3, "ms"), ("[{}] ", 1e6, "us"), ("{};\t", 1e3, "ms")])
def test_a_counter_in_front_of_the_sentences_is_kept_with_its_unit(read, form: str, factor: float, unit: str) -> None:
    log = read(*_stamped(form, factor=factor), "engine started", "rpm 4200")
    counter = next(column for column in log.columns if column.name == "logger counter")
    assert counter.unit == unit
    assert counter.values.to_list() == [round(500 + i * factor / 5) for i in range(20)]
    assert not candidates("logger counter"), "it must not be taken for the ride's time"
    assert note(log, "nmea_text_lines") == 2


@pytest.mark.parametrize("form", ["2026-07-24 12:00:00.{} ", "gps: ", "{} records "])
def test_other_words_in_front_are_passed_over(read, form: str) -> None:
    log = read(*_stamped(form))
    assert log.height == 20
    assert not has(log, "logger counter")


def test_numbers_in_front_that_do_not_keep_time_are_no_counter(read) -> None:
    assert not has(read(*_stamped("{},", factor=777.0)), "logger counter")
    assert not has(read(*("7," + line for line in _stamped(""))), "logger counter")
    falling = [f"{count}," + line for count, line in zip(range(99_000, 0, -200), _stamped(""), strict=False)]
    assert not has(read(*falling), "logger counter")


# --- clocks and dates ---------------------------------------------------------------------------------------------


def test_sentences_of_one_moment_are_one_sample_in_any_order(read) -> None:
    moments = [f"12000{i}.00" for i in range(5)]
    one = read(*(line for clock in moments for line in (rmc(clock), gga(clock), VTG_8)))
    other = read(*(line for clock in moments for line in (gga(clock), rmc(clock), VTG_8)))
    assert one.height == other.height == 5
    for name in ("time", "lat_deg", "elevation_m", "gps_speed_mps"):
        assert values(one, name) == values(other, name)


def test_two_receivers_a_moment_apart_are_put_in_order(read) -> None:
    clocks = [12_00_00 + i for i in range(10)]
    lines = [line for clock in clocks for line in (gga(f"{clock + 1}.00"), rmc(f"{clock}.00"))]
    log = read(*lines)
    assert times(log) == sorted(set(times(log)))
    assert log.breaks == ()
    assert note(log, "nmea_disordered")


def test_gga_takes_its_day_from_the_last_date_and_goes_over_midnight(read) -> None:
    log = read(
        sealed("GNZDA,235958.00,31,12,2026,00,00"),
        *(gga(clock) for clock in ("235958.00", "235959.00", "000000.00", "000001.00")),
    )
    assert times(log) == [datetime(2026, 12, 31, 23, 59, 58, tzinfo=UTC) + timedelta(seconds=i) for i in range(4)]


def test_gga_before_the_first_date_goes_by_it(read) -> None:
    log = read(gga("235958.00"), gga("235959.00"), rmc("000000.00", "010127"), gga("000000.00"))
    assert times(log)[0] == datetime(2026, 12, 31, 23, 59, 58, tzinfo=UTC)


def test_a_step_back_over_midnight_of_a_moment_is_no_lost_day(read) -> None:
    log = read(gga("235959.00"), gga("000000.00"), gga("235959.50"), gga("000000.50"), rmc("000001.00", "010127"))
    assert log.breaks == ()
    assert (times(log)[-1] - times(log)[0]).total_seconds() == 2


def test_undated_logs_keep_their_order_over_midnight(read) -> None:
    log = read(*(gga(clock) for clock in ("235959.00", "000000.00", "000001.00")))
    assert values(log, "UTC time") == ["23:59:59.000", "00:00:00.000", "00:00:01.000"]
    assert log.breaks == ()


def test_the_clock_going_back_begins_a_new_recording(read) -> None:
    log = read(*(rmc(f"1530{i:02d}.00") for i in range(5)), *(rmc(f"1430{i:02d}.00") for i in range(5)))
    assert log.breaks == (5,)
    assert any(item.kind == "clock_back" and "3,604.0 s" in item.text for item in log.notes)


def test_one_stray_time_is_left_out_and_starts_nothing(read) -> None:
    log = read(
        *(rmc(f"1200{i:02d}.00") for i in range(5)), rmc("180000.00"), *(rmc(f"1200{i:02d}.00") for i in range(5, 9))
    )
    assert log.height == 9
    assert log.breaks == ()
    assert note(log, "left_out_stray_time") == 1


def test_dates_1024_weeks_early_are_moved_forward_and_reported(read) -> None:
    true = datetime(2026, 7, 24, tzinfo=UTC)
    early = (true - timedelta(days=7168)).strftime("%d%m%y")
    log = read(*(rmc(f"1200{i:02d}.00", early) for i in range(4)))
    assert times(log)[0] == true.replace(hour=12)
    assert note(log, "nmea_week_rollover") == 4


@pytest.mark.parametrize("written", ["091209", "240726", "010117"])
def test_later_dates_are_left_alone(read, written: str) -> None:
    log = read(rmc("120000.00", written), rmc("120001.00", written))
    assert times(log)[0].strftime("%d%m%y") == written
    assert note(log, "nmea_week_rollover") is None


@pytest.mark.parametrize(
    "garbage", ["161206", "010180", "000000", "310226", "991399", "240778", "1", "", "24O726", "200826"]
)
@pytest.mark.parametrize("where", ["start", "middle", "end"])
def test_a_garbage_date_never_becomes_the_rides(read, garbage: str, where: str) -> None:
    dates = ["240726"] * 9
    at = {"start": slice(0, 3), "middle": slice(4, 6), "end": slice(7, 9)}[where]
    dates[at] = [garbage] * len(dates[at])
    log = read(*(rmc(f"1200{i:02d}.00", date) for i, date in enumerate(dates)))
    assert times(log) == [datetime(2026, 7, 24, 12, 0, i, tzinfo=UTC) for i in range(9)]
    assert (note(log, "nmea_odd_dates") or 0) == (0 if garbage == "" else len(dates[at]))


def test_dates_of_void_sentences_are_not_believed(read) -> None:
    log = read(rmc("235948.00", "161206", status="V"), gga("120000.00"), rmc("120001.00"), rmc("120002.00"))
    assert {time.date().isoformat() for time in times(log)} == {"2026-07-24"}


def test_two_days_in_one_file_keep_their_dates(read) -> None:
    log = read(rmc("120000.00", "240726"), rmc("120001.00", "240726"), rmc("100000.00", "260726"), gga("100001.00"))
    assert [time.day for time in times(log)] == [24, 24, 26, 26][: log.height]
    assert log.breaks == ()


def test_a_recording_that_begins_or_ends_inside_a_moment_loses_that_moment(read) -> None:
    inner = [line for i in range(1, 5) for line in (rmc(f"12000{i}.00"), gga(f"12000{i}.00"))]
    log = read(gga("120000.00"), *inner, gga("120005.00"))
    assert [time.second for time in times(log)] == [1, 2, 3, 4]
    assert note(log, "left_out_cut_moment") == 2
    # A receiver that sends RMC less often than GGA says so in the middle as well.
    mixed = read(gga("120000.00"), rmc("120001.00"), gga("120001.00"), gga("120002.00"), gga("120003.00"))
    assert mixed.height == 4
    # A change of kinds in the middle of a log is no cut.
    assert read(*(rmc(f"12000{i}.00") for i in range(6)), gga("120006.00"), gga("120007.00")).height == 8


def test_all_nine_sentences_in_one_file(read) -> None:
    log = read(RMC_1994, GGA_1, VTG_3, RMC_SOUTH, *MIDNIGHT, RMC_VOID, GGA_VOID, GGA_9, VTG_8)
    assert [time.year for time in times(log)] == [1994, 1998, 2026, 2027, 2027]
    assert values(log, "gps_speed_mps")[-1] == pytest.approx(12.5 * KNOT_MPS)


def test_a_leap_second_is_the_next_midnight(read) -> None:
    log = read(rmc("235959.00", "301226"), rmc("235960.00", "301226"), rmc("000001.00", "311226"))
    assert [(time - times(log)[0]).total_seconds() for time in times(log)] == [0, 1, 2]


# --- limits, detection --------------------------------------------------------------------------------------------


def test_limits(read) -> None:
    with pytest.raises(LimitExceeded, match="more than 3 sentences"):
        read(*MIDNIGHT, *MIDNIGHT, limits=replace(Limits(), max_rows=3))
    with pytest.raises(LimitExceeded, match="bytes"):
        read(*MIDNIGHT, limits=replace(Limits(), max_bytes=20))


@pytest.mark.parametrize("content", [b"", b"\n", b"time,rpm\n1,2\n", b"$", b"$$$$***,,,", b"\0" * 50, b"$GPXYZ,*00"])
def test_files_without_a_sentence_are_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.log"
    path.write_bytes(content)
    with pytest.raises(InputRefused):
        NmeaReader().read(path, ReadOptions("x.log"))
    assert NmeaReader().sniff(content, "x.log").score < 0.5


def test_the_contract_of_every_reader(tmp_path: Path) -> None:
    good = tmp_path / "good.log"
    good.write_bytes("\r\n".join([*MIDNIGHT, RMC_VOID, GGA_9, VTG_8, "# note"]).encode())
    check_reader(NmeaReader(), good, GARBAGE, tmp_path)
    scores = {reader.name: reader.sniff(good.read_bytes(), "log").score for reader in built_in()}
    assert scores.pop("nmea") == 1.0
    assert all(score < 1.0 for score in scores.values())


def test_through_the_whole_import(tmp_path: Path) -> None:
    path = tmp_path / "ride.log"
    path.write_bytes(
        "\r\n".join(line for i in range(30) for line in (rmc(f"1200{i:02d}.00"), gga(f"1200{i:02d}.00"))).encode()
    )
    (ride,) = read_rides([path], ImportOptions())
    check_ride(ride)
    assert ride.start_utc == datetime(2026, 7, 24, 12, tzinfo=UTC)
    assert ride.duration_s == 29.0
    assert {"lat_deg", "lon_deg", "elevation_m", "gps_speed_mps", "gps_fix", "gps_hdop", "gps_satellites"} <= set(
        ride.channels
    )
    assert ride.channels["gps_speed_mps"].origin == "logged"


def test_detection() -> None:
    reader = NmeaReader()
    assert isinstance(reader, Reader)
    assert reader.sniff("\r\n".join(MIDNIGHT).encode(), "any.name").score > 0.9
    assert reader.sniff("\r\n".join(_stamped("{},")).encode(), "any.name").score > 0.9
    bare = "\r\n".join(line[: line.index("*")] for line in MIDNIGHT).encode()
    assert reader.sniff(bare, "any.name").score > 0.5, "so that the refusal can say what is missing"
    table = b"time,rpm,coolant\n" + b"".join(b"%d,4000,80\n" % i for i in range(200))
    assert reader.sniff(table + MIDNIGHT[0].encode(), "any.name").score < 0.5


def test_column_names_mean_what_they_should() -> None:
    for name in ("lat_deg", "lon_deg", "elevation_m", "gps_speed_mps", "gps_fix", "gps_hdop", "gps_satellites"):
        assert {one.channel for one in candidates(name)} == {name}
    for name in ("time", "UTC time"):
        assert {one.channel for one in candidates(name)} == {"time"}


# --- the open logs ------------------------------------------------------------------------------------------------


def _open(open_data: Path, name: str) -> RawLog:
    path = open_data / "nmea" / name
    assert NmeaReader().sniff(path.read_bytes()[: 256 * 1024], name).score > 0.9
    (log,) = NmeaReader().read(path, ReadOptions(name))
    check_log(log)
    return log


@pytest.mark.open_data
def test_open_clock_goes_back(open_data: Path) -> None:
    """Test logs of an open-source satellite-receiver daemon, BSD-2-Clause, as the three below."""
    log = _open(open_data, "clock_goes_back.log")
    assert log.height == 13
    assert log.breaks == (8,)
    assert max(values(log, "gps_speed_mps")) == pytest.approx(32.273 * KNOT_MPS, rel=1e-12)
    assert any(item.kind == "clock_back" for item in log.notes)
    assert None not in values(log, "lat_deg")
    found = times(log)
    assert (found[-1] - found[0]).total_seconds() == pytest.approx(-3116.5)


@pytest.mark.open_data
def test_open_torn_sentences(open_data: Path) -> None:
    log = _open(open_data, "torn_sentences.log")
    assert 29 <= (note(log, "left_out_checksum") or 0) <= 36
    assert log.height <= 2
    assert {time.date().isoformat() for time in times(log)} == {"2019-04-07"}


@pytest.mark.open_data
def test_open_all_void(open_data: Path) -> None:
    with pytest.raises(InputRefused, match="no fix in the whole log"):
        _open(open_data, "all_void.log")


@pytest.mark.open_data
def test_open_five_hertz(open_data: Path) -> None:
    log = _open(open_data, "five_hertz.log")
    found = times(log)
    assert log.height == 150
    assert (found[-1] - found[0]).total_seconds() == pytest.approx(29.8)
    assert {round((b - a).total_seconds(), 6) for a, b in pairwise(found)} == {0.2}
    assert set(values(log, "gps_speed_mps")) == {0.0}


# --- against the reference library --------------------------------------------------------------------------------


@st.composite
def rides(draw: st.DrawFn) -> list[str]:
    """Sentences of a ride of 1 to 30 moments: RMC, and any of the others."""
    start = draw(st.datetimes(datetime(2010, 1, 1), datetime(2060, 1, 1)))  # noqa: DTZ001 - the zone is UTC throughout
    step = draw(st.sampled_from([0.1, 0.2, 0.25, 1.0, 7.0]))
    digits = draw(st.integers(2, 7))
    lines: list[str] = []
    for number in range(draw(st.integers(1, 30))):
        when = start.replace(microsecond=0) + timedelta(seconds=round(number * step, 3))
        clock = when.strftime("%H%M%S.") + f"{when.microsecond // 10_000:02d}"
        lat, lon = draw(st.integers(0, 89)), draw(st.integers(0, 179))
        minutes = [f"{draw(st.floats(0, 59.99)):0{digits + 3}.{digits}f}" for _ in range(2)]
        where = (
            f"{lat:02d}{minutes[0]},{draw(st.sampled_from('NS'))},{lon:03d}{minutes[1]},{draw(st.sampled_from('EW'))}"
        )
        knots = f"{draw(st.floats(0, 80)):.3f}"
        talker = draw(st.sampled_from(["GP", "GN", "GL", "GA"]))
        lines.append(sealed(f"{talker}RMC,{clock},A,{where},{knots},,{when:%d%m%y},,,A"))
        if draw(st.booleans()):
            height = f"{draw(st.floats(-400, 5000)):.1f}"
            lines.append(
                sealed(f"{talker}GGA,{clock},{where},1,{draw(st.integers(3, 40)):02d},0.9,{height},M,46.9,M,,")
            )
        if draw(st.booleans()):
            lines.append(sealed(f"{talker}VTG,,T,,M,{knots},N,,K,A"))
        if draw(st.booleans()):
            lines.append(sealed(f"{talker}GLL,{where},{clock},A,A"))
    return lines


def _bytes(lines: list[str]) -> bytes:
    return b"".join(line.encode("latin-1") + b"\r\n" for line in lines)


def _read_bytes(folder: Path, content: bytes) -> RawLog:
    path = folder / "any.nmea"
    path.write_bytes(content)
    (log,) = NmeaReader().read(path, ReadOptions("any.nmea"))
    check_log(log)
    assert log.rows_in == content.count(b"$")
    return log


def _believed(content: bytes) -> set[tuple[float, float]]:
    """Positions the reference library finds in the pieces between `$` and the next `$` or line end."""
    found = set()
    for piece in re.findall(rb"\$[^$\r\n]*", content):
        whole = re.match(rb"\$[A-Z0-9]{5},[^*]*\*[0-9A-Fa-f]{2}(?![0-9A-Za-z.*-])", piece)
        if whole:
            # It leaves a coordinate unread until asked for it, and only then finds that it is none.
            with suppress(pynmea2.ParseError, ValueError, AttributeError):
                sentence = pynmea2.parse(whole[0].decode("latin-1"), check=True)
                found.add((sentence.latitude, sentence.longitude))
    return found


ANY_FOLDER = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@given(lines=rides())
@ANY_FOLDER
def test_values_are_those_of_the_reference_library(tmp_path: Path, lines: list[str]) -> None:
    parsed = [pynmea2.parse(line, check=True) for line in lines]
    fixes = [
        sentence for sentence in parsed if sentence.sentence_type == "RMC" and (sentence.latitude or sentence.longitude)
    ]
    assume(fixes)
    log = _read_bytes(tmp_path, _bytes(lines))
    assert values(log, "lat_deg") == [sentence.latitude for sentence in fixes]
    assert values(log, "lon_deg") == [sentence.longitude for sentence in fixes]
    assert times(log) == [sentence.datetime for sentence in fixes]
    assert values(log, "gps_speed_mps") == pytest.approx(
        [float(fix.spd_over_grnd) * 1852 / 3600 for fix in fixes], rel=1e-14
    )
    heights = {sentence.timestamp: sentence for sentence in parsed if sentence.sentence_type == "GGA"}
    if has(log, "elevation_m"):
        wanted = [heights.get(fix.timestamp) for fix in fixes]
        assert values(log, "elevation_m") == [None if one is None else float(one.altitude) for one in wanted]
        assert values(log, "gps_satellites") == [None if one is None else float(one.num_sats) for one in wanted]


DAMAGE = st.lists(
    st.one_of(
        st.tuples(st.just("flip"), st.floats(0, 1), st.integers(1, 255)),
        st.tuples(st.just("cut"), st.floats(0, 1), st.integers(1, 80)),
        st.tuples(st.just("junk"), st.floats(0, 1), st.binary(min_size=1, max_size=12)),
    ),
    max_size=12,
)


def _damaged(content: bytes, damage: list[tuple]) -> bytes:
    broken = bytearray(content)
    for kind, place, detail in damage:
        at = int(place * (len(broken) - 1)) if broken else 0
        if kind == "flip" and broken:
            broken[at] ^= detail
        elif kind == "cut":
            del broken[at : at + detail]
        elif kind == "junk":
            broken[at:at] = detail
    return bytes(broken)


@given(lines=rides(), damage=DAMAGE)
@ANY_FOLDER
def test_damage_is_refused_or_reported_and_nothing_is_believed_that_the_reference_rejects(
    tmp_path: Path, lines: list[str], damage: list[tuple]
) -> None:
    content = _damaged(_bytes(lines), damage)
    assert 0 <= NmeaReader().sniff(content, "any.nmea").score <= 1
    try:
        log = _read_bytes(tmp_path, content)
    except InputRefused:
        return
    assert set(zip(values(log, "lat_deg"), values(log, "lon_deg"), strict=True)) <= _believed(content)
    if has(log, "time"):
        found = times(log)
        for start, end in pairwise((0, *log.breaks, log.height)):
            assert found[start:end] == sorted(set(found[start:end]))


@given(content=st.binary(max_size=400) | st.text("$*,\r\n0123456789ABGPRMCNEV.", max_size=400).map(str.encode))
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_are_read_or_refused(tmp_path: Path, content: bytes) -> None:
    refusal = None
    try:
        _read_bytes(tmp_path, content)
    except InputRefused as refused:
        refusal = refused
    assert refusal is None or (refusal.where == "any.nmea" and refusal.expected and refusal.to_do)


@given(lines=rides(), damage=DAMAGE, size=st.integers(20, 400))
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
def test_the_size_of_the_blocks_changes_nothing(
    tmp_path: Path, lines: list[str], damage: list[tuple], size: int
) -> None:
    content = _damaged(_bytes(lines), damage)
    results = []
    whole = nmea_sentences.BLOCK_BYTES
    for block in (whole, size + 120):
        nmea_sentences.BLOCK_BYTES = block
        try:
            log = _read_bytes(tmp_path, content)
            results.append(([column.values.to_list() for column in log.columns], log.breaks, log.notes))
        except InputRefused as refused:
            results.append(refused.one_line())
        finally:
            nmea_sentences.BLOCK_BYTES = whole
    assert results[0] == results[1]


def test_one_percent_of_flipped_bytes(tmp_path: Path) -> None:
    """A serial line with every hundredth byte wrong: what is left is right, and the rest is counted."""
    start = datetime(2026, 7, 24, 23, 50, tzinfo=UTC)
    lines, truth = [], {}
    for number in range(6000):
        when = start + timedelta(seconds=number / 5)
        clock = when.strftime("%H%M%S.") + f"{when.microsecond // 10_000:02d}"
        lat = f"45{30 + number / 1000:07.4f}"
        truth[when] = 45 + float(lat[2:]) / 60
        lines += [rmc(clock, f"{when:%d%m%y}", lat), gga(clock, lat)]
    dice = random.Random(20260724)  # noqa: S311 - the same damage every time
    broken = bytearray(_bytes(lines))
    for at in range(len(broken)):
        if dice.random() < 0.01:
            broken[at] ^= 1 << dice.randrange(8)
    log = _read_bytes(tmp_path, bytes(broken))
    right = sum(truth.get(time) == lat for time, lat in zip(times(log), values(log, "lat_deg"), strict=True))
    # Two sentences a moment, each whole with 0.99**75 = 0.47: 72 % of the moments keep one. Two flips of the same bit
    # (one in eight of all pairs) cancel out in the checksum; the fields' own rules stop most of these, not all.
    assert 0.68 * 6000 < log.height < 0.78 * 6000
    assert log.height - right <= 0.004 * log.height
    assert times(log)[0].date().isoformat() == "2026-07-24"
    assert times(log)[-1].date().isoformat() == "2026-07-25"
    assert (note(log, "left_out_checksum") or 0) > 4000
