"""Who is answered, and what every answer carries."""

from __future__ import annotations

import json
from types import ModuleType
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.security import COOKIE, is_loopback

TOKEN = "a-long-token-that-nobody-guesses"  # noqa: S105
HERE = "http://127.0.0.1:8150"
CALLBACK = {
    "output": "..content.children...page-title.data..",
    "outputs": [{"id": "content", "property": "children"}, {"id": "page-title", "property": "data"}],
    "inputs": [
        {"id": "screen", "property": "data", "value": {"path": "/", "touch": False}},
        {"id": "added", "property": "data", "value": None},
    ],
    "changedPropIds": ["screen.data"],
    "state": [{"id": "url", "property": "pathname", "value": "/"}],
}


@pytest.fixture(scope="module")
def provider(fakes: ModuleType) -> Any:
    return fakes.FakeProvider(fakes.make_view(600.0, gap=False))


class Client(FlaskClient):
    """A test client that reads every answer to its end, files included."""

    def open(self, *args: Any, **more: Any) -> Any:
        return super().open(*args, **{"buffered": True, **more})


@pytest.fixture(scope="module")
def servers(provider: Any) -> tuple[Flask, Flask]:
    """One open to this machine, one that asks for the token."""
    found = create_app(provider).server, create_app(provider, token=TOKEN).server
    for server in found:
        server.test_client_class = Client
    return found


@pytest.fixture
def client(servers: tuple[Flask, Flask]) -> FlaskClient:
    return servers[0].test_client()


@pytest.fixture
def locked(servers: tuple[Flask, Flask]) -> FlaskClient:
    return servers[1].test_client()


def post(client: FlaskClient, headers: dict[str, str], base: str = HERE) -> Any:
    return client.post("/_dash-update-component", data=json.dumps(CALLBACK), content_type="application/json",
                       headers=headers, base_url=base)  # fmt: skip


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/", 200),
        ("/ride/none-such", 404),
        ("/ride/..%2F..%2Fetc%2Fpasswd", 404),
        ("/rides", 404),
        ("/ride", 404),
        ("/ride/a/b", 404),
        ("/ride/none-such/report.html", 404),
        ("/assets/page.css", 200),
        ("/_dash-layout", 200),
    ],
)
def test_an_address_that_leads_nowhere_says_so(client: FlaskClient, path: str, status: int) -> None:
    answer = client.get(path, base_url=HERE)
    assert answer.status_code == status
    assert "Content-Security-Policy" in answer.headers


def test_a_ride_of_the_library_is_found(client: FlaskClient, fakes: ModuleType, provider: Any) -> None:
    asked = provider.asked
    assert client.get(f"/ride/{fakes.RIDE_ID}", base_url=HERE).status_code == 200
    assert provider.asked == asked  # the document costs no analysis


def test_a_lost_address_is_not_told_to_strangers(locked: FlaskClient, fakes: ModuleType) -> None:
    assert {locked.get(f"/ride/{name}", base_url=HERE).status_code for name in (fakes.RIDE_ID, "none-such")} == {401}


ROUTES = (
    "/",
    "/ride/x",
    "/_dash-layout",
    "/_dash-dependencies",
    "/assets/page.css",
    "/ride/x/report.html",
    "/assets/none.css",
)


@pytest.mark.parametrize("route", ROUTES)
def test_every_answer_carries_the_headers(client: FlaskClient, route: str) -> None:
    answer = client.get(route, base_url=HERE)
    policy = answer.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'self'; script-src 'self' 'sha256-")
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-eval" not in policy
    scripts = next(rule for rule in policy.split("; ") if rule.startswith("script-src"))
    assert "unsafe-inline" not in scripts
    assert "http" not in policy
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["X-Frame-Options"] == "DENY"


@pytest.mark.parametrize("route", ["/", "/_dash-layout", "/ride/x"])
def test_pages_and_data_are_not_kept_by_the_browser(client: FlaskClient, route: str) -> None:
    assert client.get(route, base_url=HERE).headers["Cache-Control"] == "no-store"


def test_refusals_carry_the_headers_too(locked: FlaskClient) -> None:
    answer = locked.get("/", base_url=HERE)
    assert answer.status_code == 401
    assert "Content-Security-Policy" in answer.headers


def test_all_scripts_of_the_page_come_from_here(client: FlaskClient) -> None:
    import re

    html = client.get("/", base_url=HERE).get_data(as_text=True)
    found = re.findall(r'(?:src|href)="([^"]*)"', html)
    assert found
    assert all(address.startswith("/") and not address.startswith("//") for address in found)


@pytest.mark.parametrize("base", [HERE, "http://localhost:8150", "http://[::1]:8150", "http://127.0.0.2"])
def test_this_machine_s_names_are_answered(client: FlaskClient, base: str) -> None:
    assert client.get("/", base_url=base).status_code == 200


@pytest.mark.parametrize(
    "base",
    ["http://rides.example:8150", "http://127.0.0.1.rides.example", "http://localhost.example", "http://192.168.1.5:8150",
     "http://0.0.0.0:8150"],
)  # fmt: skip
def test_another_name_for_this_machine_is_refused(client: FlaskClient, base: str) -> None:
    # a page elsewhere can let its own name lead to 127.0.0.1 and then read what answers there
    for route in ROUTES:
        assert client.get(route, base_url=base).status_code == 403


def test_a_write_needs_this_page_as_its_origin(client: FlaskClient) -> None:
    assert post(client, {"Origin": HERE}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [{}, {"Origin": "http://elsewhere.example"}, {"Origin": "null"}, {"Origin": "http://127.0.0.1:9999"},
     {"Origin": "https://127.0.0.1:8150"}, {"Origin": HERE + ".elsewhere.example"}],
)  # fmt: skip
def test_a_write_from_elsewhere_is_refused(client: FlaskClient, headers: dict[str, str]) -> None:
    assert post(client, headers).status_code == 403


def test_a_read_from_another_page_is_refused_but_a_link_is_not(client: FlaskClient) -> None:
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}
    assert client.get("/_dash-layout", base_url=HERE, headers=headers).status_code == 403
    headers["Sec-Fetch-Mode"] = "navigate"
    assert client.get("/", base_url=HERE, headers=headers).status_code == 200


@pytest.mark.parametrize("route", ROUTES)
def test_nothing_is_answered_without_the_token(locked: FlaskClient, route: str) -> None:
    assert locked.get(route, base_url=HERE).status_code == 401
    locked.set_cookie(COOKIE, TOKEN + "x", domain="127.0.0.1")
    assert locked.get(route, base_url=HERE).status_code == 401


def test_nothing_is_written_without_the_token(locked: FlaskClient) -> None:
    assert post(locked, {"Origin": HERE}).status_code == 401


def test_the_link_sets_a_cookie_and_leads_to_the_clean_address(locked: FlaskClient) -> None:
    answer = locked.get(f"/ride/x?token={TOKEN}&keep=1", base_url=HERE)
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/ride/x?keep=1"
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert locked.get("/", base_url=HERE).status_code == 200


@pytest.mark.parametrize("wrong", ["", "a", TOKEN[:-1], TOKEN + "é", TOKEN.upper()])
def test_a_wrong_token_is_refused_and_sets_nothing(locked: FlaskClient, wrong: str) -> None:
    answer = locked.get("/", query_string={"token": wrong}, base_url=HERE)
    assert answer.status_code == 401
    assert "Set-Cookie" not in answer.headers


@pytest.mark.parametrize("path", ["//elsewhere.example/", "/\\elsewhere.example/", "///elsewhere.example"])
def test_the_redirect_never_leaves_this_server(locked: FlaskClient, path: str) -> None:
    answer = locked.get(f"{path}?token={TOKEN}", base_url=HERE)
    location = answer.headers.get("Location", "/")
    assert location.startswith("/")
    assert not location.startswith(("//", "/\\"))


def test_with_a_token_other_names_are_answered(locked: FlaskClient) -> None:
    assert locked.get(f"/?token={TOKEN}", base_url="http://192.168.1.5:8150").status_code == 303


@pytest.mark.parametrize(
    "path",
    ["/ride/..%2f..%2fetc%2fpasswd/report.html", "/ride/%2e%2e/report.html", "/assets/..%2f..%2fpyproject.toml",
     "/assets/../app.py", "/_dash-component-suites/dash/../../etc/passwd"],
)  # fmt: skip
def test_no_path_leads_out(client: FlaskClient, path: str) -> None:
    answer = client.get(path, base_url=HERE)
    text = answer.get_data(as_text=True)
    assert "root:" not in text
    assert "[build-system]" not in text
    assert "def create_app" not in text
    assert answer.status_code in {200, 404, 500, 308}


def test_an_unknown_ride_has_no_report(client: FlaskClient) -> None:
    answer = client.get("/ride/nope/report.html", base_url=HERE)
    assert answer.status_code == 404
    assert answer.mimetype == "text/plain"


def test_the_report_is_a_download(client: FlaskClient, fakes: ModuleType) -> None:
    answer = client.get(f"/ride/{fakes.RIDE_ID}/report.html", base_url=HERE)
    assert answer.status_code == 200
    assert answer.headers["Content-Disposition"] == f'attachment; filename="ride-{fakes.RIDE_ID}.html"'
    assert "Leave a hot cooling system closed." in answer.get_data(as_text=True)


def test_a_body_over_the_limit_is_refused(client: FlaskClient) -> None:
    answer = client.post(
        "/_dash-update-component", json={"x": "x" * 1_500_000}, headers={"Origin": HERE}, base_url=HERE
    )
    assert answer.status_code == 413


@pytest.mark.parametrize(
    ("host", "here"),
    [("127.0.0.1", True), ("localhost", True), ("::1", True), ("[::1]", True), ("127.8.8.8", True), ("0.0.0.0", False),  # noqa: S104
     ("192.168.0.2", False), ("rides.example", False), ("127.0.0.1.example", False), ("", False)],
)  # fmt: skip
def test_loopback(host: str, here: bool) -> None:
    assert is_loopback(host) is here


@pytest.mark.parametrize(
    "body", ["null", "[]", "{}", "", "{", '"x"', '{"output": 3}', '{"output": "a.b", "inputs": 7}']
)
def test_what_is_no_callback_is_a_bad_request(client: FlaskClient, body: str) -> None:
    answer = client.post("/_dash-update-component", data=body, content_type="application/json",
                         headers={"Origin": HERE}, base_url=HERE)  # fmt: skip
    assert answer.status_code == 400


def test_an_unknown_callback_is_no_request_of_a_page(client: FlaskClient, caplog: pytest.LogCaptureFixture) -> None:
    body = json.dumps({"output": "nobody.children", "inputs": []})
    answer = client.post("/_dash-update-component", data=body, content_type="application/json",
                         headers={"Origin": HERE}, base_url=HERE)  # fmt: skip
    assert answer.status_code == 400
    assert "Traceback" not in answer.get_data(as_text=True)
    assert all(record.exc_info is None for record in caplog.records)


@pytest.mark.parametrize("path", ["/%0d%0aX:y/?token=" + TOKEN, "/%00", "/ride/%1b[31m"])
def test_control_characters_in_an_address_are_refused(locked: FlaskClient, path: str) -> None:
    assert locked.get(path, base_url=HERE).status_code == 400
