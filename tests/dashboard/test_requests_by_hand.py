"""Requests that no page sends: every address and every callback, from other pages and of every wrong shape."""

from __future__ import annotations

import json
import logging
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from dash import Dash

from dashboard import shapes
from dashboard.adding.desk import Desk
from dashboard.app import create_app
from dashboard.callbacks.routing import page
from dashboard.provider import LibraryProvider

HERE = "http://127.0.0.1:8150"

ROUTES = {
    "/": "page", "/<path:path>": "page",
    "/_dash-layout": "frame", "/_dash-dependencies": "frame", "/_reload-hash": "frame", "/_favicon.ico": "frame",
    "/assets/<path:filename>": "files", "/static/<path:filename>": "files",
    "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": "files",
    "/_dash-update-component": "writes", "/add": "writes", "/add/<job_id>/<int:number>": "writes",
    "/ride/<ride_id>/report.html": "download", "/ride/<ride_id>/customer.html": "download",
    "/ride/<ride_id>/heat.csv": "download", "/ride/<ride_id>/ride.<ending>": "download",
    "/ride/<ride_id>/original-<int:number>": "download",
}  # fmt: skip
"""Every address of the server, and what it does. A new one has to be looked at, and set down here."""

METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "DELETE", "PATCH", "TRACE")

ELSEWHERE = (
    {"Origin": "http://elsewhere.example"},
    {"Origin": "null"},
    {"Origin": "http://127.0.0.1:9999"},
    {"Origin": "https://127.0.0.1:8150"},
    {"Origin": "http://localhost:8150"},
    {"Origin": "http://127.0.0.1:8150.elsewhere.example"},
    {"Origin": "http://elsewhere.example", "Referer": HERE + "/"},
    {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "script"},
    {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "cors", "Origin": "http://elsewhere.example"},
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "image"},
    {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "iframe"},
    {"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "object"},
    {"Host": "elsewhere.example", "Origin": "http://elsewhere.example"},
    {"Host": "elsewhere.example", "X-Forwarded-Host": "127.0.0.1:8150", "Origin": HERE},
    {"Host": "127.0.0.1.elsewhere.example:8150"},
    {"Host": "127.0.0.1:8150@elsewhere.example"},
)  # fmt: skip
"""What a browser sends for another page, or for a name of another that was led to this machine."""

DEEP: list[Any] = []
for _ in range(300):
    DEEP = [DEEP]
WRONG: dict[str, Any] = {
    "null": None, "yes": True, "minus": -5, "great": 1e300, "long": 10**400, "nan": float("nan"), "inf": float("inf"),
    "text": "x'<b>\x00\n../\u202e", "half": "\ud800", "record": {"a": 1}, "list": [1, None, {}], "lists": DEEP,
    "records": [{"id": [], "prop_id": 3}] * 7, "ten thousand": "a" * 10_000,
}  # fmt: skip
MISSING = object()


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("by-hand") / "library"


@pytest.fixture(scope="module")
def app(root: Path) -> Dash:
    return create_app(LibraryProvider(root), desk=Desk(root, workers=0))


@pytest.fixture(scope="module")
def empty(root: Path) -> LibraryProvider:
    return LibraryProvider(root)


@pytest.fixture(scope="module")
def asked_for(app: Dash) -> list[dict[str, Any]]:
    """What the server tells a page of its callbacks; those that run in the browser are left out."""
    told = app.server.test_client().get("/_dash-dependencies", base_url=HERE).get_json()
    return [one for one in told if not one.get("clientside_function")]


def address(rule: str) -> str:
    for part, value in {"<path:path>": "bikes", "<path:filename>": "page.css", "<string:package_name>": "dash",
                        "<path:fingerprinted_path>": "deps/x.js", "<job_id>": "0" * 16, "<int:number>": "1",
                        "<ride_id>": "20260101-0900-00000000", "<ending>": "csv"}.items():  # fmt: skip
        rule = rule.replace(part, value)
    assert "<" not in rule
    return rule


def test_every_address_is_known(app: Dash) -> None:
    assert {rule.rule for rule in app.server.url_map.iter_rules()} == set(ROUTES)
    takes = {rule.rule for rule in app.server.url_map.iter_rules() if rule.methods - {"GET", "HEAD", "OPTIONS"}}
    assert takes == {rule for rule, does in ROUTES.items() if does == "writes"}


@pytest.mark.parametrize("rule", ROUTES)
def test_no_other_page_reads_or_writes_at_any_address(app: Dash, rule: str) -> None:
    client = app.server.test_client()
    for method in METHODS:
        for headers in ELSEWHERE:
            answer = client.open(address(rule), method=method, base_url=HERE, headers=headers, buffered=True)
            assert answer.status_code == 403, (method, headers)
            assert not [name for name, _ in answer.headers if name.lower().startswith("access-control-")]


@pytest.mark.parametrize("rule", ROUTES)
def test_every_answer_carries_the_policy_and_no_leave_for_others(app: Dash, rule: str) -> None:
    for method in METHODS:
        answer = app.server.test_client().open(
            address(rule), method=method, base_url=HERE, headers={"Origin": HERE}, buffered=True
        )
        policy = dict(part.split(" ", 1) for part in answer.headers["Content-Security-Policy"].split("; "))
        assert policy["frame-ancestors"] == policy["object-src"] == policy["base-uri"] == "'none'"
        assert policy["form-action"] == "'none'"
        assert "'unsafe-inline'" not in policy["script-src"]
        assert "'unsafe-eval'" not in " ".join(policy.values())
        assert {word for words in policy.values() for word in words.split() if not word.startswith("'sha256-")} <= {
            "'self'", "'none'", "'unsafe-inline'", "data:", "blob:",
        }  # fmt: skip
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert not [name for name, _ in answer.headers if name.lower().startswith("access-control-")]


@pytest.mark.parametrize("rule", [rule for rule, does in ROUTES.items() if does == "writes"])
@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "multipart/form-data", "text/plain", ""])
def test_a_form_of_another_page_writes_nothing(app: Dash, rule: str, kind: str) -> None:
    client = app.server.test_client()
    for method in ("POST", "PUT"):
        for headers in ({}, {"Origin": "null"}, {"Referer": HERE + "/"}, {"Sec-Fetch-Site": "none"}):
            answer = client.open(address(rule), method=method, base_url=HERE, headers=headers, data=b"{}",
                                 content_type=kind)  # fmt: skip
            assert answer.status_code == 403


def test_a_link_from_elsewhere_is_followed(app: Dash) -> None:
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
    assert app.server.test_client().get("/bikes", base_url=HERE, headers=headers).status_code == 200


# -- callbacks --------------------------------------------------------------------------------------------------------


def test_every_property_a_callback_takes_has_a_shape(asked_for: list[dict[str, Any]]) -> None:
    taken = {shapes.key_of(told) for one in asked_for for told in (*one["inputs"], *one["state"])}
    assert taken == set(shapes.SHAPES)


def concrete(name: str) -> Any:
    if not name.startswith("{"):
        return name
    told = json.loads(name)
    return {part: (one if isinstance(one, str) else 1 if part in ("index", "number", "file", "option") else "x")
            for part, one in told.items()}  # fmt: skip


def entry(told: dict[str, str], value: Any) -> Any:
    made = {"id": concrete(told["id"]), "property": told["property"]}
    if value is not MISSING:
        made["value"] = value
    return [made] if '["ALL"]' in told["id"] else made


def outputs_of(output: str) -> Any:
    parts = output[2:-2].split("...") if output.startswith("..") else [output]
    made = [entry(dict(zip(("id", "property"), part.rsplit(".", 1), strict=True)), MISSING) for part in parts]
    return made if output.startswith("..") else made[0]


def body_of(one: dict[str, Any], value_of: Any) -> dict[str, Any]:
    inputs = [entry(told, value_of(told)) for told in one["inputs"]]
    first = inputs[0][0] if isinstance(inputs[0], list) else inputs[0]
    name = json.dumps(first["id"], sort_keys=True) if isinstance(first["id"], dict) else first["id"]
    return {
        "output": one["output"], "outputs": outputs_of(one["output"]), "inputs": inputs,
        "state": [entry(told, value_of(told)) for told in one["state"]],
        "changedPropIds": [f"{name}.{first['property']}"],
    }  # fmt: skip


def right(told: dict[str, str]) -> Any:
    """A value that a page could send."""
    if told["property"] == "id":
        return concrete(told["id"])
    choices: tuple[Any, ...] = (
        1, "stretches", "bike", [], {"start_s": 0, "end_s": 9, "selected": None}, {"kind": "bike", "name": "x"}, {},
    )  # fmt: skip
    return next(one for one in choices if shapes.SHAPES[shapes.key_of(told)](one))


def answered(app: Dash, body: Any, caplog: pytest.LogCaptureFixture) -> int:
    """The status of an answer, which is no fault of the program."""
    caplog.clear()
    text = body if isinstance(body, str) else json.dumps(body)
    answer = app.server.test_client().post("/_dash-update-component", data=text, content_type="application/json",
                                           headers={"Origin": HERE}, base_url=HERE)  # fmt: skip
    assert answer.status_code in {200, 204, 400, 413}, (answer.status_code, text[:300])
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR], text[:300]
    assert "Traceback" not in answer.get_data(as_text=True)
    return int(answer.status_code)


def test_what_the_pages_send_is_taken(
    app: Dash, asked_for: list[dict[str, Any]], caplog: pytest.LogCaptureFixture
) -> None:
    for one in asked_for:
        assert answered(app, body_of(one, right), caplog) in {200, 204}, one["output"]


@pytest.mark.parametrize("wrong", ["missing", *WRONG])
def test_no_value_of_any_kind_brings_a_callback_down(
    app: Dash, asked_for: list[dict[str, Any]], wrong: str, caplog: pytest.LogCaptureFixture
) -> None:
    value = WRONG.get(wrong, MISSING)
    for one in asked_for:
        answered(app, body_of(one, lambda _: value), caplog)
        for which in (*one["inputs"], *one["state"]):
            answered(app, body_of(one, lambda told, which=which: value if told is which else right(told)), caplog)


@pytest.mark.parametrize("part", ["output", "outputs", "inputs", "state", "changedPropIds"])
@pytest.mark.parametrize("wrong", [name for name in WRONG if name != "half"])
def test_no_other_form_of_request_brings_a_callback_down(
    app: Dash, asked_for: list[dict[str, Any]], part: str, wrong: str, caplog: pytest.LogCaptureFixture
) -> None:
    for one in asked_for:
        if part == "state" and not one["state"] and WRONG[wrong] == []:
            continue
        assert answered(app, {**body_of(one, right), part: WRONG[wrong]}, caplog) == 400


def test_ids_and_changes_of_no_page_are_refused(
    app: Dash, asked_for: list[dict[str, Any]], caplog: pytest.LogCaptureFixture
) -> None:
    for one in asked_for:
        for wrong in (3, None, "nobody", {"type": "x"}, {"index": "1", "type": "stretch-row"}, [], {}):
            body = body_of(one, right)
            target = body["inputs"][0][0] if isinstance(body["inputs"][0], list) else body["inputs"][0]
            target["id"] = wrong
            assert answered(app, body, caplog) == 400
        for changed in ("", ".", "nobody.data", "{", '{"a":1}.n_clicks', '{"index":1}.', "[" * 5000 + ".x", 3, None):
            assert answered(app, {**body_of(one, right), "changedPropIds": [changed]}, caplog) == 400


@pytest.mark.parametrize(
    "body", ["", "{", "null", "[]", "3", '"x"', "{}", "[" * 200_000, '{"output":' * 50_000,
             '{"output": "x", "output": 1}', '{"output": ' + "9" * 5000 + "}", "\x00",
             '{"a": "' + "x" * 1_200_000 + '"}'],
    ids=lambda body: repr(body[:12]),
)  # fmt: skip
def test_what_is_no_request_is_refused(app: Dash, body: str, caplog: pytest.LogCaptureFixture) -> None:
    assert answered(app, body, caplog) in {400, 413}


def test_a_callback_that_runs_in_the_browser_is_not_answered(app: Dash, caplog: pytest.LogCaptureFixture) -> None:
    told = app.server.test_client().get("/_dash-dependencies", base_url=HERE).get_json()
    for one in told:
        if one.get("clientside_function"):
            body = {"output": one["output"], "inputs": [], "state": [], "changedPropIds": [], "outputs": []}
            assert answered(app, body, caplog) == 400


ANNOUNCED = (
    *('{"files":[{"name":"a","size":1}],"ambient_c":' + one + "}" for one in ("9" * 400, "1e400", "NaN", "true", "[]")),
    *('{"files":[{"name":"a","size":' + one + "}]}" for one in ("9" * 400, "-1", "0", "1e3", "null", '"1"')),
    *('{"files":[{"name":"a","size":1}],"bike":' + one + "}" for one in ("5", '"\\u0000"', '"\\ud800"', "[]", '"x"')),
    *('{"files":[{"name":"a","size":1}],"timezone":' + one + "}" for one in ('"../x"', '"\\u0000"', '"\\ud800"', "7")),
    *('{"files":' + one + "}" for one in ("null", "[]", "{}", "[{}]", "[[]]", '[{"name":1,"size":1}]', "[" * 90_000)),
    "", "null", "[" * 90_000, '"x"', "{", "\x00",
)  # fmt: skip


@pytest.mark.parametrize("body", ANNOUNCED, ids=lambda body: repr(body[:70]))
def test_files_announced_wrongly_are_refused(app: Dash, body: str, caplog: pytest.LogCaptureFixture) -> None:
    answer = app.server.test_client().post("/add", data=body, content_type="application/json",
                                           headers={"Origin": HERE}, base_url=HERE)  # fmt: skip
    assert answer.status_code == 400
    assert answer.get_json()["reason"]
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]


# -- addresses --------------------------------------------------------------------------------------------------------

FILES = ("report.html", "customer.html", "heat.csv", "ride.csv", "ride.gpx", "original-1", "original-" + "9" * 20)
NAMES = (
    "..", "../..", "..%2f..%2fetc%2fpasswd", "%2e%2e%2f", "%2e%2e", "%00", "a%0ab", "a%0d%0aSet-Cookie:x", "a" * 10_000,
    "%EF%BC%8E%EF%BC%8E", "%E2%80%AE", "%ff%fe", "%ed%a0%80", "<script>alert(1)</script>", "'; DROP TABLE ride; --",
    "%25", "CON", "C:%5Cx", "%5c%5chost%5cshare", "-", "~", "*", "?", "#", "%F0%9F%8F%8D",
)  # fmt: skip


@pytest.mark.parametrize("name", NAMES, ids=[str(number) for number in range(len(NAMES))])
def test_names_out_of_an_address_lead_nowhere(app: Dash, name: str, caplog: pytest.LogCaptureFixture) -> None:
    client = app.server.test_client()
    seen = [f"/ride/{name}", f"/bikes/{name}", f"/sheets/{name}", f"/cases/{name}", f"/open-case/{name}",
            f"/import/{name}", f"/{name}", f"/assets/{name}", f"/_dash-component-suites/{name}/{name}",
            f"/_dash-component-suites/dash/{name}",
            *(f"/ride/{name}/{file}" for file in FILES), f"/ride/{name}/ride.{name}"]  # fmt: skip
    for path in seen:
        answer = client.get(path, base_url=HERE, buffered=True)
        assert answer.status_code in {200, 308, 400, 404, 405}, (path, answer.status_code)
        assert "Set-Cookie" not in answer.headers
        text = answer.get_data(as_text=True)
        assert "root:" not in text
        assert "<script>alert(1)" not in text
        assert "Traceback" not in text
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]


@pytest.mark.parametrize(
    "query",
    ["from=nan&to=inf", "from=9&to=1", "from=-inf", "stretch=-1", "stretch=%D9%A3", "stretch=99999999999999",
     "what-if=%00", "bike=none", "bike=%00", "bike=%ed%a0%80", "since=9999-12-31", "since=0000-00-00", "since=x",
     "page=-1", "page=1e9", "page=99999", "page=%D9%A1", "rides=" + ",".join(f"x{n}" for n in range(500)),
     "rides=,,,", "service=9999-12-31",
     "service=x&bike=y", "build=1", "build=1&rides=x", "=&&&==", "%", "a=" + "b" * 20_000],
    ids=lambda query: query[:20],
)  # fmt: skip
def test_no_query_brings_a_page_down(
    fakes: ModuleType, empty: LibraryProvider, query: str, caplog: pytest.LogCaptureFixture
) -> None:
    for path in ("/", "/review", "/compare", "/places", "/cases", "/bikes", "/settings", "/new/case", "/ride/x"):
        _, name = page(empty, path, {"path": path, "search": f"?{query}"})
        assert not name.startswith("Fault"), path
    view = fakes.make_view(600.0, gap=False)
    _, name = page(fakes.FakeProvider(view), f"/ride/{view.ride.id}", {"search": f"?{query}"})
    assert name.endswith(" · ridelog")
    assert not name.startswith("Fault")
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]
