"""How many visitors are let in, what a page may say, and when the server ends; asked by a real client."""

from __future__ import annotations

import asyncio
import gc
import re
import shlex
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

import pytest

pytest.importorskip("textual_serve", reason="textual-serve is not installed: there is nothing to serve with")

from aiohttp import ClientSession, ClientWebSocketResponse, CookieJar, WSMsgType, web

from pathway.children import served
from tests.examples import FOLDER
from tui.web.server import OwnServer, free_port
from tui.web.visits import MOST, Visits

ON = "2026-11-25"
MOVES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
"""What moves the cursor or changes a colour between the words of a screen."""
Start = Callable[..., Awaitable["Running"]]


class Running:
    """A server that runs in the loop of the test, and a browser's worth of requests to it."""

    def __init__(self, server: OwnServer) -> None:
        self.server = server
        self.ended = asyncio.Event()
        self.client = ClientSession(cookie_jar=CookieJar(unsafe=True))
        server.request_exit = self.ended.set  # type: ignore[method-assign]

    async def start(self) -> None:
        self.runner = web.AppRunner(await self.server._make_app(), shutdown_timeout=1)
        await self.runner.setup()
        await web.TCPSite(self.runner, "127.0.0.1", self.server.port).start()

    async def page(self) -> tuple[int, str, str]:
        """Open the printed address as a browser does; return status, path and text of the page."""
        async with self.client.get(self.server.address) as answer:
            return answer.status, answer.url.path, await answer.text()

    async def screens(self, path: str) -> ClientWebSocketResponse:
        where = f"{self.server.origin}{path}ws?width=100&height=30"
        return await self.client.ws_connect(where, headers={"Origin": self.server.origin})

    async def close(self) -> None:
        await self.client.close()
        await self.runner.cleanup()


@pytest.fixture
async def start() -> AsyncIterator[Start]:
    """Give a way to start servers; they end with the test."""
    running: list[Running] = []

    async def started(*cases: Path, **options: object) -> Running:
        words = [sys.executable, "-m", "pathway", "open", "--on", ON, "--", *map(str, cases)]
        around = {served.VARIABLE: served.as_text(served.served(cases))}
        port = free_port("127.0.0.1")
        made = Running(OwnServer(shlex.join(words), "127.0.0.1", port, around=around, **options))
        running.append(made)
        await made.start()
        return made

    yield started
    for one in running:
        await one.close()


@pytest.fixture
def case(tmp_path: Path) -> Path:
    made = tmp_path / "clinic" / "rowan-02.toml"
    made.parent.mkdir()
    made.write_text((FOLDER / made.name).read_text(encoding="utf-8"), encoding="utf-8")
    return made


def commands() -> list[Path]:
    """The command lines of all processes, where the system shows them."""
    return [file for file in Path("/proc").glob("[0-9]*/cmdline") if file.exists()]


async def told(screens: ClientWebSocketResponse, text: str) -> str:
    """Return what the screens sent once it holds a text."""
    heard = ""
    async with asyncio.timeout(60):
        while text not in heard:
            message = await screens.receive()
            assert message.type in (WSMsgType.BINARY, WSMsgType.TEXT), (message, heard[-2000:])
            heard += message.data.decode(errors="replace") if isinstance(message.data, bytes) else message.data
    return heard


async def test_one_visitor_too_many_is_told_and_let_in_when_another_has_left(start, case) -> None:
    running = await start(case, visitors=1)
    _, path, page = await running.page()
    assert "textual-terminal" in page
    first = await running.screens(path)
    await told(first, "rowan-02")
    status, _, said = await running.page()
    assert (status, "As many visitors as this server lets in at a time are here already (1)" in said) == (503, True)
    assert "--visitors" in said
    await first.close()
    async with asyncio.timeout(60):
        while status != 200:
            status, path, _ = await running.page()
    second = await running.screens(path)
    await told(second, "rowan-02")


async def test_what_no_page_could_have_said_is_passed_over(start, case, capfd) -> None:
    running = await start(case)
    _, path, _ = await running.page()
    screens = await running.screens(path)
    await told(screens, "rowan-02")
    for text in ("", "{", "[]", "17", '["stdin"]', '["stdin", 5]', '["resize", {"width": "x"}]', '["deliver", "/etc"]'):
        await screens.send_str(text)
    await screens.send_bytes(b"\xff\x00")
    await screens.send_json(["resize", {"width": 10**9, "height": -4}])
    await screens.send_json(["resize", {"width": 100, "height": 30}])
    await screens.send_json(["ping", "7"])
    await told(screens, '"pong"')
    await screens.close()
    await running.close()
    assert "Traceback" not in "".join(capfd.readouterr())


async def test_a_server_that_ends_while_a_page_opens_leaves_no_process_behind(start, case) -> None:
    running = await start(case)
    _, path, _ = await running.page()
    await running.screens(path)
    await running.close()
    assert str(case) not in "".join(file.read_text(errors="replace") for file in commands())
    gc.collect()  # a process that was not waited for is told here


class TestIdle:
    async def test_the_server_ends_when_nobody_has_come(self, start, case) -> None:
        running = await start(case, idle_seconds=0.2)
        await asyncio.wait_for(running.ended.wait(), 10)
        assert running.server.ended_idle

    async def test_a_key_that_is_typed_puts_it_off_and_a_page_that_only_lies_open_does_not(self, start, case) -> None:
        running = await start(case, idle_seconds=3600.0)
        _, path, _ = await running.page()
        screens = await running.screens(path)
        loaded = running.server.used_at
        await screens.send_json(["ping", "1"])
        await told(screens, '["pong", "1"]')
        assert running.server.used_at == loaded
        await screens.send_json(["stdin", "x"])
        await screens.send_json(["ping", "2"])
        await told(screens, '["pong", "2"]')
        assert running.server.used_at > loaded
        running.server.end_if_idle()
        assert not running.ended.is_set()
        await screens.close()


class TestFiles:
    """A session reads and writes the files that were served; a link or a path that leads elsewhere is refused."""

    async def seen(self, start: Start, *cases: Path) -> str:
        running = await start(*cases)
        _, path, _ = await running.page()
        screens = await running.screens(path)
        return await told(screens, "elsewhere")

    async def test_a_link_in_the_served_folder_shows_nothing_of_what_it_leads_to(self, start, case, tmp_path) -> None:
        secret = tmp_path / "other" / "secret.toml"
        secret.parent.mkdir()
        secret.write_text("of_another_clinic = 1", encoding="utf-8")
        (case.parent / "linked.toml").symlink_to(secret)
        text = await self.seen(start, case.parent)
        assert "leads elsewhere" in " ".join(MOVES.sub(" ", text).split())
        assert "of_another_clinic" not in text


def test_a_key_and_a_secret_open_nothing_but_what_they_were_made_for() -> None:
    visits = Visits("cookie", "the key")
    assert (visits.opens("the key"), visits.opens("another"), visits.opens("")) == (True, False, False)
    (path, secret), (other, its) = visits.begin(), visits.begin()
    name, another = path.split("/")[2], other.split("/")[2]
    assert visits.knows(name, secret)
    assert not any(
        (visits.knows(name, its), visits.knows(another, secret), visits.knows("", ""), visits.knows(name, ""))
    )


def test_only_so_many_visits_are_known() -> None:
    visits = Visits("cookie")
    made = [visits.begin() for _ in range(MOST + 1)]
    known = [visits.knows(path.split("/")[2], secret) for path, secret in made]
    assert known == [False, *[True] * MOST]
