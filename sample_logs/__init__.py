"""Invented example rides with their truth, and the simulator that made them."""

from pathlib import Path


def folder() -> Path:
    """Where the example files lie."""
    return Path(__file__).resolve().parent
