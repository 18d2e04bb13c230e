"""Folders, disks and catalogues in trouble: told in words, and nothing lost."""

from __future__ import annotations

import errno
import os
import sqlite3
import stat
import subprocess
import sys
import tempfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from ridelog.errors import LibraryError
from ridelog.store import catalogue, incoming, originals, parquet
from ridelog.store.library import Library, default_root

BIKE = 'schema = 1\nid = "enduro-07"\n[mass]\ntotal_kg = {kg}\n'


def test_where_the_library_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RIDELOG_LIBRARY", str(tmp_path / "named"))
    assert Library.open().root == tmp_path / "named"
    monkeypatch.setenv("RIDELOG_LIBRARY", "")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert default_root().name == "library"
    assert Library.open(tmp_path / "a" / "b" / "c").list_rides() == []


@pytest.mark.skipif(os.name == "nt", reason="Windows has no mode bits")
def test_the_folders_are_open_to_the_user_alone(library: Library) -> None:
    for path in (library.root, *(library.root / name for name in ("rides", "originals", "incoming"))):
        assert stat.S_IMODE(path.stat().st_mode) == 0o700
    assert stat.S_IMODE((library.root / "library.sqlite").stat().st_mode) == 0o600


def test_a_folder_of_something_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "holiday.jpg").write_bytes(b"x")
    with pytest.raises(LibraryError, match=r"holiday\.jpg"):
        Library.open(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["holiday.jpg"]
    with pytest.raises(LibraryError) as caught:
        Library.open(tmp_path / "holiday.jpg")
    assert caught.value.to_do


@pytest.mark.parametrize("emptied", [False, True])
def test_a_lost_catalogue_is_not_replaced_by_an_empty_one(
    library: Library, maker: ModuleType, tmp_path: Path, *, emptied: bool
) -> None:
    maker.stored(library, tmp_path, 1)
    (library.root / "library.sqlite").unlink()
    if emptied:
        (library.root / "library.sqlite").touch()
    with pytest.raises(LibraryError, match=r"library\.sqlite is gone or empty"):
        Library.open(library.root)
    with pytest.raises(LibraryError):
        library.list_rides()
    assert len(maker.files_of(library)) == 2


@pytest.mark.parametrize("how", ["text", "cut", "zeroed page"])
def test_a_corrupt_catalogue_says_what_to_do(library: Library, maker: ModuleType, tmp_path: Path, how: str) -> None:
    maker.stored(library, tmp_path, *range(1, 30))
    path = library.root / "library.sqlite"
    data = path.read_bytes()
    path.write_bytes({"text": b"not a database " * 100, "cut": data[:5000],
                      "zeroed page": data[:100] + bytes(len(data) - 100)}[how])  # fmt: skip
    with pytest.raises(LibraryError) as caught:
        Library.open(library.root).list_rides()
    assert "library.sqlite" in caught.value.where
    assert caught.value.to_do


@pytest.mark.skipif(os.name == "nt", reason="mode bits")
def test_a_read_only_library_says_what_to_do(maker: ModuleType, tmp_path: Path) -> None:
    """Run without the rights of root, which no mode bits hold back."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        library = Library.open(Path(name) / "library")
        maker.stored(library, tmp_path, 1)
        for path in [library.root, *library.root.rglob("*")]:
            path.chmod(0o555 if path.is_dir() else 0o444)
        program = (
            "import os, sys; from pathlib import Path; from ridelog.errors import LibraryError\n"
            "from ridelog.store.library import Library; import filelock, sqlite3\n"
            "if os.geteuid() == 0: os.setgid(65534); os.setuid(65534)\n"
            "try:\n"
            "    library = Library.open(Path(sys.argv[1])); library.list_rides()\n"
            "    library.edit('ride-00001', ambient_c=20.0)\n"
            "except LibraryError as error: print(error.one_line())\n"
        )
        done = subprocess.run(
            [sys.executable, "-c", program, str(library.root)], capture_output=True, text=True, check=False
        )
        for path in [library.root, *library.root.rglob("*")]:
            path.chmod(0o755)
        assert done.stderr == ""
        assert "can't be written" in done.stdout
        assert "What to do: correct the permissions" in done.stdout


def full(*_: object, **__: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("where", ["write_ride", "copy_checked", "sync_folders", "commit"])
def test_a_full_disk_leaves_the_library_as_it_was(
    library: Library, maker: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    maker.stored(library, tmp_path, 1)
    before = maker.files_of(library), library.list_rides()
    path = maker.original(tmp_path, 2)
    ride = maker.ride(2, path)
    with monkeypatch.context() as patch:
        if where == "write_ride":
            patch.setattr(parquet, "write_ride", full)
        elif where == "copy_checked":
            patch.setattr(originals, "copy_checked", full)
        elif where == "sync_folders":
            patch.setattr(incoming, "sync_folders", full)
        else:
            patch.setattr(catalogue, "insert_ride", full)
        with pytest.raises(LibraryError, match="no room left"):
            library.add(ride, [path])
    library = Library.open(library.root)
    assert (maker.files_of(library), library.list_rides()) == before
    assert library.add(ride, [path]) == "stored"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the device that is always full")
def test_a_disk_that_is_really_full(maker: ModuleType, tmp_path: Path) -> None:
    target = tmp_path / "ride.parquet"  # a link: what is removed after the failure is the link
    target.symlink_to("/dev/full")
    with pytest.raises(OSError, match="space left") as caught:
        parquet.write_ride(maker.ride(1), target)
    assert caught.value.errno == errno.ENOSPC
    assert not target.is_symlink()


def test_a_catalogue_without_room_says_so(
    library: Library, maker: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite meets the full disk itself."""
    connect = catalogue.Catalogue._connect

    def connect_full(self: catalogue.Catalogue) -> sqlite3.Connection:
        db = connect(self)
        (pages,) = db.execute("PRAGMA page_count").fetchone()
        db.execute(f"PRAGMA max_page_count = {pages}")
        return db

    path = maker.original(tmp_path, 1)
    ride = replace(maker.ride(1, path), timezone="x" * 100_000)
    with monkeypatch.context() as patch:
        patch.setattr(catalogue.Catalogue, "_connect", connect_full)
        with pytest.raises(LibraryError, match="no room left"):
            library.add(ride, [path])
    assert maker.files_of(library) == set()
    assert Library.open(library.root).list_rides() == []


def test_a_busy_catalogue_is_waited_for_and_then_named(
    library: Library, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(catalogue, "BUSY_S", 0.05)
    (tmp_path / "b.toml").write_text(BIKE.format(kg=190), encoding="utf-8")
    with closing(sqlite3.connect(library.root / "library.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert library.list_rides() == [], "readers never wait"
        with pytest.raises(LibraryError, match="busy"):
            library.add_bike(tmp_path / "b.toml")
        other.execute("ROLLBACK")
    library.add_bike(tmp_path / "b.toml")
