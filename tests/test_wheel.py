"""The built wheel holds both packages and the sample logs, and the demo runs from it in an empty folder."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest


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


def test_the_demo_runs_from_it_elsewhere(wheel: Path, tmp_path: Path) -> None:
    site, empty = tmp_path / "site", tmp_path / "empty"
    empty.mkdir()
    install = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", str(site), str(wheel)]
    subprocess.run(install, check=True, capture_output=True)
    program = (
        "import ridelog, sys; assert ridelog.__file__.startswith(sys.argv.pop(1)); from ridelog.cli import main; main()"
    )
    command = [sys.executable, "-c", program, str(site), "demo", "--no-serve", "--library", str(empty / "demo")]
    environment = {**os.environ, "PYTHONPATH": str(site)}
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=empty, env=environment)
    assert done.returncode == 0, done.stderr
    assert "01-standard-in-sand" in done.stdout
