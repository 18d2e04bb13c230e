"""`ridelog demo`: what it says of the library it built, and that a second start finds all of it there."""

from __future__ import annotations

import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from ridelog.cli.demo_library import build
from ridelog.cli.group import ridelog
from ridelog.store.library import Library
from ridelog.words import demo as words


def printed(library: Path, columns: int) -> str:
    """What a start over a built library prints."""
    runner = CliRunner(env={"COLUMNS": str(columns)})
    done = runner.invoke(ridelog, ["demo", "--no-serve", "--library", str(library)])
    assert done.exit_code == 0, done.output
    return str(done.stdout)


@pytest.fixture(scope="module")
def copy(demo_library: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy that may be changed, under a short name."""
    folder = tmp_path_factory.mktemp("demo") / "copy"
    shutil.copytree(demo_library.folder, folder)
    return folder


def test_a_second_start_adds_and_analyzes_nothing(copy: Path) -> None:
    library = Library.open(copy)
    before = library.list_rides(limit=None)
    told: list[str] = []
    again = build(copy, told.append)
    assert (again.new, again.refused, again.made, told) == ([], [], {}, [])
    assert len(again.rides) == len(before) == 56
    assert library.list_rides(limit=None) == before


def test_a_second_start_loads_no_simulator(copy: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from ridelog.cli.demo_library import build; "
        "build(Path(sys.argv[1]), lambda _: None); "
        "print([one for one in sys.modules if one.startswith(('sample_logs.s', 'polars', 'scipy'))])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(copy)], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_what_the_user_said_since_stays(copy: Path) -> None:
    library = Library.open(copy)
    ride = library.list_rides(bike="enduro-31", limit=None)[0].id
    library.edit(ride, condition="faulty", ambient_c=12.0)
    build(copy, lambda _: None)
    row = library.row(ride)
    assert (row.condition, row.ambient_c) == ("faulty", 12.0)


def test_a_case_the_user_went_on_with_is_not_taken_down_again(copy: Path) -> None:
    library = Library.open(copy)
    (open_case,) = (case for case in library.complaints() if not case.is_closed)
    library.close_complaint(open_case.id, "The impeller had come loose.", "coolant_flow_low")
    build(copy, lambda _: None)
    assert len(library.complaints()) == 3
    assert all(case.is_closed for case in library.complaints())


def test_a_ride_that_was_taken_out_comes_back(copy: Path) -> None:
    library = Library.open(copy)
    first = build(copy, lambda _: None)
    library.remove(first.rides["s37-too-short-07"])
    again = build(copy, lambda _: None)
    assert again.new == [first.rides["s37-too-short-07"]]


def test_the_overview_fits_eighty_columns(copy: Path) -> None:
    text = printed(copy, 80).replace(str(copy), "/home/rider/.local/share/ridelog/demo")
    assert max(len(line) for line in text.splitlines()) <= 80
    assert len(text.splitlines()) < 60
    for part in ("56 sample rides in ", "enduro-26   250-enduro-2", words.LOOK_TITLE, words.invented()):
        assert part in text
    assert "why look at it  " not in text, "a table, not blocks of lines"


def test_what_it_offers_to_try_works(copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = printed(copy, 160)
    offered = [line.split("   ")[0] for line in text.splitlines() if line.startswith("ridelog ")]
    assert [line.split()[1] for line in offered] == [
        command for command, _, _ in words.TRIES if command in ridelog.commands
    ]
    monkeypatch.chdir(tmp_path)
    for line in offered:
        if line == "ridelog places":  # takes its time, and is run beside the truth in test_demo_answers
            continue
        done = CliRunner(env={"RIDELOG_LIBRARY": str(copy)}).invoke(ridelog, shlex.split(line)[1:])
        assert done.exit_code == 0, (line, done.output)
        assert done.stdout.strip(), line


@pytest.mark.parametrize(
    ("system", "told"),
    [("nt", 'set "RIDELOG_LIBRARY=C:\\my demo"'), ("posix", "export RIDELOG_LIBRARY='C:\\my demo'")],
)
def test_the_library_is_named_as_the_system_takes_it(system: str, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(words.os, "name", system)
    assert words.use("C:\\my demo").endswith(told)


def test_only_commands_that_are_there_are_offered() -> None:
    rides = {"01-standard-in-sand": "20260509-1015"}
    assert words.tries(rides, frozenset({"analyze", "report"})) == [
        ("ridelog analyze 20260509-1015", "how hot, how long, where")
    ]
