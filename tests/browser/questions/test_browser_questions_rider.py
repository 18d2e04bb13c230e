"""What riders ask of the log, each answered within two clicks of the ride's page: the page shows what the library works
out, by the reading of a real browser."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from browser.questions.conftest import COMPARED, LESS_LIKELY, listed, plain, told

from dashboard.pages.compare import told as named
from dashboard.provider import CompareQuestion
from ridelog.analysis import exposure
from ridelog.closer import coolant_of
from ridelog.intervals import Interval, total_s
from ridelog.report.sentences import sentence, shown
from ridelog.words.terms import clock, duration, share

pytestmark = pytest.mark.browser

SAND, LATE, MUD, HOLES = "01-standard-in-sand", "03-spaet-geschaltet", "06-more-mud", "11-dropouts"


def test_q01_how_long_above_each_temperature(asker: Any) -> None:
    view = asker.ride(SAND)
    heads = asker.card("exposure")
    for row in view.analysis.exposure:
        assert f"{row.threshold_c:g} °C ({row.name})" in heads
        assert duration(row.observed_s) in heads
        assert duration(row.longest_s) in heads
    asker.open("levels")
    shown_ = {row[0]: row[1:4] for row in asker.rows("#asked-levels")}
    coolant = coolant_of(view.study)
    for level in (100.0, 110.0):
        over = exposure.above(coolant.t_s, coolant.y, coolant.joined, level)
        assert shown_[f"{level:g} °C"] == [duration(over.total_s), str(over.start_s.size), duration(over.longest_s)]


def test_q02_when_and_where_the_hottest_minute_was(asker: Any) -> None:
    view = asker.ride(SAND)
    said = asker.open("minute")
    traces = view.traces
    size = round(60.0 / traces.step_s)
    means = np.convolve(traces.series["coolant_c"], np.ones(size) / size, mode="valid")
    first = int(np.argmax(means))
    start_s = float(traces.t_s[first])
    assert f"From {clock(start_s)} to {clock(start_s + 60.0)}" in said
    assert f"({view.ride.start_utc + timedelta(seconds=start_s):%H:%M:%S} UTC)" in said
    assert f"{means[first]:.1f} °C on average" in said
    way_m = float(np.nansum(traces.series["speed_mps"][:first]) * traces.step_s)
    assert f"{way_m / 1000.0:.1f} km into the ride" in said


def test_q03_which_ground_made_it_hot(asker: Any) -> None:
    view = asker.ride(SAND)
    assert "on slow climbs" in view.analysis.summary[1]
    assert told(view.analysis.summary[1]) in asker.look.text()


def test_q04_whether_it_is_usual_for_such_air(asker: Any) -> None:
    view = asker.ride(SAND)
    assert view.diagnosis.conclusion not in ("not_enough_evidence",)
    text = asker.card("behind")
    assert told(view.diagnosis.summary[0]) in text
    assert f"Air {view.analysis.heat.ambient_c.value:.0f} °C" in asker.card("heat")
    asker.click(LESS_LIKELY)
    assert listed(asker, view, "hot_conditions")


def test_q05_whether_it_ran_hotter_than_the_ride_before(asker: Any) -> None:
    view = asker.ride(MUD)
    asker.open("beside")
    prior = view.analysis.basis.prior
    before = max(one for one in prior.rides if one not in prior.same_build and one < view.ride.id)
    asker.follow(f"/compare?rides={view.ride.id}%2C{before}", COMPARED)
    found = asker.provider.compare_of(CompareQuestion((view.ride.id, before)))
    assert asker.look.text("#answer") == plain(named(found.comparison.summary[0], found))


def test_q06_whether_it_boiled_or_the_sensor_erred(asker: Any) -> None:
    view = asker.ride(SAND)
    boiling = view.analysis.boiling
    key = asker.look.text("dl.keys")
    assert f"{abs(boiling.margin_sealed_c):.0f} °C below" in key
    assert f"{abs(boiling.margin_vented_c):.0f} °C above" in key
    asker.click(LESS_LIKELY)
    assert listed(asker, view, "sensor_fault")


def test_q07_which_map_was_on_while_hot_and_whether_in_time(asker: Any) -> None:
    view = asker.ride(LATE)
    said = asker.open("minute")
    series = view.traces.series
    hot = series["coolant_c"] > max(row.threshold_c for row in view.analysis.exposure if row.observed_s > 0.0)
    by_map = [float(np.sum(hot & (series["map_conservative"] == state)) * view.traces.step_s) for state in (0.0, 1.0)]
    found = said.split("Above ")[1]
    for seconds, name in zip(by_map, ("standard", "conservative"), strict=True):
        told_s = next(part for part in found.split(", ") if f"the {name} map" in part)
        assert abs(float(told_s.split(": ")[-1].split(" s")[0]) - seconds) < 1.0
    asker.open("map")
    advised = [one for one in view.analysis.segments if one.advised_map == "conservative"]
    assert [row[-1] for row in asker.rows("#asked-map")] == [
        {"late": "switched late"}.get(one.verdict, one.verdict) for one in advised
    ]


def test_q08_whether_the_other_map_would_have_kept_it_under(asker: Any) -> None:
    view = asker.ride(SAND)
    rows = asker.rows("section[aria-labelledby='h-what-if']")
    asked = view.analysis.what_if.exposure
    assert len(rows) == len(asked)
    for row, one in zip(rows, asked, strict=True):
        assert f"{one.threshold_c:g} °C" in row[0]
        low, high = (duration(round(value)) for value in (one.low_s, one.high_s))
        assert row[2] == f"{duration(round(one.mid_s))} ({low} to {high})"
    ratio = view.analysis.what_if.heat_ratio
    assert f"{ratio.value:.2f} ({ratio.low:.2f} to {ratio.high:.2f})" in asker.card("what-if")


def test_q09_how_long_it_took_to_come_down(asker: Any) -> None:
    from ridelog.closer_rates import alone

    view = asker.ride("s31-dead-fan-34")
    found = alone(view.study).cool_down
    said = asker.open("down")
    assert found.events > 0
    assert f"{found.events} time" in said
    assert f"from up to {found.highest_c:.0f} °C" in said
    half = "more than was seen" if found.half_s is None else duration(found.half_s)
    assert f"half of the way down after {half}" in said


def test_q10_whether_it_was_worked_hard_while_cold(asker: Any) -> None:
    view = asker.ride("s23-no-warm-up-31")
    fact = view.analysis.facts["riding"]["cold_load"]
    assert fact["answer"] == "yes"
    text = asker.card("riding")
    assert plain(f"under {fact['below_c']:.0f} °C for {duration(fact['cold_s'])}") in text
    assert plain(f"{duration(fact['loaded_s'])} of it with the throttle half open or more") in text


def test_q11_the_longest_wide_open_and_how_it_was_shut(asker: Any) -> None:
    view = asker.ride(SAND)
    facts = view.analysis.facts["riding"]
    text = asker.card("riding")
    assert plain(f"{facts['wide_open']['times']} times, {duration(facts['wide_open']['seconds'])} in all") in text
    assert plain(f"the longest {duration(facts['wide_open']['longest_s'])}") in text
    assert plain(f"after {facts['sharp_shut']['long_wide_open']} long stretches wide open") in text


def test_q12_whether_the_fan_works(asker: Any) -> None:
    view = asker.ride(MUD)
    said = asker.open("down")
    fan = view.traces.series["fan_on"]
    starts = int(np.sum(np.diff(np.nan_to_num(fan)) > 0.5) + (fan[0] > 0.5))
    assert f"Fan: {starts} runs in {duration(view.analysis.ride.duration_s)}, as logged" in said
    step = view.analysis.heat.fan_step_per_s
    assert f"adds {60.0 * step.value:.2f} K a minute a degree" in said
    asker.click(LESS_LIKELY)
    assert listed(asker, view, "fan_fault")


def test_q13_what_to_look_at_before_the_next_ride(asker: Any) -> None:
    view = asker.ride(SAND)
    script = (
        "return [...document.querySelectorAll(\"section[aria-labelledby='h-behind'] > ol li\")].map(e => e.innerText)"
    )
    assert [plain(one) for one in asker.look.run(script)] == [plain(sentence(one)) for one in view.diagnosis.check_next]
    # no word that it is fit to ride: that is left to somebody who looks at it
    text = asker.card("behind")
    assert all(told(one) in text for one in view.diagnosis.cautions)
    assert "qualified technician" in text


def test_q14_why_there_is_a_hole(asker: Any) -> None:
    view = asker.ride(HOLES)
    gone = total_s(Interval(*gap) for gap in view.analysis.ride.gaps)
    assert f"{duration(gone)} without data" in asker.look.text("dl.keys")
    rows = asker.rows("section[aria-labelledby='h-doubtful']")
    (mark,) = [one for one in view.analysis.quality if one.channel == "coolant_c"]
    assert [plain(shown(mark.detail))] == [row[-1] for row in rows if row[0] == "coolant temperature"]
    unknown = view.analysis.ride.duration_s - coolant_of(view.study).covered_s
    said = asker.open("hidden")
    assert f"For {duration(unknown)} of {duration(view.analysis.ride.duration_s)}" in said
    assert share(unknown / view.analysis.ride.duration_s) in said
