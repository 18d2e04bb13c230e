"""What can be taken away of a ride: each file is what it says, and the ends stay out where that was asked."""

from __future__ import annotations

import io
import json
from types import ModuleType
from typing import Any

import polars as pl
import pytest
from lxml import etree

from dashboard.app import create_app

HERE = "http://127.0.0.1:8150"


@pytest.fixture(scope="module")
def client(fakes: ModuleType) -> Any:
    return create_app(fakes.FakeProvider(fakes.make_view(1200.0, rate_hz=5.0, gap=False))).server.test_client()


def taken(client: Any, name: str, path: str) -> Any:
    return client.get(f"/ride/{name}/{path}", base_url=HERE)


def test_the_ride_as_samples(client: Any, fakes: ModuleType) -> None:
    table = pl.read_parquet(io.BytesIO(taken(client, fakes.RIDE_ID, "ride.parquet").data))
    text = pl.read_csv(taken(client, fakes.RIDE_ID, "ride.csv").data)
    assert table.height == text.height > 1000
    assert {"t_s", "coolant_c", "engine_rpm"} <= set(table.columns) & set(text.columns)


def test_the_stretches_and_the_track(client: Any, fakes: ModuleType) -> None:
    # RFC 7946, section 3.3: the whole is a FeatureCollection.
    stretches = json.loads(taken(client, fakes.RIDE_ID, "ride.geojson").data)
    assert stretches["type"] == "FeatureCollection"
    assert stretches["features"]
    root = etree.fromstring(taken(client, fakes.RIDE_ID, "ride.gpx").data)
    # GPX 1.1 names its elements in this namespace.
    assert root.tag == "{http://www.topografix.com/GPX/1/1}gpx"


def test_the_ends_are_left_out_where_asked(client: Any, fakes: ModuleType) -> None:
    whole = taken(client, fakes.RIDE_ID, "ride.gpx").data.count(b"<trkpt")
    cut = taken(client, fakes.RIDE_ID, "ride.gpx?trim=300").data.count(b"<trkpt")
    assert 0 < cut < whole


@pytest.mark.parametrize("trim", ["nan", "-1", "1e9", "inf", "many", ""])
def test_a_trim_that_is_none_gives_no_file_rather_than_the_whole(client: Any, fakes: ModuleType, trim: str) -> None:
    answer = taken(client, fakes.RIDE_ID, f"ride.gpx?trim={trim}")
    assert answer.status_code == 404
    assert b"trkpt" not in answer.data


def test_page_and_report(client: Any, fakes: ModuleType) -> None:
    page = taken(client, fakes.RIDE_ID, "customer.html?units=imperial").data.decode()
    report = taken(client, fakes.RIDE_ID, "report.html").data.decode()
    assert "\u00b0F" in page
    assert len(page) < 100_000 < len(report)
    assert "Technical annex" in report


@pytest.mark.parametrize("path", ["ride.exe", "ride.", "ride.csv.gz", "..%2f..%2fride.csv", "ride.html"])
def test_what_is_no_file_of_a_ride_is_not_found(client: Any, fakes: ModuleType, path: str) -> None:
    assert taken(client, fakes.RIDE_ID, path).status_code == 404


@pytest.mark.parametrize("name", ["none-such", "..%2f..%2fetc", "%3Cscript%3E"])
def test_no_file_of_a_ride_that_is_not_there(client: Any, name: str) -> None:
    for path in ("ride.csv", "customer.html", "report.html", "heat.csv"):
        assert taken(client, name, path).status_code == 404


def test_a_name_that_is_markup_is_never_written_back(client: Any) -> None:
    assert b"alert" not in taken(client, "%3Cscript%3Ealert(1)%3C%2Fscript%3E", "ride.csv").data


def test_a_file_is_named_after_its_ride(client: Any, fakes: ModuleType) -> None:
    head = taken(client, fakes.RIDE_ID, "ride.csv").headers["Content-Disposition"]
    assert head == f'attachment; filename="ride-{fakes.RIDE_ID}.csv"'
