"""Files of one ride in a real browser: looked at, moved by keyboard, accepted; a refused log told more of; an import
whose process is killed."""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser.joined_files import devices

from ridelog.store.library import Library

pytestmark = pytest.mark.browser

DROP = """
const [files] = arguments;
const data = new DataTransfer();
for (const [name, text] of files) data.items.add(new File([text], name));
document.body.dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true}));
"""
FIND = (
    "const job = [...document.querySelectorAll('#add-jobs .is-%s')].find(one => one.innerText.includes(arguments[0]));"
)
FIELD, PLOT = "[id*='join-at']", "[id*='join-plot'] .js-plotly-plot"


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    return Library.open(tmp_path_factory.mktemp("joining") / "library")


@pytest.fixture(scope="module")
def address(library: Library, serve_library: Callable[[Path], Iterator[str]]) -> Iterator[str]:
    yield from serve_library(library.root)


@pytest.fixture(params=["desk", "phone"])
def look(address: str, open_browser: Callable[..., Any], request: pytest.FixtureRequest) -> Iterator[Any]:
    width, height, touch = (1300, 900, False) if request.param == "desk" else (390, 844, True)
    found = open_browser(address, width, height, touch=touch)
    yield found
    found.driver.quit()


def drop(look: Any, files: list[list[str]], *, together: bool = False) -> None:
    """Drop files and send them."""
    look.open("/", "main h1")
    look.run(DROP, files)
    look.until(lambda: not look.run("return document.getElementById('add-form').hidden"))
    if together:
        look.press("#add-together-row")
    look.press("#add-send")


def drawn_from(look: Any) -> float:
    """Where the moved recording begins in the picture."""
    found = look.run(f'return Array.from(document.querySelector("{PLOT}")._fullData[1].x).find(Number.isFinite)')
    return float("nan") if found is None else float(found)


def wide_enough(look: Any) -> bool:
    return bool(look.run("return document.documentElement.scrollWidth <= innerWidth"))


def clean(look: Any) -> None:
    assert look.complaints() == []
    assert look.traffic()[1] == []


def test_files_of_one_ride_are_looked_at_moved_and_accepted(look: Any, library: Library) -> None:
    seed = 10 + len(library.list_rides())
    track, engine = devices(seed, 12.5)
    drop(look, [["track.csv", track], ["engine.csv", engine]], together=True)
    look.wait(".job.is-joining a", 90.0).click()
    look.wait(PLOT)
    shown = look.text("#import-body")
    assert "Nothing is stored yet" in shown
    assert "begins 12.5 s after track.csv" in shown
    assert "any moment good to" in shown
    assert not library.list_rides() or all(row.files[0].name != "engine.csv" for row in library.list_rides(limit=1))
    assert wide_enough(look)
    look.until(lambda: abs(drawn_from(look) - 12.5) < 0.2)
    if look.run("return !document.getElementById('add-panel').hidden"):
        look.press("#add-close")
    look.picture(f"joining-{look.run('return innerWidth')}")
    # every control has a name and can be reached without a pointer
    field = look.wait(FIELD)
    assert look.run("return document.querySelector(`label[for='${arguments[0].id}']`).innerText", field)
    field.send_keys("\ue009a\ue000" + "20.25")
    look.until(lambda: abs(drawn_from(look) - 20.25) < 0.2)
    assert "did not check it" in look.text("#import-body")
    later = look.driver.find_elements("css selector", "[id*='join-step']")[3]
    assert later.accessible_name == "Move engine.csv 0.1 s later"
    later.send_keys("\n")
    look.until(lambda: look.run(f'return document.querySelector("{FIELD}").value') == "20.350")
    look.until(lambda: abs(drawn_from(look) - 20.35) < 0.2)
    # a place that can't be is refused, and what was typed stays
    look.wait(FIELD).send_keys("\ue009a\ue000" + "9000")
    look.until(lambda: abs(drawn_from(look) - 9000) < 0.2)
    look.wait("#join-accept").send_keys("\n")
    look.until(lambda: "share no moment" in look.text("#import-said"))
    assert look.run(f'return document.querySelector("{FIELD}").value') == "9000"
    look.wait(FIELD).send_keys("\ue009a\ue000" + "20,35")
    look.until(lambda: abs(drawn_from(look) - 20.35) < 0.2)
    look.wait("#join-accept").send_keys("\n")
    look.wait(".import .job.is-done a[href^='/ride/']", 90.0)
    samples = library.load(library.list_rides(limit=1)[0].id).samples
    assert float(samples.filter(samples["engine_rpm"].is_not_null())["t_s"][0]) == pytest.approx(20.35, abs=1e-6)
    clean(look)


def test_a_refused_log_says_what_can_be_done_here_and_takes_it(look: Any, library: Library) -> None:
    before = len(library.list_rides())
    rows = "".join(f"{n},{3000 + (n * 7 + before) % 700},{60 + n % 30}\n" for n in range(300))
    name = f"counts-{before}.csv"
    drop(look, [[name, f"Counts,RPM,Coolant C\n{rows}"], ["note.csv", "hello\n"]])
    find = FIND % "refused"
    assert "--" not in look.until(lambda: look.run(find + "return job && job.innerText", "note.csv"), 60.0)
    assert not look.run(find + "return job.querySelector('.reason details').open", "note.csv")
    look.until(lambda: look.run(find + "return job && job.innerText", name), 60.0)
    look.run(find + "job.querySelector('a[href^=\"/import/\"]').click()", name)
    look.wait("#more-send")
    look.run("document.getElementById('add-panel').hidden = true")
    assert wide_enough(look)
    look.wait("#more-column").send_keys("Counts")
    look.wait("#more-send").send_keys("\n")
    look.until(lambda: "was not chosen" in look.text("#import-said"))
    assert look.run("return document.getElementById('more-column').value") == "Counts"
    look.press("#more-holds")
    options = "[...document.querySelectorAll('.dash-dropdown-option, .dash-options-list-option')]"
    look.until(lambda: look.run(f"return {options}.length"))
    look.run(f"{options}.find(one => one.innerText.includes('time, seconds')).click()")
    look.wait("#more-send").send_keys("\n")
    look.wait(".import .job.is-done a[href^='/ride/']", 90.0)
    clean(look)


def test_an_import_whose_process_is_killed_says_so_and_is_tried_again(look: Any, library: Library) -> None:
    name = f"long-{len(library.list_rides())}.csv"
    rows = "".join(f"{t},{3000 + (t * 37 + len(name)) % 4000},{60 + min(t, 300) * 0.1:.1f}\n" for t in range(120_000))
    drop(look, [[name, f"Time s,RPM,Coolant C\n{rows}{len(library.list_rides()) + 120_000},3000,90\n"]])

    def worker() -> int | None:
        for path in (library.root / "inbox").glob("*/job.json"):
            told = json.loads(path.read_text(encoding="utf-8"))
            if told["state"] == "working" and told["files"][0]["name"] == name:
                return int(told["worker"])
        return None

    os.kill(look.until(worker, 60.0), signal.SIGKILL)
    found = FIND % "stopped"
    stopped = look.until(lambda: look.run(found + "return job && job.innerText", name), 30.0)
    assert "its process was stopped" in stopped
    assert "recognised and not stored twice" in stopped
    again = "[...job.querySelectorAll('button')].find(one => one.innerText === 'Try again').click()"
    look.run(found + again, name)
    look.until(lambda: look.run(FIND % "done" + "return job && job.innerText", name), 90.0)
    clean(look)
