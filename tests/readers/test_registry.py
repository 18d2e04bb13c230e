"""The choice among readers."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from build_logs import Form, write

from ridelog.errors import InputRefused, UsageError
from ridelog.readers import registry
from ridelog.readers.base import ReadOptions, Sniff
from ridelog.readers.delimited import DelimitedReader
from ridelog.readers.gpx import GpxReader
from ridelog.ride import RawLog


@dataclass
class Other:
    """A reader of somebody else."""

    name: str = "other"
    description: str = "made up"
    endings: tuple[str, ...] = (".other",)
    opinion: Sniff = field(default_factory=lambda: Sniff(0.0, "not mine"))

    def sniff(self, head: bytes, file_name: str) -> Sniff:  # noqa: ARG002
        return self.opinion

    def read(self, path: Path, options: ReadOptions) -> list[RawLog]:  # noqa: ARG002
        return []


class Broken(Other):
    """One whose look at a file fails."""

    def sniff(self, head: bytes, file_name: str) -> Sniff:  # noqa: ARG002
        raise ZeroDivisionError


READERS = (GpxReader(), DelimitedReader())
LOG = write(Form())


def test_content_decides_not_the_ending() -> None:
    assert registry.choose(LOG, "track.gpx", READERS).name == "delimited"
    assert registry.choose(b'<?xml version="1.0"?><gpx version="1.1">', "log.csv", READERS).name == "gpx"


def test_the_ending_breaks_a_tie() -> None:
    other = Other(opinion=DelimitedReader().sniff(LOG, ""))
    assert registry.choose(LOG, "log.other", (*READERS, other)).name == "other"
    assert registry.choose(LOG, "log.csv", (*READERS, other)).name == "delimited"
    with pytest.raises(InputRefused, match="fit equally well"):
        registry.choose(LOG, "log", (*READERS, other))


def test_cannot_read_lists_what_each_reader_missed() -> None:
    with pytest.raises(InputRefused) as caught:
        registry.choose(b"hello, world\n", "note.txt", (*READERS, Other(), Broken(name="broken")))
    for words in (
        "gpx: ",
        "delimited: ",
        "other: not mine",
        "broken: its check failed with ZeroDivisionError",
        "--format",
    ):
        assert words in caught.value.one_line()


def test_a_broken_check_does_not_stop_the_others() -> None:
    assert registry.choose(LOG, "log.csv", (Broken(), *READERS)).name == "delimited"


def test_a_format_can_be_forced() -> None:
    assert registry.named("gpx", READERS).name == "gpx"
    with pytest.raises(UsageError, match="gpx, delimited"):
        registry.named("nothing", READERS)


def test_plug_ins_that_fail_become_notes() -> None:
    plugins = [
        EntryPoint("a-missing", "no_such_module_here:Reader", registry.GROUP),
        EntryPoint("b-not-a-reader", "builtins:dict", registry.GROUP),
        EntryPoint("c-same-name", "ridelog.readers.gpx:GpxReader", registry.GROUP),
    ]
    readers, notes = registry.with_plugins(plugins)
    assert [reader.name for reader in readers] == [reader.name for reader in registry.built_in()]
    assert [note.kind for note in notes] == ["reader_plugin"] * 3
    assert "a-missing" in notes[0].text
    assert "ModuleNotFoundError" in notes[0].text


def test_names_are_unique_and_described() -> None:
    readers = registry.built_in()
    assert len({reader.name for reader in readers}) == len(readers)
    assert all(reader.description for reader in readers)
