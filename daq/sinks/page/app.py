"""The paths of the page, and what answers them."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from daq.errors import BoretightError, UsageError
from daq.sinks.mqtt.commands import Answer
from daq.sinks.page.assets import Asset, assets
from daq.sinks.page.documents import Books, Document
from daq.sinks.page.guard import MOST_BYTES, Guard, is_same
from daq.sinks.page.hub import Hub, message
from daq.sinks.page.settings import PageSettings
from daq.sinks.page.shell import policy_of, shell

_log = logging.getLogger(__name__)

MOST_PAGES = 32
A_YEAR_S = 365 * 86_400
HTTP_STATUS = {"accepted": 200, "invalid": 400, "refused": 409, "expired": 408}


@dataclass(frozen=True, slots=True)
class Bench:
    """What the paths ask of the sink. `hello` and `trace` are JSON; `command` takes a verb and the body of a message,
    and gives the answer and the body of its reply."""

    hello: Callable[[bool], str]
    trace: Callable[[], str]
    command: Callable[[str, bytes], tuple[Answer, str]]


def app(settings: PageSettings, hub: Hub, bench: Bench, books: Books) -> ASGIApp:
    """All of it, behind the guard."""
    paths = _Paths(settings, hub, bench, books)
    routes = [
        Route("/", paths.live),
        Route("/open", paths.open),
        Route("/stream", paths.stream),
        Route("/choices.json", paths.choices),
        Route("/assets/{name}", paths.asset),
        Route("/schemas/{name}", paths.schema),
        Route("/command/{verb}", paths.command, methods=["POST"]),
        Route("/{path:path}", paths.book),
    ]
    handlers: dict[Any, Any] = {BoretightError: _told, HTTPException: _plain, Exception: _nothing_told}
    return Guard(Starlette(routes=routes, exception_handlers=handlers), settings)


class _Paths:
    def __init__(self, settings: PageSettings, hub: Hub, bench: Bench, books: Books) -> None:
        self._settings, self._hub, self._bench, self._books = settings, hub, bench, books

    async def live(self, request: Request) -> Response:
        return _sent(request, assets()["live.html"])

    async def asset(self, request: Request) -> Response:
        found = assets().get(request.path_params["name"])
        return _sent(request, found) if found else _not_there()

    async def open(self, request: Request) -> Response:
        """The link with the token: it becomes a cookie that no script can read, and leaves the address."""
        token = request.query_params.get("token", "")
        if not is_same(token, self._settings.token):
            return PlainTextResponse("This link is not (any more) the one of this bench.", 401)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self._settings.cookie, token, max_age=A_YEAR_S, httponly=True, samesite="lax")
        return answer

    async def stream(self, request: Request) -> Response:
        if self._hub.pages >= MOST_PAGES:
            return PlainTextResponse("Too many pages are open.", 503, {"Retry-After": "10"})
        after = request.headers.get("last-event-id") or request.query_params.get("after", "")
        parts = self._parts(after, bool(request.state.may_steer))
        return StreamingResponse(parts, media_type="text/event-stream", headers={"Cache-Control": "no-store"})

    async def _parts(self, after: str, may_steer: bool) -> AsyncIterator[bytes]:
        first = (message("hello", self._bench.hello(may_steer)), message("trace", self._bench.trace()))
        yield b"retry: 1000\n\n" + b"".join(first)
        async for part in self._hub.follow(after):
            yield part

    async def command(self, request: Request) -> Response:
        body = await request.body()  # the guard has seen how long it is
        answer, reply = self._bench.command(request.path_params["verb"], body[:MOST_BYTES])
        return Response(reply, HTTP_STATUS[answer.status], media_type="application/json")

    async def choices(self, request: Request) -> Response:
        return JSONResponse(await asyncio.to_thread(self._books.choices), headers={"Cache-Control": "no-store"})

    async def schema(self, request: Request) -> Response:
        """The public contract of the messages, for whoever makes another dashboard."""
        folder, name = files("daq.sinks").joinpath("schemas"), request.path_params["name"]
        if name not in {file.name for file in folder.iterdir()}:
            return _not_there()
        return Response(folder.joinpath(name).read_bytes(), media_type="application/json")

    async def book(self, request: Request) -> Response:
        path = request.path_params["path"]
        document = await asyncio.to_thread(self._books.page, path)
        return _not_there() if document is None else self._shown(document, path.partition("/")[0])

    def _shown(self, document: Document, place: str) -> Response:
        headers = {"Cache-Control": "no-store"}
        if document.data:
            return Response(document.data, 200, headers, document.media_type)
        if document.whole:
            headers["Content-Security-Policy"] = policy_of(document.body)
            return Response(document.body, 200, headers, "text/html")
        return Response(shell(document, self._settings.bench, place), 200, headers, "text/html")


def _sent(request: Request, asset: Asset) -> Response:
    headers = {"ETag": asset.tag, "Cache-Control": "no-cache", "Vary": "Accept-Encoding"}
    if request.headers.get("if-none-match") == asset.tag:
        return Response(status_code=304, headers=headers)
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(asset.pressed, 200, headers | {"Content-Encoding": "gzip"}, asset.media_type)
    return Response(asset.content, 200, headers, asset.media_type)


def _not_there() -> Response:
    return PlainTextResponse("There is no such page.", 404)


async def _told(request: Request, error: Exception) -> Response:
    """What there is not is answered as such; what went wrong is for the terminal, which names paths and causes."""
    if isinstance(error, UsageError):
        return PlainTextResponse("There is nothing of that name here.", 404)
    _log.warning("page %s: %s", request.url.path, error)
    return PlainTextResponse("The bench cannot show this now; its terminal says why.", 500)


async def _plain(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return PlainTextResponse("There is no such page." if error.status_code == 404 else "Not so.", error.status_code)


async def _nothing_told(request: Request, error: Exception) -> Response:
    return PlainTextResponse("Something went wrong here; the terminal of the bench says what.", 500)
