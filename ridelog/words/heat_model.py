"""The heat balance written out for a reader: equations, symbols with this ride's figures, assumptions, sources."""

from __future__ import annotations

from dataclasses import dataclass

from ridelog.analysis import airflow, load, thermal, thermal_prior
from ridelog.constants import (
    ASSUMED_CAPACITY_HIGH_KJ_PER_K,
    ASSUMED_CAPACITY_KJ_PER_K,
    ASSUMED_CAPACITY_LOW_KJ_PER_K,
)
from ridelog.results import Band, Heat
from ridelog.words import terms as words
from ridelog.words.display import DASH

SYMBOL_COLUMNS = ("Symbol", "What", "Unit", "This ride", "Usual", "From before")

EQUATIONS: tuple[tuple[str, str], ...] = (
    ("dT/dt = q − G (T − Ta)", "what the engine puts in less what goes to the air, all over one heat capacity"),
    (
        f"q = A P_ref κ · lag( L^m (n / n_ref)^r ) · ({thermal.GAS_C:g} − T) / {thermal.GAS_C - thermal.REFERENCE_C:g}",
        "heating: grows with load, a little less than in step; falls as the walls get hotter",
    ),
    (
        "L = (P + B n / n_peak) / (P_ref + B n_ref / n_peak)",
        "load over the reference load; B is what idling amounts to",
    ),
    (
        "G = g_still + (b + (1 − b) y) g_flow f(u)",
        "what sheds heat; y is how far the thermostat is open, 1 without one",
    ),
    ("u² = v² + w² + s · fan", "air through the radiator: ground speed, light air, fan"),
    (
        f"f(u) = h(u) / h({airflow.REFERENCE_MPS:g} m/s),  h(u) = u (1 − exp(−(v_c / u)^{airflow.FLOW_POWER:g}))",
        "near in step with speed when slow, with about its 0.5th to 0.6th power between 10 and 20 m/s",
    ),
    (
        (
            f"T_settle = Ta + q₀ / (G + q / {thermal.GAS_C - thermal.REFERENCE_C:g}),  "
            f"q₀ = q ({thermal.GAS_C:g} − Ta) / {thermal.GAS_C - thermal.REFERENCE_C:g}"
        ),
        "where in and out are equal, with the stretch's means going on",
    ),
    (
        (
            "share of the charge = o / (o + c (1 − o)),  "
            f"c = {load.RESTRICTION_AT_REST:.2f} + {load.RESTRICTION_PER_SPEED:.2f} n / n_peak"
        ),
        (
            "power at part throttle from the opening o: the wide-open curve's torque and the engine's own friction, "
            "times this "
            "and the air's density over the standard's, less the friction"
        ),
    ),
)
"""Equation and what it says."""

ASSUMPTIONS: tuple[str, ...] = (
    (
        "Coolant, engine metal around it and radiator are one lump at one temperature; metal between gas and "
        "coolant is a "
        "short delay."
    ),
    (
        f"Steps of {thermal.STEP_S:g} s; P_ref is half of peak power, n_ref {thermal.REFERENCE_TURNING:g} of "
        f"peak-power speed."
    ),
    f"The gas that heats the walls has a mean of {thermal.GAS_C:g} °C over the cycle.",
    (
        f"Wind is not known: there is always light air of {airflow.LIGHT_AIR_MPS:g} m/s, and speed over ground is "
        f"otherwise "
        "speed through air."
    ),
    (
        f"A fan stops {airflow.FAN_HYSTERESIS_C:g} °C below where it starts; a wax thermostat opens over "
        f"{airflow.THERMOSTAT_SPAN_C:g} °C. Common practice, no source."
    ),
    f"With the engine off, {thermal.OFF_SHARE:g} of the still share remains, since the pump stands.",
    (
        f"kW are shown for a heat capacity of {ASSUMED_CAPACITY_KJ_PER_K:g} kJ/K "
        f"({ASSUMED_CAPACITY_LOW_KJ_PER_K:g} to {ASSUMED_CAPACITY_HIGH_KJ_PER_K:g}): 1.2 to 1.5 kg of coolant and 2 to "
        f"5 kg of "
        "metal kept warm by it."
    ),
)

IDENTIFIED: tuple[str, ...] = (
    (
        "A log tells ratios to the heat capacity only: K/s and 1/s. Settle temperature, time to the limit and the "
        "share of one "
        "speed's cooling in another's need no capacity; kW do."
    ),
    (
        "The scale of A leans on the power curve of the bike file: a curve 10 % too high gives an A some 10 % too low, "
        "and about the same settle temperature."
    ),
    (
        "More heat made and less heat shed look alike in a single steady stretch. They come apart where speed and load "
        "change "
        "separately; the bands are wide where they did not."
    ),
    "A rich or lean mixture, ignition, fuel and head all end in A: coolant temperature does not tell which.",
    "The map's effect κ is told by the ride only where both maps were ridden; else it is the tuner's or a default.",
    "Cooling at a stand and the fan are told only by rides that stood hot; else they are what is usual.",
)

FAILS: tuple[str, ...] = (
    "Wind, a following wind on a fast stretch most of all, and mud that comes and goes within the ride.",
    "Boiling, air in the system, and a pump that cavitates: the lump is then no lump.",
    "A wheel that spins or a clutch that slips: power from throttle is right, speed from the wheel is not.",
    (
        "Past where the ride has been: a settle temperature far over the hottest coolant seen is the model's word "
        "alone. Over "
        "boiling it only says that the stretch can't be kept up."
    ),
    "Piston and cylinder head heat: a wide-open stretch can be over before the coolant knows.",
)

MAP_NOTES: tuple[str, ...] = (
    (
        "Retarded ignition moves heat from the cylinder's walls to the exhaust. The walls get less, the gas leaves "
        "hotter, and "
        "power falls. Exhaust port and pipe give some of it back to the coolant, so on a two-stroke the net "
        "effect on the "
        "coolant may be small."
    ),
    (
        "More fuel cools only from an already rich base. From the chemically right mixture, the flame first gets "
        "hotter with "
        "more fuel, and it takes about a fifth more to get back to where it was."
    ),
    "Neither is a remedy for a cooling system that has lost capacity.",
)

SOURCES: tuple[str, ...] = (
    (
        "Lumped capacity and effectiveness with number of transfer units: any textbook of heat transfer "
        "(checked against a "
        "published library)."
    ),
    (
        "Heat to the walls against power and speed: textbooks on combustion engines, from memory; own single-zone "
        "model for "
        "direction and rough size."
    ),
    (
        "Cooling against speed: two published correlations for louvred fins, known at second hand (exponents 0.51 and "
        "0.58)."
    ),
    (
        "Coolant heat of 0.6 to 1.2 times brake power: a band. No measured figure for an injected two-stroke of this "
        "size was "
        "found."
    ),
    "Flame temperature against mixture: equilibrium calculation for iso-octane and air.",
)


SYMBOL_NOTE = (
    "P is brake power (kW), n engine speed, v ground speed (m/s), T coolant and Ta air (°C). “From before” is how much "
    "of the certainty about a figure is older than this ride: 100 % means the ride adds nothing."
)

SECTIONS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Assumed", ASSUMPTIONS),
    ("What a log can tell", IDENTIFIED),
    ("Where it fails", FAILS),
    ("What the conservative map does", MAP_NOTES),
    ("Sources", SOURCES),
)


@dataclass(frozen=True)
class _Symbol:
    name: str
    symbol: str
    what: str
    unit: str
    before: str
    digits: int


_P = thermal_prior
_SYMBOLS = (
    _Symbol("heat", "A", "heating a kW of brake power at the reference load", "K/s/kW", f"{_P.HEAT_PER_KW:g}", 4),
    _Symbol("still", "g_still", "conductance without air", "1/s", f"{_P.STILL_PER_S:g}", 5),
    _Symbol("flow", "g_flow", "conductance by air at 10 m/s", "1/s", f"{_P.FLOW_PER_S:g}", 5),
    _Symbol("fan", "s", "square of the airspeed a fan makes at rest", "m²/s²", f"{_P.FAN_MPS2:g}", 1),
    _Symbol("core_mps", "v_c", "speed above which the fins limit, not the air", "m/s", f"{_P.CORE_MPS:g}", 1),
    _Symbol("exponent", "m", "how heat grows with load", "1", f"{_P.EXPONENT_MEAN:g}", 2),
    _Symbol(
        "pace", "r", "how heat at one power changes with engine speed", "1", f"{_P.PACE_MEAN:g}".replace("-", "−"), 2
    ),
    _Symbol("idle_kw", "B", "idling load at peak-power speed", "kW", f"{_P.IDLE_SHARE:g} of peak power", 1),
    _Symbol("lag_s", "lag", "delay of the metal between gas and coolant", "s", f"{_P.LAG_S:g}", 0),
    _Symbol("kappa", "κ", "heat on the conservative map over the standard one's", "1", f"{_P.DEFAULT_RATIO:g}", 2),
    _Symbol("closed", "–", "capacity with the thermostat closed over open", "1", f"{_P.CLOSED_SHARE:g}", 2),
    _Symbol("bypass", "b", "air's share past a closed thermostat", "1", f"{_P.BYPASS_SHARE:g}", 2),
    _Symbol("opens_c", "opens_c", "where the thermostat starts to open", "°C", "bike file", 0),
    _Symbol("ambient_c", "–", "correction to the air's temperature", "K", "0", 1),
)


def symbol_rows(heat: Heat) -> list[tuple[str, ...]]:
    """One row a parameter, in the columns of SYMBOL_COLUMNS: best value and band of this ride, and what was known."""
    rows: list[tuple[str, ...]] = []
    for one in _SYMBOLS:
        band = heat.parameters.get(one.name)
        if band is None and one.name == "kappa":
            band = heat.map_ratio
        share = heat.from_prior.get(one.name)
        before = DASH if share is None else words.share(share)
        rows.append((one.symbol, one.what, one.unit, _band(band, one.digits), one.before, before))
    return rows


def _band(band: Band | None, digits: int) -> str:
    if band is None:
        return DASH
    value, low, high = (f"{v:.{digits}f}".replace("-", "−") for v in (band.value, band.low, band.high))
    return f"{value} ({low} to {high})"
