"""The report of one ride: a single HTML file."""

from __future__ import annotations

from ridelog.report.render import render

__all__ = ["render"]
