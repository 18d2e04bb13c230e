"""Adding a log in a real browser: dropped on the page, sent, imported, its answer read, its question answered."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from ridelog.store.library import Library

pytestmark = pytest.mark.browser

DROP = """
const [files] = arguments;
const data = new DataTransfer();
for (const [name, text] of files) data.items.add(new File([text], name));
document.body.dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true}));
"""


def log(number: int, speed: str = "GPS speed km/h") -> str:
    rows = (
        f"{t},{3000 + (t * 37 + number) % 4000},{60 + min(t, 400) * 0.1:.1f},{t % 90},{20 + t % 30}" for t in range(500)
    )
    return "\n".join([f"Time s,RPM,Coolant C,Throttle %,{speed}", *rows]) + "\n"


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    return Library.open(tmp_path_factory.mktemp("adding") / "library")


@pytest.fixture(scope="module")
def address(library: Library, serve_library: Callable[[Path], Iterator[str]]) -> Iterator[str]:
    yield from serve_library(library.root)


@pytest.fixture(params=["desk", "phone"])
def look(address: str, open_browser: Callable[..., Any], request: pytest.FixtureRequest) -> Iterator[Any]:
    width, height, touch = (1300, 900, False) if request.param == "desk" else (390, 844, True)
    found = open_browser(address, width, height, touch=touch)
    yield found
    found.driver.quit()


def clean(look: Any) -> None:
    asked, failed = look.traffic()
    assert look.complaints() == []
    assert failed == []
    here = urlsplit(look.base).netloc
    assert {urlsplit(one).netloc for one in asked if not one.startswith(("data:", "blob:", "about:"))} == {here}


FIND = "const job = [...document.querySelectorAll('.job.is-%s')].find(one => one.innerText.includes(arguments[0]));"


def job(look: Any, state: str, name: str) -> str | None:
    """The words of the job of a file in a state; None where it is not in it."""
    return look.run(FIND % state + "return job ? job.innerText : null", name)


def press(look: Any, state: str, name: str, selector: str) -> None:
    """Press something in the job of a file."""
    look.run(FIND % state + "job.querySelector(arguments[1]).click()", name, selector)


def test_a_dropped_log_gives_its_answer_and_its_page(look: Any, library: Library) -> None:
    number = len(library.list_rides()) + 1
    name = f"ride-{number}.csv"
    look.open("/", "main h1")
    look.run(DROP, [[name, log(number)]])
    look.until(lambda: not look.run("return document.getElementById('add-form').hidden"))
    assert name in look.text("#add-chosen")
    look.press("#add-send")
    told = look.until(lambda: job(look, "done", name), 60.0)
    assert "oolant" in told
    look.picture(f"added-{look.run('return innerWidth')}")
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")
    press(look, "done", name, "a[href^='/ride/']")
    look.wait("#answer", 60.0)
    clean(look)


def test_a_question_is_answered_on_the_page(look: Any, library: Library) -> None:
    before = {row.id for row in library.list_rides()}
    number = 100 + len(before)
    asks, no_log = f"two-ways-{number}.csv", f"no-log-{number}.csv"
    look.open("/", "main h1")
    look.run(DROP, [[asks, log(number, "Speed km/h")], [no_log, "hello\n"]])
    look.until(lambda: not look.run("return document.getElementById('add-form').hidden"))
    look.press("#add-send")
    told = look.until(lambda: job(look, "refused", no_log), 60.0)
    assert "no log that ridelog can read" in told
    assert "Speed" in look.until(lambda: job(look, "asking", asks), 60.0)
    look.picture(f"asked-{look.run('return innerWidth')}")
    press(look, "asking", asks, ".answers button")
    look.until(lambda: job(look, "done", asks), 60.0)
    assert {row.id for row in library.list_rides()} - before
    assert all(Path(file.name).name == file.name for row in library.list_rides() for file in row.files)
    clean(look)
