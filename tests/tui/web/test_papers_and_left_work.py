"""A paper goes to the page that asked for it and no other; a page that is closed leaves its work to the next one."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path

import pytest

pytest.importorskip("textual_serve", reason="textual-serve is not installed: there is nothing to serve with")

from aiohttp import ClientWebSocketResponse, WSMsgType

from tests.tui.web.test_server import Start, case, start, told
from tui.web.left import Left

__all__ = ["case", "start"]
LENGTH = "122"
TO_LENGTH = "\x1b[B\x1b[B"
"""Down from the date of the visit to the first length."""


async def offered(screens: ClientWebSocketResponse) -> str:
    """Return the address of the file that the page is told to fetch."""
    async with asyncio.timeout(120):
        while True:
            message = await screens.receive()
            assert message.type in (WSMsgType.BINARY, WSMsgType.TEXT), message
            if message.type == WSMsgType.TEXT:
                what, said = json.loads(message.data)
                if what == "open_url":
                    assert said["new_tab"] is False
                    return str(said["url"])


async def press(screens: ClientWebSocketResponse, keys: str) -> None:
    await screens.send_json(["stdin", keys])


async def test_a_paper_is_fetched_once_by_the_page_that_asked_for_it_under_its_name(start: Start, case: Path) -> None:
    running = await start(case)
    _, path, _ = await running.page()
    screens = await running.screens(path)
    await told(screens, "may slip")
    await press(screens, "x")
    await told(screens, "Family handout")
    await press(screens, "\x1b[B\x1b[B\r")
    url = await offered(screens)
    assert url.startswith(f"{running.server.origin}{path}download/")
    other = (await running.page())[1]
    async with running.client.get(url.replace(path, other)) as refused:
        assert (refused.status, b"BEGIN" in await refused.read()) == (404, False)
    async with running.client.get(url) as answer:
        assert answer.status == 200
        assert answer.headers["Content-Disposition"] == "attachment; filename*=UTF-8''rowan-02-calendar.ics"
        assert (await answer.read()).startswith(b"BEGIN:VCALENDAR")
    async with running.client.get(url) as again:
        assert again.status == 404
    await told(screens, "browser now")
    assert sorted(file.name for file in case.parent.iterdir()) == ["rowan-02.toml"]


async def test_a_closed_page_leaves_what_was_typed_to_the_next_visit_of_the_same_server_only(start, case) -> None:
    running, stranger = await start(case), await start(case)
    _, path, _ = await running.page()
    screens = await running.screens(path)
    await told(screens, "may slip")
    await press(screens, "v")
    await told(screens, "follow-up")
    await press(screens, TO_LENGTH + LENGTH)
    await told(screens, "Planning with it")
    await screens.close()
    _, elsewhere, _ = await stranger.page()
    assert "Not lost" not in await told(await stranger.screens(elsewhere), "may slip")
    _, path, _ = await running.page()
    again = await running.screens(path)
    heard = await told(again, "may slip")
    assert "Not lost" in heard
    await press(again, "v")
    await told(again, LENGTH)


async def test_a_page_that_is_loaded_anew_waits_for_what_the_one_before_leaves(start, case) -> None:
    running = await start(case)
    _, path, _ = await running.page()
    screens = await running.screens(path)
    await told(screens, "may slip")
    await press(screens, "v")
    await told(screens, "follow-up")
    await press(screens, TO_LENGTH + LENGTH)
    await told(screens, "Planning with it")
    closing = asyncio.create_task(screens.close())
    again = await running.screens(path)
    await closing
    assert "Not lost" in await told(again, "may slip")


async def test_nothing_of_it_is_left_on_the_disk_when_the_server_has_ended(start, case) -> None:
    running = await start(case)
    _, path, _ = await running.page()
    screens = await running.screens(path)
    await told(screens, "may slip")
    folder = running.server.left.folder
    assert folder is not None
    assert folder.stat().st_mode & 0o777 == 0o700
    await running.close()
    assert not folder.exists()


class TestLeft:
    def test_the_next_session_takes_what_was_left_last_and_each_is_taken_once(self) -> None:
        left = Left()
        first, second = left.take(), left.take()
        assert first != second
        for file in (first, second):
            file.write_text("something")
            left.leave(file)
        assert [left.take(), left.take()] == [second, first]
        assert left.take() not in (first, second)
        left.close()

    def test_a_session_that_left_nothing_leaves_no_file(self) -> None:
        left = Left()
        file = left.take()
        left.leave(file)
        assert left.take() != file
        left.close()
