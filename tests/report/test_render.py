"""The one-file report: complete, closed to the network, and safe whatever a log or a name holds."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser
from types import ModuleType
from typing import Any

import pytest

from ridelog.errors import UsageError
from ridelog.report import render
from ridelog.report.sentences import shown
from ridelog.ride import Note, SourceFile
from ridelog.words.cautions import CAUTIONS
from ridelog.words.display import NBSP

ATTACK = "</script><script>alert(1)</script><img src=x onerror=alert(2)>\"'>"


class Page(HTMLParser):
    """Elements, attributes and text of a report, as a browser's parser would see them."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.scripts: list[str] = []
        self._inside: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in {"script", "style"}:
            self._inside.append(tag)
            if tag == "script":
                self.scripts.append("")

    def handle_endtag(self, tag: str) -> None:
        if self._inside and self._inside[-1] == tag:
            self._inside.pop()

    def handle_data(self, data: str) -> None:
        if not self._inside:
            self.words.append(data)
        elif self._inside[-1] == "script":
            self.scripts[-1] += data

    @property
    def text(self) -> str:
        """All words of the page, white space single."""
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    return fakes.make_view()


@pytest.fixture(scope="module")
def html(view: Any) -> str:
    return render(view.analysis, view.traces, view.ride, view.bike, advice=view.advice)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return Page(html)


def hostile(view: Any) -> str:
    """A report in which everything a user or a log can name is an attack."""
    analysis, ride = view.analysis, view.ride
    analysis = replace(
        analysis,
        ride=replace(analysis.ride, id=ATTACK, bike=ATTACK, timezone=ATTACK),
        basis=replace(
            analysis.basis,
            files=(replace(analysis.basis.files[0], name=ATTACK),),
            advice_version=ATTACK,
            defaults_used=(ATTACK,),
        ),
        quality=(replace(analysis.quality[0], channel=f"raw.{ATTACK}", kind=ATTACK, detail=ATTACK),),
        segments=(replace(analysis.segments[0], reason=ATTACK), *analysis.segments[1:]),
        exposure=(replace(analysis.exposure[0], name=ATTACK), *analysis.exposure[1:]),
        summary=(ATTACK, ATTACK),
        cannot_tell=(replace(analysis.cannot_tell[0], question=ATTACK, reason=ATTACK),),
    )
    ride = replace(
        ride,
        id=ATTACK,
        bike=ATTACK,
        timezone=ATTACK,
        sources=(SourceFile(ATTACK, "0" * 64, 1, ATTACK),),
        notes=(Note(ATTACK, ATTACK, 1, ATTACK),),
    )
    bike = replace(view.bike, id=ATTACK, thresholds=((ATTACK, 95.0),))
    return render(analysis, view.traces, ride, bike, advice=view.advice)


def test_nothing_in_the_page_points_to_another_host(page: Page) -> None:
    pointing = {"src", "href", "action", "data", "poster", "srcset", "formaction", "background", "xlink:href"}
    for tag, attributes in page.elements:
        assert not pointing.intersection(attributes), (tag, attributes)
    assert {tag for tag, _ in page.elements}.isdisjoint({"link", "iframe", "object", "embed", "form", "base"})


def test_own_style_and_script_name_no_address(html: str) -> None:
    style = html[html.index("<style>") : html.index("</style>")]
    own = Page(html).scripts[-1]
    figures = Page(html).scripts[0]
    for text in (style, own, figures):
        assert "http://" not in text
        assert "https://" not in text
        assert "url(" not in text
        assert "@import" not in text


def test_policy_lets_only_the_scripts_of_the_file_run(page: Page) -> None:
    policies = [a["content"] for tag, a in page.elements if tag == "meta" and a.get("http-equiv")]
    assert len(policies) == 1
    policy = policies[0] or ""
    assert policy.startswith("default-src 'none'")
    hashes = {
        f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'" for script in page.scripts[1:]
    }
    script_rule = next(rule for rule in policy.split("; ") if rule.startswith("script-src"))
    assert set(script_rule.split()[1:]) == hashes
    assert "unsafe-eval" not in policy
    assert len(page.scripts) == 3


def test_the_answer_stands_first(view: Any, page: Page) -> None:
    assert page.text.index(shown(view.analysis.summary[0]).replace("\u00a0", " ")) < page.text.index("Peak coolant")


def test_every_stretch_every_threshold_and_every_doubt_is_there(view: Any, page: Page) -> None:
    for segment in view.analysis.segments:
        whole = int(segment.start_s)
        assert f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}" in page.text
    for words in ("● followed", "◐ switched late", "○ not switched", "? can't tell", "0.27 (0.22 to 0.33)"):
        assert words in page.text
    for row in view.analysis.exposure:
        assert f"{row.threshold_c:.0f} °C ({row.name})" in page.text
    assert "2 min 40 s to 4 min 04 s" in page.text
    assert "Did the wheel spin or the clutch slip?" in page.text
    assert "The coolant column says F and was turned into C (2,880 rows) for example 212 became 100." in page.text
    assert "130 °C for 2 s between 92 and 93 °C" in page.text


def test_figures_come_with_what_they_cover(page: Page) -> None:
    for words in (
        "coolant known for 96 % of the ride",
        "the sensor allows",
        "map not known for 1 min 30 s",
        "2 min 00 s without data",
    ):
        assert words in page.text


def test_the_basis_is_named(view: Any, page: Page) -> None:
    basis = view.analysis.basis
    for words in (basis.version, basis.settings_hash[:12], basis.files[0].sha256[:12], "mass.total_kg", "built-in"):
        assert words in page.text
    assert basis.files[0].sha256 not in page.text


def test_file_names_stand_in_the_basis_only(page: Page) -> None:
    assert page.text.count("sunday loop.csv") == 1
    assert page.text.index("What the figures rest on") < page.text.index("sunday loop.csv")


def test_all_cautions_are_there(page: Page) -> None:
    for short, long in CAUTIONS:
        assert short in page.text
        assert " ".join(long.split()) in page.text


def test_hostile_text_stays_text(view: Any, page: Page) -> None:
    found = Page(hostile(view))
    assert len(found.scripts) == len(page.scripts)
    assert found.scripts[1:] == page.scripts[1:]
    assert [tag for tag, _ in found.elements if tag in {"img", "iframe", "a"}] == []
    assert not any(name.startswith("on") for _, attributes in found.elements for name in attributes)
    assert found.text.count("alert(1)") >= 10


def test_figures_end_no_element_and_hold_no_nan(view: Any, html: str) -> None:
    import json

    data = Page(html).scripts[0]
    assert "<" not in data
    assert "<" not in Page(hostile(view)).scripts[0]

    def refuse(word: str) -> None:
        raise AssertionError(word)

    found = json.loads(data, parse_constant=refuse)
    assert {"stack", "map", "config"} == set(found)


def test_positions_do_not_leave_with_the_report(html: str) -> None:
    figures = Page(html).scripts[0]
    assert not re.search(r"\b41\.0\d", figures)
    assert "lat" not in figures.replace("flat", "").replace("template", "").replace("latform", "")


def test_imperial_figures_say_so(view: Any) -> None:
    text = Page(render(view.analysis, view.traces, view.ride, view.bike, units="imperial")).text
    assert "221 °F (hot)" in text
    assert "17 mph" in text
    assert "Sentences quote temperatures in °C" in text


def test_unknown_units_are_refused(view: Any) -> None:
    with pytest.raises(UsageError, match="not known"):
        render(view.analysis, view.traces, view.ride, view.bike, units="parsecs")


def test_a_poor_log_still_makes_a_report(fakes: ModuleType) -> None:
    poor = fakes.make_view(600.0, gap=False, channels={"engine_rpm"})
    analysis = replace(poor.analysis, segments=(), exposure=(), boiling=None, quality=(), summary=())
    text = Page(render(analysis, poor.traces, replace(poor.ride, notes=(), start_utc=None, bike=None), None)).text
    assert "too little to tell how hot the engine ran" in text
    assert "Not logged: no coolant, no map switch, no throttle, no speed, no position." in text
    assert "Coolant was not logged" in text
    assert "No stretch of this ride met a rule" in text
    assert "read as it stands" in text
    assert "day not known" in text


def test_a_rate_in_degrees_carries_its_sign_on_a_page_wherever_it_stands() -> None:
    assert shown("C a minute") == "°C a minute"
    assert shown("First, C a minute") == f"First,{NBSP}°C a minute"
    assert shown("+6.3 C a minute") == f"+6.3{NBSP}°C a minute"
    assert shown("fault C and a minute") == "fault C and a minute"
