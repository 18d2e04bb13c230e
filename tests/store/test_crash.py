"""Killed at any point, the library is as it was; writers at the same time all succeed."""

from __future__ import annotations

import hashlib
import random
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from ridelog.store.library import Library

MAKER = Path(__file__).with_name("ride_maker.py")
OPEN_AND_COUNT = (
    "import sys; from pathlib import Path; from ridelog.store.library import Library\n"
    "print(len(Library.open(Path(sys.argv[1])).list_rides()))"
)


def start(library: Path, folder: Path, first: int, count: int, *more: int) -> subprocess.Popen[str]:
    command = [sys.executable, str(MAKER), *map(str, (library, folder, first, count, *more))]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def check_whole(root: Path, maker: ModuleType, folder: Path, promised: set[str]) -> set[str]:
    """Open the library as the next command would; check that it holds whole rides only, and lost none."""
    library = Library.open(root)
    rows = library.list_rides(limit=None)
    ids = {row.id for row in rows}
    assert promised <= ids, "a ride that was said to be stored is lost"
    for row in rows:
        number = int(row.id.removeprefix("ride-"))
        loaded = library.load(row.id)
        assert loaded.samples.equals(maker.ride(number, maker.original(folder, number)).samples)
        for file in row.files:
            kept = library.original(file.sha256)
            assert kept is not None
            assert hashlib.sha256(kept.read_bytes()).hexdigest() == file.sha256
    assert {path.stem for path in (root / "rides").iterdir()} == ids
    assert {path.name for path in (root / "originals").iterdir()} == {f.sha256 for row in rows for f in row.files}
    assert {path.name for path in (root / "incoming").iterdir()} <= {"door.lock"}
    return ids


def test_killed_at_any_moment_fifty_times(tmp_path: Path, maker: ModuleType) -> None:
    """SIGKILL at random moments while rides are being added: the library opens, no half ride, no lost ride."""
    chance = random.Random(20260501)  # noqa: S311 - repeatable on purpose
    root = tmp_path / "library"
    promised: set[str] = set()
    cut_short = 0
    for turn in range(50):
        process = start(root, tmp_path, turn * 100, 40)
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        time.sleep(chance.uniform(0.0, 0.25))
        process.kill()
        said = process.communicate()[0].split()
        cut_short += "done" not in said
        promised |= set(said) - {"done"}
        # Only the rides of this turn can have come to harm; the last check reads all of them.
        assert {row.id for row in Library.open(root).list_rides(limit=None)} >= promised
    check_whole(root, maker, tmp_path, promised)
    assert cut_short >= 40, "the kills came too late to mean anything"


def test_killed_at_every_call_into_the_system(tmp_path: Path, maker: ModuleType) -> None:
    """The same, exhaustively: one process a point, from opening a new library to the ride being in it."""
    reached_the_end = False
    outcomes = set()
    for point in range(1, 200):
        folder = tmp_path / str(point)
        folder.mkdir()
        process = start(folder / "library", folder, 0, 1, point)
        said, complaint = process.communicate()
        words = said.split()
        assert not complaint, complaint
        ids = check_whole(folder / "library", maker, folder, set(words) - {"ready", "done"})
        outcomes.add(len(ids))
        # Adding again after the crash works, whatever it left.
        path = maker.original(folder, 0)
        assert Library.open(folder / "library").add(maker.ride(0, path), [path]) == (
            "already_stored" if ids else "stored"
        )
        if "done" in words:
            reached_the_end = True
            break
    assert reached_the_end
    assert outcomes == {0, 1}


def test_a_living_writer_is_left_alone(tmp_path: Path, maker: ModuleType, library: Library) -> None:
    """Opening the library while another one writes does not clear what that one is writing."""
    path = maker.original(tmp_path, 1)
    ride = maker.ride(1, path)
    from ridelog.store import parquet

    seen: list[list[str]] = []
    write = parquet.write_ride

    def write_while_another_opens(ride: object, target: Path) -> None:
        write(ride, target)  # type: ignore[arg-type]
        command = [sys.executable, "-c", OPEN_AND_COUNT, str(library.root)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        seen.append([done.stdout.strip(), str(target.exists())])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parquet, "write_ride", write_while_another_opens)
        assert library.add(ride, [path]) == "stored"
    assert seen == [["0", "True"]]
    assert library.load(ride.id).samples.equals(ride.samples)


def test_four_writers_at_once(tmp_path: Path, maker: ModuleType) -> None:
    """Four programs, ten rides each, into a library that is not there yet; two of them add the same rides."""
    root = tmp_path / "library"
    processes = [start(root, tmp_path, first, 10) for first in (0, 100, 200, 200)]
    for process in processes:
        said, complaint = process.communicate()
        assert process.returncode == 0, complaint
        assert said.split()[-1] == "done"
    expected = {f"ride-{first + n:05d}" for first in (0, 100, 200) for n in range(10)}
    assert check_whole(root, maker, tmp_path, expected) == expected


def test_killed_while_removing(tmp_path: Path, maker: ModuleType) -> None:
    """A removal that dies after its commit is finished by the next command; before it, the ride stays whole."""
    program = (
        "import sys, os, signal; from pathlib import Path; from ridelog.store.library import Library\n"
        "library = Library.open(Path(sys.argv[1])); seen = [0]; import filelock\n"
        "def hook(event, arguments):\n"
        "    if event == 'open' or event.startswith(('os.', 'sqlite3.')):\n"
        "        seen[0] += 1\n"
        "        if seen[0] == int(sys.argv[2]): os.kill(os.getpid(), signal.SIGKILL)\n"
        "sys.addaudithook(hook)\n"
        "library.remove('ride-00000'); print('removed')\n"
    )
    root = tmp_path / "library"
    path = maker.original(tmp_path, 0)
    remaining = set()
    for point in range(1, 100):
        Library.open(root).add(maker.ride(0, path), [path])
        command = [sys.executable, "-c", program, str(root), str(point)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        ids = check_whole(root, maker, tmp_path, set())
        remaining.add(len(ids))
        if "removed" in done.stdout:
            assert ids == set()
            break
    else:
        pytest.fail("the removal never came to its end")
    assert remaining == {0, 1}
