"""The page of settings: how this browser shows everything. Nothing of it changes the library."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard import ids, texts
from dashboard.components import answers, parts
from dashboard.look import MOST_TRIM_M, THEMES, UNITS, Look


def layout(look: Look, prefs: dict[str, Any]) -> html.Div:
    """The form, filled with what holds now."""
    theme = prefs.get("theme") if prefs.get("theme") in THEMES else THEMES[0]
    return html.Div(
        [
            html.H1(texts.SETTINGS, className="page"),
            html.P(texts.SETTINGS_KEPT, className="small"),
            parts.card(
                texts.SETTINGS_UNITS,
                _choice(ids.PREF_UNITS, [(unit, texts.UNIT_WORDS[unit]) for unit in UNITS], look.units.name),
                name="units",
            ),
            parts.card(
                texts.SETTINGS_THEME,
                _choice(ids.PREF_THEME, [(one, texts.THEME_WORDS[one]) for one in THEMES], theme),
                name="theme",
            ),
            parts.card(
                texts.SETTINGS_PRIVACY,
                dcc.Checklist(
                    id=ids.PREF_HIDE,
                    options=[{"label": texts.PRIVACY_HIDE, "value": "course"}],
                    value=["course"] if look.hide_course else [],
                    className="choice column",
                ),
                html.Label(texts.PRIVACY_TRIM, htmlFor=ids.PREF_TRIM),
                dcc.Input(
                    id=ids.PREF_TRIM, type="number", min=0, max=MOST_TRIM_M, step=50, value=look.trim_m, debounce=True
                ),
                html.P(texts.PRIVACY_NOTE, className="small"),
                html.P(answers.who(), className="small", id="who"),
                name="privacy",
            ),
        ],
        className="settings",
    )


def _choice(name: str, options: list[tuple[str, str]], value: str) -> dcc.RadioItems:
    listed = [{"label": words, "value": one} for one, words in options]
    return dcc.RadioItems(id=name, options=listed, value=value, className="choice column")
