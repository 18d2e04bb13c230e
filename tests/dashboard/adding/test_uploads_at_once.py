"""Logs sent to a real server at once, in small: the benchmark's way of sending and checking, without its figures."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

BENCH = Path(__file__).resolve().parents[2] / "benchmarks" / "bench_uploads.py"


@pytest.fixture(scope="module")
def bench() -> ModuleType:
    spec = importlib.util.spec_from_file_location("ridelog_bench_uploads", BENCH)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_logs_sent_at_once_are_all_stored_as_they_were_sent(bench: ModuleType) -> None:
    told = bench.main(3, 2.0, wait=True)
    assert told["whole"] == 3
    assert told["rides"] == 3
    assert told["failed"] == []
