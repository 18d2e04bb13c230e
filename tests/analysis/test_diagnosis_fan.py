"""The fan's channel beside the coolant, on rides whose fan is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from heat_rides import PLANTS, held

from ridelog.analysis.diagnosis_asked import Asked
from ridelog.analysis.diagnosis_fan import FanLog, called, fan_log
from ridelog.analysis.diagnosis_sensor import Sensor
from ridelog.analysis.diagnosis_weigh import Evidence, weigh
from ridelog.analysis.thermal import STEP_S, Conditions
from ridelog.results import FloatArray

FANNED = PLANTS["fan"]
ON_C, OFF_C = float(FANNED.fan_on_c or 0.0), float(FANNED.fan_off_c or 0.0)


def standing(coolant_c: FloatArray, fan: FloatArray | None) -> Conditions:
    """A standing bike, engine running."""
    ride = held(coolant_c.size, power_kw=0.1, turning=0.25, speed_mps=0.0)
    return replace(ride, coolant_c=coolant_c, fan_logged=fan)


CLIMB = np.linspace(ON_C - 10.0, ON_C + 20.0, 121)
CALM = Evidence(Sensor("well", 0.0, {}), Asked(105.0, 0.0, 0.0, 0.0, 20.0, 0.0), has_fan=True, fan_called_s=200.0)


def test_a_fan_logged_off_above_its_switch_point_is_counted() -> None:
    seen = fan_log(FANNED, standing(CLIMB, np.zeros(CLIMB.size)))
    assert seen is not None
    # By hand: every step from the switch point and its margin on.
    assert seen.off_s == STEP_S * sum(1 for value in CLIMB.tolist() if value >= seen.from_c)
    assert seen.from_c == ON_C + 3.0
    assert (seen.on_s, seen.turns, seen.state) == (0.0, 0, "off")


def test_what_the_coolant_asked_for_does_not_hang_on_what_the_fan_did() -> None:
    dead, unlogged = standing(CLIMB, np.zeros(CLIMB.size)), standing(CLIMB, None)
    assert called(FANNED, dead).tolist() == called(FANNED, unlogged).tolist() == (CLIMB >= ON_C).tolist()
    assert fan_log(FANNED, unlogged) is None
    assert not called(FANNED, replace(dead, running=np.zeros(CLIMB.size, dtype=np.bool_))).any()


def test_a_fan_that_is_not_known_is_not_off() -> None:
    seen = fan_log(FANNED, standing(CLIMB, np.full(CLIMB.size, np.nan)))
    assert seen == FanLog(ON_C + 3.0, 0.0, 0.0, 0)


def test_a_fan_that_ran_is_on_whatever_its_switch_point() -> None:
    """The bike file says some degrees too low: the fan comes in later and then runs."""
    seen = fan_log(FANNED, standing(CLIMB, (CLIMB >= ON_C + 9.0).astype(float)))
    assert seen is not None
    assert seen.off_s == 0.0
    assert seen.state == "on"


def test_a_fan_that_worked_and_then_died_is_off() -> None:
    trace = np.concatenate([CLIMB, CLIMB[::-1], CLIMB, np.full(60, CLIMB[-1])])
    fan = np.concatenate([(CLIMB >= ON_C), (CLIMB[::-1] > OFF_C), np.zeros(CLIMB.size + 60)]).astype(float)
    seen = fan_log(FANNED, standing(trace, fan))
    assert seen is not None
    assert seen.state == "off"
    assert seen.on_s > 45.0


def test_a_channel_of_something_else_does_not_convict_the_fan() -> None:
    """The coolant turns round at the switch point again and again while the channel says nothing."""
    high = ON_C - 1.0 + (ON_C - OFF_C + 12.0) / 2.0 * np.sin(np.arange(240) / 6.0)
    seen = fan_log(FANNED, standing(high, np.zeros(high.size)))
    assert seen is not None
    assert seen.turns >= 2
    assert seen.off_s >= 45.0
    assert seen.state == "unclear"


@pytest.mark.parametrize(
    ("log", "sign"),
    [(FanLog(98.0, 90.0, 0.0, 0), 1), (FanLog(98.0, 0.0, 90.0, 0), -1), (FanLog(98.0, 10.0, 0.0, 0), 0)],
)
def test_the_channel_weighs_for_and_against_the_fan(log: FanLog, sign: int) -> None:
    plain, told = weigh(CALM).causes["fan_fault"], weigh(replace(CALM, fan_log=log)).causes["fan_fault"]
    assert np.sign(round(told - plain, 9)) == sign
