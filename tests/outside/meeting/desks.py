"""Where a meeting sits: a real terminal, or a browser; keys in, the screen out. A visit months later is a new start."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

import pytest
from playwright.sync_api import Browser

from tests.outside.browser.test_story import SIZE, Window
from tests.tui.test_terminal import ROOT, Terminal

WHO = ("--by", "ward-3")


class Desk(Protocol):
    """One sitting at the screens; `pressed` counts the keys since it was set to 0, letters of a text not counted."""

    pressed: int

    def press(self, *keys: str) -> None:
        """Press keys, by the names that the key line has for them."""

    def type(self, text: str) -> None:
        """Type a text."""

    def wait_for(self, *texts: str) -> str:
        """Return the screen once it holds all of the texts."""

    def screen(self) -> str:
        """Return what the screen shows now."""

    def rest(self, seconds: float) -> None:
        """Let the screen go on for a while."""

    def take(self, name: str) -> bytes:
        """Press Enter on a paper; return the file of that name that it became."""


class AtTerminal:
    """A tmux session; the papers fall into its folder."""

    KEYS: Mapping[str, str] = {"Ctrl+S": "C-s", "Esc": "Escape"}

    def __init__(self, terminal: Terminal, folder: Path) -> None:
        self.terminal, self.folder, self.pressed = terminal, folder, 0
        self.wait_for = terminal.wait_for
        self.screen = terminal.screen

    def press(self, *keys: str) -> None:
        self.pressed += len(keys)
        for key in keys:
            self.terminal.press(self.KEYS.get(key, key))

    def type(self, text: str) -> None:
        self.terminal.tmux("send-keys", "-t", "main", "-l", text)

    def rest(self, seconds: float) -> None:
        time.sleep(seconds)

    def take(self, name: str) -> bytes:
        self.press("Enter")
        for _ in range(600):
            if (self.folder / name).exists():  # written whole or not at all
                return (self.folder / name).read_bytes()
            time.sleep(0.1)
        pytest.fail(f"{name} was not written; the screen was:\n{self.screen()}")


@contextmanager
def at_terminal(registry: Path, on: str, size: tuple[int, int]) -> Iterator[Desk]:
    """Start the program on a registry in a terminal of a size, in the registry's folder; end it with its own key."""
    terminal = Terminal(*size)
    try:
        command = (sys.executable, "-m", "pathway", "--registry", str(registry), *WHO, "--on", on)
        terminal.press(f"cd {registry.parent}; PYTHONPATH={ROOT} {' '.join(command)}; echo ended", "Enter")
        desk = AtTerminal(terminal, registry.parent)
        yield desk
        terminal.press("C-q")
        assert "Traceback" not in terminal.wait_for("\nended")
    finally:
        terminal.tmux("kill-server")


class AtBrowser:
    """A page of the program's own server; papers are downloads."""

    KEYS: Mapping[str, str] = {"Ctrl+S": "Control+s", "Esc": "Escape", "Down": "ArrowDown"}

    def __init__(self, window: Window) -> None:
        self.window, self.pressed = window, 0
        self.wait_for = window.wait_for

    def screen(self) -> str:
        return "\n".join(self.window.rows)

    def press(self, *keys: str) -> None:
        self.pressed += len(keys)
        for key in keys:
            self.window.page.keyboard.press(self.KEYS.get(key, key))

    def type(self, text: str) -> None:
        self.window.page.keyboard.type(text)

    def rest(self, seconds: float) -> None:
        self.window.page.wait_for_timeout(1000 * seconds)  # frames are only heard while the page is waited for

    def take(self, name: str) -> bytes:
        with self.window.page.expect_download(timeout=120_000) as begun:
            self.press("Enter")
        assert begun.value.suggested_filename == name
        self.wait_for("browser now")
        return Path(begun.value.path()).read_bytes()


@contextmanager
def at_browser(registry: Path, on: str, browser: Browser) -> Iterator[Desk]:
    """Serve a registry, open its page; end the server with a signal, as its terminal does."""
    around = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "TEXTUAL_THEME")}
    around["PYTHONPATH"] = os.pathsep.join(part for part in (str(ROOT), around.get("PYTHONPATH", "")) if part)
    command = [sys.executable, "-m", "pathway", "serve", "--port", "0", "--registry", str(registry), *WHO, "--on", on]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=around, cwd=registry.parent) as running:
        assert running.stderr is not None
        try:
            line = running.stderr.readline()
            assert line.startswith("Open http://127.0.0.1:"), line
            window = Window(browser.new_page(viewport={"width": SIZE["width"], "height": SIZE["height"]}))
            window.page.goto(line.split()[1])
            yield AtBrowser(window)
            window.page.close()
        finally:
            running.send_signal(signal.SIGINT)
            running.wait(20)
            assert "Traceback" not in running.stderr.read()
