"""From a reader's columns to the canonical channels: what a column holds, in which unit, and the samples of a ride."""

from ridelog.normalize.choice import parse_choice
from ridelog.normalize.convert import Converted, convert
from ridelog.normalize.frame import Column, Normalized, build, finish, marked, present, ridden_m, utc_column
from ridelog.normalize.header import Header
from ridelog.normalize.meaning import decide
from ridelog.normalize.plan import ColumnChoice, Plan, Settled
from ridelog.normalize.preview import shown

__all__ = [
    "Column",
    "ColumnChoice",
    "Converted",
    "Header",
    "Normalized",
    "Plan",
    "Settled",
    "build",
    "convert",
    "decide",
    "finish",
    "marked",
    "parse_choice",
    "present",
    "ridden_m",
    "shown",
    "utc_column",
]
