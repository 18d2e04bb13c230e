"""The advice sheet: defaults, refusals, and which sheet holds on a day."""

from __future__ import annotations

import itertools
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.advice import CONDITIONS, KINDS, default_advice, in_force, parse_advice, template
from ridelog.errors import ProfileError

HEAD = 'schema = 1\nversion = "a"\nvalid_from = 2026-01-01\n'


def test_a_rule_that_is_left_out_is_at_its_default_and_listed() -> None:
    sheet = parse_advice(HEAD + '[[rule]]\nkind = "heavy_drag"\nmin_duration_s = 25\n', "a")
    assert sheet.rule("heavy_drag").min_duration_s == 25.0
    assert (
        sheet.rule("heavy_drag").level("min_drag_coefficient")
        == CONDITIONS["heavy_drag"]["min_drag_coefficient"].default
    )
    assert "rule.wide_open" in sheet.defaults_used
    assert "rule.heavy_drag.grace_s" in sheet.defaults_used
    assert "rule.heavy_drag.min_duration_s" not in sheet.defaults_used


def test_builds_of_the_sheet() -> None:
    own = parse_advice(HEAD + "[[build]]\nfrom_elevation_m = 1500\nmax_compression_ratio = 13\n", "a")
    (row,) = own.builds
    # The key that is left out takes the default of that height, and is listed.
    assert (row.from_elevation_m, row.max_compression_ratio, row.min_fuel_ron) == (1500.0, 13.0, 95.0)
    assert "build[1].min_fuel_ron" in own.defaults_used
    assert "build" in parse_advice(HEAD, "a").defaults_used


def test_the_default_builds_allow_more_compression_only_as_elevation_rises() -> None:
    rows = default_advice().builds
    for lower, higher in itertools.pairwise(rows):
        assert lower.from_elevation_m < higher.from_elevation_m
        assert lower.max_compression_ratio < higher.max_compression_ratio


def test_the_built_in_sheet_has_a_rule_for_every_kind() -> None:
    assert tuple(rule.kind for rule in default_advice().rules) == KINDS


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("schema = 1\n", "version is missing"),
        (HEAD + '[[rule]]\nkind = "sand"\n', "one of heavy_drag"),
        (HEAD + '[[rule]]\nmap = "either"\n', "kind is missing"),
        (HEAD + '[[rule]]\nkind = "standstill"\n[[rule]]\nkind = "standstill"\n', "stands in two rules"),
        (HEAD + '[[rule]]\nkind = "wide_open"\nmin_speed_mps = 3\n', "min_speed_mps is not a known key"),
        (HEAD + '[[rule]]\nkind = "wide_open"\nmin_throtle_pct = 80\n', "did you mean min_throttle_pct?"),
        (HEAD + '[[rule]]\nkind = "wide_open"\nmap = "hard"\n', "one of conservative, either, none"),
        (HEAD + '[[rule]]\nkind = "wide_open"\nmin_throttle_pct = 850\n', "30 to 100 %"),
        (HEAD + "[[build]]\nmin_fuel_ron = 98\n", "build[1].from_elevation_m is missing"),
        (HEAD + "[[build]]\nfrom_elevation_m = 0\nmin_ron = 98\n", "did you mean min_fuel_ron?"),
        (HEAD + "[[build]]\nfrom_elevation_m = 0\nmax_compression_ratio = 120\n", "4 to 20"),
        (HEAD + "[[build]]\nfrom_elevation_m = 900\n[[build]]\nfrom_elevation_m = 900\n", "heights that rise"),
        (HEAD + "[build]\nfrom_elevation_m = 900\n", "[[build]]"),
        ('schema = 1\nversion = "a/b"\n', "version is 'a/b'"),
    ],
)
def test_what_is_refused_and_how_it_is_said(text: str, says: str) -> None:
    with pytest.raises(ProfileError) as caught:
        parse_advice(text, "x.advice.toml")
    assert says in caught.value.one_line()


def test_the_sheet_that_held_on_the_day() -> None:
    old = parse_advice('schema = 1\nversion = "old"\nvalid_from = 2026-01-01\n', "a")
    new = parse_advice('schema = 1\nversion = "new"\nvalid_from = 2026-06-01\n', "b")
    assert in_force([new, old], date(2026, 5, 31)).version == "old"
    assert in_force([new, old], date(2026, 6, 1)).version == "new"
    assert in_force([new, old], None).version == "new"
    assert in_force([new, old], date(2025, 12, 31)).version == "built-in"
    assert in_force([], None).version == "built-in"


@given(st.text(max_size=200))
def test_any_text_is_a_sheet_or_a_profile_error(text: str) -> None:
    try:
        parse_advice(HEAD + text, "x")
    except ProfileError:
        return


def test_a_drafted_sheet_is_complete_and_equals_the_built_in_one() -> None:
    sheet = parse_advice(template("2026-07", date(2026, 7, 1)), "a")
    assert sheet.rules == default_advice().rules
    assert sheet.builds == default_advice().builds
    assert sheet.defaults_used == ()
    assert sheet.valid_from == date(2026, 7, 1)


def test_a_version_that_cannot_be_one_is_refused() -> None:
    with pytest.raises(ProfileError):
        template("a/b", date(2026, 7, 1))
