"""The heat balance's steps as a table, so that every figure of a page can be worked out from it again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl

from ridelog.errors import UsageError
from ridelog.export import replacing
from ridelog.results import Analysis, Traces


def steps_table(analysis: Analysis, traces: Traces) -> pl.DataFrame:
    """One row a step, in the columns of analyze_heat_steps, null where not known. Raises UsageError without any."""
    if not traces.steps:
        reason = (analysis.heat.reason or "the heat balance is not told").rstrip(".")
        raise UsageError(f"no heat balance: {reason}", expected="a ride whose heat balance can be told")
    flags = {"running", "known"}
    return pl.DataFrame(
        {name: values.astype(np.int8) if name in flags else values for name, values in traces.steps.items()}
    ).with_columns(pl.selectors.float().fill_nan(None))


def export_steps(analysis: Analysis, traces: Traces, path: Path) -> None:
    """Write the steps to `path` (.csv or .parquet), replacing a file that is there. Raises UsageError for another
    ending, a ride without a balance, or a place that can't be written."""
    ending = path.suffix.lower()
    if ending not in {".csv", ".parquet"}:
        raise UsageError(f"can't write {ending or 'a file without an ending'}", where=str(path),
                         expected="a name that ends in .csv or .parquet")  # fmt: skip
    table = steps_table(analysis, traces)
    with replacing(path) as target:
        if ending == ".csv":
            table.write_csv(target)
        else:
            table.write_parquet(target)
