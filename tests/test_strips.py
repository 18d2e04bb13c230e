"""The strips of many rides: what they hold is what the analysis says; kept, and made anew where that changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from xml.etree.ElementTree import fromstring

import pytest

import sample_logs
from ridelog import strips
from ridelog.figures.strip import WIDTH, strip_svg
from ridelog.ingest import ImportOptions, import_files
from ridelog.store.library import Library
from ridelog.study import known_of, study

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    source = sample_logs.folder()
    found = Library.open(tmp_path_factory.mktemp("strips") / "library")
    bike = found.add_bike(source / "bikes" / "enduro-07.bike.toml")
    start = datetime(2026, 5, 10, 9, 40, tzinfo=UTC)
    options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=33.0, start=start)
    (outcome,) = import_files(found, [source / "rides" / "02-switched-in-time.csv.gz"], options)
    assert outcome.status == "stored", outcome.reason
    return found


def test_a_strip_holds_what_the_analysis_says(library: Library) -> None:
    (strip,), failed = strips.strips(library, library.list_rides())
    assert failed == []
    row = library.list_rides()[0]
    analysis = study(library.load(row.id), known_of(library, row)).found.analysis
    assert [(one.start_s, one.kind, one.verdict) for one in strip.stretches] == [
        (one.start_s, one.kind, one.verdict) for one in analysis.segments
    ]
    assert strip.share == analysis.adherence.share
    seconds = sum(end - start for start, end in (*strip.conservative, *strip.standard))
    assert seconds == pytest.approx(strip.duration_s, abs=5.0)
    passed = [one for one in analysis.exposure if one.observed_s > 0.0]
    assert strip.hot_c == passed[-1].threshold_c
    assert sum(end - start for start, end in strip.hot) == pytest.approx(passed[-1].observed_s, rel=0.1, abs=2.0)


def test_what_is_kept_is_taken_while_nothing_changed(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    first, _ = strips.strips(library, library.list_rides())
    asked: list[str] = []
    real = strips.strip_of
    monkeypatch.setattr(strips, "strip_of", lambda done, row: asked.append(row.id) or real(done, row))
    again, _ = strips.strips(library, library.list_rides())
    assert again == first
    assert asked == []
    library.edit(library.list_rides()[0].id, ambient_c=31.0)
    strips.strips(library, library.list_rides())
    assert len(asked) == 1


@pytest.mark.parametrize("damaged", [b"", b"{", b"[]", b'{"basis": 1}', b'{"basis": "x", "strip": {}}', b"\xff\xfe"])
def test_what_is_kept_damaged_is_made_anew(library: Library, damaged: bytes) -> None:
    row = library.list_rides()[0]
    library.keep_part(row.id, strips.KIND, "x", damaged)
    (strip,), _ = strips.strips(library, [row])
    assert strip.ride == row.id


def test_the_drawing_is_to_scale_and_names_its_stretches(library: Library) -> None:
    (strip,), _ = strips.strips(library, library.list_rides())
    for dark in (False, True):
        root = fromstring(strip_svg(strip, 2.0 * strip.duration_s, dark=dark))  # noqa: S314 - our own text
        bars = root.findall(f"{SVG}rect")
        assert max(float(bar.get("x", "0")) + float(bar.get("width", "0")) for bar in bars) <= 0.5 * WIDTH + 2.0
        assert len(root.findall(f".//{SVG}title")) == len(strip.stretches)


def test_a_ride_without_a_map_draws_no_map(library: Library) -> None:
    (strip,), _ = strips.strips(library, library.list_rides())
    bare = replace(strip, conservative=(), standard=(), share=None)
    assert strip_svg(bare, strip.duration_s).count("<rect") < strip_svg(strip, strip.duration_s).count("<rect")
