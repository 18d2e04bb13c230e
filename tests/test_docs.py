"""README and DEVELOPERS keep up with the code."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ridelog.advice import CONDITIONS, KINDS, default_advice
from ridelog.bike import parse_bike, template
from ridelog.channels import CHANNELS
from ridelog.cli.common import FORMATS
from ridelog.readers import registry


@pytest.fixture(scope="module")
def readme(repository: Path) -> str:
    """The text of README.md."""
    return (repository / "README.md").read_text(encoding="utf-8")


def test_every_key_of_the_bike_file_is_explained(readme: str) -> None:
    bike = parse_bike('schema = 1\nid = "a"\n', "a")
    for key in (*bike.defaults_used, "mass.total_kg", "cooling.fan_on_c", "cooling.thermostat_c", "maps.heat_ratio"):
        if key != "thresholds":
            assert f"`{key}`" in readme, key
    for line in template("a").splitlines():
        name = line.removeprefix("# ").partition(" = ")[0]
        if " = " in line and name.isidentifier() and name not in {"warm", "hot", "limit", "date", "what"}:
            assert name in readme, name


def test_every_key_and_default_of_the_advice_sheet_is_explained(readme: str) -> None:
    for kind in KINDS:
        rule = default_advice().rule(kind)
        for key in CONDITIONS[kind]:
            row = next(line for line in readme.splitlines() if line.startswith(f"| `{key}`"))
            assert f"{rule.level(key):g}" in row.replace("0.20", "0.2"), (kind, key)
    for key in ("min_duration_s", "merge_gap_s", "grace_s", "leave_share", "map"):
        row = next(line for line in readme.splitlines() if line.startswith(f"| `{key}`"))
        values = [getattr(default_advice().rule(kind), key) for kind in KINDS]
        shown = [f"{value:g}" if isinstance(value, float) else value for value in values]
        assert " · ".join(shown) in row or (len(set(shown)) == 1 and shown[0] in row), key


def test_every_picture_and_file_named_is_there(readme: str, repository: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", readme):
        assert (repository / target).is_file(), target


def test_every_reader_is_explained(readme: str, repository: Path) -> None:
    developers = (repository / "DEVELOPERS.md").read_text(encoding="utf-8")
    for reader in registry.built_in():
        assert f"`{reader.name}`" in developers, reader.name


def test_every_room_of_the_house_is_there(repository: Path) -> None:
    text = (repository / "DEVELOPERS.md").read_text(encoding="utf-8")
    for row in re.findall(r"^\| (`[^|]+) \|", text, re.MULTILINE):
        folder = ""
        for word in row.replace("`", "").split():
            path = (
                repository / word
                if "/" in word.rstrip("/") or (repository / word).exists()
                else repository / folder / word
            )
            folder = word.rpartition("/")[0] if word.startswith("ridelog/") and "." in word else folder
            assert path.exists() or (repository / "ridelog" / word).exists(), word


def test_help_names_every_format() -> None:
    assert set(FORMATS) == {reader.name for reader in registry.built_in()}


def test_every_channel_is_explained(readme: str) -> None:
    for name in CHANNELS:
        assert f"`{name}`" in readme, name
