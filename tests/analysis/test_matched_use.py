"""Seconds by cell, gears, cruise, coming down again, the fan: small traces whose answer is known."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis import cooldown, fan_runs, matched_use

Array = npt.NDArray[np.float64]
ON = np.ones(3000, dtype=np.bool_)


@given(st.lists(st.tuples(st.floats(1, 12000), st.floats(0, 1)), min_size=1, max_size=200))
def test_every_second_of_a_turning_engine_is_in_one_cell(rows: list[tuple[float, float]]) -> None:
    rpm, opening = (np.array(column) for column in zip(*rows, strict=True))
    found = matched_use.cell_seconds(rpm, opening, 0.2)
    assert found.shape == (len(matched_use.RPM_EDGES) - 1, len(matched_use.OPENING_EDGES) - 1)
    assert found.sum() == pytest.approx(0.2 * len(rows))


def test_cells_leave_out_a_standing_engine_and_holes() -> None:
    rpm = np.array([0.0, 5000.0, np.nan, 9500.0])
    opening = np.array([0.5, 0.5, 0.5, 0.95])
    found = matched_use.cell_seconds(rpm, opening, 1.0)
    assert found.sum() == 2.0
    assert found[3, 3] == 1.0
    assert found[6, 5] == 1.0


def test_shares_in_common() -> None:
    first, others = np.zeros((7, 6)), np.zeros((7, 6))
    first[2, 2], first[3, 3] = 60.0, 40.0
    others[2, 2], others[4, 4], others[3, 3] = 30.0, 60.0, 9.0
    assert matched_use.common_shares(first, others) == (0.6, pytest.approx(30.0 / 99.0))
    assert matched_use.common_shares(first, 0.0 * others) is None


def test_a_gear_against_the_file_and_an_engine_that_runs_ahead() -> None:
    """Second gear 5 % over the file; a tenth of the time the engine runs 20 % ahead of the bike."""
    speed = np.full(1000, 10.0)
    rpm = np.full(1000, 10.0 * 500.0 * 1.05)
    rpm[:95] *= 1.20
    gear = np.full(1000, 2.0)
    (found,) = matched_use.gear_use(gear, rpm, speed, 0.2, (700.0, 500.0))
    assert (found.gear, found.seconds) == (2, 200.0)
    assert found.over_file == pytest.approx(1.05)
    assert found.rpm_per_kmh == pytest.approx(525.0 / 3.6)
    assert found.ahead_share == pytest.approx(0.095)
    assert found.spread == pytest.approx(0.0)
    assert matched_use.gear_use(0.0 * gear, rpm, speed, 0.2, ()) == ()
    (bare,) = matched_use.gear_use(gear, rpm, speed, 0.2, ())
    assert bare.over_file is None


def test_steady_cruise_is_found_and_a_change_is_not() -> None:
    step_s = 1.0
    speed = np.concatenate([np.full(200, 10.0), np.linspace(2.0, 30.0, 200), np.full(100, 25.0)])
    coolant = np.concatenate([np.full(200, 80.0), np.linspace(80.0, 110.0, 200), np.full(100, 95.0)])
    air = np.full(500, 20.0)
    found = {one.low_mps: one for one in matched_use.cruises(speed, coolant, air, step_s, 1.0)}
    assert found[6.0].lift_k == 60.0
    assert 160.0 <= found[6.0].seconds <= 200.0
    assert found[20.0].lift_k == 75.0
    assert found[20.0].high_mps is None
    assert 12.0 not in found


# -- coming down again ------------------------------------------------------------------------------------------------


def recovering(step_s: float = 1.0, tau_s: float = 60.0, back_at: int = 1300) -> tuple[Array, Array]:
    """A quarter of an hour on the move at 80 C, a stop that ends at 100 C, then speed and an exponential fall."""
    coolant, speed = np.full(2000, 80.0), np.full(2000, 10.0)
    speed[1200:back_at] = 0.0
    coolant[1200:back_at] = np.linspace(80.0, 100.0, back_at - 1200)
    t = np.arange(2000 - back_at) * step_s
    coolant[back_at:] = 80.0 + 20.0 * np.exp(-t / tau_s)
    return coolant, speed


def test_half_and_whole_way_of_an_exponential_fall() -> None:
    """tau ln 2 and tau ln 10 seconds, by the fall's own formula."""
    coolant, speed = recovering()
    (found,) = cooldown.recoveries(coolant, speed, ON[:2000], 1.0)
    assert found.base_c == pytest.approx(80.0, abs=0.2)
    assert found.at_s == 1300.0
    assert found.half_s == pytest.approx(60.0 * np.log(2.0), abs=1.0)
    assert found.back_s == pytest.approx(60.0 * np.log(10.0), abs=2.0)


@pytest.mark.parametrize("cut", ["slow again", "hole", "engine off"])
def test_what_ends_before_is_censored(cut: str) -> None:
    coolant, speed = recovering()
    running = ON[:2000].copy()
    if cut == "slow again":
        speed[1330:1400] = 0.0
    elif cut == "hole":
        coolant[1330:1340] = np.nan
    else:
        running[1330:] = False
    found = cooldown.recoveries(coolant, speed, running, 1.0)[0]
    assert found.back_s is None
    assert found.half_s is None
    assert found.seen_s == pytest.approx(29.0)


def test_a_short_pause_is_no_event_and_a_cool_stop_neither() -> None:
    coolant, speed = recovering()
    speed[1200:1300] = np.where(np.arange(100) < 85, 6.0, 0.0)
    assert cooldown.recoveries(coolant, speed, ON[:2000], 1.0) == ()
    coolant, speed = recovering()
    assert cooldown.recoveries(np.minimum(coolant, 84.0), speed, ON[:2000], 1.0) == ()


def test_median_of_times_some_of_which_were_cut_short() -> None:
    """Kaplan and Meier by hand: times 6, 6, 6, 7, 10 ended, 6, 9, 10, 11 only seen so long. Survival 6/9 after 6 (three
    of nine end), times 4/5 after 7 (five left), times 2/3 after 10 (three left): 0.356, the first at or under a half.
    The same steps as a textbook's survival table."""
    assert cooldown.median_s([6.0, 6.0, 6.0, 7.0, 10.0], [6.0, 9.0, 10.0, 11.0]) == 10.0
    assert cooldown.median_s([1.0, 2.0, 3.0], []) == 2.0
    assert cooldown.median_s([5.0], [9.0, 9.0, 9.0]) is None
    assert cooldown.median_s([], []) is None


def test_the_median_beside_a_reference_library() -> None:
    """The survival function of a reference library at its first step at or under a half."""
    from scipy.stats import CensoredData, ecdf

    draw = np.random.default_rng(2)
    for _ in range(20):
        done, cut = draw.exponential(60.0, 12), draw.exponential(90.0, 5)
        curve = ecdf(CensoredData(uncensored=done, right=cut)).sf
        under = np.flatnonzero(curve.probabilities <= 0.5)
        expected = float(curve.quantiles[under[0]]) if under.size else None
        assert cooldown.median_s(done.tolist(), cut.tolist()) == expected


# -- the fan ----------------------------------------------------------------------------------------------------------


def test_logged_runs() -> None:
    fan, coolant = np.zeros(600), np.linspace(80.0, 100.0, 600)
    fan[100:160] = fan[300:420] = 1.0
    fan[590:] = 1.0
    fan[200:220] = np.nan
    found = fan_runs.logged(fan, coolant, 1.0)
    assert [(run.start_s, run.length_s, run.whole) for run in found.runs] == [
        (100.0, 60.0, True), (300.0, 120.0, True), (590.0, 10.0, False),
    ]  # fmt: skip
    assert found.runs[0].on_c == pytest.approx(coolant[100])
    assert found.observed_s == 580.0


def test_a_run_whose_start_was_not_seen_tells_no_cut_in() -> None:
    """The log resumes, or begins, with the fan running: the coolant then is not where it cut in."""
    coolant = np.linspace(90.0, 110.0, 200)
    fan = np.zeros(200)
    fan[:20] = fan[100:140] = fan[190:] = 1.0
    fan[80:100] = np.nan
    seen = [
        (run.start_s, run.on_c is not None, run.off_c is not None) for run in fan_runs.logged(fan, coolant, 1.0).runs
    ]
    assert seen == [(0.0, False, True), (100.0, False, True), (190.0, True, False)]


def saw_tooth(low: float = 91.0, high: float = 95.5, teeth: int = 4) -> Array:
    """A standing bike: up in 80 s, down in 40 s, again and again."""
    tooth = np.concatenate([np.linspace(low, high, 80, endpoint=False), np.linspace(high, low, 40, endpoint=False)])
    return np.concatenate([np.linspace(70.0, low, 60, endpoint=False), *[tooth] * teeth, np.linspace(low, high, 80)])


def test_a_saw_tooth_shows_where_the_fan_cuts_in_and_how_long_it_runs() -> None:
    coolant = np.round(saw_tooth() * 2.0) / 2.0
    found = fan_runs.from_saw_tooth(coolant, 0.0 * coolant, ON[: coolant.size], 1.0, 0.5)
    assert len(found.runs) == 4
    assert np.median([run.on_c for run in found.runs]) == pytest.approx(95.5, abs=0.5)
    assert np.median([run.length_s for run in found.runs]) == pytest.approx(40.0, abs=6.0)
    assert found.observed_s == coolant.size


def test_no_tooth_is_made_up() -> None:
    """A warm engine that idles itself cool, a moving bike, a sensor of two-degree steps that flickers."""
    falling = np.linspace(100.0, 80.0, 400)
    assert fan_runs.from_saw_tooth(falling, 0.0 * falling, ON[:400], 1.0, 0.1).runs == ()
    teeth = saw_tooth()
    assert fan_runs.from_saw_tooth(teeth, 0.0 * teeth + 8.0, ON[: teeth.size], 1.0, 0.1).runs == ()
    flicker = 90.0 + 2.0 * (np.arange(400) % 2)
    assert fan_runs.from_saw_tooth(flicker, 0.0 * flicker, ON[:400], 1.0, 2.0).runs == ()
