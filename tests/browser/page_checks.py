"""What is true of every page whatever it shows: a quiet console, no failed request, nothing from elsewhere, nothing
that keeps a reader out."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

AXE = "4.14.1"
AXE_SHA256 = "29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c"
"""The rules engine for the web content accessibility guidelines, by the hash of its file: a test dependency that is
fetched, never kept here."""

WEIGHTY = ("serious", "critical")
NPM_SECONDS = 90
SHIFT = 0.1
"""Of the window's area times the way moved; browsers call so much good (layout instability, cumulative score)."""

_RUN = """
const [only, done] = arguments;
const asked = {resultTypes: ["violations"], ...(only.length ? {runOnly: {type: "rule", values: only}} : {})};
axe.run(document, asked).then((found) => done(found.violations), (why) => done(String(why)));
"""


def clean(look: Any, *, status: int | None = None) -> None:
    """No word on the console, no failed request, and no request to another host. `status`: the one error that the
    document itself was answered with."""
    asked, failed = look.traffic()
    told = look.complaints()
    if status is not None:
        here = look.driver.current_url
        assert failed == [f"{status} {here}"]
        assert [f"status of {status}" in one for one in told] == [True]
    else:
        assert told == []
        assert failed == []
    hosts = {urlsplit(address).netloc for address in asked if not address.startswith(("data:", "blob:", "about:"))}
    assert hosts <= {urlsplit(look.base).netloc}


def fits(look: Any) -> None:
    """The page is no wider than the screen: what is wider scrolls in a box of its own."""
    wide = look.run(
        """
        const inner = [...document.querySelectorAll("main *, header *")].filter((one) => {
            if (one.closest(".scroll, pre, .js-plotly-plot, textarea, .hidden, .skip")) return false;
            const box = one.getBoundingClientRect();
            return box.width > 0 && (box.right > innerWidth + 1 || box.left < -1);
        });
        return inner.map((one) => `${one.tagName}.${one.className}: ${one.innerText.slice(0, 40)}`);
        """
    )
    assert wide == []
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")


def watch_shifts(look: Any) -> None:
    """Have every page that is opened from now on count how far what is seen moves by itself."""
    source = """
    window.shifts = [];
    new PerformanceObserver((list) => {
        for (const one of list.getEntries()) {
            const moved = one.sources.map(({node}) => node && (node.id || node.className || node.nodeName));
            if (!one.hadRecentInput) window.shifts.push([one.value, String(moved)]);
        }
    }).observe({type: "layout-shift", buffered: true});
    """
    look.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": source})


def steady(look: Any) -> None:
    """What is seen stays where it is while the rest arrives: the sum of the browser's own scores of shifts."""
    shifts = look.run("return window.shifts")
    assert sum(score for score, _ in shifts) <= SHIFT, shifts


def headings(look: Any) -> None:
    """One title, and no level of headings is left out on the way down."""
    levels = look.run("return [...document.querySelectorAll('main :is(h1, h2, h3, h4)')].map((one) => +one.tagName[1])")
    assert levels[:1] == [1]
    assert levels.count(1) == 1
    assert all(later - before <= 1 for before, later in pairwise(levels)), levels


def reachable(look: Any, rules: str, only: tuple[str, ...] = ()) -> None:
    """No serious and no critical violation, of `only` these rules where named. The rules are put in by the driver,
    which the page's own policy on scripts does not bind; the page is served with the policy it always has."""
    look.run(rules)
    found = look.driver.execute_async_script(_RUN, list(only))
    assert isinstance(found, list), found
    told = [
        f"{one['impact']} {one['id']}: {node['target']} {node['html'][:160]}"
        for one in found
        if one["impact"] in WEIGHTY
        for node in one["nodes"]
    ]
    assert told == []


def axe_source() -> str:
    """The engine's text, fetched once by npm into the user's cache; skips, with its reason, where it can't be had."""
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("npm is not on this machine, so the rules for accessible pages can't be fetched (Debian: npm)")
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "ridelog-tests" / f"axe-core-{AXE}"
    if not cache.is_dir():
        _fetch(npm, cache)
    source = (cache / "node_modules" / "axe-core" / "axe.min.js").read_bytes()
    found = hashlib.sha256(source).hexdigest()
    if found != AXE_SHA256:
        pytest.fail(f"axe-core {AXE} in {cache} is not the file these tests were written with: {found}")
    return source.decode()


def _fetch(npm: str, cache: Path) -> None:
    cache.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=cache.parent) as folder:
        command = [npm, "install", "--no-save", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix", folder,
                   f"axe-core@{AXE}"]  # fmt: skip
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=NPM_SECONDS, check=False)
            said = done.stderr.strip()[-300:]
            failed = done.returncode != 0
        except subprocess.TimeoutExpired:
            said, failed = f"no answer within {NPM_SECONDS} s", True
        if failed:
            told = f"npm could not fetch axe-core {AXE}: {said}"
            if os.environ.get("RIDELOG_REQUIRE_BROWSER"):
                pytest.fail(told)
            pytest.skip(told)
        try:
            Path(folder).rename(cache)
        except OSError:
            if not cache.is_dir():  # another run was first
                raise
