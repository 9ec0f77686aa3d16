"""The server behind the verb `serve`: loopback only, a key in the address, and no door for other pages.

Whoever reaches the page works with the rights of who started it. So it is bound to this machine, asks for the key
that was printed at the start (other accounts of the machine do not have it), and refuses requests that a page of
another origin makes in the same browser.
"""

from __future__ import annotations

import asyncio
import ipaddress
import secrets
import socket
from collections.abc import Awaitable, Callable
from pathlib import Path

from aiohttp import web
from textual_serve.server import Server

TITLE = "limb-pathway"
NO_KEY = "This page needs the whole address that limb-pathway serve printed when it started, with its key."
NOT_OURS = "This server only answers its own pages."
Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class NotLoopback(Exception):
    """The host is not this machine; the sentence says what is expected."""


def loopback(host: str) -> str:
    """Return the host where it is this machine; raises NotLoopback for any other."""
    try:
        own = host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        own = False
    if not own:
        raise NotLoopback(
            f"--host: found {host!r}, expected this machine (127.0.0.1, ::1 or localhost): the page has no login of "
            "its own, so others must not reach it; leave --host out"
        )
    return host


def free_port(host: str) -> int:
    """Return a port of the machine that nobody listens on."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as tried:
        tried.bind((host, 0))
        return int(tried.getsockname()[1])


class OwnServer(Server):
    """Serves the screens with a page of our own, to who has the key."""

    def __init__(self, command: str, host: str, port: int, key: str | None = None) -> None:
        shown = f"[{host}]" if ":" in host else host
        self.origin = f"http://{shown}:{port}"
        self.key = key or secrets.token_urlsafe(24)
        self._visits: set[asyncio.Task[object]] = set()
        super().__init__(
            command,
            host=host,
            port=port,
            title=TITLE,
            public_url=self.origin,
            templates_path=Path(__file__).parent,
        )

    @property
    def address(self) -> str:
        """Return the address to open, with the key."""
        return f"{self.origin}/?key={self.key}"

    def initialize_logging(self) -> None:
        """Keep quiet: faults are told by the verb, visits are nobody's business."""

    async def on_startup(self, app: web.Application) -> None:
        """Say nothing: the verb has said where the page is."""

    async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
        """Show the screens to one visitor."""
        task = asyncio.current_task()
        assert task is not None
        self._visits.add(task)
        try:
            return await super().handle_websocket(request)
        finally:
            self._visits.discard(task)

    async def on_shutdown(self, app: web.Application) -> None:
        """End the visits: the server would wait a minute for them."""
        for task in self._visits:
            task.cancel()

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()
        app.router.add_get("/own.js", self._own_script)
        app.middlewares.append(self._guard)
        app.on_response_prepare.append(self._with_headers)
        return app

    async def _own_script(self, _request: web.Request) -> web.FileResponse:
        return web.FileResponse(Path(__file__).parent / "own.js")

    @web.middleware
    async def _guard(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        own = self.origin.removeprefix("http://")
        if request.host != own or request.headers.get("Origin", self.origin) != self.origin:
            return web.Response(status=403, text=NOT_OURS)
        given = request.query.get("key") or request.cookies.get(self._cookie, "")
        if not secrets.compare_digest(given.encode(errors="replace"), self.key.encode()):
            return web.Response(status=403, text=NO_KEY)
        if "key" in request.query:
            # The key leaves the address at once: it would stay in the history and on a projected screen.
            answer = web.HTTPFound("/")
            answer.set_cookie(self._cookie, self.key, httponly=True, samesite="Strict")
            return answer
        return await handler(request)

    @property
    def _cookie(self) -> str:
        return f"limb_pathway_{self.port}"

    async def _with_headers(self, _request: web.Request, response: web.StreamResponse) -> None:
        socket_of_ours = self.origin.replace("http", "ws", 1)
        response.headers["Content-Security-Policy"] = (
            f"default-src 'self'; connect-src 'self' {socket_of_ours}; img-src 'self' data:; "
            "style-src 'self' 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
        )
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cache-Control"] = "no-store"
        response.headers["X-Content-Type-Options"] = "nosniff"
