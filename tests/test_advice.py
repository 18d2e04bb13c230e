"""The advice sheet: defaults, refusals, and which sheet holds on a day."""

from __future__ import annotations

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
    assert sheet.defaults_used == ()
    assert sheet.valid_from == date(2026, 7, 1)


def test_a_version_that_cannot_be_one_is_refused() -> None:
    with pytest.raises(ProfileError):
        template("a/b", date(2026, 7, 1))
