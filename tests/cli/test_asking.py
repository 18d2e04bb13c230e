"""`ridelog import` at a terminal asks; without one it refuses. A pseudo-terminal stands for the screen and keyboard."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.cli.asking import asker
from ridelog.errors import Preview
from ridelog.ingest import Ask, Option, Question, parse_column_option
from ridelog.store.library import Library

pty = pytest.importorskip("pty", reason="there are no pseudo-terminals here")

N = 400
PROMPT = b"Which is it?"
BIKE = 'schema = 1\nid = "enduro-07"\n'


def log(path: Path, name: str = "Speed", *, coolant: bool = False, scale: int = 1) -> Path:
    columns: dict[str, list[object]] = {"Time [s]": [n / 2 for n in range(N)], name: [n % 90 for n in range(N)]}
    if coolant:
        columns["Coolant"] = [70 + n // 7 for n in range(N)]
    columns["RPM"] = [3000 + n % 100 * 40 * scale for n in range(N)]
    rows = [",".join('"' + one + '"' for one in columns)]
    rows += [",".join(str(values[n]) for values in columns.values()) for n in range(N)]
    path.write_text("\n".join(rows) + "\n", newline="")
    return path


class Terminal:
    """The program on a terminal of its own; its standard output goes elsewhere."""

    def __init__(self, *arguments: str | Path) -> None:
        self._ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ridelog", *map(str, arguments)],
            stdin=theirs,
            stderr=theirs,
            stdout=subprocess.PIPE,
            start_new_session=True,
            preexec_fn=lambda: _take(theirs),  # noqa: PLW1509 - no thread of this test holds a lock here
        )
        os.close(theirs)
        self._seen = b""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        while True:
            try:
                data = os.read(self._ours, 4096)
            except OSError:  # the other end is closed
                return
            if not data:
                return
            self._seen += data

    def answer(self, keys: bytes, questions: int) -> None:
        """Type, once so many questions stand there."""
        until = time.monotonic() + 120.0
        while self._seen.count(PROMPT) < questions:
            assert time.monotonic() < until, self._seen
            assert self.process.poll() is None, self._seen
            time.sleep(0.02)
        os.write(self._ours, keys)

    def end(self) -> tuple[int, str, str]:
        """Exit status, standard output, and all that stood on the screen."""
        output, _ = self.process.communicate(timeout=120.0)
        self._reader.join(timeout=10.0)
        os.close(self._ours)
        screen = self._seen.decode("utf-8", "replace")
        assert "Traceback" not in screen + output.decode()
        return self.process.returncode, output.decode(), screen


def _take(terminal: int) -> None:
    """Make it the process's own, so that Ctrl-C typed on it reaches the process and stops it."""
    import fcntl
    import termios

    signal.signal(signal.SIGINT, signal.SIG_DFL)  # a test run in the background may have it switched off
    fcntl.ioctl(terminal, termios.TIOCSCTTY, 0)


def at_terminal(*arguments: str | Path, keys: list[bytes]) -> tuple[int, str, str]:
    terminal = Terminal(*arguments)
    for number, key in enumerate(keys, start=1):
        terminal.answer(key, number)
    return terminal.end()


def channels(library: Path) -> set[str]:
    store = Library.open(library)
    return {name for row in store.list_rides() for name in row.channels}


def test_questions_show_their_column_and_answers_settle_them(tmp_path: Path) -> None:
    library = tmp_path / "library"
    path = log(tmp_path / "a.csv", coolant=True)
    status, output, screen = at_terminal("import", path, "--library", library, keys=[b"2\n", b"1\n"])
    assert status == 0
    assert "Speed: values from 0 to 89, for example 0, 44, 89" in screen.replace("\r", "")
    assert "1  ground speed from the satellite receiver, in km/h" in screen
    assert "2  speed from a wheel or the gearbox, in km/h" in screen
    assert "leave it out" in screen
    assert "s  stop" in screen
    assert "stored" in output
    assert "Which is it?" not in output
    assert {"wheel_speed_mps", "coolant_c"} <= channels(library)


SPEED = Question(
    where="a.csv",
    column="Speed",
    found="column 'Speed' is a speed without a unit",
    preview=Preview(0.0, 89.0, ("0", "44", "89")),
    options=tuple(
        Option(words, f"Speed={text}", parse_column_option(f"Speed={text}"))
        for words, text in (("a speed in km/h", "gps_speed_mps:km/h"), ("leave it out", "raw"))
    ),
    header="0" * 64,
)


def type_in(monkeypatch: pytest.MonkeyPatch, text: str) -> Ask:
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))
    return asker(nullcontext)


@pytest.mark.parametrize(
    "wrong", ["", "0", "3", "99", "one", "-1", "1.0", "1 2", "\u0661", "\u00b9", "9" * 5000, "1\x00", "\x1b[A"]
)
def test_wrong_keys_are_asked_again(
    wrong: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert type_in(monkeypatch, f"{wrong}\n 2 \n")(SPEED) == SPEED.options[1]
    assert capsys.readouterr().err.count("Please type a number from 1 to 2, or s.") == 1


@pytest.mark.parametrize("word", ["s", "S", "stop", " quit "])
def test_stopping_is_of_one_file(word: str, monkeypatch: pytest.MonkeyPatch) -> None:
    ask = type_in(monkeypatch, f"{word}\n1\n")
    assert (ask(SPEED), ask(SPEED)) == (None, SPEED.options[0])


def test_the_end_of_input_is_of_all(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    ask = type_in(monkeypatch, "")
    assert (ask(SPEED), ask(SPEED)) == (None, None)
    assert capsys.readouterr().err.count("Which is it?") == 1


@given(st.text(min_size=1), st.text(), st.lists(st.text(), max_size=3))
def test_no_name_and_no_value_steers_the_terminal(name: str, found: str, examples: list[str]) -> None:
    hostile = replace(SPEED, column=name, found=found, where=name, preview=Preview(None, None, tuple(examples)))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdin", io.StringIO("1\n"))
        patch.setattr(sys, "stderr", screen := io.StringIO())
        asker(nullcontext)(hostile)
    assert all(char.isprintable() or char == "\n" for char in screen.getvalue())


def test_the_end_of_input_ends_all_questions(tmp_path: Path) -> None:
    library = tmp_path / "library"
    one, two = log(tmp_path / "a.csv"), log(tmp_path / "b.csv", "Wheel speed", scale=2)
    clear = log(tmp_path / "c.csv", "Wheel speed [km/h]", scale=3)
    status, _, screen = at_terminal("import", one, two, clear, "--library", library, keys=[b"\x04"])
    assert status == 1
    assert screen.count("Which is it?") == 1
    assert screen.count("not imported: ") == 2
    assert len(Library.open(library).list_rides()) == 1


def test_ctrl_c_stores_nothing(tmp_path: Path) -> None:
    library = tmp_path / "library"
    status, output, screen = at_terminal("import", log(tmp_path / "a.csv"), "--library", library, keys=[b"\x03"])
    assert status == 130
    assert "stopped" in screen
    assert output == ""
    store = Library.open(library)
    assert store.list_rides() == []
    assert [list((library / name).iterdir()) for name in ("rides", "originals")] == [[], []]


def test_a_hostile_name_does_not_reach_the_terminal(tmp_path: Path) -> None:
    """From a binary table, whose names keep what is no control code; typed as a message shows it."""
    import polars as pl

    library, path = tmp_path / "library", tmp_path / "a.parquet"
    name, shown = "\x1b[5mSpeed\x07\u202e", "[5mSpeed \ufffd"
    seconds = [n / 2 for n in range(N)]
    pl.DataFrame({"time": seconds, name: [float(n % 90) for n in range(N)], "rpm": seconds}).write_parquet(path)
    said = f"{shown}=gps_speed_mps"
    status, output, screen = at_terminal("import", path, "--column", said, "--library", library, keys=[b"1\n"])
    assert status == 0, screen
    assert not any(text in output + screen for text in ("\x1b[5m", "\x07", "\u202e"))
    assert "gps_speed_mps" in channels(library)


def piped(*arguments: str | Path, status: int) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "ridelog", *map(str, arguments)],
        input="1\n1\n1\n", capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == status, done.stderr
    return done


def test_without_a_terminal_nothing_is_asked(tmp_path: Path) -> None:
    """Not even where answers come through a pipe: a script must not settle by accident what a column holds."""
    done = piped("import", log(tmp_path / "a.csv"), "--library", tmp_path / "library", status=1)
    assert "Which is it?" not in done.stdout + done.stderr
    assert "--column 'Speed=gps_speed_mps:km/h'" in done.stderr


def test_for_json_nothing_is_asked(tmp_path: Path) -> None:
    library = tmp_path / "library"
    status, output, screen = at_terminal("import", log(tmp_path / "a.csv"), "--json", "--library", library, keys=[])
    assert status == 1
    assert "Which is it?" not in screen
    assert json.loads(output)["rides"][0]["status"] == "refused"


# -- what is remembered -----------------------------------------------------------------------------------------------


def bikes_show(library: Path) -> list[dict[str, Any]]:
    shown = json.loads(piped("bikes", "show", "enduro-07", "--json", "--library", library, status=0).stdout)
    columns: list[dict[str, Any]] = shown["bikes"][0]["columns"]
    return columns


def test_an_answer_is_remembered_shown_and_forgotten(tmp_path: Path) -> None:
    library, profile = tmp_path / "library", tmp_path / "enduro-07.bike.toml"
    profile.write_text(BIKE)
    arguments = ["import", log(tmp_path / "a.csv"), "--bike", profile, "--library", library]
    status, output, _ = at_terminal(*arguments, keys=[b"2\n"])
    assert status == 0
    assert "remembered for the next log of bike enduro-07" in output
    (column,) = bikes_show(library)
    assert (column["column"], column["channel"], column["unit"]) == ("Speed", "wheel_speed_mps", "km/h")
    second = log(tmp_path / "b.csv", scale=2)
    done = piped("import", second, "--bike", "enduro-07", "--library", library, status=0)
    assert "columns read as remembered for bike enduro-07" in done.stdout
    third = log(tmp_path / "c.csv", scale=3)
    piped("analyze", third, "--bike", "enduro-07", "--library", library, status=0)
    piped("analyze", third, "--library", library, status=1)
    assert "1 column of bike" in piped("bikes", "forget-columns", "enduro-07", "--library", library, status=0).stdout
    assert bikes_show(library) == []
    piped("import", third, "--bike", "enduro-07", "--library", library, status=1)


def test_what_is_shown_of_a_bike_stays_its_file(tmp_path: Path) -> None:
    """Printed, stored and named again, the file with the confirmed columns is the same bike."""
    library, profile = tmp_path / "library", tmp_path / "enduro-07.bike.toml"
    profile.write_text(BIKE.rstrip("\n"))
    path = log(tmp_path / "a.csv")
    said = ["--column", "Speed=gps_speed_mps:km/h"]
    piped("import", path, "--bike", profile, *said, "--library", library, status=0)
    shown = piped("bikes", "show", "enduro-07", "--library", library, status=0).stdout
    assert "# 'Speed' is ground speed from the satellite receiver, in km/h (gps_speed_mps:km/h), confirmed" in shown
    profile.write_text(shown)
    done = piped("import", log(tmp_path / "b.csv", scale=2), "--bike", profile, "--library", library, status=0)
    assert "as remembered" in done.stdout


def test_forgetting_for_a_bike_that_is_not_there_is_told(tmp_path: Path) -> None:
    done = piped("bikes", "forget-columns", "nobody", "--library", tmp_path / "library", status=2)
    assert "no bike 'nobody'" in done.stderr
