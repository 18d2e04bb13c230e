"""What workshops ask of the log, each answered within two clicks of a ride's page or the review: the page shows what
the library works out, by the reading of a real browser."""

from __future__ import annotations

import hashlib
import html
import re
from datetime import date
from typing import Any

import pytest
from browser.questions.conftest import COMPARED, plain, told

from dashboard.pages.compare import told as named
from dashboard.provider import CompareQuestion
from ridelog.analysis.diagnosis_table import FAMILY
from ridelog.review import review
from ridelog.store.library import Library
from ridelog.words.terms import duration, share

pytestmark = pytest.mark.browser

SAND, MUD = "01-standard-in-sand", "06-more-mud"


@pytest.fixture(scope="module")
def library(question_library: Any) -> Library:
    return Library.open(question_library[0])


@pytest.fixture(scope="module")
def found(library: Library) -> Any:
    return review(library)


def test_q33_whether_the_advice_is_followed(asker: Any, found: Any) -> None:
    asker.review()
    whole = found.overall
    answer = asker.look.text("#answer")
    assert f"was on for {share(whole.share)} of the time it was advised" in answer
    assert f"for {duration(whole.unknown_s)} it is not, and nothing is assumed" in asker.look.text("main")
    script = "document.querySelectorAll('main details').forEach((one) => { if (!one.open) one.open = true; })"
    asker.look.run(script)
    rows = {row[0]: row for row in asker.rows("section[aria-labelledby='h-bike']")}
    for group in found.by_bike:
        assert group.share is None or rows[group.key][4].startswith(share(group.share))
        assert group.unknown_s < 0.5 or rows[group.key][3] == duration(group.unknown_s)
    months = asker.rows("section[aria-labelledby='h-month']")
    assert [row[0] for row in months if row[0][:1].isdigit()] == [
        group.key for group in found.by_month if group.key[:1].isdigit()
    ]


def test_q34_whether_a_bike_is_unusual_among_its_build(asker: Any) -> None:
    view = asker.ride("s33-gets-hot-07")
    asker.open("beside")
    asker.follow(f"/compare?rides={view.ride.id}&build=1", COMPARED)
    compared = asker.provider.compare_of(CompareQuestion((view.ride.id,), build=True))
    assert asker.look.text("#answer") == plain(named(compared.comparison.summary[0], compared))
    place = compared.comparison.build
    rows = {row[0]: row for row in asker.rows("main section.card")}
    for one in place.others:
        assert rows[one.bike][2].startswith(f"{one.settle.value:.0f} °C")


def test_q35_which_bikes_were_hot_again_after_work(asker: Any, library: Library, found: Any) -> None:
    asker.review()
    rows = asker.rows("section[aria-labelledby='h-after-work']")
    services = [(one.day, bike) for bike in library.bikes() for one in bike.services]
    assert len(rows) == len(services)
    latest = [
        max((one for one in services if one[1].id == name), key=lambda one: one[0])
        for name in ("enduro-12", "enduro-34")
    ]
    for row in rows:
        assert row[4].startswith(("yes, on ", "no, on none of ", "can't tell"))
        if not any(row[0].startswith(f"{bike.id}, {day}") for day, bike in latest):
            continue  # the same figures for each: two pieces of work are enough to hold them to the rides
        day, bike = next((day, bike) for day, bike in services if row[0].startswith(f"{bike.id}, {day}"))
        until = min((one for one, other in services if other.id == bike.id and one > day), default=date.max)
        after = [one for one in found.rides if one.bike == bike.id and one.day and str(day) <= one.day < str(until)]
        hot_c = sorted(value for _, value in bike.thresholds)[-2]
        views = [asker.provider.view_of(one.ride).analysis for one in after]
        told_ = [e for view in views for e in view.exposure if e.threshold_c == hot_c and e.peak_c is not None]
        above = sum(e.observed_s - (e.engine_off_s or 0.0) > 0.0 for e in told_)
        assert row[4] == (f"yes, on {above} of {len(told_)} rides" if above else f"no, on none of {len(told_)} rides")


def test_q36_what_complaints_turned_out_to_be(asker: Any, library: Library) -> None:
    asker.review()
    asker.click("header a[href='/cases']", "section[aria-labelledby='h-outcomes']")
    rows = {row[0]: row[1:] for row in asker.rows("section[aria-labelledby='h-outcomes']")}
    cases = library.complaints()
    kinds = [FAMILY.get(one.cause or "", "") for one in cases if one.closed_utc is not None]
    assert rows["terrain, standing, load or a hot day"][0] == str(kinds.count("asked_for")) != "0"
    assert rows["cooling: air through the radiators"][0] == str(kinds.count("air_side")) != "0"
    assert rows["the sensor"][0] == str(kinds.count("sensor"))
    still = [one.id for one in cases if one.closed_utc is None]
    assert rows["still open"] == [str(len(still)), ", ".join(still)]


def test_q37_a_page_for_the_customer(asker: Any) -> None:
    view = asker.ride(SAND)
    page = asker.fetched(f"a[href='/ride/{view.ride.id}/customer.html']").decode()
    text = plain(html.unescape(re.sub(r"<[^>]+>", " ", page)))
    peak = max(one.peak_c for one in view.analysis.exposure)
    assert f"{peak:.0f} °C" in text
    worst = max((one for one in view.analysis.exposure if one.observed_s), key=lambda one: one.threshold_c)
    assert duration(worst.observed_s) in text
    assert not re.search(r"\b(guilty|fault of the rider|to blame|ignored|careless)\b", text)
    assert "technician" in text


def test_q38_whether_the_advice_helped(asker: Any, found: Any) -> None:
    asker.review()
    (change,) = found.sheet_changes
    hot = next(one for one in change.outcome if one.name == "hot")
    text = asker.look.text()
    earlier, later = hot.second.outcome, hot.first.outcome
    assert f"from {earlier.seconds_per_hour:,.0f} s an hour under {change.earlier}" in text
    assert f"to {later.seconds_per_hour:,.0f} s an hour" in text
    assert f"Since sheet {change.later}" in text
    rows = asker.rows("section[aria-labelledby='h-outcome']")
    followed = next(one for one in found.outcome if one.name == "hot" and one.key == "80-100").outcome
    (row,) = [one for one in rows if "(hot)" in one[0] and one[1] == "80 % or more"]
    assert row[2] == str(followed.rides)
    assert row[4] == f"{followed.seconds_per_hour:,.0f}"
    assert "does not show that one makes the other" in text


def test_q39_whether_it_can_be_checked_again(asker: Any) -> None:
    view = asker.ride(SAND)
    asker.open("again")
    rows = dict(asker.rows("#asked-again"))
    (source,) = view.ride.sources
    assert rows[f"Log {source.name}, SHA-256"] == source.sha256
    assert rows["Settings, SHA-256"] == view.analysis.basis.settings_hash
    assert rows["Program version"] == view.analysis.basis.version
    held = asker.fetched(f"a[href='/ride/{view.ride.id}/original-1']")
    assert hashlib.sha256(held).hexdigest() == source.sha256


def test_q40_how_many_rides_lack_the_map(asker: Any, found: Any) -> None:
    asker.review()
    lacking = [one for one in found.unjudged if "no map switch" in (one.reason or "")]
    assert lacking
    text = asker.card("unjudged")
    count = "1 ride: " if len(lacking) == 1 else f"{len(lacking)} rides: "
    assert plain(count + "Which map was on can't be told: the log has no map switch") in text
    assert f"{len(found.unjudged)} rides could not be judged" in asker.look.text()


def test_q41_who_sees_positions_and_leaving_them_out(asker: Any) -> None:
    view = asker.ride(SAND)
    assert "The dashboard answers this computer alone" in asker.open("positions")
    asker.click("#asked-positions a[href='/settings']", "#pref-trim")
    assert "Coordinates are given out only in files" in asker.look.text("#who")
    field = asker.look.wait("#pref-trim")
    try:
        asker.look.driver.execute_script("arguments[0].select()", field)
        field.send_keys("300\t")
        kept = "return JSON.parse(localStorage.getItem('prefs') || '{}').trim_m"
        asker.look.until(lambda: asker.look.run(kept) == 300)
        asker.ride(SAND)
        assert told("From downloads the first and the last 300 m are left out") in asker.open("positions")
        track = asker.fetched(f"a[href='/ride/{view.ride.id}/ride.gpx?trim=300']").decode()
        first = (view.ride.samples["lat_deg"].drop_nulls()[0], view.ride.samples["lon_deg"].drop_nulls()[0])
        points = re.findall(r'lat="([-\d.]+)" lon="([-\d.]+)"', track)
        assert points
        near = [abs(float(lat) - first[0]) + abs(float(lon) - first[1]) for lat, lon in points]
        # a degree of latitude is 111 km: 300 m along the ground lie well over 50 m away
        assert min(near[:20]) > 50.0 / 111_000.0
    finally:
        asker.look.run("localStorage.removeItem('prefs')")
