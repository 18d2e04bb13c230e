"""Exit statuses and messages: no traceback reaches a user."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import click
import pytest

from ridelog.cli import edge
from ridelog.cli.group import ridelog
from ridelog.errors import InputRefused, LibraryError, NotInLibrary, ProfileError, RidelogError, UsageError


def _run_raising(error: BaseException, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    @click.command()
    def broken() -> None:
        raise error

    with pytest.raises(SystemExit) as caught:
        edge.run(_without_arguments(broken))
    return int(caught.value.code or 0), capsys.readouterr().err


def _without_arguments(command: click.Command) -> click.Command:
    original = command.main
    command.main = lambda **settings: original(args=[], **settings)  # type: ignore[method-assign]
    return command


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (InputRefused("holds no rows", where="a.csv"), 1),
        (UsageError("no"), 2),
        (NotInLibrary("no"), 2),
        (ProfileError("no"), 2),
        (LibraryError("no"), 3),
        (RuntimeError("x"), 3),
        (MemoryError(), 3),
        (RecursionError(), 3),
        (KeyboardInterrupt(), 130),
    ],
)
def test_every_kind_of_error_has_its_status(
    error: BaseException, status: int, capsys: pytest.CaptureFixture[str]
) -> None:
    found, said = _run_raising(error, capsys)
    assert found == status
    assert "Traceback" not in said


def test_a_message_has_its_four_parts() -> None:
    error = RidelogError("has 9 cells", where="a.csv, row 812", expected="8 cells", to_do="export with ';'")
    assert error.one_line() == "a.csv, row 812: has 9 cells. Expected: 8 cells. What to do: export with ';'."


def test_a_closed_pipe_is_silent(tmp_path: Path) -> None:
    command = f"{sys.executable} -m ridelog advice show built-in --json --library {tmp_path} | head -c 1"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.stderr == ""


def test_every_command_and_option_has_help() -> None:
    def walk(command: click.Command, name: str) -> None:
        assert command.help, f"{name} has no help"
        for option in command.params:
            if isinstance(option, click.Option) and option.name not in {"help", "version", "port"}:
                assert option.help, f"{name} {option.opts} has no help"
        if isinstance(command, click.Group):
            for sub_name, sub in command.commands.items():
                walk(sub, f"{name} {sub_name}")

    walk(ridelog, "ridelog")


def test_every_command_is_in_the_readme(repository: Path) -> None:
    text = (repository / "README.md").read_text(encoding="utf-8")
    for name in ridelog.commands:
        assert f"ridelog {name}" in text, f"README.md does not show ridelog {name}"


def test_help_loads_nothing_heavy() -> None:
    program = (
        "import sys\nfrom ridelog.cli.group import ridelog\n"
        "try:\n    ridelog.main(['--help'], standalone_mode=False)\nexcept SystemExit:\n    pass\n"
        "names = 'polars pyarrow numpy scipy plotly dash rich flask sqlite3'\n"
        "heavy = set(names.split()) & set(sys.modules)\n"
        "print('heavy:', sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.rstrip().endswith("heavy: []")


def test_json_of_the_built_in_sheet_is_one_document(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "ridelog", "advice", "show", "built-in", "--json", "--library", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert json.loads(done.stdout)["sheets"][0]["version"] == "built-in"
