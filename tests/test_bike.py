"""The bike file: what is accepted, what is refused and how it is said, and the geometry that follows from it."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.bike import Bike, parse_bike, read_bike, template
from ridelog.errors import ProfileError

DRAFT = template("dune-07")
_KEY = re.compile(r"^# (?=[a-z0-9_]+ = )", re.MULTILINE)
FILLED_IN = _KEY.sub("", DRAFT).replace("# [[service]]", "[[service]]")
"""The draft with the '#' before every key taken away."""


def test_a_filled_in_draft_rests_on_no_default() -> None:
    bike = parse_bike(FILLED_IN, "dune-07.bike.toml")
    assert bike.id == "dune-07"
    assert bike.defaults_used == ()
    assert bike.limit_c == 115.0
    assert (bike.fan_on_c, bike.thermostat_c, bike.heat_ratio) == (95.0, 65.0, 0.9)
    assert [service.what for service in bike.services] == ["radiators washed"]


def test_an_untouched_draft_rests_on_defaults_and_says_so() -> None:
    draft, bare = parse_bike(DRAFT, "a"), parse_bike('schema = 1\nid = "dune-07"\n', "b")
    assert draft == bare


def test_an_empty_profile_takes_stated_defaults() -> None:
    bike = parse_bike('schema = 1\nid = "a"\n', "a")
    assert {"mass.total_kg", "gearing.gears", "engine.power_curve_kw", "thresholds"} <= set(bike.defaults_used)
    full = parse_bike(FILLED_IN, "b")
    only_where_there_is_one = {"fan_on_c", "thermostat_c", "heat_ratio", "unread_tables"}
    other = {"id", "build", "defaults_used", "services"}
    same = [f for f in Bike.__dataclass_fields__ if f not in other | only_where_there_is_one]
    assert {f: getattr(bike, f) for f in same} == {f: getattr(full, f) for f in same}


def test_gear_speed_worked_case() -> None:
    """Plain geometry: 9000 rpm, 3.0 x 1.0 x 4.0, tyre 2.000 m -> 25 m/s = 90 km/h."""
    wheels = "[wheels]\ntyre_circumference_m = 2.0\n"
    text = f'schema = 1\nid = "a"\n{wheels}[gearing]\nprimary = 3.0\nfinal = 4.0\ngears = [1.0]\n'
    assert 9000 / parse_bike(text, "a").rpm_per_mps[0] == pytest.approx(25.0, rel=1e-12)


def test_limit_is_the_highest_threshold_where_none_has_the_name() -> None:
    assert parse_bike('schema=1\nid="a"\n[thresholds]\na=90\nb=101.5\n', "a").limit_c == 101.5


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "schema is missing"),
        ('schema = 2\nid = "a"', "schema is 2"),
        ("schema = 1", "id is missing"),
        ('schema = 1\nid = "Ü x"', "id is 'Ü x'"),
        ('schema = 1\nid = "../a"', "id is '../a'"),
        ('schema = 1\nid = "a"\n[mass]\ntotal = 195', "did you mean total_kg?"),
        ('schema = 1\nid = "a"\n[mass]\ntotal_kg = "195"', "mass.total_kg is '195'"),
        ('schema = 1\nid = "a"\n[mass]\ntotal_kg = nan', "mass.total_kg is nan"),
        ('schema = 1\nid = "a"\n[mass]\ntotal_kg = 19500', "a number from 60 to 400 kg"),
        ('schema = 1\nid = "a"\n[gearing]\ngears = [1.0, 2.0]', "values that fall one by one"),
        ('schema = 1\nid = "a"\n[engine]\npower_curve_rpm = [3000, 5000]', "must come together"),
        ('schema = 1\nid = "a"\n[engine]\npower_curve_rpm = [5000, 3000]\npower_curve_kw = [1, 2]', "rise one by one"),
        ('schema = 1\nid = "a"\n[engine]\npower_curve_rpm = [5000, 6000]\npower_curve_kw = [1, 2, 3]', "equal lengths"),
        ('schema = 1\nid = "a"\n[maps]\nslot_values = { "1" = 99 }', "a slot number from 0 to 15"),
        ('schema = 1\nid = "a"\n[maps]\nconservative_slot = 3', "no entry of slot_values leads to"),
        ('schema = 1\nid = "a"\nmass = 195', "a table [mass]"),
        ('schema = 1\nid = "a"\n[[service]]\nwhat = "x"', "service[1].date is missing"),
        ('schema = 1\nid = "a"\n[[service]]\ndate = "2026-05-02"\nwhat = "x"', "without quotation marks"),
        ("schema = 1\nid = ", "is not valid TOML"),
        ('schema = 1\nid = "a"\n[mass]\ntotal_kg = ' + "9" * 400, "a number from 60 to 400 kg"),
        ('schema = 1\nid = "a"\n[mass]\ntotal_kg = ' + "9" * 6000, "is not valid TOML"),
        ("x = " + "[" * 20_000, "nested too deeply"),
        ("x = " + "{a=" * 20_000, "nested too deeply"),
        ('schema = 1\nid = "a"\n[maps]\nslot_values = { "1" = 1, "1 " = 2 }', "each value of the log once"),
    ],
)
def test_what_is_refused_and_how_it_is_said(text: str, says: str) -> None:
    with pytest.raises(ProfileError) as caught:
        parse_bike(text, "x.bike.toml")
    assert says in caught.value.one_line()
    assert "x.bike.toml" in caught.value.one_line()


@pytest.mark.parametrize("content", [None, b"\xff\xfe\x00", b"x" * 100_001])
def test_files_that_are_no_profile(tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "a.bike.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(ProfileError):
        read_bike(path)


@given(st.text(max_size=200))
def test_any_text_is_a_bike_or_a_profile_error(text: str) -> None:
    try:
        parse_bike(text, "x")
    except ProfileError:
        return


@given(st.text(max_size=40))
def test_any_id_makes_a_valid_draft_or_is_refused(bike_id: str) -> None:
    try:
        text = template(bike_id)
    except ProfileError:
        return
    assert parse_bike(text, "x").id == bike_id


def test_what_is_no_file_is_said_at_once(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, tmp_path, Path("/dev/zero")):
        with pytest.raises(ProfileError, match="not a regular file"):
            read_bike(path)
