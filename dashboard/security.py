"""Who may ask the dashboard, and what a browser may do with its answers.

Rides hold positions. So: only this machine is answered unless a token is asked for, names other than this machine's
are refused (a page elsewhere could point its own name at 127.0.0.1), writes from other pages are refused, and every
answer carries a policy that lets the page load nothing from anywhere else.
"""

from __future__ import annotations

import hmac
import logging
from collections.abc import Callable, Sequence
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlencode, urlsplit

from flask import Flask, Request, Response, redirect, request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from dashboard.shapes import json_of

log = logging.getLogger(__name__)

COOKIE = "ridelog_token"
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_FILES = ("/_dash-component-suites/", "/assets/")
"""Where the program's own files are: they hold nothing of a ride, and a browser may keep them."""
_FRAMES = frozenset({"iframe", "frame", "embed", "object", "fencedframe"})


def is_loopback(host: str) -> bool:
    """True for a name or address only this machine can reach."""
    if host == "localhost":
        return True
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def policy(script_hashes: Sequence[str]) -> str:
    """The content security policy: own files, the inline scripts named by hash, inline style (the plotting code sets
    it on its drawings) and images made in the page. No frame, no form, no other host."""
    scripts = " ".join(("'self'", *script_hashes))
    return (
        f"default-src 'self'; script-src {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
        "font-src 'self' data:; connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )


def guard(server: Flask, *, content_policy: str, token: str | None, is_ours: Callable[[Any], bool]) -> None:
    """Check every request before anything else sees it, and mark every answer. `is_ours` tells of the body of a request
    to a callback whether a page could have sent it."""

    @server.before_request
    def check() -> AnyResponse | None:
        return refusal(request, token, is_ours)

    @server.errorhandler(Exception)
    def tell(error: Exception) -> AnyResponse | HTTPException:
        if isinstance(error, HTTPException):
            return error
        if request.path.startswith(_FILES):
            return _plain("There is no such file.", 404)
        log.error("%s while answering %s %r", type(error).__name__, request.method, request.path)
        return _plain("The dashboard failed on this request: a fault of the program, or no request of its pages.", 500)

    @server.after_request
    def mark(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = content_policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Permissions-Policy"] = "geolocation=(), camera=(), microphone=()"
        if not request.path.startswith(_FILES):
            response.headers["Cache-Control"] = "no-store"
        return response


def refusal(asked: Request, token: str | None, is_ours: Callable[[Any], bool]) -> AnyResponse | None:
    """The answer to a request that must not pass, None for one that may."""
    if not asked.path.isprintable():
        return _plain("This address holds characters no page has.", 400)
    host = urlsplit(f"//{asked.host}").hostname or ""
    if token is None and not is_loopback(host):
        return _plain("This dashboard answers only to this machine's own name: open it at 127.0.0.1 or localhost.", 403)
    if not (_read_by_own_page(asked) if asked.method in _SAFE_METHODS else _same_origin(asked)):
        return _plain("This request came from another page and was refused.", 403)
    wrong = None if token is None else _ask_for_token(asked, token)
    if wrong is None and asked.path.endswith("/_dash-update-component") and not is_ours(json_of(asked)):
        return _plain("This is no request of the dashboard's pages.", 400)
    return wrong


def _read_by_own_page(asked: Request) -> bool:
    """False where the browser says that another page wants to read, or to show an answer within itself. A link that is
    followed from elsewhere shows a page of its own, and may."""
    origin = asked.headers.get("Origin")
    if origin is not None and not _same_origin(asked):
        return False
    if asked.headers.get("Sec-Fetch-Site") in {"cross-site", "same-site"}:
        return asked.headers.get("Sec-Fetch-Mode") == "navigate" and asked.headers.get("Sec-Fetch-Dest") not in _FRAMES
    return True


def _same_origin(asked: Request) -> bool:
    """True where the browser says the request comes from a page of this server. No word on it is a no."""
    origin = asked.headers.get("Origin")
    return origin is not None and origin == f"{asked.scheme}://{asked.host}"


def _ask_for_token(asked: Request, token: str) -> AnyResponse | None:
    given = asked.args.get("token")
    if given is not None and asked.method in _SAFE_METHODS:
        if not _equal(given, token):
            return _plain("The token in this link is not the one the dashboard was started with.", 401)
        rest = urlencode([(key, value) for key, value in asked.args.items(multi=True) if key != "token"])
        # one slash only: a path that begins with two would name another host
        clean = "/" + asked.path.lstrip("/\\") + (f"?{rest}" if rest else "")
        answer = redirect(clean, 303)
        answer.set_cookie(COOKIE, token, httponly=True, samesite="Strict", path="/")
        return answer
    if _equal(asked.cookies.get(COOKIE, ""), token):
        return None
    return _plain(
        "This dashboard needs its token. Open the whole link printed when it was started: it ends in ?token=...",
        401,
    )


def _equal(given: str, token: str) -> bool:
    return hmac.compare_digest(given.encode(), token.encode())


def _plain(text: str, status: int) -> Response:
    return Response(text + "\n", status, mimetype="text/plain")
