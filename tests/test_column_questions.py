"""Every question what a column holds: refused without an answer, and settled by each option that is printed."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.channels import CHANNELS, base_name
from ridelog.cli.show import plain
from ridelog.errors import AmbiguousColumn
from ridelog.ingest import Answer, ImportOptions, Outcome, Question, import_files, parse_column_option, read_rides
from ridelog.ingest_ask import question_of
from ridelog.normalize.plan import ColumnChoice
from ridelog.ride import RawColumn, Ride
from ridelog.store.library import Library

N = 400
SECONDS = [n / 2 for n in range(N)]
RPM = [3000 + n % 100 * 40 for n in range(N)]
SPEED = [n % 90 for n in range(N)]
WARMING = [70 + n // 7 for n in range(N)]

Table = dict[str, list[object]]


def table(columns: Table) -> bytes:
    rows = [",".join('"' + name.replace('"', '""') + '"' for name in columns)]
    rows += [",".join(str(values[n]) for values in columns.values()) for n in range(N)]
    return ("\n".join(rows) + "\n").encode()


def timed(columns: Table) -> Table:
    return {"Time [s]": list(SECONDS), **columns, "Engine speed [rpm]": list(RPM)}


def dates(day: str) -> list[object]:
    return [f"{day} 10:{n // 60:02d}:{n % 60:02d}" for n in range(N)]


QUESTIONS: dict[str, tuple[str, Table]] = {
    "a speed, of receiver or wheel, in any unit": ("Speed", timed({"Speed": SPEED})),
    "a speed with its unit": ("Speed", timed({"Speed [km/h]": SPEED})),
    "a speed in a unit nobody knows": ("Speed", timed({"Speed [furlong]": SPEED})),
    "a wheel's speed without a unit": ("Wheel speed", timed({"Wheel speed": SPEED})),
    "a receiver's speed without a unit": ("GPS speed", timed({"GPS speed": SPEED})),
    "coolant in C or F": ("Coolant", timed({"Coolant": WARMING})),
    "coolant in neither": ("Coolant", timed({"Coolant": [500 + n % 90 for n in range(N)]})),
    "coolant in a unit nobody knows": ("Coolant", timed({"Coolant [Q]": WARMING})),
    "a second coolant": ("Coolant 2", timed({"Coolant [C]": [80 + n % 9 for n in range(N)], "Coolant 2": WARMING})),
    "a temperature, of coolant or air": ("Temp", timed({"Temp": [20 + n % 9 for n in range(N)]})),
    "a temperature with its unit": ("Temp [C]", timed({"Temp [C]": [20 + n % 9 for n in range(N)]})),
    "a first temperature": ("T1", timed({"T1": [60 + n % 9 for n in range(N)]})),
    "a speed or a gear": ("Vitesse", timed({"Vitesse": [1 + n % 5 for n in range(N)]})),
    "a counter that fits two units": ("Time", {"Time": [n * 20 for n in range(N)], "Coolant [C]": WARMING}),
    "a counter that fits none": ("Time", {"Time": [n * 30_000_000 for n in range(N)], "Coolant [C]": WARMING}),
    "day or month": ("Time", {"Time": dates("03/04/2026"), "Coolant [C]": WARMING}),
    "day or month in a column of its own": (
        "Time",
        {"Date": ["03/04/2026"] * N, "Time": [str(text).strip() for text in dates("")], "Coolant [C]": WARMING},
    ),
}  # fmt: skip


def asked(path: Path, *choices: str) -> tuple[Ride | None, AmbiguousColumn | None]:
    """The ride, or the question it is refused with."""
    try:
        (ride,) = read_rides([path], ImportOptions(columns=tuple(map(parse_column_option, choices))))
    except AmbiguousColumn as error:
        return None, error
    return ride, None


def printed(error: AmbiguousColumn) -> list[str]:
    """What a shell hands over for each option of the message, as a terminal shows it."""
    options = re.findall(r"--column ((?:'[^']*'|\\')+)", plain(error.one_line()), re.DOTALL)
    return [shlex.split(option)[0] for option in options]


@pytest.mark.parametrize("kind", QUESTIONS)
def test_every_printed_option_settles_its_question(kind: str, tmp_path: Path) -> None:
    name, columns = QUESTIONS[kind]
    path = tmp_path / "log.csv"
    path.write_bytes(table(columns))
    _, question = asked(path)
    if question is None:
        pytest.fail("the file was read without a question")
    options = printed(question)
    assert len(options) >= 2
    assert set(question.options) <= set(options)
    assert question.column == name.removesuffix(" [C]")
    for option in options:
        ride, again = asked(path, option)
        assert again is None, option
        assert ride is not None
        channel = parse_column_option(option).channel
        if channel in CHANNELS:
            own = [one for one, info in ride.channels.items() if info.source.endswith(f", {question.column}")]
            assert [base_name(one) for one in own] == [channel], option


@pytest.mark.parametrize("kind", QUESTIONS)
def test_every_question_can_be_put(kind: str, tmp_path: Path) -> None:
    """Any option leads to a stored ride; leaving the column out is offered wherever a ride remains."""
    path = tmp_path / "log.csv"
    path.write_bytes(table(QUESTIONS[kind][1]))
    _, error = asked(path)
    assert error is not None
    question = question_of(error)
    assert question is not None
    assert question.preview.examples
    assert [option.text for option in question.options][: len(error.options)] == list(error.options)
    of_time = question.options[0].choice.channel == "time"
    assert (question.options[-1].choice.channel == "raw") != of_time
    for number in range(len(question.options)):
        outcomes, questions = answered(tmp_path, path, [number], f"{number}")
        assert [outcome.status for outcome in outcomes] == ["stored"]
        assert len(questions) == 1


def answered(
    tmp_path: Path, path: Path, numbers: list[int | None], name: str = "library", together: Path | None = None
) -> tuple[list[Outcome], list[Question]]:
    """Import, answering each question with the next number (None stops)."""
    questions: list[Question] = []

    def ask(question: Question) -> Answer:
        number = numbers[len(questions)]
        questions.append(question)
        return None if number is None else question.options[number]

    library = Library.open(tmp_path / name)
    paths = [path, together] if together else [path]
    return import_files(library, paths, ImportOptions(), ask=ask), questions


def test_several_questions_follow_each_other(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(table(timed({"Speed": SPEED, "Coolant": WARMING, "Temp": [20 + n % 9 for n in range(N)]})))
    (outcome,), questions = answered(tmp_path, path, [1, 0, 0])
    assert len({question.column for question in questions}) == len(questions) == 3
    ride = Library.open(tmp_path / "library").load(outcome.ride_id or "")
    assert {"wheel_speed_mps", "coolant_c"} <= set(ride.channels)
    notes = [note.text for note in ride.notes if note.kind == "answered"]
    assert len(notes) == 3
    assert all("--column '" in text for text in notes)


def test_stopping_at_the_second_question_stores_nothing(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(table(timed({"Speed": SPEED, "Coolant": WARMING})))
    (outcome,), questions = answered(tmp_path, path, [0, None])
    assert (outcome.status, len(questions)) == ("refused", 2)
    assert "--column" in str(outcome.reason)
    assert Library.open(tmp_path / "library").list_rides() == []


def test_a_channel_named_without_its_unit_is_asked_for_the_unit_alone(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(table(timed({"Speed": SPEED})))
    questions: list[Question] = []

    def ask(question: Question) -> Answer:
        questions.append(question)
        return question.options[0]

    said = ImportOptions(columns=(parse_column_option("Speed=wheel_speed_mps"),))
    (outcome,) = import_files(Library.open(tmp_path / "library"), [path], said, ask=ask)
    assert outcome.status == "stored"
    assert [question.options[0].choice.channel for question in questions] == ["wheel_speed_mps"]


def test_an_answer_holds_for_the_other_files_of_the_call_with_that_header(tmp_path: Path) -> None:
    one, two = tmp_path / "a.csv", tmp_path / "b.csv"
    one.write_bytes(table(timed({"Speed": SPEED})))
    two.write_bytes(table(timed({"Speed": SPEED[::-1]})))
    outcomes, questions = answered(tmp_path, one, [0], together=two)
    assert [outcome.status for outcome in outcomes] == ["stored", "stored"]
    assert len(questions) == 1


def test_an_answer_does_not_hold_for_another_header(tmp_path: Path) -> None:
    one, two = tmp_path / "a.csv", tmp_path / "b.csv"
    one.write_bytes(table(timed({"Speed": SPEED})))
    two.write_bytes(table(timed({"Speed": SPEED, "Gear": [1 + n % 5 for n in range(N)]})))
    outcomes, questions = answered(tmp_path, one, [0, 1], together=two)
    assert [outcome.status for outcome in outcomes] == ["stored", "stored"]
    assert len(questions) == 2
    kept = [Library.open(tmp_path / "library").load(outcome.ride_id or "").channels for outcome in outcomes]
    assert ["wheel_speed_mps" in channels for channels in kept] == [False, True]


def test_files_read_together_are_asked_about_one_by_one(tmp_path: Path) -> None:
    """The same name in two files is two questions: one device's speed is no other's. Both are remembered."""
    stamps: list[object] = [f"2026-05-02T10:{n // 60:02d}:{n % 60:02d}Z" for n in range(N)]
    one, two = tmp_path / "engine.csv", tmp_path / "track.csv"
    one.write_bytes(table({"Time": stamps, "Speed": SPEED, "Engine speed [rpm]": RPM}))
    two.write_bytes(table({"Time": stamps, "Speed": SPEED, "Elevation [m]": [500 + n % 9 for n in range(N)]}))
    library = Library.open(tmp_path / "library")
    numbers = iter((1, 0))

    def ask(question: Question) -> Answer:
        return question.options[next(numbers)]

    said = ImportOptions(bike_id="b7")
    (outcome,) = import_files(library, [one, two], said, together=True, ask=ask)
    assert next(numbers, None) is None
    sources = {name: info.source for name, info in library.load(outcome.ride_id or "").channels.items()}
    assert sources["wheel_speed_mps"].startswith("engine.csv")
    assert sources["gps_speed_mps"].startswith("track.csv")
    kept = [[one.channel for one in mapping.meanings] for mapping in library.column_mappings("b7")]
    assert sorted(kept) == [["gps_speed_mps"], ["wheel_speed_mps"]]


def test_a_file_that_is_there_already_is_not_asked_about(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(table(timed({"Speed": SPEED})))
    answered(tmp_path, path, [0])
    (again,), questions = answered(tmp_path, path, [])
    assert (again.status, questions) == ("already_stored", [])


def test_an_answer_that_settles_nothing_is_not_asked_for_ever(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(table(timed({"Speed": SPEED})))

    def ask(question: Question) -> Answer:
        option = question.options[0]
        stray = ColumnChoice(("no such column",), "gps_speed_mps", "km/h")
        return type(option)(option.words, option.text, stray)

    (outcome,) = import_files(Library.open(tmp_path / "library"), [path], ImportOptions(), ask=ask)
    assert outcome.status == "refused"


HOSTILE: dict[str, Callable[[str], str]] = {
    "quotes": lambda name: f"{name} 'left' \"one\"",
    "an escape sequence": lambda name: f"\x1b[2J{name}\x1b[31m",
    "a bell and a tab": lambda name: f"{name}\x07\t",
    "writing direction": lambda name: f"\u202e{name}\u202c",
    "an equals sign": lambda name: f"{name}=x",
    "a shell command": lambda name: f"{name} $(reboot) `ls` ; rm",
    "a long name": lambda name: f"{name} " + "x" * 60,
    "a backslash": lambda name: f"{name}\\n",
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_printed_option_finds_a_column_whatever_its_name(kind: str) -> None:
    """Through the terminal's cleaning, a shell and the option's own form, back to the column."""
    from ridelog.errors import column_option

    column = RawColumn(HOSTILE[kind]("Speed"), None, None)  # type: ignore[arg-type]
    shown = plain(column_option(f"{column.name}=gps_speed_mps:km/h"))
    assert all(char.isprintable() for char in shown)
    (_, text) = shlex.split(shown)
    assert parse_column_option(text).fits(column)


@given(st.text(min_size=1, max_size=40).filter(lambda text: bool(text.strip()) and "\x00" not in text))
def test_a_printed_option_finds_a_column_of_any_name(name: str) -> None:
    from ridelog.errors import column_option

    column = RawColumn(name, None, None)  # type: ignore[arg-type]
    (_, text) = shlex.split(plain(column_option(f"{name}=gps_speed_mps:km/h")))
    assert parse_column_option(text).fits(column)
