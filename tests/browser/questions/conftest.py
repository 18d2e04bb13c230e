"""One browser and one dashboard over the demo library for all questions, and a count of the clicks to each answer."""

from __future__ import annotations

import gzip
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dashboard.provider import LibraryProvider, RideView
from ridelog.ingest import ImportOptions, import_files
from ridelog.report.sentences import shown
from ridelog.store.library import Library
from ridelog.words.causes import CAUSE_WORDS, chance

MOST_CLICKS = 2
COMPARED = "section[aria-labelledby='h-which'] ~ #answer"
"""The answer of a comparison: a ride has one too."""
LESS_LIKELY = "section[aria-labelledby='h-behind'] details.cause:last-of-type > summary"
"""Behind it are the causes that are less likely."""
TOP = {"ride": "#asked-minute", "review": "section[aria-labelledby='h-after-work']"}
"""What is there once the page of a ride, or of the review, is."""

_AGAIN = """
document.querySelectorAll("details.asked[open], details.cause:last-of-type[open]").forEach((one) => one.open = false);
"""


def plain(text: str) -> str:
    """White space single, no matter of which kind."""
    return " ".join(text.replace("\u00a0", " ").split())


def told(text: str) -> str:
    """A sentence of the analysis as a page shows it, white space single."""
    return plain(shown(text))


def odds(view: Any, cause: str) -> str:
    """How likely a cause is, in the words of the page."""
    return chance(next(one.probability for one in view.diagnosis.ranked if one.cause == cause))


def listed(asker: Any, view: Any, cause: str) -> bool:
    """Whether the card of causes says how likely this one is."""
    name = CAUSE_WORDS[cause]
    text = asker.card("behind")
    return any(plain(f"{name[:1].upper()}{name[1:]}{gap}{odds(view, cause)}") in text for gap in (" ", ": "))


@dataclass
class Asker:
    """Somebody who begins at a ride or at the review and may click twice. `rides`: the demo's own names to ids."""

    look: Any
    provider: LibraryProvider
    rides: dict[str, str]
    clicks: int = 0
    at: str = field(default="", repr=False)

    def ride(self, name: str) -> RideView:
        """Begin at a ride; what the library makes of it."""
        ride = self.rides[name]
        self._begin(f"/ride/{ride}", TOP["ride"])
        return self.provider.view_of(ride)

    def review(self) -> None:
        """Begin at the review."""
        self._begin("/review", TOP["review"])

    def _begin(self, path: str, until: str) -> None:
        self.clicks = 0
        if self.look.driver.current_url != self.look.base + path:
            self.look.driver.get(self.look.base + path)
            self.look.wait(until, 120.0)  # the first page of a busy machine takes its time
        self.look.run(_AGAIN)

    def click(self, selector: str, until: str | None = None) -> None:
        """One click on what is seen, as a reader does it."""
        self.clicks += 1
        assert self.clicks <= MOST_CLICKS, f"{selector} takes click number {self.clicks}"
        element = self.look.wait(selector)
        self.look.run("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()
        if until is not None:
            self.look.wait(until, 60.0)

    def open(self, question: str) -> str:
        """Open one of the ride's questions; what it answers."""
        self.click(f"#asked-{question} > summary")
        self.look.until(lambda: self.look.run(f"return document.querySelector('#asked-{question}').open"))
        return plain(str(self.look.run(f"return document.querySelector('#asked-{question} > div').innerText")))

    def follow(self, href: str, until: str) -> None:
        """Follow a link to another page of the dashboard."""
        self.click(f"main a[href='{href}']", until)

    def card(self, name: str) -> str:
        """The words of a card as they are seen."""
        return plain(self.look.wait(f"section[aria-labelledby='h-{name}']").text)

    def rows(self, within: str) -> list[list[str]]:
        """The cells of every row of the tables in an element, as they are seen."""
        script = """
        return [...document.querySelectorAll(arguments[0] + " tbody tr")].map(
            (row) => [...row.children].map((cell) => cell.innerText));
        """
        return [[plain(cell) for cell in row] for row in self.look.run(script, within)]

    def fetched(self, selector: str) -> bytes:
        """What a link gives that is downloaded; a click of its own."""
        self.clicks += 1
        assert self.clicks <= MOST_CLICKS
        self.look.wait(selector)
        script = """
        const done = arguments[arguments.length - 1];
        fetch(document.querySelector(arguments[0]).href).then((one) => one.arrayBuffer()).then(
            (held) => done([...new Uint8Array(held)]), (why) => done(String(why)));
        """
        return bytes(self.look.driver.execute_async_script(script, selector))


@pytest.fixture(scope="session")
def question_library(demo_library: Any, repository: Path, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A copy of the demo library with one more ride, logged by two coolant sensors that drift apart."""
    root = tmp_path_factory.mktemp("questions") / "library"
    shutil.copytree(demo_library.folder, root)
    library = Library.open(root)
    log = tmp_path_factory.mktemp("two-sensors") / "two-sensors.csv"
    log.write_text(_two_sensors(repository / "sample_logs" / "rides" / "04-clean-radiators.tsv.gz"))
    bike = library.bike("enduro-12")
    options = ImportOptions(
        bike=bike, bike_id=bike.id, ambient_c=29.0, start=datetime(2026, 11, 9, 13, 30, tzinfo=UTC), timezone="UTC"
    )
    (outcome,) = import_files(library, [log], options)
    assert outcome.ride_id is not None, outcome.reason
    return root, {**demo_library.built.rides, "two-sensors": outcome.ride_id}


def _two_sensors(source: Path) -> str:
    """The sample log with a second coolant sensor that reads 4 C more."""
    head, *lines = gzip.decompress(source.read_bytes()).decode().splitlines()
    names = head.split("\t")
    at = next(n for n, name in enumerate(names) if "oolant" in name)
    made = ["\t".join([*names, "Coolant temp 2 [C]"])]
    for line in lines:
        cells = line.split("\t")
        made.append("\t".join([*cells, f"{float(cells[at]) + 4.0:g}" if cells[at] else ""]))
    return "\n".join(made) + "\n"


@pytest.fixture(scope="session")
def asker(
    question_library: Any, open_browser: Callable[..., Any], serve_library: Callable[[Path], Iterator[str]]
) -> Iterator[Asker]:
    root, rides = question_library
    serving = serve_library(root)
    look = open_browser(next(serving), 1400, 900, touch=False)
    look.driver.set_script_timeout(60)
    yield Asker(look, LibraryProvider(root), rides)
    look.driver.quit()
    serving.close()
