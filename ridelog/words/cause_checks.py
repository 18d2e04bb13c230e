"""What to look at next for each cause, cheapest and safest first, each with its caution.

The order is that in which workshops go (common practice, no source): level and traces, washing, cap, idling until the
fan cuts in, bleeding, the same loop again, gas test, pump, leak-down and timing, sensor.
"""

from __future__ import annotations

_COLD = "only on a cold engine, never with the system hot"
_LEVEL = f"Look at the coolant level and for traces of coolant, before and after a ride: {_COLD}."
_WASH = (
    "Look at the radiators from the front and from behind; wash out mud with little pressure and straighten bent fins, "
    "with the engine cold and off."
)
_LOOP = "Ride the same loop again, at the same pace and a like air temperature, and lay the rides side by side."
_CAP = f"Look at cap and seal, and have the cap tested or renewed with one of the handbook's rating: {_COLD}."
_BLEED = (
    f"Fill and bleed the system as the handbook says: {_COLD}. Coolant is poisonous: catch it, keep it from animals."
)
_IDLE = (
    "Let the engine idle in the open until the fan should cut in, and note at which temperature it starts and stops. "
    "Keep hands and clothes off the fan, and switch off before the highest threshold."
)
_TECHNICIAN_GAS = (
    "Have a qualified technician test for combustion gas in the coolant; an ordinary pressure test can miss it."
)
_PUMP = f"Have the pump's impeller, its drive and the hoses looked at: {_COLD}."
_FUELLING = (
    "Have a qualified technician look for air leaks, at fuel pressure, at fuel and at ignition timing before it is "
    "ridden hard again: a lean or detonating two-stroke can seize unseen by a coolant sensor."
)
_SENSOR = (
    "Compare the sensor with a thermometer after a night outside: both should read the air's temperature. Look at plug "
    "and wires."
)
_MAP = "Try the conservative map on the next such stretch and lay the two rides side by side."
_EASE = "Where such ground can't be avoided, ease off before the highest threshold and let air through the radiators."
_THERMOSTAT = (
    "Start cold and feel the hose to the radiator from outside, away from fan and exhaust: it should stay cool until "
    "the thermostat opens and then turn warm. Stop feeling once it is warm."
)
_THERMOSTAT_OUT = f"Have the thermostat taken out and tested in warming water with a thermometer: {_COLD}."

GENERAL_CHECKS: tuple[str, ...] = (_LEVEL, _WASH, _SENSOR, _CAP)
"""What to look at where a log tells nothing of the cause."""

CAUSE_CHECKS: dict[str, tuple[str, ...]] = {
    "normal": (_LEVEL,),
    "terrain_load": (_LEVEL, _WASH, _EASE),
    "load_without_conservative_map": (_LEVEL, _MAP, _EASE),
    "standstill_soak": (
        "Switch the engine off for longer stops, and turn the bike's front into the wind.",
        _LEVEL,
        _IDLE,
    ),
    "hot_conditions": (_LEVEL, _WASH, _EASE),
    "airflow_blocked": (_LEVEL, _WASH, _LOOP),
    "fan_fault": (
        "Look for mud, stones and damaged wires at the fan, with the engine cold and off.",
        _IDLE,
        "Have fuse, relay and temperature switch tested by a qualified technician.",
    ),
    "coolant_flow_low": (_LEVEL, _CAP, _BLEED, _PUMP),
    "thermostat_restricted": (_LEVEL, _THERMOSTAT, _THERMOSTAT_OUT),
    "thermostat_stuck_open": (_LEVEL, _THERMOSTAT, _THERMOSTAT_OUT),
    "air_in_system": (_LEVEL, _BLEED, _LOOP, _TECHNICIAN_GAS),
    "cap_leaking": (_LEVEL, _CAP, "Look at hoses, clamps and the pump's weep hole for traces.", _TECHNICIAN_GAS),
    "heat_input_high": (
        _LEVEL,
        "Check that fuel, map and filter are those the build was set up for.",
        _LOOP,
        _FUELLING,
    ),
    "combustion_gas_in_coolant": (_LEVEL, _CAP, _TECHNICIAN_GAS),
    "build_mismatch": (
        "Check the bike file against what is in the bike: compression, fuel, the elevation it was built for.",
        _FUELLING,
    ),
    "sensor_fault": (
        _SENSOR,
        "Look at the control unit's fault memory, if it can be read.",
        "Until the sensor is put right, watch the bike and not the reading: stop at steam, smell or lost coolant.",
    ),
}
"""Cause -> checks."""
