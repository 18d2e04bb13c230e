"""The customer's page: in his units, without blame, whole with and without coolant, safe with hostile texts."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from types import ModuleType
from typing import Any
from xml.etree.ElementTree import fromstring

import numpy as np
import pytest

from ridelog.diagnose import Diagnosis, diagnose
from ridelog.errors import UsageError
from ridelog.figures.glance import glance
from ridelog.figures.series import RideLines
from ridelog.report import customer, render
from ridelog.results import Analysis
from ridelog.study import Known, Study, study
from ridelog.words import customer as words
from ridelog.words.causes import CAUSE_WORDS
from ridelog.words.cautions import CAUTIONS
from ridelog.words.display import IMPERIAL, METRIC

ATTACK = "</style></svg><script>alert(1)</script>\"'>"
BLAME = re.compile(
    r"\b(fault of the rider|should have|failed to|ignored|negligen\w*|careless\w*|misuse\w*|abuse\w*|your mistake|"
    r"disobey\w*|refus\w*|forgot\w*)\b",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def done(fakes: ModuleType) -> Study:
    view = fakes.make_view()
    return study(view.ride, Known(view.bike, view.advice))


@pytest.fixture(scope="module")
def said(done: Study) -> Diagnosis:
    return diagnose(done)


def page_of(done: Study, said: Diagnosis, *, units: str = "metric", annex: bool = False) -> str:
    found = done.found
    return render(found.analysis, found.traces, done.ride, done.known.bike, units=units, diagnosis=said, annex=annex)


class Words(HTMLParser):
    """The words of a page without its styles."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text = ""
        self.scripts = 0
        self._quiet = False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: Any) -> None:  # noqa: ARG002 - the parser calls it so
        self._quiet = tag in {"style", "script"}
        self.scripts += tag == "script"

    def handle_endtag(self, tag: str) -> None:  # noqa: ARG002
        self._quiet = False

    def handle_data(self, data: str) -> None:
        if not self._quiet:
            self.text += data + " "


def test_it_says_what_happened_where_why_and_what_next(done: Study, said: Diagnosis) -> None:
    text = Words(page_of(done, said)).text
    page = customer.page(done.found.analysis, RideLines(done.ride, done.found.traces), said, METRIC)
    for needed in (page.headline, *page.happened, *page.why, page.advice, *page.steps, page.where):
        assert needed in text
    assert page.steps
    assert page.places
    for short, _ in CAUTIONS:
        assert short in text
    assert done.ride.id in text
    assert done.ride.sources[0].sha256[:12] in text


def test_the_page_alone_is_small_and_runs_no_script(done: Study, said: Diagnosis) -> None:
    html = page_of(done, said)
    assert len(html) < 100_000
    assert Words(html).scripts == 0
    assert "script-src 'none'" in unescape(html)


def test_with_the_annex_the_page_comes_first(done: Study, said: Diagnosis) -> None:
    html = page_of(done, said, annex=True)
    assert html.index(words.TITLE_NEXT) < html.index(words.TITLE_ANNEX) < html.index("What the figures rest on")
    assert html.count("<h2>Take care</h2>") == 1


def test_a_page_without_a_diagnosis_is_refused(done: Study) -> None:
    found = done.found
    with pytest.raises(UsageError, match="diagnosis"):
        render(found.analysis, found.traces, done.ride, done.known.bike, annex=False)


def test_every_temperature_and_speed_is_in_the_units_chosen(done: Study, said: Diagnosis) -> None:
    analysis = done.found.analysis
    text = Words(page_of(done, said, units="imperial")).text
    assert "°C" not in text
    assert "km" not in re.findall(r"\b(km|mi)\b", text)
    top = words.seen_rows(analysis)[-1]
    assert IMPERIAL.peak_text(top.peak_c) in text
    assert "°F" not in Words(page_of(done, said)).text


def test_no_sentence_blames_anybody(done: Study, said: Diagnosis) -> None:
    for answer in ("yes", "no", "unknown", "not_advised"):
        text = Words(page_of(done, replace(said, advice_followed=answer))).text
        assert not BLAME.search(text)
        assert words.ADVICE[answer] in text
    for cause in CAUSE_WORDS:
        first = replace(said.ranked[0], cause=cause, probability=0.8)
        told = replace(said, conclusion=cause, ranked=(first, *said.ranked[1:]))
        assert not BLAME.search(" ".join(words.why(done.found.analysis, told)))


def test_seconds_of_the_places_are_those_of_the_threshold(done: Study) -> None:
    analysis, traces = done.found.analysis, done.found.traces
    places = customer.hot_places(analysis, done.ride, traces, METRIC)
    row = words.place_row(analysis)
    assert row is not None
    assert sum(one.hot_s for one in places) == pytest.approx(row.observed_s, abs=1e-6), "one source for both"
    assert [one.start_s for one in places] == sorted(one.start_s for one in places)


def test_without_coolant_nothing_hot_is_claimed(fakes: ModuleType) -> None:
    view = fakes.make_view(channels={"engine_rpm", "throttle_pct", "gps_speed_mps", "lat_deg", "lon_deg"})
    done = study(view.ride, Known(view.bike, view.advice))
    text = Words(page_of(done, diagnose(done))).text
    assert words.NOT_LOGGED in text
    assert words.PLACES_NOT_KNOWN in text
    assert words.NO_HOT_PLACE not in text
    assert "No reason can be told from this log" in text


def test_a_bike_without_a_fault_is_told_so_with_the_odds_of_that(done: Study, said: Diagnosis) -> None:
    """What the ground asks for may be the likeliest cause with five in ten while hardly any fault is left."""
    found = {"terrain_load": 0.5, "hot_conditions": 0.3, "normal": 0.12, "fan_fault": 0.08}
    ranked = tuple(
        replace(one, probability=found.get(one.cause, 0.0), holds=found.get(one.cause, 0.0))
        for one in sorted(said.ranked, key=lambda one: -found.get(one.cause, 0.0))
    )
    told = words.why(done.found.analysis, replace(said, conclusion="terrain_load", second_cause=None, ranked=ranked))
    assert told == [
        "No fault of the bike shows (about 9 in 10).",
        "Most likely: the terrain asks for it (about 5 in 10).",
    ]


def test_hostile_names_stay_text(done: Study, said: Diagnosis) -> None:
    analysis = done.found.analysis
    hostile = replace(
        analysis,
        exposure=tuple(replace(row, name=ATTACK) for row in analysis.exposure),
        ride=replace(analysis.ride, bike=ATTACK),
    )
    source = replace(done.ride.sources[0], name=ATTACK)
    ride = replace(done.ride, bike=ATTACK, sources=(source,))
    html = render(hostile, done.found.traces, ride, done.known.bike, diagnosis=said, annex=False)
    assert "<script" not in html
    assert "</style></svg>" not in html


def drawn(analysis: Analysis, lines: RideLines) -> Any:
    return fromstring(glance(analysis, lines))  # noqa: S314 - our own text


def test_the_drawing_is_well_formed_and_holds_every_stretch(done: Study) -> None:
    analysis, lines = done.found.analysis, RideLines(done.ride, done.found.traces)
    svg = drawn(analysis, lines)
    titles = svg.findall(".//{http://www.w3.org/2000/svg}title")
    assert len(titles) == len(analysis.segments)
    assert "nan" not in glance(analysis, lines)


def test_the_drawing_bridges_no_hole(done: Study) -> None:
    """A trace over a hole of the log is drawn in pieces."""
    lines = RideLines(done.ride, done.found.traces)
    svg = drawn(done.found.analysis, lines)
    trace = max((p.get("d", "") for p in svg.iter() if p.get("fill") == "none" and p.get("d")), key=len)
    assert trace.count("M") >= 1 + len(done.found.analysis.ride.gaps)


def test_labels_of_close_thresholds_do_not_touch(done: Study) -> None:
    analysis = done.found.analysis
    levels = (104.0, 105.0, 105.5, 106.0)
    close = replace(analysis, exposure=tuple(replace(analysis.exposure[0], threshold_c=level) for level in levels))
    svg = drawn(close, RideLines(done.ride, done.found.traces))
    label = analysis.exposure[0].name[:10]
    heights = sorted(float(t.get("y")) for t in svg.iter() if t.text and t.text.startswith(label))
    assert len(heights) == len(levels)
    assert np.diff(heights).min() >= 11.0
