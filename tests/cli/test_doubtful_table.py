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
