"""Hands and judgement: how fast to go here, how far to open, when to shift, when to press the map button."""

import math
from dataclasses import dataclass

from .course import GRAVITY_MPS2, Course
from .noise import Wander, source
from .vehicle import Hands, Powertrain

ADVISED_GROUNDS = ("sand", "wide_open", "fast_gravel")


@dataclass(frozen=True)
class Stop:
    """A halt at a distance from the start of the ride."""

    at_m: float
    duration_s: float
    engine_runs: bool = True


@dataclass(frozen=True)
class Press:
    """What the rider does with the map button on one advised zone."""

    after_s: float | None = 4.0  # after riding onto it; None where he goes by distance or not at all
    at_share: float | None = None  # of the zone's length
    back_after_s: float = 3.5

    @property
    def happens(self) -> bool:
        return self.after_s is not None or self.at_share is not None


NEVER = Press(after_s=None)


class MapHand:
    """The map button over a ride; `plan` gives the press for a zone's name on a lap, counted from 1, unless the whole
    lap or ride is to be on one map."""

    def __init__(self, course: Course, plan, always_conservative: bool = False, whole_laps: tuple[int, ...] = ()):
        self._course, self._plan, self._always = course, plan, always_conservative
        self._whole_laps = whole_laps
        self.conservative = always_conservative
        self._visit = None
        self._entered_s = 0.0
        self._left_s: float | None = None
        self._press = NEVER
        self._back_s = 3.5

    def step(self, t_s: float, distance_m: float) -> bool:
        course = self._course
        lap, along = divmod(distance_m, course.length_m)
        index = course.zone_at[int(along)]
        if (lap, index) != self._visit:
            self._visit = (lap, index)
            self._enter(t_s, int(lap) + 1, index)
        if self._whole_laps:
            self.conservative = int(lap) + 1 in self._whole_laps
        elif not self._always:
            self._hand(t_s, along, index)
        return self.conservative

    def _enter(self, t_s, lap, index):
        zone = self._course.zones[index]
        was = self._press
        self._press = self._plan(zone.name, lap) if zone.ground in ADVISED_GROUNDS else NEVER
        self._entered_s = t_s
        if was.happens:
            self._left_s, self._back_s = t_s, was.back_after_s

    def _hand(self, t_s, along, index):
        if self._left_s is not None and t_s - self._left_s >= self._back_s:
            self.conservative, self._left_s = False, None
        press = self._press
        if not press.happens or self.conservative:
            return
        zone, start = self._course.zones[index], self._course.starts_m[index]
        if press.after_s is not None:
            due = t_s - self._entered_s >= press.after_s
        else:
            due = along - start >= press.at_share * zone.length_m
        if due:
            self.conservative, self._left_s = True, None


def speed_plan(course: Course, pace: float) -> list[float]:
    """Speed at every metre: what the ground and the bends allow, and early enough on the brakes for what comes next."""
    count = course.length_m
    plan = [min(course.zones[course.zone_at[i]].speed_mps, course.bend_speed_mps[i]) * pace for i in range(count)]
    for _ in range(2):
        for i in range(count - 1, -1, -1):
            ahead = plan[(i + 1) % count]
            slowing = 3.4 if course.ground(course.zone_at[i]).on_off < 0.3 else 2.4
            plan[i] = min(plan[i], math.sqrt(ahead * ahead + 2.0 * slowing))
    return [round(v, 6) for v in plan]


class Rider:
    def __init__(self, course: Course, train: Powertrain, seed: int, pace: float, stops: list[Stop]):
        self.course, self.train = course, train
        self._plan = speed_plan(course, pace)
        self._draw = source(seed, "rider")
        self._mood = Wander(source(seed, "mood"), 0.05, 14.0, train.step_s)
        self._hand = Wander(source(seed, "hand"), 0.012, 0.35, train.step_s)
        self._stops = list(stops)
        self.engine_runs = True
        self._stopped_s = 0.0
        self._opening = 0.0
        self._phase_on, self._phase_left_s, self._phase_gain = True, 1.0, 1.0
        self._lapse_left_s, self._lapse = 0.0, 1.0
        self._shift_s, self._next_gear = None, 1
        self._since_shift_s = 9.0
        self.finished = False

    def wanted_speed(self, distance_m: float) -> float:
        course = self.course
        along = int(distance_m) % course.length_m
        calm = 0.35 if course.zones[course.zone_at[along]].ground == "fast_gravel" else 1.0
        wanted = self._plan[along] * (1.0 + calm * self._mood.step()) * self._lapse
        if self._stops:
            left = self._stops[0].at_m - distance_m
            wanted = min(wanted, math.sqrt(4.0 * left) if left > 0.4 else 0.0)
        return wanted

    def _halt(self, distance_m, dt) -> bool:
        """Whether the bike stands at a planned stop; counts the time and rides on when it is up."""
        if not self._stops or self.train.speed_mps > 0.15 or self._stops[0].at_m - distance_m > 1.0:
            return False
        stop = self._stops[0]
        self._stopped_s += dt
        restart_s = stop.duration_s - 3.0 if len(self._stops) > 1 else stop.duration_s
        self.engine_runs = stop.engine_runs or not 2.5 < self._stopped_s <= restart_s
        if self._stopped_s >= stop.duration_s:
            self._stops.pop(0)
            self._stopped_s = 0.0
            self.finished = not self._stops
        return True

    def _lapses(self, ground, dt):
        """Now and then a line goes wrong and costs speed for some seconds."""
        if self._lapse_left_s > 0.0:
            self._lapse_left_s -= dt
            if self._lapse_left_s <= 0.0:
                self._lapse = 1.0
        elif ground.on_off > 0.2 and self._draw.random() < dt / (70.0 / ground.on_off):
            self._lapse_left_s = 1.2 + 1.8 * self._draw.random()
            self._lapse = 0.6 + 0.2 * self._draw.random()

    def _pulse(self, ground, dt):
        """Open, shut, open: on loose ground the throttle works in bursts."""
        self._phase_left_s -= dt
        if self._phase_left_s <= 0.0:
            self._phase_on = not self._phase_on
            spread = self._draw.random()
            self._phase_left_s = 0.45 + 0.85 * spread if self._phase_on else 0.3 + 0.4 * spread
            self._phase_gain = 1.5 + 0.8 * self._draw.random()
        if self._phase_on:
            return 1.0 + (self._phase_gain - 1.0) * ground.on_off
        return 1.0 - 0.9 * ground.on_off

    def step(self, distance_m, sine, aero_n, strength):
        """What the hands do for this time step."""
        train, dt = self.train, self.train.step_s
        along = int(distance_m) % self.course.length_m
        zone = self.course.zone_at[along]
        ground = self.course.ground(zone)
        self._lapses(ground, dt)
        wanted = self.wanted_speed(distance_m)
        if self._halt(distance_m, dt):
            self._opening, train.gear, self._shift_s = 0.0, 1, None
            return Hands(0.0, 0.0, 300.0)
        bike, v = train.bike, train.speed_mps
        flat_out = self.course.zones[zone].ground == "wide_open" and wanted > v + 0.6
        change = min(max((wanted - v) * 1.3, -4.2), ground.accelerate_mps2)
        weight = bike.mass_kg * GRAVITY_MPS2
        spin_kg = bike.wheel_mass_kg + bike.engine_inertia_kgm2 * train.ratio(train.gear) ** 2
        resist = aero_n + weight * (sine + self.course.drag[along])
        force = (bike.mass_kg + spin_kg) * change + resist
        if change > -1.5:
            force = min(force * self._pulse(ground, dt), 0.74 * ground.grip * weight)
        brake = 0.0
        if flat_out:
            opening = 0.975 + self._hand.step()
        elif force <= 0.0:
            opening = 0.0
            held = train.motoring_nm(train.engine_radps) * train.ratio(train.gear) if train.locked else 0.0
            brake = max(-force - held, 0.0)
        else:
            opening = train.opening_for_force(force, strength) + self._hand.step()
            if train.wheel_mps > 1.35 * v + 1.5:
                opening *= 0.45  # the tyre has let go; a hand feels that before an eye sees it
        opening, clutch = self._gearbox(opening, flat_out, ground, wanted, dt)
        step_up, step_down = 3.2 * dt, (6.0 if self._shift_s is None else 14.0) * dt
        self._opening += min(max(opening - self._opening, -step_down), step_up)
        self._opening = min(max(self._opening, 0.0), 1.0)
        return Hands(self._opening, clutch, brake)

    def _gearbox(self, opening, flat_out, ground, wanted, dt):
        train = self.train
        self._since_shift_s += dt
        if self._shift_s is not None:
            return self._shifting(opening, dt)
        # A spinning tyre tells the ear a speed the bike does not have; a rider shifts by how fast he goes.
        at_home = train.ratio(train.gear) * min(train.wheel_mps, 1.14 * train.speed_mps + 0.3)
        if flat_out:
            up, down = 950.0, 660.0
        elif ground.on_off > 0.8:
            up, down = 800.0, 470.0
        else:
            up, down = 700.0, 400.0
        if self._since_shift_s > 0.9 and train.speed_mps > 1.5:
            gears = train.bike.gears
            if at_home > up and train.gear < len(gears):
                self._start_shift(train.gear + 1)
            elif at_home < down and train.gear > 1:
                below = train.gear - 1
                if at_home * gears[below - 1] / gears[train.gear - 1] < up - 40.0:
                    self._start_shift(below)
        if self._shift_s is not None:
            return self._shifting(opening, dt)
        if wanted <= 0.3 and train.speed_mps < 2.0:
            return 0.0, 0.0
        if at_home < 235.0:
            share = min(max((train.engine_radps - 280.0) / 450.0, 0.0), 0.85)
            return max(opening, 0.10), share
        return opening, 1.0

    def _start_shift(self, gear):
        self._next_gear = gear
        self._shift_s = 0.0

    def _shifting(self, opening, dt):
        """Clutch in, next gear, then let out only as fast as the tyre can bear until the engine turns as it should."""
        train = self.train
        self._shift_s += dt
        if self._shift_s < 0.18:
            share = 1.0 if self._shift_s < 0.06 else 0.0
            return (0.0 if self._next_gear > train.gear else 0.12), share
        train.gear = self._next_gear
        behind = train.ratio(train.gear) * train.wheel_mps - train.engine_radps
        if abs(behind) > 35.0 and self._shift_s < 0.9:
            return (min(0.15 + 0.002 * behind, 0.6) if behind > 0.0 else 0.0), 0.18
        self._shift_s = None
        self._since_shift_s = 0.0
        return opening, 1.0
