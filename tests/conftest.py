"""Shared fixtures, and the count of tests that read the open logs."""

from __future__ import annotations

import importlib.util
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from ridelog.cli.demo_library import Demo

# A busy machine is no failure: how long an example takes is never part of pass or fail.
settings.register_profile("untimed", deadline=None)
# A build must not turn red by a new random example: those are looked for at the desk, and kept as tests.
settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable" if os.environ.get("CI") else "untimed")

REPOSITORY = Path(__file__).resolve().parent.parent
OPEN_DATA = REPOSITORY.parent / "shared" / "data"

_open_data: dict[str, str] = {}


@pytest.fixture(scope="session")
def repository() -> Path:
    """The top folder of the checkout."""
    return REPOSITORY


@pytest.fixture(scope="session")
def open_data() -> Path:
    """The folder of open logs kept beside the project (read in place, never copied)."""
    if not OPEN_DATA.is_dir():
        pytest.skip("the open logs are not beside the project")
    return OPEN_DATA


@pytest.fixture(scope="session", autouse=True)
def figures_checked() -> Iterator[None]:
    """Every figure a test draws is held against the plotting library's own rules."""
    from ridelog.figures import theme

    before, theme.CHECKED = theme.CHECKED, True
    yield
    theme.CHECKED = before


@pytest.fixture(scope="session")
def fakes() -> ModuleType:
    """tests/dashboard/fakes.py, the hand-made rides: test folders are no packages, so it is loaded by its path."""
    name = "ridelog_test_fakes"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, REPOSITORY / "tests" / "dashboard" / "fakes.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


@dataclass(frozen=True)
class DemoLibrary:
    """The demo library as `ridelog demo` builds it, and what the build tells of it."""

    folder: Path
    built: Demo


@pytest.fixture(scope="session")
def demo_library(tmp_path_factory: pytest.TempPathFactory) -> DemoLibrary:
    """The sample rides with their season, built once a run. Whoever changes it makes a copy first."""
    from ridelog.cli.demo_library import build

    folder = tmp_path_factory.mktemp("demo") / "library"
    return DemoLibrary(folder, build(folder, lambda _: None))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """Remember how each test that reads the open logs ended."""
    report = yield
    if item.get_closest_marker("open_data") and (report.when == "call" or report.outcome == "skipped"):
        _open_data[item.nodeid] = report.outcome
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say how many tests read the open logs."""
    skipped = sorted(name for name, outcome in _open_data.items() if outcome == "skipped")
    if _open_data:
        terminalreporter.write_line(f"open data: {len(_open_data) - len(skipped)} tests ran, {len(skipped)} skipped")
    if OPEN_DATA.is_dir():
        for name in skipped:
            terminalreporter.write_line(f"open data is here, yet this test was skipped: {name}", red=True)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """A skipped open-data test fails the run where the data is present: a silent skip would hide a fault."""
    if OPEN_DATA.is_dir() and "skipped" in _open_data.values() and session.exitstatus == 0:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
