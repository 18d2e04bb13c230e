"""Two recordings over each other: what is drawn is what lies there, moved by what was asked, scaled alike."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.figures.joint import CLOSE_S, close_looks, joint, signed_clock, value_text
from ridelog.figures.theme import DARK, INK
from ridelog.ingest_alignment import Curve
from ridelog.words.display import IMPERIAL, METRIC

RNG = np.random.default_rng(3)


def curve(channel: str, first_s: float, seconds: float, step_s: float = 0.1) -> Curve:
    values = 40.0 + 20.0 * np.sin(np.arange(round(seconds / step_s)) * step_s / 7.0) + RNG.normal(0.0, 1.0)
    return Curve(channel, channel, first_s, step_s, values)


def lines(own: Curve, beside: Curve, shift_s: float = 0.0) -> list[tuple[object, object]]:
    """Lines of each panel: beside, own."""
    data = joint(own, beside, shift_s).data
    return list(zip(data[::2], data[1::2], strict=True))


def test_all_of_both_and_three_close_looks() -> None:
    own, beside = curve("engine_rpm", 30.0, 900.0), curve("gps_speed_mps", 0.0, 1000.0)
    found = joint(own, beside, 0.0)
    assert len(found.data) == 8
    assert [note.text for note in found.layout.annotations] == [
        "All of both", "Near its beginning", "In the middle", "Near its end",
    ]  # fmt: skip
    assert len(json.dumps(found.to_plotly_json(), default=lambda one: one.tolist())) < 1_000_000


@pytest.mark.parametrize("shift_s", [0.0, -12.5, 40.0])
def test_a_recording_is_drawn_where_it_lies_and_the_other_stays(shift_s: float) -> None:
    own, beside = curve("engine_rpm", 30.0, 900.0), curve("gps_speed_mps", 0.0, 1000.0)
    still, moved = lines(own, beside)[0], lines(own, beside, shift_s)[0]
    assert np.nanmin(moved[1].x) == pytest.approx(30.0 + shift_s)  # type: ignore[attr-defined]
    assert np.nanmin(moved[0].x) == np.nanmin(still[0].x) == pytest.approx(0.0)  # type: ignore[attr-defined]


def test_close_looks_stay_when_a_recording_is_moved() -> None:
    own, beside = curve("engine_rpm", 30.0, 900.0), curve("gps_speed_mps", 0.0, 1000.0)
    ranges = [[joint(own, beside, shift).layout[f"xaxis{n}"].range for n in (2, 3, 4)] for shift in (0.0, 9.0)]
    assert ranges[0] == ranges[1]


def test_close_looks_lie_where_both_were_on_and_both_change() -> None:
    quiet = np.full(9000, 40.0)
    quiet[4000:4600] += np.tile([0.0, 5.0], 300)
    own = Curve("engine_rpm", "engine speed", 30.0, 0.1, quiet)
    beside = Curve("gps_speed_mps", "ground speed", 0.0, 0.1, np.concatenate([np.full(300, 40.0), quiet]))
    found = close_looks(own, beside)
    assert len(found) == 3
    assert all(look.end_s - look.start_s == pytest.approx(CLOSE_S) for look in found)
    assert found[0].start_s >= 30.0
    assert found[-1].end_s <= 930.0
    assert found[1].start_s < 490.0
    assert found[1].end_s > 430.0


@pytest.mark.parametrize(("first_s", "seconds"), [(0.0, 30.0), (5000.0, 900.0), (-5000.0, 900.0)])
def test_short_ones_and_ones_that_share_nothing_are_drawn_too(first_s: float, seconds: float) -> None:
    assert len(lines(curve("engine_rpm", first_s, seconds), curve("gps_speed_mps", 0.0, 40.0))) == 2


def test_holes_stay_holes() -> None:
    own, beside = curve("engine_rpm", 0.0, 900.0), curve("gps_speed_mps", 0.0, 900.0)
    own.values[2000:6000] = np.nan
    drawn = lines(own, beside)[0][1]
    x, y = np.asarray(drawn.x), np.asarray(drawn.y)  # type: ignore[attr-defined]
    assert np.isnan(y[(x > 201.0) & (x < 599.0)]).all()
    assert np.nanmax(y) <= 1.0
    assert np.nanmin(y) >= 0.0


def test_hover_tells_real_values_in_the_readers_units() -> None:
    own, beside = curve("coolant_c", 0.0, 400.0), curve("gps_speed_mps", 0.0, 400.0)
    for units, kelvin, speed in ((METRIC, "°C", "km/h"), (IMPERIAL, "°F", "mph")):
        first, second = joint(own, beside, 0.0, units=units).data[:2]
        assert speed in first.hovertemplate
        assert kelvin in second.hovertemplate
    factor, offset, _ = value_text(own, IMPERIAL)
    assert factor * 100.0 + offset == pytest.approx(212.0)
    assert value_text(curve("engine_rpm", 0.0, 1.0), METRIC) == (1.0, 0.0, "1/min")


def test_on_dark_ground_the_ink_is_light() -> None:
    own, beside = curve("engine_rpm", 0.0, 400.0), curve("gps_speed_mps", 0.0, 400.0)
    assert joint(own, beside, 0.0).data[0].line.color == INK
    assert joint(own, beside, 0.0, dark=True).data[0].line.color == DARK[INK]


@given(st.floats(-1e5, 1e5))
def test_times_before_the_beginning_bear_a_sign(seconds: float) -> None:
    assert signed_clock(seconds).startswith("-") == (seconds < -0.5)
