"""The program in a browser: opened as a user opens it, clicked through, read off the frames of the websocket.

The page is a canvas without text, so what the server sends is fed into a terminal emulator that is not ours (pyte).
"""

from __future__ import annotations

import http.server
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pyte
import pytest
from playwright.sync_api import Page, WebSocket, sync_playwright

from pathway.views.words.caution import CAUTION
from tests.examples import NAMES

SIZE = {"width": 1120, "height": 780}


class Window:
    """A page with its terminal: what was asked for, what the screen says, where to click."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.asked: list[str] = []
        self.screen: pyte.Screen | None = None
        page.on("request", lambda request: self.asked.append(request.url))
        page.on("websocket", self._listen)

    def _listen(self, socket: WebSocket) -> None:
        self.asked.append(socket.url)
        size = re.search(r"width=(\d+)&height=(\d+)", socket.url)
        assert size
        self.screen = pyte.Screen(int(size[1]), int(size[2]))
        stream = pyte.ByteStream(self.screen)
        socket.on("framereceived", lambda frame: stream.feed(frame) if isinstance(frame, bytes) else None)

    @property
    def rows(self) -> list[str]:
        return list(self.screen.display) if self.screen else []

    def wait_for(self, *texts: str) -> str:
        """Return the screen once it holds all of the texts."""
        for _ in range(600):
            shown = "\n".join(self.rows)
            if all(text in shown for text in texts):
                return shown
            self.page.wait_for_timeout(100)
        pytest.fail(f"{texts} did not appear; the screen was:\n{shown}")

    def click(self, text: str) -> None:
        """Click in the middle of a text on the screen."""
        self.wait_for(text)
        assert self.screen
        row = next(number for number, line in enumerate(self.rows) if text in line)
        column = self.rows[row].index(text) + len(text) / 2
        box = self.page.locator("#terminal .xterm-screen").bounding_box()
        assert box
        x = box["x"] + box["width"] * column / self.screen.columns
        self.page.mouse.click(x, box["y"] + box["height"] * (row + 0.5) / self.screen.lines)


@pytest.fixture
def window(address: str, chromium: str) -> Iterator[Window]:
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        made = Window(browser.new_page(viewport=SIZE))
        made.page.goto(address)
        yield made
        browser.close()


def test_a_child_is_opened_by_mouse_and_keys_and_no_other_host_is_asked(window, address) -> None:
    heading = f"Children: {len(NAMES)}, most urgent first, planned as of 2026-11-25"
    window.wait_for(heading, CAUTION, "Femoral lengthening 1")
    window.page.keyboard.type("rowan")
    window.wait_for(f"Children: 1 of {len(NAMES)}")
    window.page.keyboard.press("Enter")
    window.wait_for("rowan-02: girl, 2 y 8 m", "may slip")
    window.click("Growth arrest")
    window.wait_for("○ Growth arrest of the other leg")
    window.click("c Courses")
    window.wait_for("courses side by side", "Sorted: ", "Three femoral")
    window.click("Esc Back")
    window.wait_for("Age, years")
    window.click("f Family")
    window.wait_for("The difference: The left leg is 8.0 cm shorter")
    window.page.keyboard.press("Control+q")
    window.page.get_by_text("The session has ended.").wait_for()
    assert window.page.title() == "limb-pathway"
    assert window.page.get_by_text("the treating surgeon decides").is_visible()
    assert {urlsplit(url).netloc for url in window.asked if not url.startswith("data:")} == {urlsplit(address).netloc}


def test_a_paper_is_among_the_downloads_and_the_page_stays(window) -> None:
    window.wait_for("Femoral lengthening 1")
    window.page.keyboard.type("rowan")
    window.wait_for(f"Children: 1 of {len(NAMES)}")
    window.page.keyboard.press("Enter")
    window.wait_for("may slip")
    window.click("x Export")
    window.wait_for("Family handout")
    window.click("Calendar: rowan-02-calendar.ics")
    with window.page.expect_download() as begun:
        window.page.keyboard.press("Enter")
    assert begun.value.suggested_filename == "rowan-02-calendar.ics"
    assert Path(begun.value.path()).read_bytes().startswith(b"BEGIN:VCALENDAR")
    window.wait_for("browser now")
    window.page.keyboard.press("Escape")
    window.wait_for("may slip")


def test_what_was_typed_when_the_page_was_closed_is_there_at_the_next_visit(window, address) -> None:
    window.wait_for("Femoral lengthening 1")
    window.page.keyboard.press("F7")
    window.wait_for("New child")
    window.page.keyboard.type("maple-03")
    window.wait_for("Still needed")
    browser = window.page.context.browser
    assert browser
    window.page.close()
    again = Window(browser.new_page(viewport=SIZE))
    again.page.goto(address)
    again.wait_for("here again: a new child as typed (F7 on the list).")
    again.page.keyboard.press("F7")
    again.wait_for("Id: maple-03")
    again.page.keyboard.press("F6")


@pytest.mark.parametrize("width", [400, 480])
def test_on_a_phone_the_caution_is_seen_once_and_both_new_screens_fit(window, width) -> None:
    window.wait_for("Femoral lengthening 1")
    window.page.set_viewport_size({"width": width, "height": 800})
    window.page.reload()
    window.page.wait_for_function("() => document.querySelector('header').getBoundingClientRect().height <= 1")
    window.wait_for("F7 New child")
    window.page.keyboard.press("F7")
    shown = window.wait_for("New child", "Short leg:", "F1 ?")
    assert " ".join(shown.split()).count("Planning aid") == 1


def test_a_server_on_another_port_gets_no_cookie_of_ours(window, address) -> None:
    """Cookies do not tell ports apart: whoever listens on another one must not be handed what opens this one."""
    heard: list[str] = []

    class Listening(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            heard.append(f"{self.path} {self.headers.get('Cookie')}")
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    window.wait_for("Femoral lengthening 1")
    visit = urlsplit(window.page.url).path
    assert visit.startswith("/s/")
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Listening) as other:
        threading.Thread(target=other.serve_forever, daemon=True).start()
        window.page.goto(f"http://127.0.0.1:{other.server_port}/")
        fetched = window.page.evaluate(
            "address => fetch(address, {credentials: 'include', mode: 'no-cors'}).then(a => a.status, () => -1)",
            f"{urlsplit(address).scheme}://{urlsplit(address).netloc}{visit}",
        )
        other.shutdown()
    assert heard[0] == "/ None"
    assert all("limb_pathway" not in line for line in heard)
    assert fetched in (0, -1)


def test_the_screen_fills_the_window_and_follows_its_size(window) -> None:
    window.wait_for("Femoral lengthening 1")
    box = window.page.locator("#terminal .xterm-screen").bounding_box()
    assert box["y"] + box["height"] <= SIZE["height"]
    assert "Quit" in "\n".join(window.rows)
    window.page.set_viewport_size({"width": 900, "height": 600})
    smaller = window.page.locator("#terminal .xterm-screen")
    for _ in range(100):
        box = smaller.bounding_box()
        if box["y"] + box["height"] <= 600:
            break
        window.page.wait_for_timeout(50)
    assert box["y"] + box["height"] <= 600
