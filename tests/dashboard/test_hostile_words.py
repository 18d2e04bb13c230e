"""Words that would act as code or as a tag, in every text a user can give, on every page, report and picture; and what
of a ride's positions is seen where the course is hidden."""

from __future__ import annotations

import base64
import gzip
import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient

import sample_logs
from dashboard import provider_places
from dashboard.app import create_app
from dashboard.provider import LibraryProvider
from ridelog.ingest import ImportOptions, import_files
from ridelog.store.library import Library

HERE = "http://127.0.0.1:8150"
BAD = "</script><img src=x onerror=alert(1)><a href='javascript:alert(2)'>%{x}{{7*7}}<b>z</b>"
TAGS = re.compile(r"<\s*/?\s*(img|script|a\b|svg|i?frame)", re.IGNORECASE)
"""What the pictures themselves never set: they have <b>, <br> and <extra> alone."""
HIDDEN = {"hide_course": True, "trim_m": 300}


class Elements(HTMLParser):
    """The elements of a document with their attributes, and what stands in its scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.all: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.all.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self.all and self.all[-1][0] == "script":
            self.scripts.append(data.strip())


@pytest.fixture(scope="module")
def provider(tmp_path_factory: pytest.TempPathFactory) -> LibraryProvider:
    """Two rides of one bike on one loop: file, column, service, note and case say BAD."""
    folder = tmp_path_factory.mktemp("hostile")
    library = Library.open(folder / "library")
    source = sample_logs.folder()
    profile = (source / "bikes" / "enduro-12.bike.toml").read_text(encoding="utf-8")
    profile += f'\n[[service]]\ndate = 2026-05-10\nwhat = "{BAD}"\n'
    library.put_bike(profile, "bike")
    bike = library.bike("enduro-12")
    for day, name in ((9, "04-clean-radiators.tsv.gz"), (20, "07-half-blocked.csv.gz")):
        text = gzip.decompress((source / "rides" / name).read_bytes()).decode()
        mark = "\t" if ".tsv" in name else ";"
        head, *rows = text.splitlines()
        log = folder / f"{day}<img src=x onerror=alert(1)>\u202e.csv"
        log.write_text("\n".join([mark.join((head, BAD)), *(f"{row}{mark}1" for row in rows)]), encoding="utf-8")
        options = ImportOptions(
            bike=bike, bike_id=bike.id, ambient_c=24.0, start=datetime(2026, 5, day, 10, tzinfo=UTC)
        )
        (outcome,) = import_files(library, [log], options)
        assert outcome.ride_id is not None, outcome.reason
    made = LibraryProvider(library.root)
    for ride in made.rides():
        made.write_note(ride.id, "+0:05:00", "", BAD)
    case = made.open_case("enduro-12", "2026-05-21", BAD, [one.id for one in made.rides()])
    made.close_case(case.id, BAD, "")
    return made


@pytest.fixture(scope="module")
def client(provider: LibraryProvider) -> FlaskClient:
    return create_app(provider).server.test_client()


@pytest.fixture(autouse=True)
def _patient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(provider_places, "PATIENCE_S", 60.0)


def addresses(provider: LibraryProvider) -> list[tuple[str, str]]:
    first, second = (one.id for one in provider.rides())
    (case,) = provider.cases()
    return [
        ("/", ""), (f"/ride/{first}", ""), (f"/ride/{second}", "?stretch=1&what-if=on"), ("/review", ""),
        ("/places", ""),
        ("/compare", f"?rides={first},{second}"), ("/compare", "?service=2026-05-10&bike=enduro-12"), ("/cases", ""),
        (f"/cases/{case.id}", ""), ("/bikes", ""), ("/bikes/enduro-12", ""), ("/settings", ""), ("/new/case", ""),
        (f"/open-case/{first}", ""),
    ]  # fmt: skip


def asked(client: FlaskClient, path: str, search: str, prefs: dict[str, Any]) -> Any:
    """The answer to a page's request for an address."""
    output = "..content.children...page-title.data.."
    body = {
        "output": output,
        "outputs": [{"id": "content", "property": "children"}, {"id": "page-title", "property": "data"}],
        "inputs": [
            {"id": "screen", "property": "data", "value": {"path": path, "search": search, "prefs": prefs}},
            {"id": "added", "property": "data"},
        ],
        "state": [{"id": "url", "property": "pathname", "value": path}],
        "changedPropIds": ["screen.data"],
    }
    answer = client.post("/_dash-update-component", json=body, headers={"Origin": HERE}, base_url=HERE)
    assert answer.status_code == 200
    told = answer.get_json()["response"]
    assert not told["page-title"]["data"].startswith(("Fault", "Can't", "Not found")), path
    return told["content"]["children"]


def nodes(tree: Any) -> Iterator[dict[str, Any]]:
    """Every component."""
    if isinstance(tree, dict):
        if "namespace" in tree:
            yield tree
        for one in tree.values():
            yield from nodes(one)
    elif isinstance(tree, list):
        for one in tree:
            yield from nodes(one)


def texts_in(tree: Any) -> Iterator[str]:
    if isinstance(tree, str):
        yield tree
    elif isinstance(tree, dict):
        for one in tree.values():
            yield from texts_in(one)
    elif isinstance(tree, list):
        for one in tree:
            yield from texts_in(one)


def arrays_in(tree: Any) -> Iterator[np.ndarray]:
    """Every list of numbers, also those that are sent packed."""
    if isinstance(tree, dict):
        if {"bdata", "dtype"} <= tree.keys():
            yield np.frombuffer(base64.b64decode(tree["bdata"]), tree["dtype"]).astype(float)
            return
        for one in tree.values():
            yield from arrays_in(one)
    elif isinstance(tree, list):
        if tree and all(isinstance(one, int | float) or one is None for one in tree):
            yield np.array([np.nan if one is None else one for one in tree], dtype=float)
        for one in tree:
            yield from arrays_in(one)


def test_words_of_a_user_are_seen_as_words_on_every_page(provider: LibraryProvider, client: FlaskClient) -> None:
    seen = ""
    for path, search in addresses(provider):
        tree = asked(client, path, search, {})
        for node in nodes(tree):
            assert node["type"] not in {"Markdown", "Iframe", "Script", "ObjectEl", "Embed"}, path
            props = node["props"]
            assert "dangerously_allow_html" not in props
            assert not str(props.get("href", "/")).lower().startswith(("javascript:", "data:", "//"))
            assert not str(props.get("src", "")).startswith(("http", "//"))
            if node["type"] == "Graph":
                for text in texts_in(props["figure"]):
                    assert not TAGS.search(text), (path, text[:200])
        seen += "\n".join(texts_in(tree))
    assert "onerror=alert(1)>" in seen  # it was there to be seen


@pytest.mark.parametrize("file", ["report.html", "customer.html"])
def test_words_of_a_user_are_words_in_a_report(provider: LibraryProvider, client: FlaskClient, file: str) -> None:
    for ride in provider.rides():
        answer = client.get(f"/ride/{ride.id}/{file}", base_url=HERE)
        assert answer.status_code == 200
        html = answer.get_data(as_text=True)
        assert "onerror=alert(1)" in html  # it was there to be seen
        found = Elements()
        found.feed(html)
        assert not {"img", "iframe", "object", "embed", "base", "form"} & {name for name, _ in found.all}
        for name, attributes in found.all:
            assert not [one for one in attributes if one.startswith("on")], name
            assert not str(attributes.get("href") or "").lower().startswith(("javascript", "data", "http", "//"))
        for script in found.scripts:
            if script.startswith("{"):
                for text in texts_in(json.loads(script)):
                    assert not TAGS.search(text), text[:200]
        assert re.fullmatch(r'attachment; filename="[A-Za-z0-9._-]+"', answer.headers["Content-Disposition"])


def test_a_log_is_given_back_under_a_harmless_name(provider: LibraryProvider, client: FlaskClient) -> None:
    for ride in provider.rides():
        answer = client.get(f"/ride/{ride.id}/original-1", base_url=HERE)
        assert answer.status_code == 200
        assert re.fullmatch(r'attachment; filename="[A-Za-z0-9._-]+"', answer.headers["Content-Disposition"])
        assert answer.mimetype == "application/octet-stream"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_where_the_course_is_hidden_nothing_tells_positions(provider: LibraryProvider, client: FlaskClient) -> None:
    library = Library.open(provider.root)
    samples = [library.load(one.id).samples for one in provider.rides()]
    boxes = [
        (float(np.nanmin(values)) - 1e-4, float(np.nanmax(values)) + 1e-4)
        for name in ("lat_deg", "lon_deg")
        for values in [np.concatenate([one[name].drop_nulls().to_numpy() for one in samples])]
    ]
    for path, search in addresses(provider):
        tree = asked(client, path, search, HIDDEN)
        for node in nodes(tree):
            assert node["props"].get("id") not in ("map", "places-map"), path
            for trace in (node["props"].get("figure") or {}).get("data", []):
                assert trace.get("name") != "course"
        for array in arrays_in(tree):
            known = array[np.isfinite(array)]
            for low, high in boxes:
                inside = (known >= low) & (known <= high)
                assert known.size < 3 or inside.mean() < 0.9 or np.ptp(known) == 0.0, path
        for text in texts_in(tree):
            for number in re.findall(r"-?\d+\.\d{4,}", text):
                assert not any(low <= float(number) <= high for low, high in boxes), (path, text[:120])


def test_a_hidden_or_trimmed_course_is_in_no_report(provider: LibraryProvider, client: FlaskClient) -> None:
    ride = provider.rides()[0].id
    for prefs in (HIDDEN, {"trim_m": 100}, {"hide_course": True}):
        tree = asked(client, f"/ride/{ride}", "", prefs)
        links = [str(node["props"].get("href")) for node in nodes(tree)]
        (report,) = [link for link in links if "/report.html" in link]
        html = client.get(report, base_url=HERE).get_data(as_text=True)
        assert 'id="map"' not in html
        assert '"map":null' in html
    whole = client.get(f"/ride/{ride}/report.html", base_url=HERE).get_data(as_text=True)
    assert 'id="map"' in whole


def test_the_map_is_not_sent_to_a_page_that_hides_it(provider: LibraryProvider) -> None:
    from dashboard.look import Look
    from dashboard.pages.ride_picture import map_of, marks_of
    from ridelog.figures.ride_stack import View

    view = provider.view_of(provider.rides()[0].id)
    shown = View(10.0, 90.0)
    assert map_of(view, "stretches", shown, Look()) is not None
    assert map_of(view, "stretches", shown, Look(hide_course=True)) is None
    assert marks_of(view, shown, Look(hide_course=True)) == []
