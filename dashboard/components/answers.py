"""Whom the dashboard answers, and so who sees what it shows."""

from __future__ import annotations

from flask import current_app, has_app_context

from dashboard import config
from ridelog.words import closer as words


def who() -> str:
    """Who sees where a ride was ridden, and whether other computers can ask."""
    other = has_app_context() and current_app.config.get(config.ANSWERS_NETWORK)
    return f"{words.POSITIONS} {words.ANSWERS_ALL if other else words.ANSWERS_HERE}"
