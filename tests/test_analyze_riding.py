"""Riding and set-up through the whole analysis, in words, and on the report."""

from __future__ import annotations

import importlib.util
import json
import re
from dataclasses import replace
from html import unescape
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from ridelog.advice import default_advice
from ridelog.analyze import analyzed
from ridelog.bike import parse_bike
from ridelog.report.render import render
from ridelog.report.tables import riding_rows as report_rows
from ridelog.results import to_json
from ridelog.ride import Ride
from ridelog.words.riding import NAMES, OIL, riding_lines, riding_rows

_SPEC = importlib.util.spec_from_file_location(
    "ridelog_tests_make_ride", Path(__file__).resolve().parent / "analysis" / "make_ride.py"
)
assert _SPEC is not None
assert _SPEC.loader is not None
made = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(made)

BARE = parse_bike('schema = 1\nid = "a"\n', "a")
CURVE = "[engine]\npower_curve_rpm = [3000, 6000, 7000]\npower_curve_kw = [8.0, 30.0, 20.0]\n"
PEAKED = parse_bike(f'schema = 1\nid = "b"\n{CURVE}', "b")
HZ = 10.0


def pieces(*parts: tuple[float, float]) -> np.ndarray:
    return np.concatenate([np.full(round(seconds * HZ), value) for seconds, value in parts])


def a_ride(**changed: np.ndarray | None) -> Ride:
    """Idles a minute, is ridden hard while cold, then wide open for 20 s, shut at once, then four blips standing."""
    blips = [(1.0, 40.0), (8.0, 0.0)] * 4
    revs = [(1.0, 5000.0), (4.0, 4200.0), (4.0, 1700.0)] * 4
    channels: dict[str, np.ndarray | None] = {
        "coolant_c": pieces((60, 25.0), (60, 50.0), (300, 80.0), (36, 85.0)),
        "throttle_pct": pieces(
            (60, 0.0), (30, 30.0), (12, 80.0), (18, 20.0), (30, 40.0), (20, 100.0), (190, 5.0), (60, 0.0), *blips
        ),
        "engine_rpm": pieces(
            (60, 1700.0), (60, 6000.0), (30, 5000.0), (20, 8300.0), (190, 4000.0), (60, 1700.0), *revs
        ),
        "gps_speed_mps": pieces((60, 0.0), (60, 10.0), (30, 12.0), (20, 20.0), (190, 8.0), (96, 0.0)),
    } | changed
    kept = {name: values for name, values in channels.items() if values is not None}
    size = next(iter(kept.values())).size
    return made.ride(np.arange(size) / HZ, kept, ambient_c=20.0)


def facts(ride: Ride, bike: Any = BARE) -> dict[str, Any]:
    analysis = analyzed(ride, bike, default_advice()).analysis
    to_json(analysis)
    assert analysis.facts is not None
    return analysis.facts


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    return facts(a_ride())


def test_every_fact_has_its_answer_and_its_places(told: dict[str, Any]) -> None:
    riding = told["riding"]
    assert set(riding) == set(NAMES)
    answers = {name: one["answer"] for name, one in riding.items()}
    assert answers == {
        "cold_load": "yes",
        "warm_up": "yes",
        "wide_open": "yes",
        "sharp_shut": "yes",
        "fast_wide_open": "yes",
        "idle": "yes",
        "rpm_hang": "yes",
        "throttle_range": "yes",
    }
    (cold,) = riding["cold_load"]["where"]
    assert (cold["start_s"], cold["end_s"]) == pytest.approx((90.0, 102.0), abs=0.3)
    assert cold["way_m"] == pytest.approx(300.0, abs=10.0)
    assert cold["coolant_c"] == 50.0
    assert riding["warm_up"]["seconds"] == pytest.approx(120.0, abs=0.3)
    assert riding["wide_open"]["longest_s"] == pytest.approx(20.0, abs=0.3)
    assert riding["sharp_shut"]["where"][0]["within_s"] <= 0.7
    assert riding["fast_wide_open"]["seconds"] == pytest.approx(20.0, abs=0.3)
    assert riding["idle"]["rpm"] == 1700.0
    assert riding["rpm_hang"]["middle_s"] == pytest.approx(4.0, abs=0.3)
    assert riding["throttle_range"]["open_pct"] == pytest.approx(100.0)
    assert not re.search(r"lat|lon_", str(riding))


def test_the_level_of_high_revs_follows_the_bike_file() -> None:
    for bike, from_rpm, basis in ((BARE, 8000.0, "default"), (None, 8000.0, "default"), (PEAKED, 5850.0, "bike")):
        found = facts(a_ride(), bike)["riding"]["fast_wide_open"]
        assert (found["from_rpm"], found["basis"]) == (pytest.approx(from_rpm), basis)


@pytest.mark.parametrize(
    ("without", "unknown"),
    [
        ("coolant_c", {"cold_load", "warm_up"}),
        ("throttle_pct", {"wide_open", "sharp_shut", "fast_wide_open", "idle", "rpm_hang", "throttle_range"}),
        ("engine_rpm", {"fast_wide_open", "idle", "rpm_hang"}),
        ("gps_speed_mps", {"idle", "rpm_hang"}),
    ],
)
def test_what_a_log_lacks_is_told_with_its_reason(without: str, unknown: set[str]) -> None:
    riding = facts(a_ride(**{without: None}), None)["riding"]
    open_ones = {name for name, one in riding.items() if one["answer"] is None}
    assert unknown <= open_ones
    for name in open_ones:
        assert riding[name]["reason"]
        assert riding[name]["where"] == []
    for (_, text), name in zip(riding_rows({"riding": riding}), NAMES, strict=True):
        assert text.startswith("Can't tell: ") == (name in open_ones)


def test_an_engine_that_was_never_cold_was_not_loaded_cold() -> None:
    size = a_ride().samples.height
    found = facts(a_ride(coolant_c=np.full(size, 85.0)))["riding"]
    assert (found["cold_load"]["answer"], found["cold_load"]["cold_s"]) == ("no", 0.0)
    assert "Load on a cold engine: The coolant never read under 60 C" in " ".join(riding_lines({"riding": found}))


def test_an_answer_tells_of_how_much_of_the_ride_it_speaks(told: dict[str, Any]) -> None:
    """What was not seen is not told as not done."""
    size = a_ride().samples.height
    half = np.where(np.arange(size) < size // 2, 15.0 + 10.0 * np.sin(np.arange(size) / 40.0), np.nan)
    riding = facts(a_ride(throttle_pct=half))["riding"]
    rows = dict(riding_rows({"riding": riding}))
    for key in ("wide_open", "sharp_shut", "fast_wide_open", "cold_load"):
        assert riding[key]["known_share"] == pytest.approx(0.5, abs=0.02)
        assert "of the 50 % of the ride that shows it" in rows[NAMES[key]]
    assert not any("that shows it" in text for _, text in riding_rows(told))


def test_a_slow_throttle_cant_show_a_sharp_shut() -> None:
    ride = a_ride()
    slow = replace(
        ride, channels={**ride.channels, "throttle_pct": replace(ride.channels["throttle_pct"], rate_hz=1.0)}
    )
    found = facts(slow)["riding"]["sharp_shut"]
    assert found["answer"] is None
    assert "read every 1 s" in found["reason"]


def test_a_calm_ride_is_told_as_calm() -> None:
    size = a_ride().samples.height
    calm = a_ride(throttle_pct=np.clip(15.0 + 10.0 * np.sin(np.arange(size) / 40.0), 0.0, None))
    riding = facts(calm)["riding"]
    answers = {name: riding[name]["answer"] for name in ("cold_load", "wide_open", "sharp_shut", "fast_wide_open")}
    assert set(answers.values()) == {"no"}
    lines = " ".join(riding_lines({"riding": riding}))
    assert "hardly any load" in lines
    assert "open stop was never seen" in lines


def test_the_words_blame_nobody_and_conclude_nothing_of_the_oil(told: dict[str, Any]) -> None:
    lines = riding_lines(told)
    assert lines[-1] == OIL
    text = " ".join(lines)
    assert not re.search(r"\b(you|fault|blame|wrong|abuse|careless|must)\b", text, re.IGNORECASE)
    assert "weak one" in text
    assert "0:01:30 (0.3 km)" in text
    assert all(line[0].isupper() and line.endswith(".") for line in lines)
    assert riding_lines(None) == riding_lines({}) == []


def test_the_report_shows_it_between_the_heat_balance_and_the_checks(told: dict[str, Any], fakes: ModuleType) -> None:
    view = fakes.make_view()
    analysis = replace(view.analysis, facts={**told})
    html = render(analysis, view.traces, view.ride, view.bike, advice=view.advice)
    order = [html.index(f"<h2>{title}") for title in ("Heat balance", "Riding and set-up", "Checks of the bike file")]
    assert order == sorted(order)
    for name, text in report_rows(analysis):
        assert f"<dt>{name}</dt>" in unescape(html)
        assert "60 C " not in text
    bare = render(view.analysis, view.traces, view.ride, view.bike, advice=view.advice)
    assert "Riding and set-up" not in bare


def test_the_ride_page_shows_it_too(told: dict[str, Any], fakes: ModuleType) -> None:
    from plotly.utils import PlotlyJSONEncoder

    from dashboard.callbacks.routing import page

    view = fakes.make_view()
    provider = fakes.FakeProvider(fakes.changed(view, analysis=replace(view.analysis, facts={**told})))
    shown = json.dumps(page(provider, f"/ride/{fakes.RIDE_ID}")[0], cls=PlotlyJSONEncoder)
    assert "Riding and set-up" in shown
    assert all(name in shown for name in NAMES.values())
    without = json.dumps(page(fakes.FakeProvider(view), f"/ride/{fakes.RIDE_ID}")[0], cls=PlotlyJSONEncoder)
    assert "Riding and set-up" not in without
