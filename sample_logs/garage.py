"""The simulated bikes as they truly are."""

from dataclasses import replace

from .simulation.vehicle import Bike

BIG_RPM = (1200, 2000, 3000, 4000, 5000, 6000, 6600, 7400, 8200, 8800, 9300, 9800, 10300)
BIG_KW = (1.2, 3.2, 6.9, 11.0, 16.2, 24.0, 29.0, 33.8, 36.2, 34.6, 30.0, 21.0, 9.0)
SMALL_RPM = (1200, 2000, 3000, 4000, 5000, 6000, 7000, 7800, 8600, 9200, 9700, 10200, 10700)
SMALL_KW = (1.0, 2.6, 5.4, 8.9, 13.0, 18.6, 25.6, 30.0, 31.4, 29.6, 25.5, 17.0, 7.0)


def _big(number: str, mass_kg: float) -> Bike:
    return Bike(
        id=number,
        mass_kg=mass_kg,
        circumference_m=2.055,
        primary=2.75,
        final=50 / 14,
        gears=(2.43, 1.86, 1.47, 1.19, 0.99, 0.86),
        efficiency=0.90,
        drag_area_m2=0.56,
        curve_rpm=BIG_RPM,
        curve_kw=BIG_KW,
        motoring_nm=3.6,
        heat_scale=1.0,
        has_fan=True,
        thermostat_c=65.0,
        core_area_m2=0.040,
        conservative_heat=0.89,
    )


ENDURO_07 = _big("enduro-07", 193.8)
ENDURO_12 = _big("enduro-12", 201.5)
ENDURO_31 = _big("enduro-31", 188.6)
ENDURO_34 = replace(_big("enduro-34", 199.8), heat_scale=1.04)
ENDURO_21 = Bike(
    id="enduro-21",
    mass_kg=184.5,
    circumference_m=2.070,
    primary=3.00,
    final=49 / 14,
    gears=(2.36, 1.85, 1.48, 1.20, 1.00, 0.86),
    efficiency=0.90,
    drag_area_m2=0.54,
    curve_rpm=SMALL_RPM,
    curve_kw=SMALL_KW,
    motoring_nm=3.1,
    heat_scale=1.0,
    has_fan=False,
    thermostat_c=None,
    core_area_m2=0.044,
    conservative_heat=0.91,
    conservative_torque=0.982,
)
ENDURO_26 = replace(ENDURO_21, id="enduro-26", mass_kg=190.3, has_fan=True)
