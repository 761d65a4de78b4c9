"""The door of the page: who may come in, and what every answer says to the browser. An ASGI layer.

Ref: OWASP Cross-Site Request Forgery Prevention (origin checks), W3C Fetch Metadata, W3C Content Security Policy 3.
"""

from __future__ import annotations

import hmac
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from daq.sinks.page.settings import PageSettings, is_own_host

SAFE = ("GET", "HEAD")
MOST_BYTES = 4096
"""Of a body. All that may be said fits; see the models of the commands."""
POLICY = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
CLOSED = "Open this page with the link that the terminal of the bench shows, or `boretight page`."


class Guard:
    """Lets in what may come in; tells the rest why not, in one plain line."""

    def __init__(self, app: ASGIApp, settings: PageSettings) -> None:
        self._app, self._settings = app, settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        headers = Headers(scope=scope)
        knows = self.knows_token(headers)
        scope["state"] = {**scope.get("state", {}), "may_steer": knows}
        answer = self._refusal(scope, headers, knows) or self._app
        await answer(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope, headers: Headers, knows: bool) -> ASGIApp | None:
        if not is_own_host(headers.get("host", "")):
            return PlainTextResponse("This is not the page of that host.", 421)
        if scope["method"] not in SAFE:
            return self._refusal_of_writing(headers, knows)
        if self._settings.lan and not knows and scope["path"] != "/open":
            return PlainTextResponse(CLOSED, 401)
        return None

    def _refusal_of_writing(self, headers: Headers, knows: bool) -> ASGIApp | None:
        if is_cross_site(headers):
            return PlainTextResponse("Nothing is steered from another site.", 403)
        if not knows:
            return PlainTextResponse(CLOSED, 401)
        length = headers.get("content-length", "")
        if not length.isdecimal() or int(length) > MOST_BYTES:
            return PlainTextResponse(f"At most {MOST_BYTES} bytes, their number told before.", 413)
        return None

    def knows_token(self, headers: Headers) -> bool:
        """In the cookie that the link has set, or, for a program, behind `Authorization: Bearer`."""
        scheme, _, bearer = headers.get("authorization", "").partition(" ")
        told = bearer.strip() if scheme.lower() == "bearer" else cookie_of(headers, self._settings.cookie)
        return is_same(told, self._settings.token)


def is_same(told: str, token: str) -> bool:
    """In constant time, whatever was told."""
    return hmac.compare_digest(told.encode("utf-8", "replace"), token.encode())


def cookie_of(headers: Headers, name: str) -> str:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return ""
    return found.value if found else ""


def is_cross_site(headers: Headers) -> bool:
    """A browser says where a request comes from; a program that is none says nothing and must know the token."""
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    if site is not None and site not in ("same-origin", "none"):
        return True
    return origin is not None and origin.partition("://")[2] != headers.get("host", "")


def _with_headers(send: Send) -> Send:
    """What a document says of itself, as a certificate with a style of its own does, stays."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending
