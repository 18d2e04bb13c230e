"""What `ridelog analyze` prints of doubtful data."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import pytest

from ridelog.cli.analyzing import print_analysis


def test_a_mark_on_both_coordinates_is_one_row(fakes: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    analysis = fakes.make_view().analysis
    one = replace(analysis.quality[0], channel="lat_deg", kind="position_jump", detail="a leap")
    longitude = replace(one, channel="lon_deg")
    print_analysis(replace(analysis, quality=(one, longitude)))
    assert capsys.readouterr().out.count("a leap") == 1
    print_analysis(replace(analysis, quality=(one, replace(longitude, detail="a leap later"))))
    assert capsys.readouterr().out.count("a leap") == 2


def test_a_mark_is_one_line_however_long_what_was_seen(fakes: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    analysis = fakes.make_view().analysis
    long = replace(
        analysis.quality[0], channel="gps_speed_mps", kind="impossible_rate", start_s=60.0, end_s=60.2, detail="x " * 90
    )
    print_analysis(replace(analysis, quality=(long, replace(long, start_s=180.0, end_s=210.0))))
    doubts = capsys.readouterr().out.partition("Doubtful data\n")[2].splitlines()
    assert doubts[0].startswith("  Satellite speed, 0:01:00: impossible step, left out; x x")
    assert doubts[1].startswith("  Satellite speed, 0:03:00 to 0:03:30: impossible step, left out; x x")
