"""The analysis from a ride to its result: the only file that knows the order of its stages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import starmap
from typing import Any

import numpy as np

from ridelog import (
    __version__,
    analyze_check,
    analyze_drive,
    analyze_heat,
    analyze_heat_steps,
    analyze_heat_use,
    analyze_inputs,
    analyze_map,
    analyze_map_use,
    analyze_riding,
    analyze_settings,
)
from ridelog.advice import Advice
from ridelog.analysis import adherence, boiling, exposure, measure, motion, segments, shapes, terrain
from ridelog.analysis.thermal_prior import RideFit
from ridelog.analyze_coolant import with_usable_coolant
from ridelog.analyze_drive import Doubts, Drive, Scene
from ridelog.analyze_heat import Balance
from ridelog.bike import DEFAULT_THRESHOLDS_C, Bike
from ridelog.grid import Grid, Samples, make_grid, usable
from ridelog.intervals import Interval
from ridelog.results import (
    Analysis,
    Band,
    Basis,
    Boiling,
    CannotTell,
    ChannelResult,
    Exposure,
    FileFacts,
    FloatArray,
    Mark,
    RideFacts,
    Traces,
)
from ridelog.ride import Ride, RideNote
from ridelog.words import doubts as reasons
from ridelog.words import summary


@dataclass(frozen=True)
class Analyzed:
    """A ride's result, the traces behind it, and its heat balance for further questions."""

    analysis: Analysis
    traces: Traces
    balance: Balance


def analyze(
    ride: Ride, bike: Bike | None, advice: Advice, *, ambient_c: float | None = None, baseline: Sequence[RideFit] = ()
) -> tuple[Analysis, Traces]:
    """The result of `analyzed` and its traces."""
    found = analyzed(ride, bike, advice, ambient_c=ambient_c, baseline=baseline)
    return found.analysis, found.traces


def analyzed(
    ride: Ride,
    bike: Bike | None,
    advice: Advice,
    *,
    ambient_c: float | None = None,
    baseline: Sequence[RideFit] = (),
    notes: Sequence[RideNote] = (),
    effect: Band | None = None,
) -> Analyzed:
    """Analyze one ride with what is known of the bike and the advice that held.

    `ambient_c`, given by hand, wins over what the import was told and over a logged channel. `baseline` holds the heat
    fits of other rides of the bike (see `heat_fit`), `notes` what was noted on the ride's time line, `effect` the
    conservative map's heat over the standard map's as the library's rides show it. Never raises for what a ride lacks:
    what can't be told is None, and `cannot_tell` says why.
    """
    doubts = Doubts()
    marks = ride.quality
    ride = with_usable_coolant(ride, doubts)
    scene, driven = scene_of(ride, bike, ambient_c, doubts)
    grid, ground, moved, slope = scene.grid, scene.ground, scene.moved, scene.slope
    soil = analyze_drive.ground_drag(scene, driven, doubts)
    map_used = analyze_map_use.map_use(ride, bike, doubts, grid=grid, opening=driven.opening, notes=notes)
    used = map_used.track
    balance = analyze_heat.balance(scene, driven, ride, map_on_grid(used, grid), baseline)
    settle = analyze_heat_use.settle_along(balance)
    limit_c = bike.limit_c if bike is not None else max(value for _, value in DEFAULT_THRESHOLDS_C)
    signals = shapes.Signals(
        t_s=grid.t_s,
        step_s=grid.step_s,
        speed_mps=moved.speed_mps if moved else None,
        grade=slope.grade if slope else None,
        opening=driven.opening,
        rpm=grid.get("engine_rpm"),
        terrain=soil,
        over_limit_c=analyze_heat_use.on_grid(settle.value_c, grid.t_s) - limit_c if settle is not None else None,
        over_limit_low_c=analyze_heat_use.on_grid(settle.low_c, grid.t_s) - limit_c if settle is not None else None,
    )
    _missing_signals(signals, advice, scene, doubts)
    _slip_or_clutch(signals, driven, doubts)
    coolant = usable(ride, "coolant_c")
    stretches = segments.find(signals, advice, list(ride.gaps))
    context = measure.Context(
        signals=signals,
        power_w=driven.power_w,
        peak_power_w=1000.0 * bike.peak_power_kw if bike is not None else None,
        grade_sigma=slope.sigma if slope is not None else None,
        open_stop_seen=driven.stops is not None and driven.stops.open_learned,
        speed_from_position=ground is not None and ground.from_position,
        coolant_t_s=coolant.t_s,
        coolant_c=coolant.y,
        coolant_joined=coolant.joined,
    )
    flagged = analyze_map.judged_segments(stretches, advice, context, used)
    flagged = analyze_map_use.with_fair_verdicts(flagged, map_used, advice)
    flagged = analyze_heat_use.with_settle(flagged, balance, limit_c)
    counted = analyze_map_use.counted_track(flagged, map_used)
    kept = analyze_map.adherence_of(stretches, flagged, advice, counted)
    over = _exposures(ride, coolant, bike, doubts)
    exposed = analyze_heat_use.with_estimates(tuple(record for record, _ in over), balance)
    if not balance.heat.fitted and balance.heat.reason is not None:
        doubts.say("heat", balance.heat.reason)
    boils = _boiling(scene, coolant, doubts)
    checked = analyze_check.checks(scene, driven, advice, map_on_grid(used, grid), doubts)
    result = Analysis(
        ride=_facts(ride, scene, map_used),
        basis=_basis(ride, bike, advice, doubts, baseline),
        quality=tuple(Mark(m.channel, m.kind, m.start_s, m.end_s, m.action, m.detail) for m in marks),
        exposure=exposed,
        segments=flagged,
        adherence=kept,
        heat=balance.heat,
        what_if=analyze_heat_use.what_if(exposed, flagged, {r.kind: r.grace_s for r in advice.rules}, balance, effect),
        boiling=boils,
        facts=_found(scene, driven)
        | {"map": map_used.facts, "riding": analyze_riding.riding_facts(ride, scene, driven)}
        | checked,
        summary=summary.summarize(
            summary.Coolant(coolant.covered_s > 0.0, _coverage(ride, coolant), _resolution(ride), len(baseline)),
            [
                analyze_map.hot_time(record, stretch, flagged, used)
                for record, (_, stretch) in zip(exposed, over, strict=True)
            ],
            flagged,
            kept,
            unjudged=_unjudged(advice, doubts.cannot_tell),
            wide_open_s=segments.longest_s("wide_open", signals, advice, list(ride.gaps)),
            map_source=map_used.source,
        ),
        cannot_tell=tuple(doubts.cannot_tell),
    )
    ledger = analyze_heat_use.ledger(balance)
    if settle is not None:
        ledger |= {"settle_c": settle.value_c, "settle_low_c": settle.low_c, "settle_high_c": settle.high_c}
    traces = _traces(scene, driven, soil, map_used, ledger)
    hot = {record.threshold_c: _intervals(stretch) for record, stretch in over}
    return Analyzed(result, replace(traces, steps=analyze_heat_steps.steps(balance), hot=hot), balance)


def _intervals(above: exposure.Above) -> tuple[Interval, ...]:
    return tuple(starmap(Interval, zip(above.start_s.tolist(), above.end_s.tolist(), strict=True)))


def heat_fit(ride: Ride, bike: Bike, *, ambient_c: float | None = None) -> RideFit | None:
    """The ride's own fit of the heat balance, from the default prior alone, for other rides to go by; None where it
    can't be fitted."""
    return analyze_heat.own_fit(*_for_heat(ride, bike, ambient_c))


def _for_heat(ride: Ride, bike: Bike | None, ambient_c: float | None) -> tuple[Scene, Drive, Ride, FloatArray | None]:
    doubts = Doubts()
    ride = with_usable_coolant(ride, doubts)
    scene, driven = scene_of(ride, bike, ambient_c, doubts)
    map_used = analyze_map_use.map_use(ride, bike, doubts, grid=scene.grid, opening=driven.opening)
    return scene, driven, ride, map_on_grid(map_used.track, scene.grid)


def scene_of(ride: Ride, bike: Bike | None, ambient_c: float | None, doubts: Doubts) -> tuple[Scene, Drive]:
    """A ride's channels on the analysis' grid with motion, slope and air, and what its engine gave; what is missing
    goes to `doubts`."""
    grid = make_grid(ride)
    ground = analyze_inputs.ground_speed(ride, grid)
    moved = motion.motion(ground.speed_mps, grid.step_s, from_position=ground.from_position) if ground else None
    elevation_m = grid.get("elevation_m")
    slope = motion.grade(elevation_m, moved) if moved is not None and elevation_m is not None else None
    air = analyze_inputs.air(ride, grid, ambient_c, doubts.defaults)
    scene = Scene(grid, ground, moved, slope, air, bike, analyze_drive.stop_moves_s(ride))
    return scene, analyze_drive.drive(scene, doubts)


def map_on_grid(used: adherence.MapTrack, grid: Grid) -> FloatArray | None:
    """1 on the conservative map, 0 on the standard one, NaN where not known, (n,); None where nothing is known."""
    return analyze_map.on_grid(used, grid.t_s) if used.start_s.size else None


def _missing_signals(signals: shapes.Signals, advice: Advice, scene: Scene, doubts: Doubts) -> None:
    """Say which kinds of stretch this log can't show, and what it can't keep apart."""
    still = reasons.NO_SPEED if signals.speed_mps is None else ""
    lacking = {
        "wide_open": reasons.NO_THROTTLE if signals.opening is None else "",
        "high_speed": still,
        "slow_climb": still or (reasons.NO_ELEVATION if signals.grade is None else ""),
        "standstill": still or (reasons.NO_ENGINE_SPEED if signals.rpm is None else ""),
    }
    said = {item.question for item in doubts.cannot_tell}
    for kind, why in lacking.items():
        if why and kind not in said and advice.rule(kind).map != "none":
            doubts.say(kind, reasons.not_shown(why))
    if signals.terrain is None or scene.ground is None:
        return
    if signals.grade is None:
        doubts.say("climb_or_soft_ground", reasons.CLIMB_OR_SOFT)
    if scene.ground.source == "wheel_speed_mps":
        doubts.say("wheelspin", reasons.WHEEL_SPEED)


MUCH_SLIP, MUCH_SLIP_S = 0.25, 10.0


def _slip_or_clutch(signals: shapes.Signals, driven: Drive, doubts: Doubts) -> None:
    """Wheelspin and a slipping clutch look alike in engine speed and ground speed: say so where there was much of
    it."""
    slip = driven.gearing.slip
    if slip is None or driven.gearing.gears is None or driven.opening is None or signals.terrain is None:
        return
    with np.errstate(invalid="ignore"):
        much = (slip > MUCH_SLIP) & (driven.gearing.gears.gear > 0.0) & (driven.opening > terrain.SHUT_OPENING)
    seconds = float(np.count_nonzero(much) * signals.step_s)
    if seconds >= MUCH_SLIP_S:
        doubts.say("wheelspin_or_clutch", reasons.spin_or_clutch(seconds))


def _unjudged(advice: Advice, open_questions: list[CannotTell]) -> list[str]:
    """Kinds the sheet advises the conservative map on that this log can't show."""
    asked = {item.question for item in open_questions}
    return [rule.kind for rule in advice.rules if rule.map == "conservative" and rule.kind in asked]


def _exposures(
    ride: Ride, coolant: Samples, bike: Bike | None, doubts: Doubts
) -> tuple[tuple[Exposure, exposure.Above], ...]:
    if bike is None:
        doubts.defaults.append("thresholds")
    if coolant.covered_s <= 0.0:
        doubts.say("exposure", reasons.NO_COOLANT)
    rpm = usable(ride, "engine_rpm")
    info = ride.channels.get("coolant_c")
    return exposure.exposures(
        exposure.Trace(coolant.t_s, coolant.y, coolant.joined),
        exposure.Trace(rpm.t_s, rpm.y, rpm.joined) if rpm.t_s.size > 1 else None,
        bike.thresholds if bike is not None else DEFAULT_THRESHOLDS_C,
        duration_s=ride.duration_s,
        resolution_c=_resolution(ride),
        held_s=1.0 / info.rate_hz if info is not None and info.held and info.rate_hz else None,
    )


def _resolution(ride: Ride) -> float | None:
    info = ride.channels.get("coolant_c")
    return info.resolution if info is not None else None


def _coverage(ride: Ride, coolant: Samples) -> float:
    return min(1.0, coolant.covered_s / ride.duration_s) if ride.duration_s > 0.0 else 0.0


def _boiling(scene: Scene, coolant: Samples, doubts: Doubts) -> Boiling | None:
    bike = scene.bike
    if bike is None:
        doubts.say("boiling", reasons.BOILING_WITHOUT_BIKE)
        return None
    peak = float(coolant.y.max()) if coolant.y.size else None
    at_s = float(coolant.t_s[int(coolant.y.argmax())]) if coolant.y.size else None
    ambient_kpa = scene.air.pressure_at(scene.grid.t_s, at_s) / 1000.0
    low_kpa, high_kpa = boiling.PRESSURE_RANGE_KPA
    if not (low_kpa <= ambient_kpa and ambient_kpa + bike.cap_kpa <= high_kpa):
        doubts.say("boiling", reasons.beyond_boiling(ambient_kpa, bike.cap_kpa))
        return None
    sealed, vented = boiling.sealed_and_vented_c(ambient_kpa, bike.cap_kpa, bike.glycol_volume_share)
    return Boiling(
        sealed_c=sealed,
        vented_c=vented,
        margin_sealed_c=sealed - peak if peak is not None else None,
        margin_vented_c=vented - peak if peak is not None else None,
        pressure_abs_kpa=ambient_kpa + bike.cap_kpa,
        ambient_kpa=ambient_kpa,
    )


def _facts(ride: Ride, scene: Scene, map_used: analyze_map_use.MapUse) -> RideFacts:
    moved = scene.moved
    return RideFacts(
        id=ride.id,
        bike=scene.bike.id if scene.bike is not None else ride.bike,
        start_utc=ride.start_utc.isoformat().replace("+00:00", "Z") if ride.start_utc else None,
        timezone=ride.timezone,
        duration_s=ride.duration_s,
        moving_s=min(float(np.count_nonzero(moved.moving) * scene.grid.step_s), ride.duration_s) if moved else None,
        # The import counts every sample, the grid only what it keeps: one figure for the list of rides and for this.
        distance_m=ride.distance_m if ride.distance_m is not None else (moved.total_m if moved else None),
        channels={
            name: ChannelResult(c.unit, c.rate_hz, c.resolution, c.coverage, c.origin, c.source)
            for name, c in ride.channels.items()
        }
        | map_used.as_channel(ride.duration_s),
        gaps=tuple((gap.start_s, gap.end_s) for gap in ride.gaps),
        ambient_c=scene.air.known_ambient_c,
    )


def _basis(ride: Ride, bike: Bike | None, advice: Advice, doubts: Doubts, baseline: Sequence[RideFit]) -> Basis:
    defaults = [*(bike.defaults_used if bike is not None else ()), *advice.defaults_used, *doubts.defaults]
    return Basis(
        version=__version__,
        settings_hash=analyze_settings.settings_hash(bike, advice),
        files=tuple(FileFacts(source.name, source.sha256) for source in ride.sources),
        advice_version=advice.version,
        defaults_used=tuple(dict.fromkeys(defaults)),
        prior=analyze_heat.prior_of(baseline),
    )


def _found(scene: Scene, driven: Drive) -> dict[str, Any]:
    """What was learned on the way, for those who want to check it."""
    gearing, air = driven.gearing, scene.air
    ratios = gearing.gears.rpm_per_mps if gearing.gears is not None else ()
    return {
        "speed_source": scene.ground.source if scene.ground is not None else None,
        "throttle": driven.stops_found(),
        "gearing": {
            "source": gearing.gears.source if gearing.gears is not None else None,
            "rpm_per_kmh": [ratio / 3.6 for ratio in ratios],
            "learned_rpm_per_kmh": [ratio / 3.6 for ratio in gearing.learned],
            "log_over_bike_file": gearing.factor,
        },
        "air": {
            "pressure_kpa": float(np.median(air.pressure)) / 1000.0,
            "pressure_source": air.pressure_source,
            "ambient_c": air.known_ambient_c,
            "ambient_source": air.ambient_source,
            "density_kg_per_m3": float(np.median(air.density)),
        },
        "grade_sigma": scene.slope.sigma if scene.slope is not None else None,
    }


def _traces(
    scene: Scene,
    driven: Drive,
    soil: shapes.Terrain | None,
    map_used: analyze_map_use.MapUse,
    ledger: dict[str, FloatArray],
) -> Traces:
    grid = scene.grid
    series = dict(grid.channels)
    if scene.moved is not None:
        series["speed_mps"] = scene.moved.speed_mps
        series["acceleration_mps2"] = scene.moved.acceleration_mps2
    optional = {
        "grade": scene.slope.grade if scene.slope is not None else None,
        "throttle_open": driven.opening,
        "power_w": driven.power_w,
        "slip": driven.gearing.slip,
        "gear": driven.gearing.gears.gear if driven.gearing.gears is not None else None,
        "map_conservative": map_on_grid(map_used.track, grid),
        "map_confidence": map_used.confidence(grid.t_s),
    }
    series.update({name: values for name, values in optional.items() if values is not None})
    if soil is not None:
        second = (grid.t_s / shapes.BLOCK_S + 1e-9).astype(np.int64)
        series["drag_coefficient"] = soil.smooth[np.minimum(second, soil.smooth.size - 1)]
    series.update({name: analyze_heat_use.on_grid(values, grid.t_s) for name, values in ledger.items()})
    return Traces(grid.t_s, grid.step_s, series)
