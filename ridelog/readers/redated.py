"""Numbers that a spreadsheet turned into dates: 1.5 saved again as 1-May."""

from __future__ import annotations

import re

import polars as pl

from ridelog.channels import CHANNELS
from ridelog.errors import InputRefused
from ridelog.units import fold

_MONTHS = """
jan ene gen janv feb fev fevr mar mrz maerz mars mrt apr abr avr may mai mag maj mei jun giu juin jul lug juil aug ago
aou aout
sep sept set okt oct out ott nov dec dez dic des
"""
_MONTH = "|".join(sorted({fold(word) for word in _MONTHS.split()}, key=len, reverse=True))
_DATE = re.compile(rf"(?:\d{{1,2}}[-. /]{{1,2}}(?:{_MONTH})\.?(?:[-. /]\d{{2,4}})?|(?:{_MONTH})\.?[-. /]\d{{2,4}})")
"""Folded: day and month, or month and year, as spreadsheets in eight languages show them."""

_LOOKED_AT = 500
_NUMBERS_FROM_SHARE = 0.5


def refuse_redated(source: pl.Series, odd: pl.Series, channel: str | None) -> None:
    """Raise InputRefused where a column of numbers holds dates among them. `odd` are the cells that are no plain
    numbers; `channel` is what the column's name says it holds."""
    quantity = channel is not None and channel in CHANNELS and CHANNELS[channel].kind == "continuous"
    filled = source.len() - source.null_count()
    if not quantity and int(odd.sum() or 0) > (1 - _NUMBERS_FROM_SHARE) * filled:
        return
    cells = source.filter(odd).unique(maintain_order=True).head(_LOOKED_AT).to_list()
    found = next((cell for cell in cells if _DATE.fullmatch(fold(cell))), None)
    if found is None:
        return
    what = CHANNELS[channel].meaning if channel in CHANNELS else "numbers"
    raise InputRefused(
        f"in a column of {what} stands the date {found[:16]!r}, which a spreadsheet makes of a number such as 1.5",
        expected="numbers as the device wrote them",
        to_do="use the log as the device wrote it: what it was before it became a date can't be told",
    )
