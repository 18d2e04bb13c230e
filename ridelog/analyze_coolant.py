"""Which coolant sensor a ride is analyzed by: one for the whole ride, never a mix of two."""

from __future__ import annotations

from dataclasses import replace

from ridelog.analyze_drive import Doubts
from ridelog.channels import base_name
from ridelog.grid import usable
from ridelog.ride import Ride
from ridelog.words import doubts as reasons

COOLANT = "coolant_c"


def with_usable_coolant(ride: Ride, doubts: Doubts) -> Ride:
    """The ride with its second (third ...) coolant sensor as `coolant_c`, where the first has no usable value
    throughout and that one has; else the ride as it is. What was done, or left, is said in `doubts`.

    Two sensors sit in two places of the circuit and read some degrees apart, so the ride is never pieced together.
    """
    others = sorted(name for name in ride.channels if base_name(name) == COOLANT and name != COOLANT)
    if COOLANT not in ride.channels or not others:
        return ride
    excluded = bool(ride.excluded(COOLANT))
    covered = {name: usable(ride, name).covered_s for name in (COOLANT, *others)}
    best = max(others, key=lambda name: covered[name])
    if covered[best] <= 0.0:
        return ride
    if covered[COOLANT] > 0.0:
        if excluded and covered[best] > covered[COOLANT]:
            doubts.say("coolant_sensor", reasons.second_sensor_longer(best))
        return ride
    doubts.say("coolant_sensor", reasons.second_sensor_used(best))
    channels = {**ride.channels, COOLANT: replace(ride.channels[best], name=COOLANT)}
    kept = tuple(mark for mark in ride.quality if mark.channel != COOLANT)
    copied = tuple(replace(mark, channel=COOLANT) for mark in kept if mark.channel == best)
    samples = ride.samples.with_columns(ride.samples[best].alias(COOLANT))
    return replace(ride, samples=samples, channels=channels, quality=(*kept, *copied))
