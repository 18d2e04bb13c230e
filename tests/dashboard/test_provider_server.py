"""The provider over a real library, and the running server."""

from __future__ import annotations

import hashlib
import http.cookiejar
import logging
import signal
import socket
import subprocess
import sys
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from dashboard import config, server
from dashboard.provider import LibraryProvider
from ridelog.errors import NotInLibrary, UsageError
from ridelog.ride import SourceFile
from ridelog.store import catalogue
from ridelog.store.library import Library


@pytest.fixture
def library(tmp_path: Path, fakes: ModuleType) -> Library:
    """A library with one bike and one ride of ten minutes."""
    found = Library.open(tmp_path / "library")
    bike = tmp_path / "dune-07.bike.toml"
    bike.write_text('schema = 1\nid = "dune-07"\n', encoding="utf-8")
    found.add_bike(bike)
    put(found, tmp_path, fakes, fakes.RIDE_ID)
    return found


def put(library: Library, folder: Path, fakes: ModuleType, ride_id: str) -> None:
    """Store the hand-made ride under an id of its own."""
    log = folder / f"{ride_id}.csv"
    log.write_text(ride_id, encoding="utf-8")
    digest = hashlib.sha256(log.read_bytes()).hexdigest()
    ride = fakes.make_view(600.0, rate_hz=5.0, gap=False).ride
    library.add(replace(ride, id=ride_id, sources=(SourceFile(log.name, digest, log.stat().st_size, "csv"),)), [log])


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Ids of the rides that were analyzed."""
    import ridelog.study as module

    seen: list[str] = []
    real = module.analyzed

    def analyzed(ride: Any, *rest: Any, **more: Any) -> Any:
        seen.append(ride.id)
        return real(ride, *rest, **more)

    monkeypatch.setattr(module, "analyzed", analyzed)
    return seen


def test_a_ride_is_listed_and_analyzed_once(library: Library, fakes: ModuleType, counted: list[str]) -> None:
    provider = LibraryProvider(library.root)
    assert [item.id for item in provider.rides()] == [fakes.RIDE_ID]
    first, second = provider.view_of(fakes.RIDE_ID), provider.view_of(fakes.RIDE_ID)
    assert first is second
    assert first.analysis.ride.id == fakes.RIDE_ID
    assert first.bike is not None
    assert counted == [fakes.RIDE_ID]


def test_while_nothing_is_written_what_a_ride_rests_on_is_looked_up_once(
    library: Library, fakes: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    import ridelog.study as module

    looked: list[str] = []
    real = module.known_of
    monkeypatch.setattr(module, "known_of", lambda lib, row: looked.append(row.id) or real(lib, row))
    monkeypatch.setattr(catalogue, "SETTLED_NS", 0)
    provider = LibraryProvider(library.root)
    provider.view_of(fakes.RIDE_ID)  # what it finds of other rides it may keep, which is a change
    view = provider.view_of(fakes.RIDE_ID)
    before = len(looked)
    assert all(provider.view_of(fakes.RIDE_ID) is view for _ in range(3))
    provider.rides()
    assert provider.view_of(fakes.RIDE_ID) is view
    assert len(looked) == before
    for change in (
        lambda: library.add_note(fakes.RIDE_ID, 10.0, "other", "A stop."),
        lambda: library.edit(fakes.RIDE_ID, ambient_c=31.0),
        lambda: Library.open(library.root).add_note(fakes.RIDE_ID, 20.0, "other", "From another program."),
    ):
        change()
        after = provider.view_of(fakes.RIDE_ID)
        assert after is not view
        view = after
    library.remove(fakes.RIDE_ID)
    with pytest.raises(NotInLibrary):
        provider.view_of(fakes.RIDE_ID)


def test_a_fresh_change_is_never_taken_for_none(library: Library, fakes: ModuleType) -> None:
    provider = LibraryProvider(library.root)
    for ambient_c in (20.0, 21.0, 22.0, 23.0, 24.0):
        library.edit(fakes.RIDE_ID, ambient_c=ambient_c)
        assert library.mark() is None
        assert provider.view_of(fakes.RIDE_ID).ride.ambient_c == ambient_c


def test_what_the_user_changes_is_seen(library: Library, fakes: ModuleType, tmp_path: Path, counted: list[str]) -> None:
    provider = LibraryProvider(library.root)
    before = provider.view_of(fakes.RIDE_ID)
    library.edit(fakes.RIDE_ID, ambient_c=35.0)
    assert provider.view_of(fakes.RIDE_ID).ride.ambient_c == 35.0
    bike = tmp_path / "dune-07.bike.toml"
    bike.write_text('schema = 1\nid = "dune-07"\n[thresholds]\nwarm = 80.0\n', encoding="utf-8")
    library.add_bike(bike)
    after = provider.view_of(fakes.RIDE_ID)
    assert [row.threshold_c for row in after.analysis.exposure] == [80.0]
    assert before.ride.ambient_c == 29.0
    assert len(counted) == 3


def test_a_new_sheet_is_seen(library: Library, fakes: ModuleType, tmp_path: Path) -> None:
    provider = LibraryProvider(library.root)
    assert provider.view_of(fakes.RIDE_ID).advice.version == "built-in"
    sheet = tmp_path / "new.advice.toml"
    sheet.write_text('schema = 1\nversion = "2026-01"\nvalid_from = 2026-01-01\n', encoding="utf-8")
    library.add_advice(sheet)
    assert provider.view_of(fakes.RIDE_ID).advice.version == "2026-01"


def test_a_removed_ride_is_gone(library: Library, fakes: ModuleType) -> None:
    provider = LibraryProvider(library.root)
    provider.view_of(fakes.RIDE_ID)
    library.remove(fakes.RIDE_ID)
    with pytest.raises(NotInLibrary):
        provider.view_of(fakes.RIDE_ID)


@pytest.mark.parametrize("ride_id", ["", "..", "../rides", "a/b", "\x00", "%", "'; DROP TABLE ride; --"])
def test_an_id_that_can_t_be_is_not_in_the_library(library: Library, ride_id: str) -> None:
    with pytest.raises(NotInLibrary):
        LibraryProvider(library.root).view_of(ride_id)


def test_threads_that_ask_at_once_wait_for_one_analysis(
    library: Library, fakes: ModuleType, counted: list[str]
) -> None:
    provider = LibraryProvider(library.root)
    with ThreadPoolExecutor(6) as pool:
        views = list(pool.map(lambda _: provider.view_of(fakes.RIDE_ID), range(12)))
    assert len(counted) == 1
    assert all(view is views[0] for view in views)


def test_only_so_many_analyses_are_kept(
    library: Library, fakes: ModuleType, tmp_path: Path, counted: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(config, "CACHED_RIDES", 2)
    for name in ("ride-b", "ride-c"):
        put(library, tmp_path, fakes, name)
    provider = LibraryProvider(library.root)
    for name in (fakes.RIDE_ID, "ride-b", "ride-c", "ride-c", fakes.RIDE_ID):
        provider.view_of(name)
    assert counted == [fakes.RIDE_ID, "ride-b", "ride-c", fakes.RIDE_ID]


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "rides.example", "::"])  # noqa: S104
def test_another_host_needs_a_token(tmp_path: Path, host: str) -> None:
    with pytest.raises(UsageError, match="no token"):
        server.serve(tmp_path / "library", host, 0)


def test_a_taken_port_is_said(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(UsageError, match="can't be used"):
            server.serve(tmp_path / "library", "127.0.0.1", taken.getsockname()[1])


def test_it_serves_and_stops_without_a_traceback(library: Library) -> None:
    code = (
        "import sys; from pathlib import Path; from dashboard.server import serve; "
        "serve(Path(sys.argv[1]), '127.0.0.1', 0, token='s e', on_ready=lambda told: print(told, flush=True))"
    )
    running = subprocess.Popen(
        [sys.executable, "-c", code, str(library.root)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert running.stdout is not None
        told = running.stdout.readline().strip()
        assert told.startswith("http://127.0.0.1:")
        assert told.endswith("/?token=s%20e")
        # open the link as a browser does: keep the cookie it sets, follow to the clean address
        jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        with urllib.request.build_opener(jar).open(told, timeout=20) as answer:
            assert answer.status == 200
            assert answer.url == told.split("?")[0]
            assert "<title>ridelog</title>" in answer.read().decode()
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=20)
    finally:
        running.kill()
        running.communicate()
    assert "Traceback" not in said
    assert running.returncode in {0, -signal.SIGINT}


def test_a_fault_of_the_program_is_one_line_in_the_terminal(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server.tempfile, "tempdir", str(tmp_path))
    root = logging.getLogger()
    before = root.handlers[:]
    root.handlers.clear()
    try:
        server._tell_faults()
        try:
            1 / 0  # noqa: B018
        except ZeroDivisionError:
            logging.getLogger("dashboard.app").exception("a callback failed")
    finally:
        root.handlers[:] = before
    told = capsys.readouterr().err
    assert "Traceback" not in told
    assert told.splitlines()[0] == "ridelog: a callback failed"
    (kept,) = tmp_path.iterdir()
    assert str(kept) in told
    assert "ZeroDivisionError" in kept.read_text(encoding="utf-8")
