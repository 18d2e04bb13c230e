"""What the importer says to whoever types its options, said to whoever has a page before them."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import ridelog
from dashboard.adding import remedies
from ridelog.errors import AmbiguousColumn, InputRefused, RidelogError
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers import registry
from ridelog.words import device_clocks

OPTION = re.compile(r"--[a-z]")
PACKAGE = Path(ridelog.__file__).parent
HEARD = ("readers", "clock", "normalize", "quality", "offset", "store/library.py", "store/schema.py",
         "store/trouble.py", "store/originals.py", "store/incoming.py", "ingest*.py", "align.py", "errors.py",
         "words/device_clocks.py", "words/reading*.py", "words/normalizing.py", "words/column_units.py",
         "words/clocks.py", "words/joining.py",
         "words/clock_offsets.py", "words/importing.py",
         "words/doubt_details.py")  # fmt: skip


def texts() -> Iterator[tuple[str, str]]:
    """Every text with an option that a part of the import may say; what is put into it stands as `x`."""
    for name in HEARD:
        for found in PACKAGE.glob(name):
            for path in sorted(found.rglob("*.py")) if found.is_dir() else [found]:
                tree = ast.parse(path.read_text(encoding="utf-8"))
                for node in ast.walk(tree):
                    text = _text(node)
                    if text is not None and OPTION.search(text):
                        yield f"{path.relative_to(PACKAGE)}:{node.lineno}", text  # type: ignore[attr-defined]


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.JoinedStr):
        return "".join(part.value if isinstance(part, ast.Constant) else "x" for part in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


ALL = dict(texts())


def test_the_importer_speaks_of_its_options_in_many_places() -> None:
    assert len(ALL) > 30


@pytest.mark.parametrize("place", ALL)
def test_no_option_of_the_command_line_reaches_a_page(place: str) -> None:
    said = remedies.page_words(ALL[place])
    assert not OPTION.search(said), said


def refused(name: str, content: bytes, tmp_path: Path, **options: object) -> RidelogError:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputRefused) as caught:
        read_rides([path], ImportOptions(**options))  # type: ignore[arg-type]
    return caught.value


def test_what_is_no_log_tells_what_each_reader_missed_apart(tmp_path: Path) -> None:
    found = remedies.of(refused("note.csv", b"hello\n", tmp_path))
    assert found.where == "note.csv"
    assert "no log that ridelog can read" in found.found
    assert found.expected
    assert "choose below how to read it" in found.to_do
    assert "missed" not in found.to_do
    assert found.asks == ("format",)
    assert len(found.missed) == len(registry.readers()[0])
    assert all(": " in one for one in found.missed)


def test_a_log_without_a_time_asks_for_its_column(tmp_path: Path) -> None:
    rows = "".join(f"{n},{3000 + n},{60 + n % 30}\n" for n in range(50))
    found = remedies.of(refused("a.csv", f"Counts,RPM,Coolant C\n{rows}".encode(), tmp_path))
    assert found.asks == ("column",)
    assert "below" in found.to_do


def test_a_zone_nobody_knows_asks_for_the_zone(tmp_path: Path) -> None:
    rows = "".join(f"2026-05-02 10:{n // 60:02d}:{n % 60:02d} CST,{3000 + n},{60 + n % 30}\n" for n in range(100))
    found = remedies.of(refused("a.csv", f"Time,RPM,Coolant C\n{rows}".encode(), tmp_path))
    assert "timezone" in found.asks
    assert "time zone below" in found.to_do


def test_a_column_that_fits_two_meanings_asks_for_it() -> None:
    error = AmbiguousColumn(
        "it's km/h", where="a.csv", options=("Sp'eed=gps_speed_mps:km/h", "Sp'eed=wheel_speed_mps:km/h")
    )
    found = remedies.of(error)
    assert found.asks == ("column",)
    assert not OPTION.search(found.to_do)
    assert found.found == "it's km/h"


def test_places_that_fit_are_told_without_the_option() -> None:
    told = device_clocks.option("a b's.csv", None, 0.0)
    text = f"give its first sample's time after that of track.csv: {told}; else import it alone, or export it again"
    assert remedies.page_words(text) == (
        "say how long after track.csv it begins; else keep the files apart, or export it again"
    )


def test_the_facts_stay_as_they_are() -> None:
    error = InputRefused("row 7 has 3 cells", where="a.csv, row 7", expected="4 cells", to_do="mend the row")
    assert remedies.one_line(remedies.of(error)) == error.one_line()


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (
            (
                "remembered for the next log of bike dune-07 with this header: 'T' as time (ridelog bikes "
                "forget-columns dune-07 forgets it)"
            ),
            "remembered for the next log of bike dune-07 with this header: 'T' as time",
        ),
        (
            "they share 20 min: the log is in both. To keep one ride: ridelog remove 20260509-1015-aa",
            "they share 20 min: the log is in both. To keep one, remove the other from the library",
        ),
        (
            (
                "another device. Import both together: ridelog import 'a.csv' 'b.csv' --together; then remove the "
                "single ones: ridelog remove A, ridelog remove B"
            ),
            "another device. To join both, add their files at once as one ride",
        ),
    ],
)
def test_what_the_importer_noted_names_no_command(said: str, shown: str) -> None:
    assert remedies.page_words(said) == shown
