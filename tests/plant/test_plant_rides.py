"""Whole rides of the simulator: what the logger writes, and what is true beside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plant import BIKES, Sensors, simulate
from plant.common_rides import SEEDS, ride
from ridelog.channels import CHANNELS


def test_healthy_bike_runs_in_the_usual_band() -> None:
    """At 20 C air: the median between 62 and 95 C, the worst under 118 C (71-104 C usual off road: common practice)."""
    for bike in BIKES:
        coolant = np.concatenate([ride(seed, bike).truth.trace.coolant_c[6000:] for seed in SEEDS])
        assert 62.0 < np.median(coolant) < 95.0
        assert np.max(coolant) < 118.0


@pytest.mark.parametrize("seed", SEEDS)
def test_the_ride_is_a_ride(seed: int) -> None:
    """Strictly rising time, no NaN, values within the channels' own ranges, coolant close to the truth."""
    found = ride(seed)
    frame = found.ride.samples
    t = frame["t_s"].to_numpy()
    assert t[0] == 0.0
    assert np.all(np.diff(t) > 0)
    assert set(found.ride.channels) == set(frame.columns) - {"t_s"}
    for name in found.ride.channels:
        values = frame[name].drop_nulls().to_numpy()
        assert np.all(np.isfinite(values))
        assert CHANNELS[name].low <= values.min() <= values.max() <= CHANNELS[name].high
    true = np.interp(t, found.truth.trace.t_s, found.truth.trace.coolant_c)
    assert np.percentile(np.abs(frame["coolant_c"].to_numpy() - true), 95) < 3.0


def test_logger_choices() -> None:
    """A truncating sensor reads low; a hole is null; a logger that stops with the engine leaves a gap."""
    kinds = ("forest", "sand")
    base = Sensors(coolant_step=1.0, coolant_floor=False, coolant_hz=1.0, log_hz=10.0)
    rounded = simulate(9, duration_s=1500.0, kinds=kinds, sensors=base)
    cut = simulate(
        9, duration_s=1500.0, kinds=kinds, sensors=replace(base, coolant_floor=True, coolant_hole=(0.4, 0.5))
    )
    low = cut.ride.samples["coolant_c"]
    assert low.null_count() == pytest.approx(0.1 * len(low), rel=0.01)
    assert float((rounded.ride.samples["coolant_c"] - low).mean()) == pytest.approx(0.5, abs=0.1)  # type: ignore[arg-type]
    assert "coolant_c" not in simulate(9, duration_s=60.0, sensors=Sensors(leave_out=("coolant_c",))).ride.channels
    for seed in range(12):
        off = simulate(seed, duration_s=1800.0, sensors=replace(base, off_with_engine=True))
        if any(name == "engine_off" for name, _, end in off.truth.sections(30.0) if end < 1790.0):
            assert off.ride.gaps
            return
    pytest.fail("no ride of twelve had an engine-off stop")


def test_exact_time_above() -> None:
    """Worked by hand, straight lines between points: 33.75, 7.5 and 0 s above 95, 110 and 120."""
    trace = ride(4).truth.trace
    worked = replace(trace, t_s=np.array([0.0, 10, 20, 30, 40]), coolant_c=np.array([90.0, 110, 100, 120, 80]))
    assert [worked.seconds_above(x) for x in (95.0, 110.0, 120.0)] == pytest.approx([33.75, 7.5, 0.0])


def test_late_fault_starts_late() -> None:
    """A fault from half the ride on leaves the first half as it was."""
    plain, late = (simulate(8, duration_s=1200.0, fault=f, fault_from_s=600.0) for f in (None, "fins_blocked"))
    a, b = plain.truth.trace.coolant_c, late.truth.trace.coolant_c
    half = int(600.0 / 0.08)
    assert np.array_equal(a[:half], b[:half])
    assert float(np.mean(b[half:] - a[half:])) > 1.0


def test_settle_agrees_with_riding_on() -> None:
    """Mean conditions held for ever, against the same stretch ridden over and over (the plant is not quite linear)."""
    truth = ride(4, "otter-250").truth
    stretches = [part for part in truth.sections(100.0) if part[0] not in ("engine_off", "idle")]
    assert len(stretches) >= 3
    for _, start, end in stretches:
        assert truth.settle_c(start, end) == pytest.approx(truth.settle_repeated_c(start, end), abs=2.5)


def test_thermostat_faults() -> None:
    """Stuck open warms slower from cold; stuck closed runs hotter than healthy."""
    kinds = ("dirt_road",)
    traces = {
        fault: simulate(5, "marten-300", fault=fault, duration_s=1200.0, kinds=kinds, ambient_c=5.0).truth.trace
        for fault in (None, "thermostat_open", "thermostat_closed")
    }
    warm = {fault: float(np.argmax(trace.coolant_c > 50.0)) * 0.08 for fault, trace in traces.items()}
    assert traces["thermostat_open"].coolant_c.max() < 50.0 or warm["thermostat_open"] > warm[None]
    assert np.mean(traces["thermostat_closed"].coolant_c[5000:]) > np.mean(traces[None].coolant_c[5000:]) + 5.0


def test_every_map_plan() -> None:
    """Each plan rides; the plan by pairs switches where it says; an unknown word is refused."""
    shares = {}
    for plan in ("standard", "conservative", "advice", "alternate", ((0.0, "standard"), (200.0, "conservative"))):
        found = simulate(3, map_plan=plan, duration_s=400.0, kinds=("sand",))
        shares[str(plan)] = float(np.mean(found.truth.drive.conservative))
        slot = found.ride.samples["map_slot"]
        assert set(slot.to_list()) <= {1.0, 2.0}
    assert shares["standard"] == 0.0
    assert shares["conservative"] == 1.0
    assert all(0.0 < share < 1.0 for name, share in shares.items() if name not in ("standard", "conservative"))
    with pytest.raises(ValueError, match="map_plan"):
        simulate(3, map_plan="soft", duration_s=60.0)  # type: ignore[arg-type]


def test_engine_speed_stays_at_the_limiter() -> None:
    """Wheel spin in sand does not carry the engine past its limiter."""
    for seed in (40, 846):
        truth = simulate(seed, duration_s=1200.0, kinds=("sand", "dirt_road")).truth
        assert truth.drive.rpm.max() <= truth.engine.rev_limit + 151.0
