"""Logs from a browser: announced, received, imported by a process of its own, asked about, called off, tried again."""

from __future__ import annotations

import io
import json
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.adding import inbox as inbox_module
from dashboard.adding import jobs
from dashboard.adding.desk import Desk
from dashboard.adding.inbox import BROKE_OFF, RESTARTED, Inbox
from dashboard.adding.jobs import OPEN, Job, Told, safe_name
from dashboard.app import create_app
from ridelog.errors import UsageError
from ridelog.store.library import Library

HERE = "http://127.0.0.1:8150"
OURS = {"Origin": HERE}


def log(number: int, seconds: int = 400, *, speed: str = "GPS speed km/h") -> bytes:
    """A small log of its own."""
    rows = (
        f"{t},{3000 + (t * 37 + number) % 4000},{60 + min(t, 300) * 0.1:.1f},{t % 90},{20 + t % 30}"
        for t in range(seconds)
    )
    return "\n".join([f"Time s,RPM,Coolant C,Throttle %,{speed}", *rows]).encode() + b"\n"


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library.open(tmp_path / "library")


@pytest.fixture
def desk(library: Library) -> Iterator[Desk]:
    desk = Desk(library.root, workers=2)
    yield desk
    desk.close()


@pytest.fixture
def client(desk: Desk, fakes: ModuleType) -> Any:
    return create_app(fakes.FakeProvider(fakes.make_view(60.0, gap=False)), desk=desk).server.test_client()


def announce(client: Any, files: list[tuple[str, int]], **said: Any) -> Any:
    body = {"files": [{"name": name, "size": size} for name, size in files], **said}
    return client.post("/add", json=body, headers=OURS, base_url=HERE)


def put(client: Any, address: str, content: bytes) -> Any:
    return client.put(address, data=content, headers=OURS, base_url=HERE)


def until(met: Callable[[], Any], seconds: float = 60.0) -> Any:
    """Wait until something holds; its value."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := met():
            return found
        time.sleep(0.05)
    pytest.fail("it did not come to pass")


def ended(desk: Desk, job_id: str) -> Job:
    """The job once nothing of it is going on."""
    return until(lambda: job if (job := desk.inbox.job(job_id)).state not in OPEN else None)


def added(client: Any, desk: Desk, name: str, content: bytes, **said: Any) -> Job:
    told = announce(client, [(name, len(content))], **said).get_json()
    assert put(client, told["files"][0], content).status_code == 200
    return ended(desk, told["job"])


def test_a_log_becomes_a_ride_with_its_answer(client: Any, desk: Desk, library: Library) -> None:
    job = added(client, desk, "sunday.csv", log(1))
    assert job.state == "done", job.reason
    (one,) = job.added
    assert library.row(one.ride).files[0].name == "sunday.csv"
    assert one.status == "stored"
    assert one.answer
    assert "oolant" in one.answer
    # What is stored is not kept twice.
    assert not any(path.exists() for path in desk.inbox.files(job))


def test_the_same_log_again_is_recognised(client: Any, desk: Desk) -> None:
    first = added(client, desk, "a.csv", log(1))
    again = added(client, desk, "b.csv", log(1))
    assert [one.status for one in again.added] == ["already_stored"]
    assert again.added[0].ride == first.added[0].ride


def test_a_refusal_shows_the_importers_words_and_can_be_tried_again(client: Any, desk: Desk) -> None:
    job = added(client, desk, "note.csv", b"hello\n")
    assert job.state == "refused"
    assert job.reason is not None
    assert "no log that ridelog can read" in job.reason
    assert "What to do" in job.reason
    desk.act(job.id, "retry")
    assert ended(desk, job.id).state == "refused"
    desk.act(job.id, "dismiss")
    assert desk.listed()[0] == []


def test_a_column_that_fits_two_meanings_is_asked_about(client: Any, desk: Desk, library: Library) -> None:
    job = added(client, desk, "a.csv", log(1, speed="Speed km/h"))
    assert job.state == "asking", job.reason
    assert job.asked is not None
    assert "Speed" in job.asked.column
    assert "20" in job.asked.seen
    number = next(n for n, (_, text) in enumerate(job.asked.options) if "wheel" in text)
    desk.answer(job.id, number)
    job = ended(desk, job.id)
    assert job.state == "done", job.reason
    assert (
        "gps_speed_mps" in library.row(job.added[0].ride).channels
        or "wheel_speed_mps" in library.row(job.added[0].ride).channels
    )


def test_an_answer_nobody_offered_is_refused(client: Any, desk: Desk) -> None:
    job = added(client, desk, "a.csv", log(1, speed="Speed km/h"))
    for number in (-1, 99):
        with pytest.raises(UsageError):
            desk.answer(job.id, number)
    with pytest.raises(UsageError):
        desk.inbox.answer(job.id, "Speed=coolant_c:C")


def test_files_of_one_ride_go_together(client: Any, desk: Desk, fakes: ModuleType) -> None:
    head, *rows = log(1).decode().splitlines()
    names = head.split(",")
    engine, ground = (
        "\n".join(",".join(line.split(",")[i] for i in which) for line in (head, *rows)).encode() + b"\n"
        for which in ((0, 1, 2, 3), (0, 4))
    )
    assert names[4].startswith("GPS speed")
    told = announce(client, [("engine.csv", len(engine)), ("ground.csv", len(ground))], together=True).get_json()
    for address, content in zip(told["files"], (engine, ground), strict=True):
        assert put(client, address, content).status_code == 200
    job = ended(desk, told["job"])
    # How they lie is shown first; one job tells of both.
    assert job.state == "joining", job.reason
    assert job.title == "engine.csv + ground.csv"


def test_a_worker_that_is_killed_leaves_a_clear_state_and_a_retry(
    client: Any, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    killed = threading.Event()
    real = inbox_module.Inbox.put

    def watched(self: Inbox, job: Job) -> Job:
        done = real(self, job)
        if job.state == "working" and job.worker is not None and not killed.is_set():
            killed.set()
            os.kill(job.worker, signal.SIGKILL)
        return done

    monkeypatch.setattr(inbox_module.Inbox, "put", watched)
    job = added(client, desk, "a.csv", log(1))
    assert job.state == "stopped"
    assert job.reason == inbox_module.STOPPED
    desk.act(job.id, "retry")
    job = ended(desk, job.id)
    assert job.state == "done", job.reason
    assert job.tries == 2


def test_an_import_can_be_called_off_while_it_works(client: Any, desk: Desk, library: Library) -> None:
    content = log(1, 200_000)
    told = announce(client, [("long.csv", len(content))]).get_json()
    put(client, told["files"][0], content)
    until(lambda: desk.inbox.job(told["job"]).state == "working")
    worker = desk.inbox.job(told["job"]).worker
    desk.act(told["job"], "call_off")
    assert desk.inbox.job(told["job"]).state == "cancelled"
    until(lambda: worker is None or not Path(f"/proc/{worker}").exists() or _ended_process(worker))
    assert library.list_rides() == []
    desk.act(told["job"], "retry")
    assert ended(desk, told["job"]).state == "done"


def _ended_process(pid: int) -> bool:
    return "Z" in Path(f"/proc/{pid}/stat").read_text(encoding="ascii").split(")")[1]


def test_what_an_earlier_server_left_is_settled(library: Library) -> None:
    inbox = Inbox(library.root)
    inbox.open()
    broken = inbox.make([("a.csv", 10)], Told())
    left = inbox.make([("b.csv", 3)], Told())
    inbox.receive(left.id, 0, io.BytesIO(b"abc"), 3)
    inbox.put(replace(inbox.job(left.id), state="working", worker=1))
    again = Inbox(library.root)
    again.open()
    assert (again.job(broken.id).state, again.job(broken.id).reason) == ("stopped", BROKE_OFF)
    assert (again.job(left.id).state, again.job(left.id).reason) == ("stopped", RESTARTED)
    assert again.retry(left.id).state == "waiting"
    with pytest.raises(UsageError, match="taken up"):
        again.retry(broken.id)


def test_an_upload_that_breaks_off_leaves_nothing(library: Library) -> None:
    inbox = Inbox(library.root)
    inbox.open()
    job = inbox.make([("a.csv", 1000)], Told())
    with pytest.raises(UsageError, match="broke off"):
        inbox.receive(job.id, 0, io.BytesIO(b"x" * 400), 1000)
    assert not inbox.files(job)[0].exists()
    assert inbox.receive(job.id, 0, io.BytesIO(b"x" * 1000), 1000).state == "waiting"


def test_a_record_that_is_none_is_passed_over(library: Library) -> None:
    inbox = Inbox(library.root)
    inbox.open()
    good = inbox.make([("a.csv", 10)], Told())
    for name, text in (("0" * 16, "{"), ("1" * 16, "[]"), ("2" * 16, '{"id": 1}'), ("not-an-id", "{}")):
        folder = inbox.root / name
        folder.mkdir()
        (folder / "job.json").write_text(text, encoding="utf-8")
    assert [job.id for job in inbox.jobs()] == [good.id]


HOSTILE = (
    "../../etc/passwd", "..\\..\\boot.ini", "/abs/olute.csv", "a\x00b.csv", "<img src=x>.csv", "..", ".", "",
    "C:\\x.csv", "con\nname.csv", "x" * 5000 + ".csv", "\u540d\u524d.csv", "\u202egpj.csv", "~/.bashrc",
)  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_made_harmless(library: Library, name: str) -> None:
    inbox = Inbox(library.root)
    inbox.open()
    job = inbox.make([(name, 3)], Told())
    inbox.receive(job.id, 0, io.BytesIO(b"abc"), 3)
    (path,) = inbox.files(job)
    assert path.read_bytes() == b"abc"
    assert path.resolve().is_relative_to(inbox.root.resolve())
    assert "<" not in job.title
    assert job.title.isprintable()


def test_a_log_with_a_hostile_name_is_stored_under_a_harmless_one(client: Any, desk: Desk, library: Library) -> None:
    job = added(client, desk, "../../<img src=x onerror=alert(1)>.csv", log(2))
    assert job.state == "done", job.reason
    assert library.row(job.added[0].ride).files[0].name == "_img src=x onerror=alert(1)_.csv"


@given(st.text(max_size=300))
def test_a_safe_name_is_one_plain_part_of_a_path(name: str) -> None:
    safe = safe_name(name)
    assert safe
    assert len(safe.encode()) <= jobs.NAME_BYTES
    assert "/" not in safe
    assert "\\" not in safe
    assert safe not in {".", ".."}
    assert safe.isprintable()
    assert safe_name(safe) == safe


@pytest.mark.parametrize("name", ["CON", "nul.csv", "Com1.log", "aux .txt", "lpt9.tar.gz", "CONIN$", "prn."])
def test_no_name_is_a_device(name: str) -> None:
    # Microsoft, "Naming Files, Paths, and Namespaces": these names are reserved, with any ending. [from memory]
    stem = safe_name(name).partition(".")[0].strip()
    assert stem.lower() not in {"con", "nul", "com1", "aux", "lpt9", "conin$", "prn"}


ONE = {"name": "a", "size": 1}
NOT_OURS: tuple[Any, ...] = (
    None, [], {}, {"files": []}, {"files": ["a"]}, {"files": [{**ONE, "size": 0}]}, {"files": [{**ONE, "size": -1}]},
    {"files": [{**ONE, "size": True}]}, {"files": [{**ONE, "size": 3 * 1024**3}]}, {"files": [ONE] * 201},
    {"files": [ONE], "bike": "none such"}, {"files": [ONE], "ambient_c": 90}, {"files": [ONE], "ambient_c": "warm"},
)  # fmt: skip


@pytest.mark.parametrize("body", NOT_OURS)
def test_what_is_not_as_the_page_sends_it_is_refused_with_the_reason(client: Any, desk: Desk, body: Any) -> None:
    answer = client.post("/add", json=body, headers=OURS, base_url=HERE)
    assert answer.status_code == 400
    assert answer.get_json()["reason"]
    assert desk.listed()[0] == []


def test_a_page_of_another_origin_can_neither_announce_nor_send(client: Any, desk: Desk) -> None:
    body = json.dumps({"files": [{"name": "a.csv", "size": 3}]})
    for headers in ({}, {"Origin": "http://elsewhere.example"}, {"Origin": "null"}):
        asked = client.post("/add", data=body, content_type="application/json", headers=headers, base_url=HERE)
        assert asked.status_code == 403
    told = announce(client, [("a.csv", 3)]).get_json()
    sent = client.put(told["files"][0], data=b"abc", headers={"Origin": "http://elsewhere.example"}, base_url=HERE)
    assert sent.status_code == 403
    assert desk.inbox.job(told["job"]).state == "receiving"


@pytest.mark.parametrize(
    "address", ["/add/../../x/0", "/add/zz/0", "/add/" + "0" * 16 + "/0", "/add/" + "0" * 16 + "/7"]
)
def test_an_address_that_is_no_job_writes_nothing(client: Any, desk: Desk, address: str) -> None:
    assert put(client, address, b"abc").status_code in {400, 404, 405}
    assert list(desk.inbox.root.iterdir()) == []


def test_a_file_longer_or_shorter_than_announced_is_refused(client: Any, desk: Desk) -> None:
    told = announce(client, [("a.csv", 10)]).get_json()
    for content in (b"x" * 9, b"x" * 11):
        answer = put(client, told["files"][0], content)
        assert answer.status_code == 400
        assert "as announced" in answer.get_json()["reason"]
    assert desk.inbox.job(told["job"]).state == "receiving"


def test_a_full_disk_is_told_before_anything_is_sent(client: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    class Usage:
        free = 1000

    monkeypatch.setattr(inbox_module.shutil, "disk_usage", lambda _: Usage)
    answer = announce(client, [("a.csv", 10)])
    assert answer.status_code == 400
    assert "disk" in answer.get_json()["reason"]


def test_many_uploads_at_once_are_all_stored(client: Any, desk: Desk, library: Library) -> None:
    """Small ones here; the large ones are measured by a benchmark."""
    contents = [log(100 * n + 7, 200) for n in range(12)]

    def send(n: int) -> str:
        mine = desk_client.test_client()
        told = announce(mine, [(f"log-{n}.csv", len(contents[n]))]).get_json()
        assert put(mine, told["files"][0], contents[n]).status_code == 200
        return str(told["job"])

    desk_client = client.application
    with ThreadPoolExecutor(6) as pool:
        sent = list(pool.map(send, range(len(contents))))
    found = [ended(desk, job) for job in sent]
    assert [job.state for job in found] == ["done"] * len(contents)
    assert len({job.added[0].ride for job in found}) == len(contents)
    assert len(library.list_rides()) == len(contents)


def test_old_jobs_are_forgotten(library: Library) -> None:
    inbox = Inbox(library.root)
    inbox.open()
    old = inbox.make([("a.csv", 1)], Told())
    inbox.put(replace(old, state="refused", made_utc="2020-01-01T00:00:00.000000+00:00"))
    Inbox(library.root).open()
    assert not inbox.folder(old.id).exists()
