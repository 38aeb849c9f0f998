"""The live page: what the base knows now, in a browser, pushed by server-sent events.

Without the token everybody gets what may be published: sensitive species kept back. The token shows
everything. Away from loopback nothing is answered without it. There is no TLS here: over a network
that is not your own, put a proxy with TLS before it, or the token can be read on the way.
"""

import asyncio
import hashlib
import secrets
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from ipaddress import ip_address
from threading import Lock
from typing import Any
from urllib.parse import parse_qs

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from packcodec.base.failures import in_words, is_recent
from packcodec.dataset.live import live
from packcodec.dataset.model import Dataset, Project
from packcodec.dataset.protect import protect
from packcodec.edge.dataset_source import Told
from packcodec.edge.live_words import as_json, as_words
from packcodec.edge.templates import page_text, template
from packcodec.errors import PackcodecError

COOKIE = "packcodec"
PERIOD_S = 5.0
KEEP_ALIVE_S = 20.0
HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}

Read = Callable[[], tuple[Told, Dataset]]
Clock = Callable[[], datetime]


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach that address."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@dataclass
class Watch:
    """The source, read anew when its mark has changed; a trouble leaves the last state standing."""

    read: Read
    mark: Callable[[], object]
    clock: Clock
    _marked: object = None
    _known: tuple[Told, Dataset, Dataset] | None = None
    _lock: Lock = field(default_factory=Lock)
    trouble: str = ""

    def told(self) -> Told:
        """What the source holds; raises what the first reading raises."""
        return self._current()[0]

    def state(self, *, exact: bool) -> dict[str, Any]:
        """The live state for the page and for programs; raises what the first reading raises."""
        told, kept_back, whole = self._current()
        at = self.clock()
        alarms = [in_words(each) for each in told.unverified if is_recent(each, at)]
        now = live(whole if exact else kept_back, told.heard, at)
        return {"live": now, "trouble": self.trouble, "alarms": alarms}

    def project(self) -> Project:
        """Who publishes what; raises what the first reading raises."""
        return self._current()[1].project

    def _current(self) -> tuple[Told, Dataset, Dataset]:
        with self._lock:
            try:
                mark = self.mark()
                if self._known is None or mark != self._marked:
                    told, data = self.read()
                    self._known = told, protect(data), protect(data, exact=True)
                    self._marked = mark
                self.trouble = ""
            except PackcodecError as error:
                if self._known is None:
                    raise
                self.trouble = str(error)
            return self._known


def live_app(
    watch: Watch, *, token: str = "", local: bool = True, period_s: float = PERIOD_S
) -> Starlette:
    """The application. Not `local` needs a token for everything."""
    site = _Site(watch, token, local, period_s)
    routes = [
        Route("/", site.page),
        Route("/live", site.events),
        Route("/state.json", site.json),
        Route("/enter", site.enter, methods=["GET", "POST"]),
        Route("/leave", site.leave),
        Route("/style.css", _asset("style.css", "text/css")),
        Route("/live.js", _asset("live.js", "text/javascript")),
    ]
    middleware = [Middleware(_Headers), Middleware(_KnownHost, local=local)]
    return Starlette(routes=routes, middleware=middleware)


class _Site:
    def __init__(self, watch: Watch, token: str, local: bool, period_s: float) -> None:
        self.watch, self.token, self.local, self.period_s = watch, token, local, period_s
        self._cookie = hashlib.sha256(f"packcodec {token}".encode()).hexdigest()
        self._page, self._state = (
            template("live.html", "serve"),
            template("live_state.html", "serve"),
        )
        self._enter = template("enter.html", "serve")

    def trusted(self, request: Request) -> bool:
        """Whether the request carries the token, as a cookie or as a bearer's."""
        if not self.token:
            return False
        scheme, _, bearer = request.headers.get("authorization", "").partition(" ")
        cookie = request.cookies.get(COOKIE, "")
        # Both in constant time, so that the answer's delay tells nothing of the token.
        by_bearer = secrets.compare_digest(bearer.strip().encode(), self.token.encode())
        by_cookie = secrets.compare_digest(cookie.encode(), self._cookie.encode())
        return (scheme.lower() == "bearer" and by_bearer) or by_cookie

    def barred(self, request: Request) -> bool:
        return not self.local and not self.trusted(request)

    async def page(self, request: Request) -> Response:
        if self.barred(request):
            return RedirectResponse("enter", status_code=303)
        exact = self.trusted(request)
        state = await run_in_threadpool(self.fragment, exact)
        project = self.watch.project()
        return HTMLResponse(
            self._page.render(
                title=project.title,
                invented=project.invented,
                exact=exact,
                token=bool(self.token),
                state=_markup(state),
            )
        )

    async def json(self, request: Request) -> Response:
        if self.barred(request):
            return _unknown()
        state = await run_in_threadpool(lambda: self.watch.state(exact=self.trusted(request)))
        return JSONResponse(as_json(**state))

    async def events(self, request: Request) -> Response:
        if self.barred(request):
            return _unknown()
        exact = self.trusted(request)
        return StreamingResponse(self._stream(request, exact), media_type="text/event-stream")

    async def enter(self, request: Request) -> Response:
        if request.method == "GET":
            return HTMLResponse(self._enter.render(wrong=False))
        given = parse_qs((await request.body()).decode("utf-8", "replace")).get("token", [""])[0]
        right = secrets.compare_digest(given.strip().encode(), self.token.encode())
        if not self.token or not right:
            return HTMLResponse(self._enter.render(wrong=True), status_code=403)
        answer = RedirectResponse("./", status_code=303)
        secure = request.url.scheme == "https"
        answer.set_cookie(COOKIE, self._cookie, httponly=True, samesite="strict", secure=secure)
        return answer

    async def leave(self, request: Request) -> Response:  # noqa: ARG002
        answer = RedirectResponse("./", status_code=303)
        answer.delete_cookie(COOKIE)
        return answer

    def fragment(self, exact: bool) -> str:
        """The state as markup, escaped."""
        return str(self._state.render(**as_words(**self.watch.state(exact=exact))))

    async def _stream(self, request: Request, exact: bool) -> AsyncIterator[str]:
        sent, silent_s = "", 0.0
        while not await request.is_disconnected():
            text = await run_in_threadpool(self.fragment, exact)
            if text != sent:
                sent, silent_s = text, 0.0
                lines = "".join(f"data: {line}\n" for line in text.splitlines())
                yield f"event: state\n{lines}\n"
            elif silent_s >= KEEP_ALIVE_S:
                silent_s = 0.0
                yield ": still here\n\n"
            await asyncio.sleep(self.period_s)
            silent_s += self.period_s


class _Headers:
    """Adds the headers that keep a browser from fetching, framing or storing anything."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                extra = [(k.lower().encode(), v.encode()) for k, v in HEADERS.items()]
                message["headers"] = [*message["headers"], *extra]
            await send(message)

        await self.app(scope, receive, guarded if scope["type"] == "http" else send)


class _KnownHost:
    """On loopback, refuses names that are not this machine's: another site's page could otherwise
    point its own name here and read what it says."""

    def __init__(self, app: ASGIApp, local: bool) -> None:
        self.app, self.local = app, local

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and self.local:
            host = Request(scope).url.hostname or ""
            if not is_loopback(host):
                refusal = PlainTextResponse("not the name of this machine\n", status_code=421)
                await refusal(scope, receive, send)
                return
        await self.app(scope, receive, send)


def _asset(name: str, kind: str) -> Callable[[Request], Response]:
    text = page_text(name)
    return lambda _request: Response(text, media_type=kind)


def _unknown() -> Response:
    return PlainTextResponse(
        "the token is missing\n", status_code=401, headers={"WWW-Authenticate": "Bearer"}
    )


def _markup(text: str) -> Any:
    from markupsafe import Markup

    return Markup(text)
