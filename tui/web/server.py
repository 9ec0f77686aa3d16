"""The server behind the verb `serve`: loopback only, a key in the address, and no door for other pages.

Whoever reaches the page works with the rights of who started it. So it is bound to this machine, asks for the key
that was printed at the start (other accounts of the machine do not have it), and refuses requests that a page of
another origin makes in the same browser. It ends when nobody has used it for long.
"""

from __future__ import annotations

import asyncio
import ipaddress
import json
import logging
import socket
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote

import aiohttp_jinja2
import jinja2
from aiohttp import WSMessage, WSMsgType, web
from textual_serve.app_service import AppService
from textual_serve.server import Server

from pathway.problems import refused
from tui.web.left import Left
from tui.web.session import LEAVING_SECONDS, Session
from tui.web.visits import Visits

TITLE = "limb-pathway"
NO_KEY = "This page needs the whole address that limb-pathway serve printed when it started, with its key."
NOT_OURS = "This server only answers its own pages; type or paste the address into the browser."
FULL = (
    "As many visitors as this server lets in at a time are here already ({most}). Close one of their pages and load "
    "this one again, or start limb-pathway serve with a higher --visitors."
)
NO_FILE = "This file was handed out already, or is of another page. Write it again on the export screen."
HERE = Path(__file__).parent
OURS = (None, "none", "same-origin")
"""What a browser says of where a request comes from that may be answered; older ones say nothing."""
WRITTEN_IN_SECONDS = 1.0
"""What was typed last before a page was closed is written in so short a time."""
ROOM_TRIES, ROOM_SECONDS = 30, 0.1
SIZES = {"width": (20, 1000), "height": (5, 500)}
"""How many cells a screen may have."""
Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


def loopback(host: str) -> str:
    """Return the host where it is this machine; raises Refused for any other."""
    try:
        own = host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        own = False
    if not own:
        own_machine = "this machine (127.0.0.1, ::1 or localhost): the page has no login of its own"
        raise refused("--host", repr(host), f"{own_machine}, so others must not reach it", "leave --host out")
    return host


def free_port(host: str) -> int:
    """Return a port of the machine that nobody listens on."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as tried:
        tried.bind((host, 0))
        return int(tried.getsockname()[1])


class OwnServer(Server):
    """Serves the screens with a page of our own, to who has the key, to so many at a time.

    `around` is what the screens find in their environment beside that of the server. `used_at` is when somebody last
    typed, clicked or loaded a page, by the clock of the loop; after `serve`, `ended_idle` says whether it ended because
    nobody did for long.
    """

    def __init__(
        self,
        command: str,
        host: str,
        port: int,
        key: str | None = None,
        *,
        visitors: int = 4,
        idle_seconds: float = 3600.0,
        around: Mapping[str, str] | None = None,
    ) -> None:
        shown = f"[{host}]" if ":" in host else host
        self.origin = f"http://{shown}:{port}"
        self.visits = Visits(f"limb_pathway_{port}", key)
        self.most = visitors
        self.idle_seconds = idle_seconds
        self.around = dict(around or {})
        self.left = Left()
        self.ended_idle = False
        self._here: set[asyncio.Task[object]] = set()
        self._leaving: dict[asyncio.Task[None], Path] = {}
        self.used_at = 0.0
        super().__init__(command, host=host, port=port, title=TITLE, public_url=self.origin, templates_path=HERE)
        self._files = _files_of(self.statics_path)

    @property
    def address(self) -> str:
        """Return the address to open, with the key."""
        return f"{self.origin}/?key={self.visits.key}"

    def initialize_logging(self) -> None:
        """Keep quiet: faults are told by the verb, visits are nobody's business, and tracebacks help nobody."""
        for name in ("aiohttp", "textual-serve"):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)

    async def on_startup(self, app: web.Application) -> None:
        """Begin to look whether anybody is here; the verb has said where the page is."""
        self._use()
        asyncio.get_running_loop().call_later(self.idle_seconds, self.end_if_idle)

    def _use(self) -> None:
        self.used_at = asyncio.get_running_loop().time()

    def end_if_idle(self) -> None:
        """End the server where nobody has used it for so long; else look again when that could be."""
        loop = asyncio.get_running_loop()
        left = self.used_at + self.idle_seconds - loop.time()
        if left > 0:
            loop.call_later(left, self.end_if_idle)
            return
        self.ended_idle = True
        self.request_exit()

    async def on_shutdown(self, app: web.Application) -> None:
        """End the visits and wait for their screens: the server would wait a minute for each page."""
        visits = set(self._here)
        for task in visits:
            task.cancel()
        if visits:
            await asyncio.wait(visits, timeout=LEAVING_SECONDS)
        if self._leaving:
            await asyncio.wait(self._leaving, timeout=3 * LEAVING_SECONDS)
        self.left.close()

    async def _make_app(self) -> web.Application:
        """Return the application: the door, and behind the path of a visit its page, its parts and its screens."""
        app = web.Application(middlewares=[self._guard])
        aiohttp_jinja2.setup(app, loader=jinja2.FileSystemLoader(HERE))
        app.add_routes(
            [
                web.get("/s/{visit}/", self._page),
                web.get("/s/{visit}/ws", self.handle_websocket),
                web.get("/s/{visit}/own.js", self._own_script),
                web.get("/s/{visit}/download/{key}", self._download),
                web.get("/s/{visit}/static/{file:.+}", self._static),
            ]
        )
        app.on_response_prepare.append(self._with_headers)
        app.on_startup.append(self.on_startup)
        app.on_shutdown.append(self.on_shutdown)
        return app

    @web.middleware
    async def _guard(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        own, headers = self.origin.removeprefix("http://"), request.headers
        if request.host != own or headers.get("Origin", self.origin) != self.origin:
            return web.Response(status=403, text=NOT_OURS)
        if headers.get("Sec-Fetch-Site") not in OURS:
            return web.Response(status=403, text=NOT_OURS)
        if "key" in request.query:
            if not self.visits.opens(request.query["key"]):
                return web.Response(status=403, text=NO_KEY)
            # The key leaves the address at once: it would stay in the history and on a projected screen.
            path, secret = self.visits.begin()
            answer = web.Response(status=302, headers={"Location": path})
            answer.set_cookie(self.visits.cookie, secret, path=path, httponly=True, samesite="Strict")
            return answer
        visit = request.match_info.get("visit", "")
        if not self.visits.knows(visit, request.cookies.get(self.visits.cookie, "")):
            return web.Response(status=403, text=NO_KEY)
        self._use()
        return await handler(request)

    async def _page(self, request: web.Request) -> web.StreamResponse:
        if not await self._room():
            return web.Response(status=503, text=FULL.format(most=self.most))
        place = f"{self.origin}{request.path}"
        context = {
            "font_size": 16,
            "app_websocket_url": f"{place.replace('http', 'ws', 1)}ws",
            "config": {"static": {"url": f"{place}static/"}},
            "application": {"name": self.title},
        }
        return aiohttp_jinja2.render_template("app_index.html", request, context)

    async def _own_script(self, _request: web.Request) -> web.FileResponse:
        return web.FileResponse(HERE / "own.js")

    async def _static(self, request: web.Request) -> web.StreamResponse:
        file = self._files.get(request.match_info["file"])
        return web.Response(status=404, text="No such part of the page.") if file is None else web.FileResponse(file)

    async def _download(self, request: web.Request) -> web.StreamResponse:
        """Hand out a file that the screens of this visit made, once; of another visit there is none."""
        place, key = self._place(request.match_info["visit"]), request.match_info["key"]
        about = self.download_manager._active_downloads.get(key)
        if about is None or not isinstance(about.app_service, Session) or about.app_service.place != place:
            return web.Response(status=404, text=NO_FILE)
        answer = web.StreamResponse()
        answer.headers["Content-Type"] = about.mime_type
        answer.headers["Content-Disposition"] = f"attachment; filename*=UTF-8''{quote(about.file_name, safe='')}"
        await answer.prepare(request)
        async for chunk in self.download_manager.download(key):
            await answer.write(chunk)
        await answer.write_eof()
        return answer

    def _place(self, visit: str) -> str:
        return f"{self.origin}/s/{visit}/"

    async def _room(self) -> bool:
        """Return whether one more may come in; waits a moment, since a page that is loaded anew first has to leave."""
        for _ in range(ROOM_TRIES):
            if len(self._here) < self.most:
                return True
            await asyncio.sleep(ROOM_SECONDS)
        return len(self._here) < self.most

    async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
        """Show the screens to one visitor, until the page or the screens are closed."""
        if request.headers.get("Origin") != self.origin:
            raise web.HTTPForbidden(text=NOT_OURS)
        if not await self._room():
            raise web.HTTPServiceUnavailable(text=FULL.format(most=self.most))
        task = asyncio.current_task()
        assert task is not None
        self._here.add(task)
        try:
            return await self._shown(request)
        finally:
            self._here.discard(task)

    async def _shown(self, request: web.Request) -> web.WebSocketResponse:
        socket_of_page = web.WebSocketResponse(heartbeat=15)
        await socket_of_page.prepare(request)

        async def close() -> None:
            await socket_of_page.close()

        to_page = {"write_bytes": socket_of_page.send_bytes, "write_str": socket_of_page.send_str, "close": close}
        session = Session(self.command, download_manager=self.download_manager, **to_page)  # type: ignore[arg-type]
        session.place = self._place(request.match_info["visit"])
        await self._settled()
        left = self.left.take()
        session.around = {**self.around, **self.left.around(left)}
        width, height = (_size(name, request.query.get(name)) for name in ("width", "height"))
        ending: asyncio.Task[None] | None = None
        starting = asyncio.create_task(session.start(width, height))
        try:
            await asyncio.shield(starting)
            ending = asyncio.create_task(_after(session, close))
            async for message in socket_of_page:
                await self._heard(message, socket_of_page, session)
        except (asyncio.CancelledError, ConnectionError):
            await close()
        finally:
            if ending is not None:
                ending.cancel()
            # Whoever ends the visit meanwhile must not keep its process from being ended.
            leaving = asyncio.create_task(self._ended(starting, session, left))
            self._leaving[leaving] = left
            leaving.add_done_callback(lambda done: self._leaving.pop(done, None))
            await asyncio.shield(leaving)
        return socket_of_page

    async def _settled(self) -> None:
        """Wait for screens that are ending: a page that is loaded anew takes up what the one before leaves.

        Who has nothing unsaved has no file, and is not waited for any longer than it takes to write one.
        """
        if self._leaving:
            await asyncio.wait(self._leaving, timeout=WRITTEN_IN_SECONDS)
        holding = {task for task, file in self._leaving.items() if file.exists()}
        if holding:
            await asyncio.wait(holding, timeout=3 * LEAVING_SECONDS)

    async def _ended(self, starting: asyncio.Task[None], session: Session, left: Path) -> None:
        """End a session; one that is only half there first comes to be. What it left is for the next one."""
        await asyncio.wait({starting})
        try:
            await session.finish()
        finally:
            self.left.leave(left)

    async def _heard(self, message: WSMessage, socket_of_page: web.WebSocketResponse, session: AppService) -> None:
        """Hand on what the page says; what it could not have said is passed over."""
        with suppress(ValueError, TypeError, IndexError, KeyError, AttributeError):
            if message.type != WSMsgType.TEXT:
                return
            what, *rest = json.loads(message.data)
            if what == "stdin":
                self._use()
                await session.send_bytes(rest[0].encode("utf-8"))
            elif what == "resize":
                await session.set_terminal_size(_size("width", rest[0]["width"]), _size("height", rest[0]["height"]))
            elif what == "ping":
                await socket_of_page.send_json(["pong", rest[0]])
            elif what == "blur":
                await session.blur()
            elif what == "focus":
                await session.focus()

    async def _with_headers(self, _request: web.Request, response: web.StreamResponse) -> None:
        socket_of_ours = self.origin.replace("http", "ws", 1)
        response.headers["Content-Security-Policy"] = (
            f"default-src 'self'; connect-src 'self' {socket_of_ours}; img-src 'self' data:; "
            "style-src 'self' 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
        )
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cache-Control"] = "no-store"
        response.headers["X-Content-Type-Options"] = "nosniff"


async def _after(session: AppService, close: Callable[[], Awaitable[None]]) -> None:
    """Close the page when the screens have ended, in whatever way: it would keep its place for ever."""
    if session._task is not None:
        await asyncio.wait({session._task})
        await close()


def _size(name: str, given: object) -> int:
    """Return a number of cells within what a screen may have, the usual one for what is no number."""
    least, most = SIZES[name]
    usual = {"width": 80, "height": 24}[name]
    with suppress(ValueError, TypeError):
        return min(max(int(str(given)), least), most)
    return usual


def _files_of(folder: Path) -> dict[str, Path]:
    """Return the parts of the page by their names; a name that is not among them names nothing."""
    return {str(file.relative_to(folder).as_posix()): file for file in folder.rglob("*") if file.is_file()}
