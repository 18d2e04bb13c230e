"""The whole path on one screen after the other: a log dropped, its answer, a closer look, a note, a case, the report
taken away and the case on paper. Nothing on the way may complain or fail."""

from __future__ import annotations

import base64
import gzip
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser.page_checks import clean, fits

import sample_logs
from dashboard.provider import LibraryProvider
from ridelog.report import tables
from ridelog.store.library import Library

pytestmark = pytest.mark.browser

SIZES = {"desk": (1400, 900, False), "phone": (390, 844, True)}
LOG = "06-more-mud.csv.gz"
BIKE = "enduro-12"
RANGE = "return document.querySelector('#stack .js-plotly-plot').layout.xaxis.range.map(Number)"
DROP = """
const [name, text] = arguments;
const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
const data = new DataTransfer();
data.items.add(new File([bytes], name));
document.body.dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true, cancelable: true}));
"""
FIELD = """[id='{"number":0,"type":"%s"}']"""


@pytest.fixture(params=SIZES)
def look(
    request: pytest.FixtureRequest,
    tmp_path: Path,
    serve_library: Callable[[Path], Iterator[str]],
    open_browser: Callable[..., Any],
) -> Iterator[Any]:
    """A browser over a library that knows the bikes and holds no ride; what is taken away lands in `tmp_path`."""
    library = Library.open(tmp_path / "library")
    library.add_bike(sample_logs.folder() / "bikes" / f"{BIKE}.bike.toml")
    serving = serve_library(library.root)
    width, height, touch = SIZES[request.param]
    found = open_browser(next(serving), width, height, touch=touch)
    taken = {"behavior": "allow", "downloadPath": str(tmp_path / "taken")}
    found.driver.execute_cdp_cmd("Browser.setDownloadBehavior", taken)
    yield found
    found.driver.quit()
    serving.close()


def into_view(look: Any, selector: str) -> Any:
    """The element, in the middle of the window."""
    one = look.wait(selector)
    look.run("arguments[0].scrollIntoView({block: 'center'})", one)
    return one


def said(look: Any, selector: str = "main") -> str:
    """What stands in an element now, read in one step: it may be drawn anew while one looks."""
    script = "const found = document.querySelector(arguments[0]); return found ? found.innerText : ''"
    return " ".join(str(look.run(script, selector)).replace("\u00a0", " ").split())


def test_from_the_dropped_log_to_the_printed_case(look: Any, tmp_path: Path) -> None:
    library = tmp_path / "library"
    # drop: the log is sent, imported and answered
    look.open("/", ".message")
    log = gzip.decompress((sample_logs.folder() / "rides" / LOG).read_bytes())
    look.run(DROP, LOG.removesuffix(".gz"), base64.b64encode(log).decode())
    look.until(lambda: not look.run("return document.getElementById('add-form').hidden"))
    look.until(lambda: look.run("return [...document.querySelectorAll('#add-bike option')].map((one) => one.value)"))
    look.press(f"#add-bike option[value='{BIKE}']")
    look.press("#add-send")
    look.wait(".job.is-done a[href^='/ride/']", 90.0)
    fits(look)
    (item,) = LibraryProvider(library).rides()
    view = LibraryProvider(library).view_of(item.id)
    answer = " ".join(tables.answer(view.analysis).replace("\u00a0", " ").split())
    assert answer in said(look, ".job.is-done")

    # answer: on the ride's page, the same words
    look.press(".job.is-done a[href^='/ride/']")
    look.wait("#stack .main-svg .trace", 60.0)
    look.wait("#map .main-svg .trace")
    assert said(look, "#answer") == answer
    if look.run("return !document.getElementById('add-panel').hidden"):
        look.press("#add-close")

    # zoom: the first flagged stretch, at finer samples
    segment = view.analysis.segments[0]
    into_view(look, "tr.stretch button").click()
    look.until(lambda: look.run(RANGE)[1] < view.analysis.ride.duration_s)
    start_s, end_s = look.run(RANGE)
    assert start_s <= segment.start_s < segment.end_s <= end_s
    look.wait("tr.stretch.chosen")

    # note: at the middle of what is seen
    into_view(look, "#note-here").click()
    look.until(lambda: look.run("return document.activeElement.tagName") == "TEXTAREA")
    look.wait(f"textarea{FIELD % 'note-text'}").send_keys("coolant at the overflow")
    into_view(look, f"button{FIELD % 'note-save'}").click()
    look.until(lambda: "counts as: coolant lost" in said(look, "#notes-said"), 60.0)
    (note,) = LibraryProvider(library).notes(item.id)
    assert start_s <= note.at_s <= end_s

    # case: opened from the ride, with what is found of it
    into_view(look, f"a[href='/open-case/{item.id}']").click()
    look.wait("#case-words").send_keys("It boils on every sand ride.")
    into_view(look, "#case-open").click()
    look.until(lambda: "Today: the same." in said(look), 90.0)
    (case,) = LibraryProvider(library).cases()
    assert look.driver.current_url.endswith(f"/cases/{case.id}")
    found = LibraryProvider(library).view_of(item.id).diagnosis
    assert found.summary[0].split("(")[0].strip() in said(look)
    fits(look)
    printed = look.driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    assert base64.b64decode(printed["data"]).startswith(b"%PDF")

    # report: back to the ride, and taken away as a file that says the same
    into_view(look, f".card a[href^='/ride/{item.id}']").click()
    look.wait("#stack .main-svg .trace", 60.0)
    into_view(look, f"a[href^='/ride/{item.id}/report.html']").click()
    report = tmp_path / "taken" / f"ride-{item.id}.html"
    look.until(report.is_file, 60.0)
    assert "coolant at the overflow" in report.read_text(encoding="utf-8")
    clean(look)
    shutil.rmtree(tmp_path / "taken")
