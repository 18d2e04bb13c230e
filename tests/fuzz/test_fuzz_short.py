"""A short search for what no reader may do, the same every time: seeds with a few changes, by fixed numbers.

The long search, guided by coverage, is fuzz_reader.py beside this file.
"""

from __future__ import annotations

import io
import random
import sys
from functools import cache
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from fuzz_targets import TARGETS, damaged, run

from ridelog.readers.mdf_blocks import BrokenBlocksError, read_facts

INPUTS = {
    "delimited": 25,
    "gpx": 120,
    "nmea": 30,
    "can-text": 25,
    "can-described": 50,
    "arrow": 150,
    "mdf": 2,
    "container": 50,
}
"""By what an input takes, so that all of them together take some seconds. Each one for mdf starts a process."""


@cache
def seeds_of(name: str) -> list[bytes]:
    return TARGETS[name].seeds()


def test_every_target_has_its_share() -> None:
    assert set(INPUTS) == set(TARGETS)


@pytest.mark.parametrize("name", TARGETS)
def test_seeds_are_read_and_are_the_same_every_time(name: str, tmp_path: Path) -> None:
    target, seeds = TARGETS[name], seeds_of(name)
    assert seeds
    assert seeds == target.seeds()
    some = seeds[:: len(seeds) // 4 + 1]
    assert sum(run(target, seed, tmp_path) for seed in some) >= len(some) - 1


@pytest.mark.parametrize("name", TARGETS)
def test_changed_seeds_give_sound_rides_or_refusals(name: str, tmp_path: Path) -> None:
    target, seeds = TARGETS[name], seeds_of(name)
    for number in range(INPUTS[name]):
        data = damaged(target, seeds, random.Random(number))  # noqa: S311 - the same inputs every time
        try:
            run(target, data, tmp_path)
        except BaseException as error:
            kept = tmp_path / "input"
            kept.write_bytes(data)
            raise AssertionError(f"input {number} of {name}, kept as {kept}: {error!r}") from error


def test_blocks_of_changed_mdf_files_are_walked_or_called_broken() -> None:
    target, seeds = TARGETS["mdf"], seeds_of("mdf")
    walked = broken = 0
    for number in range(400):
        data = damaged(target, seeds, random.Random(number))  # noqa: S311 - the same inputs every time
        try:
            facts = read_facts(io.BytesIO(data))
        except BrokenBlocksError:
            broken += 1
        else:
            assert facts.size_bytes == len(data)
            walked += 1
    assert walked > 20
    assert broken > 20
