"""The conservative map's effect against the simulator: bikes with a known ratio, ridden as riders use the map.

The whole run is slow. What misses its goal is said beside its assertion; the print of the run (-rP) gives all figures.
"""

from __future__ import annotations

import numpy as np
import pytest
from plant import bike_of, effect_referee, simulate
from plant.effect_referee import SCORING_BIKES, TUNING_BIKES, Score, judge, machine

from ridelog.analysis.effect import Part, pooled
from ridelog.effect_ride import part_of


def test_a_few_bikes_are_told_within_their_intervals() -> None:
    for group in (TUNING_BIKES[0], TUNING_BIKES[5]):
        outcome = judge(group, rides=6)
        assert outcome.identified, outcome.text()
        assert all(outcome.holds()), outcome.text()
        assert outcome.said.ratio is not None
        assert outcome.said.ratio.high - outcome.said.ratio.low <= 0.2


def test_a_map_used_with_the_sand_and_never_otherwise_is_not_told() -> None:
    # These riders switch a few seconds after the sand begins, and back a few seconds after it ends.
    bike = machine(TUNING_BIKES[3])
    rides = [simulate(70 + n, bike.bike.id, machine=bike, map_plan="advice", duration_s=1500.0).ride for n in range(6)]
    given = [part_of(ride, bike_of(bike.bike.id)) for ride in rides]
    said = pooled([one for one in given if isinstance(one, Part)])
    assert said.reason == "ground"
    assert said.explained is not None
    assert said.explained > 0.75


@pytest.mark.slow
def test_intervals_hold_the_truth_on_bikes_nobody_looked_at() -> None:
    score = Score(tuple(judge(group) for group in SCORING_BIKES))
    print(score.text())
    work, throttle = score.coverage()
    assert len(score.outcomes) >= 60
    assert work >= 0.90
    assert throttle >= 0.90
    assert float(np.median(score.widths())) <= 0.12
    assert len(score.told) >= 0.9 * len(score.outcomes)


@pytest.mark.slow
@pytest.mark.parametrize("group", effect_referee.SCORING_BIKES[:3])
def test_a_library_with_the_map_in_sand_alone_is_not_identified(group: int) -> None:
    outcome = judge(group, "sand_only")
    print(outcome.text())
    assert outcome.said.reason == "ground"
