"""Several files of one ride on the page: shown, accepted as found, corrected, kept apart; nothing stored before."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from dashboard.adding import drawings, joining
from dashboard.adding.desk import Desk
from dashboard.adding.inbox import Inbox
from dashboard.adding.jobs import Job, Told
from dashboard.adding.joining import Said
from dashboard.adding.worker import work
from dashboard.app import create_app
from dashboard.callbacks.importing import seconds_of
from dashboard.callbacks.routing import leads_somewhere
from dashboard.look import Look
from dashboard.pages import importing
from ridelog.errors import UsageError
from ridelog.ingest_alignment import Alignment, Curve, Lying
from ridelog.store.library import Library


def speeds(seconds: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Speed of a ride, km/h, ten times a second: no stretch is like another."""
    noise = np.random.default_rng(5).normal(0.0, 1.0, seconds * 10)
    smooth = np.convolve(noise, np.hanning(60), "same")
    return 45.0 + 25.0 * smooth / np.abs(smooth).max()


def ground(seconds: int = 600) -> bytes:
    rows = (f"{n / 10:.1f},{v:.2f}" for n, v in enumerate(speeds(seconds)))
    return ("Time s,GPS speed km/h\n" + "\n".join(rows) + "\n").encode()


def engine(late_s: float, seconds: int = 600, *, steady: bool = False) -> bytes:
    """What an engine logger has of it that was switched on later."""
    turns = np.full(seconds * 10, 4000.0) if steady else 100.0 * speeds(seconds)
    first = round(late_s * 10)
    rows = (f"{n / 10:.1f},{v:.0f},{70 + n * 0.001:.1f}" for n, v in enumerate(turns[first:]))
    return ("Time s,RPM,Coolant C\n" + "\n".join(rows) + "\n").encode()


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library.open(tmp_path / "library")


@pytest.fixture
def desk(library: Library) -> Desk:
    """A desk whose worker is this process, so that a test need not wait for one."""
    found = Desk(library.root)
    found.foreman.close()
    return found


def waiting(desk: Desk, *contents: bytes, told: Told | None = None) -> Job:
    """A job with its files."""
    files = [(f"{name}.csv", len(content)) for name, content in zip("abc", contents, strict=False)]
    job = desk.inbox.make(files, told or Told(together=True))
    for number, content in enumerate(contents):
        job = desk.inbox.receive(job.id, number, io.BytesIO(content), len(content))
    return job


def worked(desk: Desk, library: Library, job_id: str) -> Job:
    """What a worker makes of a waiting job."""
    job = desk.job(job_id)
    assert job.state == "waiting"
    desk.inbox.settle(job.id, work(library.root, desk.inbox.folder(job.id), job))
    return desk.job(job.id)


def begins_s(library: Library, job: Job, channel: str = "engine_rpm") -> float:
    (one,) = job.added
    samples = library.load(one.ride).samples
    return float(samples.filter(samples[channel].is_not_null())["t_s"][0])


def test_recordings_are_shown_before_anything_is_stored(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    assert job.state == "joining", job.reason
    assert library.list_rides() == []
    found = desk.alignment(job.id)
    assert found.kept == 1
    assert found.recordings[0].by == "measured"
    assert found.recordings[0].start_s == pytest.approx(12.5, abs=0.2)
    assert found.recordings[0].own is not None


def test_accepted_as_found_it_is_stored_as_it_was_shown(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    shown = desk.alignment(job.id).recordings[0].start_s
    desk.join(job.id, desk.mark(job.id), [round(shown, 3), None])
    assert desk.job(job.id).told.offsets == ()
    job = worked(desk, library, job.id)
    assert job.state == "done", job.reason
    assert begins_s(library, job) == pytest.approx(shown, abs=2e-3)


def test_a_corrected_place_is_the_place_it_is_stored_at(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    desk.join(job.id, desk.mark(job.id), [20.25, None])
    job = worked(desk, library, job.id)
    assert job.state == "done", job.reason
    assert begins_s(library, job) == pytest.approx(20.25, abs=1e-6)


def test_a_place_that_is_not_known_says_why_and_takes_the_users_word(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5, steady=True), ground()).id)
    assert job.state == "joining"
    found = desk.alignment(job.id)
    assert not found.known
    assert "can't be found" in found.recordings[0].reason
    desk.join(job.id, desk.mark(job.id), [12.5, None])
    job = worked(desk, library, job.id)
    assert job.state == "done", job.reason
    assert begins_s(library, job) == pytest.approx(12.5, abs=1e-6)


def test_kept_apart_they_are_two_rides(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    desk.act(job.id, "apart")
    job = worked(desk, library, job.id)
    assert job.state == "done"
    assert len(job.added) == 2
    assert len(library.list_rides()) == 2


def test_with_three_files_a_correction_is_shown_once_more(desk: Desk, library: Library) -> None:
    throttle = engine(30.0).replace(b"Coolant C", b"Throttle %")
    job = worked(desk, library, waiting(desk, engine(12.5), ground(), throttle).id)
    assert job.state == "joining", job.reason
    starts = [one.start_s for one in desk.alignment(job.id).recordings]
    desk.join(job.id, desk.mark(job.id), [20.0, None, round(starts[2], 3)])
    job = worked(desk, library, job.id)
    assert job.state == "joining"
    again = desk.alignment(job.id)
    assert again.recordings[0].by == "told"
    assert again.recordings[0].start_s == pytest.approx(20.0)
    desk.join(job.id, desk.mark(job.id), [round(one.start_s, 3) for one in again.recordings])
    job = worked(desk, library, job.id)
    assert job.state == "done", job.reason
    assert begins_s(library, job) == pytest.approx(20.0, abs=1e-6)


def test_an_older_picture_is_not_accepted(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    with pytest.raises(UsageError, match="newest picture"):
        desk.join(job.id, "0", [None, None])
    assert desk.job(job.id).state == "joining"


@pytest.mark.parametrize("start_s", [float("nan"), float("inf"), 1e12, 5000.0, -5000.0])
def test_a_place_that_can_not_be_is_refused_and_changes_nothing(desk: Desk, library: Library, start_s: float) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    with pytest.raises(UsageError) as caught:
        desk.join(job.id, desk.mark(job.id), [start_s, None])
    assert caught.value.to_do
    assert desk.job(job.id) == job


def test_it_waits_through_a_restart(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    shown = desk.alignment(job.id).recordings[0].start_s
    again = Inbox(library.root)
    again.open()
    assert again.job(job.id).state == "joining"
    assert drawings.read(again.folder(job.id)).recordings[0].start_s == shown


def test_a_picture_that_is_lost_or_damaged_is_worked_out_anew(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    folder = desk.inbox.folder(job.id)
    for spoil in (lambda: (folder / drawings.CURVES).write_bytes(b"x"), (folder / drawings.FIGURES).unlink):
        drawings._read.cache_clear()
        spoil()
        with pytest.raises(UsageError, match="can't be read"):
            desk.alignment(job.id)
    desk.act(job.id, "retry")
    assert worked(desk, library, job.id).state == "joining"


def test_files_whose_ride_is_there_are_not_shown_again(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    desk.join(job.id, desk.mark(job.id), [None, None])
    first = worked(desk, library, job.id)
    again = worked(desk, library, waiting(desk, engine(12.5), ground()).id)
    assert again.state == "done"
    assert again.added[0].status == "already_stored"
    assert again.added[0].ride == first.added[0].ride


def test_a_column_with_two_meanings_is_asked_about_before_the_picture(desk: Desk, library: Library) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5), ground().replace(b"GPS speed", b"Speed")).id)
    assert job.state == "asking"
    assert job.asked is not None
    number = next(n for n, (_, text) in enumerate(job.asked.options) if "gps" in text)
    desk.inbox.answer(job.id, job.asked.options[number][1])
    assert worked(desk, library, job.id).state == "joining"


def words(part: Any) -> str:
    """All text of a component."""
    if part is None or isinstance(part, bool | int | float):
        return ""
    if isinstance(part, str):
        return part
    if isinstance(part, list | tuple):
        return " ".join(map(words, part))
    return words(getattr(part, "children", None))


@pytest.mark.parametrize(("steady", "says"), [(False, "any moment good to"), (True, "Can't tell whether it is right")])
def test_the_page_tells_place_pace_and_certainty(desk: Desk, library: Library, steady: bool, says: str) -> None:
    job = worked(desk, library, waiting(desk, engine(12.5, steady=steady), ground()).id)
    shown = words(importing.body(job, desk.alignment(job.id), desk.formats(), Look()))
    assert says in shown
    assert "Nothing is stored yet" in shown
    assert "--" not in shown
    assert ("ppm" in shown or "keeps the pace" in shown) is not steady


def test_a_refused_log_offers_what_it_asks_for_and_takes_it(desk: Desk, library: Library) -> None:
    rows = "".join(f"{n},{3000 + n % 700},{60 + n % 30}\n" for n in range(300))
    job = worked(desk, library, waiting(desk, f"Counts,RPM,Coolant C\n{rows}".encode(), told=Told()).id)
    assert job.state == "refused"
    assert job.refusals[0].asks == ("column",)
    shown = words(importing.body(job, None, desk.formats(), Look()))
    assert "Name of a column" in shown
    with pytest.raises(UsageError, match="not chosen"):
        desk.more(job.id, Said(column="Counts"))
    desk.more(job.id, Said(column="Counts", holds="time:s"))
    job = worked(desk, library, job.id)
    assert job.state == "done", job.reason


@pytest.mark.parametrize(
    ("said", "match"),
    [
        (Said(timezone="Nowhere/City"), "no time zone"),
        (Said(start="yesterday"), "no moment"),
        (Said(start="2026-05-02 09:30"), "no time zone"),
        (Said(format="no such"), "no format"),
        (Said(column="a=b", holds="coolant_c:parsec"), "unit|parsec"),
    ],
)
def test_what_can_not_be_used_is_refused_before_the_import(said: Said, match: str) -> None:
    with pytest.raises(UsageError, match=match):
        joining.told_with(Told(), said)


def test_what_is_said_is_kept_beside_what_was_known() -> None:
    told = joining.told_with(
        Told(timezone="+02:00", columns=("A=raw",)), Said(start="2026-05-02 09:30", column="B", holds="raw")
    )
    assert told.start == "2026-05-02T09:30:00"
    assert told.timezone == "+02:00"
    assert told.columns == ("A=raw", "B=raw")
    assert joining.told_with(told, Said(column="A", holds="time:s")).columns == ("B=raw", "A=time:s")


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("12.5", 12.5),
        (" -3,25 ", -3.25),
        ("\u22127", -7.0),
        ("", None),
        ("x", None),
        (None, None),
        ("nan", None),
        ("1e400", None),
    ],
)
def test_a_typed_number_is_read_as_people_write_it(typed: Any, number: float | None) -> None:
    assert seconds_of(typed) == number


def test_every_import_has_an_address(desk: Desk, fakes: ModuleType) -> None:
    provider = fakes.FakeProvider(fakes.make_view(60.0, gap=False))
    assert leads_somewhere(provider, "/import/0123456789abcdef")
    app = create_app(provider, desk=desk)
    assert app.server.test_client().get("/import/0123456789abcdef", base_url="http://127.0.0.1:8150").status_code == 200
    assert "no longer listed" in words(importing.gone())


def curve(channel: str, seconds: float, first_s: float = 0.0) -> Curve:
    return Curve(channel, channel, first_s, 0.1, 50.0 + np.random.default_rng(1).normal(0, 9, round(seconds * 10)))


def test_spans_that_share_nothing_are_told_only_where_they_do() -> None:
    lying: Callable[..., Lying] = lambda start, by="measured": Lying("x.csv", by, start, 100.0, None, "")  # noqa: E731
    found = Alignment(0, (lying(0.0, "kept"), lying(50.0)))
    assert joining.offsets(found, [None, 99.0], {}) == ({1: 99.0}, True)
    assert joining.offsets(found, [None, 50.0], {}) == ({}, False)
    with pytest.raises(UsageError, match="share no moment"):
        joining.offsets(found, [None, 101.0], {})
    with pytest.raises(UsageError, match="no picture"):
        joining.offsets(found, [None], {})
