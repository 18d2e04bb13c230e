"""What to offer where a unit is not known: the units whose values are possible, the likeliest first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ridelog.channels import CHANNELS, base_name
from ridelog.results import FloatArray
from ridelog.units import Unit, parse_unit

SPEEDS = ("gps_speed_mps", "wheel_speed_mps")
_TEXTS = {"m/s": ("km/h", "m/s", "mph"), "C": ("C", "F")}
_FASTEST_MPS = 45.0
"""More than an enduro bike does: a unit in which most of the ride were faster is not offered. Common practice."""


def units_of(channel: str) -> tuple[str, ...]:
    """The units a column of this channel may be in where it does not say so."""
    unit = CHANNELS[base_name(channel)].unit
    return _TEXTS.get(unit, (unit,))


def possible(channel: str, values: FloatArray) -> tuple[str, ...]:
    """Those of its units in which nearly all values are possible; empty where none is."""
    limits = CHANNELS[base_name(channel)]
    high = _FASTEST_MPS if base_name(channel) in SPEEDS else limits.high
    found = []
    for text in units_of(channel):
        unit = parse_unit(text) or Unit(limits.unit)
        scaled = values * unit.factor + unit.offset
        if not values.size or float(np.mean((scaled >= limits.low) & (scaled <= high))) > 0.98:
            found.append(text)
    return tuple(found)


def options(name: str, channels: Sequence[str], values: FloatArray) -> tuple[str, ...]:
    """What the user can say of a column, such as 'speed=gps_speed_mps:km/h', likeliest first."""
    fitting = {channel: possible(channel, values) or units_of(channel) for channel in channels}
    most = max(map(len, fitting.values()))
    pairs = [
        (channel, texts[place]) for place in range(most) for channel, texts in fitting.items() if place < len(texts)
    ]
    return tuple(f"{name}={channel}:{unit}" for channel, unit in pairs)
