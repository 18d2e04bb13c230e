"""What tuners ask of the log, each answered within two clicks of the ride's page: the page shows what the library works
out, by the reading of a real browser."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from browser.questions.conftest import COMPARED, LESS_LIKELY, listed, plain, told

from dashboard.pages.compare import told as named
from dashboard.provider import CompareQuestion
from ridelog.analysis import adherence, exposure, matched_use
from ridelog.closer import coolant_of, track_of
from ridelog.closer_rates import alone, follows, rates
from ridelog.report import tables
from ridelog.words.compare_tables import load_words, speed_words
from ridelog.words.terms import clock, duration, share

pytestmark = pytest.mark.browser

SAND, LATE, MUD, HOLES = "01-standard-in-sand", "03-spaet-geschaltet", "06-more-mud", "11-dropouts"


def before(view: Any) -> str:
    """The ride of this bike before it."""
    prior = view.analysis.basis.prior
    return str(max(one for one in prior.rides if one not in prior.same_build and one < view.ride.id))


def beside(asker: Any, view: Any) -> Any:
    """From the ride to its comparison with the one before it, in two clicks."""
    other = before(view)
    asker.open("beside")
    asker.follow(f"/compare?rides={view.ride.id}%2C{other}", COMPARED)
    return asker.provider.compare_of(CompareQuestion((view.ride.id, other)))


def test_q15_how_much_hotter_since_the_work_at_like_load(asker: Any) -> None:
    asker.ride(MUD)
    asker.open("beside")
    asker.follow("/compare?bike=enduro-12&service=2026-05-08", COMPARED)
    found = asker.provider.compare_of(CompareQuestion(bike="enduro-12", service="2026-05-08"))
    assert asker.look.text("#answer") == plain(named(found.comparison.summary[0], found))
    band = found.comparison.settle[0].difference
    row = asker.rows("section[aria-labelledby='h-table-1']")[0]
    assert row[3].startswith(f"{band.value:+.0f} °C")
    assert f"({band.low:+.0f} to {band.high:+.0f})" in row[3]


def test_q16_whether_it_follows_load_or_air(asker: Any) -> None:
    view = asker.ride(MUD)
    said = asker.open("follows")
    found = follows(view.study)
    assert found.answer == "load"
    assert said.startswith("It follows the load more than the air")
    for band in (found.load_k, found.air_k):
        assert f"±{band.value:.0f} °C ({band.low:.0f} to {band.high:.0f})" in said
    assert f"Over {found.minutes} whole minutes, {share(found.share)} of the ride" in said


def test_q17_how_fast_it_heats_by_load_and_cools_by_speed(asker: Any) -> None:
    view = asker.ride(SAND)
    asker.open("follows")
    found = rates(view.study)
    rows = {row[0]: row[1:] for row in asker.rows("#asked-follows")}
    named_rows = [(load_words(one.low, one.high), one) for one in found.by_load]
    named_rows += [(speed_words(one.low, one.high), one) for one in found.by_speed]
    assert len(rows) == len(named_rows) > 5
    for name, one in named_rows:
        mean, band, lasted = rows[name]
        assert float(mean) == pytest.approx(60.0 * one.mean_kps, abs=0.051)
        assert lasted == duration(one.seconds)
        assert ("one block only" in band) == (one.band is None)


def test_q18_where_it_settles_at_a_steady_pace_against_before(asker: Any) -> None:
    view = asker.ride(MUD)
    found = beside(asker, view).comparison
    cruise = next(one for one in found.settle if one.stretch == "cruise")
    (row,) = [one for one in asker.rows("section[aria-labelledby='h-table-1']") if one[0].lower().startswith("cruise")]
    for cell, band in zip(row[1:3], (cruise.first, cruise.others), strict=True):
        assert cell.startswith(f"{band.value:.0f} °C ({band.low:.0f} to {band.high:.0f})")
    # and of this ride alone
    asker.ride(MUD)
    asker.open("steady")
    shown = {row[0]: row[1:] for row in asker.rows("#asked-steady")}
    for one in alone(view.study).cruise:
        lift, ends, lasted = shown[speed_words(one.low_mps, one.high_mps)]
        assert lift == f"{one.lift_k:.0f} °C"
        assert ends == f"{one.lowest_k:.0f} to {one.highest_k:.0f} °C"
        assert lasted == duration(one.seconds)


def test_q19_when_the_fan_cuts_in_and_how_often(asker: Any) -> None:
    view = asker.ride(MUD)
    said = asker.open("down")
    series = view.traces.series
    on = np.nan_to_num(series["fan_on"]) > 0.5
    starts = np.flatnonzero(on[1:] & ~on[:-1]) + 1
    assert starts.size > 1
    assert f"{starts.size + int(on[0])} runs" in said
    at_c = np.median(series["coolant_c"][starts])
    assert f"cut in at {at_c:.0f} °C" in said
    found = alone(view.study).fan
    assert f"a run lasts {duration(found.run_s.value)}" in said


def test_q20_signs_of_lost_coolant_air_or_a_substitute_value(asker: Any) -> None:
    view = asker.ride(SAND)
    asker.click(LESS_LIKELY)
    for cause in ("cap_leaking", "coolant_flow_low", "air_in_system", "sensor_fault"):
        assert listed(asker, view, cause), cause


def test_q21_time_at_high_revs_and_wide_throttle(asker: Any) -> None:
    view = asker.ride(SAND)
    fact = view.analysis.facts["riding"]["fast_wide_open"]
    said = asker.open("fast")
    assert said.startswith(f"{duration(fact['seconds'])} over {fact['from_rpm']:.0f} rpm")
    assert f"the longest {duration(fact['longest_s'])}" in said
    rows = {row[0]: row[1:] for row in asker.rows("#asked-fast")}
    for one in fact["by_rpm"]:
        assert rows[f"{one['from_rpm']:.0f} to {one['to_rpm']:.0f}"][0] == duration(one["seconds"])
    series = view.traces.series
    cells = matched_use.cell_seconds(series["engine_rpm"], series["throttle_open"], view.traces.step_s)
    assert rows["over 9000"][-1] == f"{cells[-1, -1]:.0f}"


def test_q22_which_stretches_called_for_the_map_by_which_rule(asker: Any) -> None:
    view = asker.ride(LATE)
    said = asker.open("map")
    advised = [one for one in view.analysis.segments if one.advised_map == "conservative"]
    rows = asker.rows("#asked-map")
    assert [row[0] for row in rows] == [clock(one.start_s) for one in advised]
    drag = view.advice.rule("heavy_drag")
    assert f"at least {drag.level('min_drag_coefficient'):g}" in said
    assert f"for {drag.min_duration_s:g} s or more" in said
    assert f"rules of the sheet {view.analysis.basis.advice_version}" in said
    table = asker.card("stretches")
    assert all(told(one.reason) in table for one in advised)


def test_q23_how_late_the_switch_was_and_how_long_it_stayed(asker: Any) -> None:
    view = asker.ride(LATE)
    asker.open("map")
    advised = [one for one in view.analysis.segments if one.advised_map == "conservative"]
    rows = asker.rows("#asked-map")
    assert any(one.verdict == "late" for one in advised)
    for row, one in zip(rows, advised, strict=True):
        switched = "was on already" if one.switched_after_s == 0.0 else duration(one.switched_after_s)
        assert row[3:6] == [share(one.conservative_share), switched, duration(one.held_after_s)]


def test_q24_engine_speed_over_ground_speed_in_each_gear(asker: Any) -> None:
    view = asker.ride(SAND)
    asker.open("gears")
    rows = {int(row[0]): row[1:] for row in asker.rows("#asked-gears")}
    series = view.traces.series
    for gear, row in rows.items():
        here = (series["gear"] == gear) & (series["speed_mps"] > 1.5) & (series["engine_rpm"] > 0.0)
        ratio = series["engine_rpm"][here] / series["speed_mps"][here]
        assert float(row[0]) == pytest.approx(np.median(ratio) / 3.6, rel=0.01)
        against = np.median(ratio) / view.bike.rpm_per_mps[gear - 1]
        assert float(row[2].removesuffix(" %")) == pytest.approx(100.0 * (against - 1.0), abs=0.3)
    assert set(rows) == {one.gear for one in alone(view.study).gears}


def test_q25_whether_the_throttle_reaches_its_stops(asker: Any) -> None:
    view = asker.ride(SAND)
    fact = view.analysis.facts["riding"]["throttle_range"]
    text = asker.card("riding")
    assert f"at rest {fact['closed_pct']:.0f} %, wide open {fact['open_pct']:.0f} %" in text
    assert ("What it reads at rest changed" in text) == bool(fact["moved_at_s"])


def test_q26_whether_the_hot_part_hides_in_a_hole(asker: Any) -> None:
    view = asker.ride(HOLES)
    said = asker.open("hidden")
    coolant = coolant_of(view.study)
    missing = view.analysis.ride.duration_s - float(np.diff(coolant.t_s)[coolant.joined].sum())
    assert f"For {duration(missing)} of" in said
    for row in view.analysis.exposure:
        hides = "could hide there" if row.estimated_high_s > 0.5 else "hardly hides there"
        assert f"time above {row.threshold_c:g} °C ({row.name}) {hides}" in said
        assert f"For {duration(row.unknown_s)} nothing speaks" in said


def test_q27_what_an_error_of_sensor_or_clock_would_change(asker: Any) -> None:
    view = asker.ride(LATE)
    asker.open("levels")
    coolant = coolant_of(view.study)
    rows = {row[0]: row[1:] for row in asker.rows("#asked-levels")}
    for one in view.analysis.exposure:
        for cell, off_c in zip(rows[f"{one.threshold_c:g} °C ({one.name})"][3:], (2.0, -2.0), strict=True):
            over = exposure.above(coolant.t_s, coolant.y - off_c, coolant.joined, one.threshold_c)
            assert cell == duration(over.total_s)
    said = asker.open("clock")
    used = track_of(view.study)
    shares = []
    for late_s in (-1.0, 1.0):
        on_s = known_s = 0.0
        for one in view.analysis.segments:
            if one.advised_map == "conservative":
                begin_s = min(one.start_s + view.advice.rule(one.kind).grace_s, one.end_s)
                on_s += used.seconds(adherence.CONSERVATIVE, begin_s - late_s, one.end_s - late_s)
                known_s += one.end_s - begin_s
        shares.append(on_s / known_s)
    assert f"from {100 * min(shares):.1f} to {100 * max(shares):.1f} %" in said
    assert f"({100 * view.analysis.adherence.share:.1f} % as logged)" in said


def test_q28_two_rides_beside_each_other_by_place(asker: Any) -> None:
    view = asker.ride(MUD)
    found = beside(asker, view)
    text = asker.card("places")
    assert found.ground.stretches
    assert plain(named(found.ground.summary[0], found)) in text
    row = found.ground.stretches[0]
    assert f"{len([one for one in row.passes if one.full])} whole" in text
    asker.look.wait("section[aria-labelledby='h-places'] .main-svg .trace")


def test_q29_what_the_import_changed_or_left_out(asker: Any) -> None:
    view = asker.ride(LATE)
    notes = tables.note_sentences(view.ride)
    assert notes
    text = asker.card("import")
    assert all(plain(one) in text for one in notes)


def test_q30_what_a_threshold_two_degrees_lower_would_change(asker: Any) -> None:
    view = asker.ride(HOLES)
    said = asker.open("levels")
    coolant = coolant_of(view.study)
    hot = next(one for one in view.analysis.exposure if one.name == "hot")
    lower = exposure.above(coolant.t_s, coolant.y, coolant.joined, hot.threshold_c - 2.0)
    (row,) = [row for row in asker.rows("#asked-levels") if "(hot)" in row[0]]
    assert row[1] == duration(hot.observed_s)
    assert row[-1] == duration(lower.total_s)
    # 2 C more would have kept it under altogether: the answer hangs on that, and the page says so
    assert not exposure.above(coolant.t_s, coolant.y, coolant.joined, hot.threshold_c + 2.0).total_s
    assert f"Whether it was ever above {hot.threshold_c:g} °C (hot) hangs on that" in said
    asker.follow(f"/bikes/{view.ride.bike}", "#profile-look")


def test_q31_whether_the_engine_was_warmed_up(asker: Any) -> None:
    view = asker.ride(SAND)
    fact = view.analysis.facts["riding"]["warm_up"]
    text = asker.card("riding")
    assert f"the coolant took {duration(fact['seconds'])} to {fact['to_c']:.0f} °C" in text
    assert f"before that the most was the throttle {share(fact['highest_opening'])} open" in text


def test_q32_which_of_two_sensors_to_trust(asker: Any) -> None:
    view = asker.ride("two-sensors")
    series = view.ride.samples
    off = (series["coolant_c.2"] - series["coolant_c"]).median()
    said = asker.open("sensors")
    assert f"{off:+.1f} °C against sensor 1" in said
    assert "which one is right can't be told" in said
    asker.ride(SAND)
    assert asker.open("sensors").startswith("Can't tell: this log has one coolant sensor")
