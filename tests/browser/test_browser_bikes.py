"""Bikes and advice sheets in a browser: what a change would make of rides is seen before anything is saved."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser.page_checks import clean, fits

from dashboard import texts
from dashboard.provider import LibraryProvider
from ridelog.report.sentences import shown

pytestmark = pytest.mark.browser

SIZES = {"desk": (1400, 900, False), "phone": (390, 844, True)}
BIKE = "enduro-12"
# typing a whole file key by key would take a minute: its text is put in as by pasting
PASTE = """
const [box, text] = arguments;
Object.getOwnPropertyDescriptor(HTMLTextAreaElement.prototype, "value").set.call(box, text);
box.dispatchEvent(new Event("input", {bubbles: true}));
"""


@pytest.fixture(scope="module")
def library(sample_library: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the sample library: these tests save into it."""
    root = tmp_path_factory.mktemp("bikes") / "library"
    shutil.copytree(sample_library, root)
    return root


@pytest.fixture(scope="module")
def base(library: Path, serve_library: Callable[[Path], Iterator[str]]) -> Iterator[str]:
    yield from serve_library(library)


@pytest.fixture(params=SIZES)
def look(base: str, open_browser: Callable[..., Any], request: pytest.FixtureRequest) -> Iterator[Any]:
    width, height, touch = SIZES[request.param]
    found = open_browser(base, width, height, touch=touch)
    yield found
    found.driver.quit()


def plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


def test_a_change_is_seen_before_it_is_saved(look: Any, library: Path) -> None:
    provider = LibraryProvider(library)
    before = provider.profile_text("bike", BIKE)
    look.open("/bikes", "main .plain")
    look.press(f"a[href='/bikes/{BIKE}']")
    box = look.wait("textarea.file")
    assert box.get_attribute("value") == before
    # what is wrong is said at once, and can't be saved
    look.run(PASTE, box, before.replace("[mass]", "[mass"))
    look.until(lambda: not look.wait("#profile-save").is_enabled())
    assert "line" in look.text("#profile-said")
    # a lower threshold: which rides would be told otherwise
    lower = before.replace("105", "98")
    assert lower != before
    look.run(PASTE, box, lower)
    look.until(lambda: look.wait("#profile-look").is_enabled())
    look.until(lambda: look.text("#profile-said") == texts.EDIT_VALID)
    look.press("#profile-look")
    look.wait("#profile-flips h2", 90.0)
    found = provider.flips("bike", lower)
    assert found.flips
    told = look.text("#profile-flips")
    assert plain(texts.flips_head(found.looked, found.left, len(found.flips))) in told
    for flip in found.flips:
        assert all(plain(shown(sentence)) in told for sentence in flip.said)
    fits(look)
    look.full_picture(f"flips-{look.run('return innerWidth')}")
    assert LibraryProvider(library).profile_text("bike", BIKE) == before, "looking ahead saves nothing"
    clean(look)


def test_what_is_saved_can_be_taken_back(look: Any, library: Path) -> None:
    before = LibraryProvider(library).profile_text("bike", BIKE)
    look.open(f"/bikes/{BIKE}", "textarea.file")
    changed = f"{before.rstrip()}\n# looked at on a screen {look.run('return innerWidth')} px wide\n"
    look.run(PASTE, look.wait("textarea.file"), changed)
    look.until(lambda: look.text("#profile-said") == texts.EDIT_VALID)
    save = look.wait("#profile-save")
    look.run("arguments[0].scrollIntoView({block: 'center'})", save)
    save.click()
    look.until(lambda: look.text("#profile-said") == texts.EDIT_SAVED)
    assert LibraryProvider(library).profile_text("bike", BIKE) == changed
    look.open(f"/bikes/{BIKE}", "textarea.file")
    earlier = look.wait("[aria-labelledby='h-history'] details")
    look.run("arguments[0].open = true; arguments[0].scrollIntoView({block: 'center'})", earlier)
    earlier.find_element("css selector", "button").click()
    look.until(lambda: look.wait("textarea.file").get_attribute("value") == before)
    assert LibraryProvider(library).profile_text("bike", BIKE) == changed, "only put there, not saved"
    clean(look)
