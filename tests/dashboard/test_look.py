"""How somebody wants to see the pages: what the browser keeps is read with care, and holds on every page."""

from __future__ import annotations

import json
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.callbacks.routing import leads_somewhere, page
from dashboard.look import MOST_TRIM_M, Look, look_of
from ridelog.figures.theme import DARK, INK, PAPER
from ridelog.words.display import IMPERIAL, METRIC

NIGHT = {"dark": True, "touch": False, "prefs": {"units": "imperial", "theme": "dark"}}
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
    max_leaves=6,
)


@pytest.fixture(scope="module")
def provider(fakes: ModuleType) -> Any:
    return fakes.FakeProvider(fakes.make_view(600.0, gap=False))


def words(shown: Any) -> str:
    """Everything a page says, and the figures it draws, as text."""
    from plotly.utils import PlotlyJSONEncoder

    return json.dumps(shown, cls=PlotlyJSONEncoder, ensure_ascii=False)


@given(screen=ANYTHING)
def test_whatever_a_browser_sends_gives_a_way_of_seeing(screen: Any) -> None:
    assert isinstance(look_of(screen), Look)


@given(prefs=st.dictionaries(st.sampled_from(["units", "theme", "hide_course", "trim_m"]), ANYTHING))
def test_settings_that_are_none_count_as_not_said(prefs: dict[str, Any]) -> None:
    look = look_of({"prefs": prefs})
    assert look.units in (METRIC, IMPERIAL)
    assert 0.0 <= look.trim_m <= MOST_TRIM_M
    assert look.hide_course is (prefs.get("hide_course") is True)


def test_units_hold_on_the_list_and_on_the_ride(provider: Any, fakes: ModuleType) -> None:
    for path in ("/", f"/ride/{fakes.RIDE_ID}"):
        assert "°F" in words(page(provider, path, NIGHT)[0])
        assert "°F" not in words(page(provider, path)[0])


def test_the_pictures_are_drawn_for_dark_ground(provider: Any, fakes: ModuleType) -> None:
    light = words(page(provider, f"/ride/{fakes.RIDE_ID}")[0])
    dark = words(page(provider, f"/ride/{fakes.RIDE_ID}", NIGHT)[0])
    assert INK in light
    for color in DARK:
        assert color not in dark
    assert DARK[INK] in dark
    assert DARK[INK] not in light


def test_the_course_can_be_hidden(provider: Any, fakes: ModuleType) -> None:
    hidden = page(provider, f"/ride/{fakes.RIDE_ID}", {"prefs": {"hide_course": True}})[0]
    assert '"map"' in words(page(provider, f"/ride/{fakes.RIDE_ID}")[0])
    assert '"id": "map"' not in words(hidden)
    assert "switched off in the settings" in words(hidden)


def test_the_settings_are_a_page_that_shows_what_holds(provider: Any) -> None:
    shown, title = page(provider, "/settings", NIGHT)
    assert title == "Settings · ridelog"
    assert '"value": "imperial"' in words(shown)
    assert '"value": "dark"' in words(shown)
    assert leads_somewhere(provider, "/settings")
    assert not leads_somewhere(provider, "/settings/more")


def _luminance(color: str) -> float:
    channels = [int(color[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_dark_ink_can_be_read_on_dark_paper() -> None:
    # WCAG 2.2, success criterion 1.4.3: contrast of text at least 4.5 to 1; the formula is that of its definitions.
    paper = _luminance(DARK[PAPER])
    for name, color in DARK.items():
        if name in (INK, "#5a6672"):
            assert (_luminance(color) + 0.05) / (paper + 0.05) >= 4.5
