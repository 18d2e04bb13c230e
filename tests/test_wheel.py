"""The built wheel holds both packages and the sample logs, and the demo runs from it in an empty folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest

from ridelog.store.library import Library


@pytest.fixture(scope="module")
def wheel(repository: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--outdir", str(folder), str(repository)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return next(folder.glob("*.whl"))


def test_it_carries_packages_tables_assets_and_sample_logs(wheel: Path, repository: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder in ("ridelog", "dashboard", "sample_logs"):
        kept = {
            path.relative_to(repository).as_posix()
            for path in (repository / folder).rglob("*")
            if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith(".")
        }
        assert kept <= names, sorted(kept - names)
    assert not [name for name in names if name.startswith("tests/")]


def test_the_demo_runs_from_it_elsewhere(wheel: Path, tmp_path: Path, demo_library: Any) -> None:
    """It finds what is there and makes what is not: all but three rides are there already, to save a minute."""
    site, empty = tmp_path / "site", tmp_path / "empty"
    empty.mkdir()
    shutil.copytree(demo_library.folder, empty / "demo")
    for name in ("07-half-blocked", "s20-spring-07", "s37-too-short-07"):
        Library.open(empty / "demo").remove(demo_library.built.rides[name])
    install = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", str(site), str(wheel)]
    subprocess.run(install, check=True, capture_output=True)
    program = (
        "import ridelog, sys; assert ridelog.__file__.startswith(sys.argv.pop(1)); from ridelog.cli import main; main()"
    )
    command = [sys.executable, "-c", program, str(site), "demo", "--no-serve", "--library", str(empty / "demo")]
    environment = {**os.environ, "PYTHONPATH": str(site)}
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=empty, env=environment)
    assert done.returncode == 0, done.stderr
    assert "56 sample rides in " in done.stdout
    assert "not imported" not in done.stderr
