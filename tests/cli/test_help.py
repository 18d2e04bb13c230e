"""What `--help` shows: every command told on one line of an ordinary terminal, in the order of the work."""

from __future__ import annotations

import click
import pytest
from click.testing import CliRunner

from ridelog.cli.common import InOrder
from ridelog.cli.group import ridelog

WIDTH = 80


def _groups(group: click.Group, path: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], click.Group]]:
    inner = [
        found
        for name, command in group.commands.items()
        if isinstance(command, click.Group)
        for found in _groups(command, (*path, name))
    ]
    return [(path, group), *inner]


GROUPS = _groups(ridelog)


def test_groups_of_commands_are_found() -> None:
    assert {" ".join(path) for path, _ in GROUPS} >= {"", "case", "bikes", "advice"}


@pytest.mark.parametrize(("path", "group"), GROUPS, ids=[" ".join(path) or "ridelog" for path, _ in GROUPS])
def test_every_command_is_told_on_one_line(path: tuple[str, ...], group: click.Group) -> None:
    told = CliRunner().invoke(ridelog, [*path, "--help"], terminal_width=WIDTH, env={"COLUMNS": str(WIDTH)})
    assert told.exit_code == 0
    lines = told.output.partition("Commands:\n")[2].splitlines()
    assert [line.split()[0] for line in lines] == list(group.commands), "one line a command, none of them wrapped"
    assert not [line for line in lines if line.endswith("...")]
    assert all(len(line) <= WIDTH for line in lines)


def test_commands_stand_in_the_order_of_the_work() -> None:
    assert all(isinstance(group, InOrder) for _, group in GROUPS)
    for name in ("bikes", "advice"):
        inner = ridelog.commands[name]
        assert isinstance(inner, click.Group)
        assert inner.list_commands(click.Context(inner))[:3] == ["new", "add", "show"]
