"""Positions at latitude 0, longitude 0: what receivers write before their first fix. Nobody rides there."""

from __future__ import annotations

import polars as pl

from ridelog.channels import GPS, TIME
from ridelog.quality.trace import Finding, Trace, to_marks
from ridelog.ride import QualityMark
from ridelog.words import doubt_details


def find(samples: pl.DataFrame) -> list[QualityMark]:
    """Marks on both coordinates where both are 0."""
    if not {"lat_deg", "lon_deg"} <= set(samples.columns):
        return []
    lowest = samples["lat_deg"].abs().min()
    if not isinstance(lowest, float) or lowest > GPS.null_island_deg:
        return []
    both = samples.select(TIME, "lat_deg", "lon_deg").drop_nulls()
    zero = ((both["lat_deg"].abs() < GPS.null_island_deg) & (both["lon_deg"].abs() < GPS.null_island_deg)).to_numpy()
    if not zero.any():
        return []
    finding = Finding("null_island", zero, doubt_details.NULL_ISLAND)
    t_s = both[TIME].to_numpy()
    return [
        mark for name in ("lat_deg", "lon_deg") for mark in to_marks(Trace(name, t_s, both[name].to_numpy()), finding)
    ]
