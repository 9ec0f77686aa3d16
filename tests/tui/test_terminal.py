"""The program in a real terminal: started as a user starts it, read off the screen."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest

from pathway.views.words.caution import CAUTION
from tests.examples import NAMES

ROOT = Path(__file__).parents[2]
TMUX = shutil.which("tmux")
pytestmark = pytest.mark.skipif(TMUX is None, reason="tmux is not installed: no real terminal to start the program in")


class Terminal:
    """A tmux session of its own server, so that nothing else is touched."""

    def __init__(self, width: int, height: int) -> None:
        self.name = f"limb-{uuid.uuid4().hex[:8]}"
        surroundings = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "TEXTUAL_THEME")}
        self.surroundings = {**surroundings, "TERM": "tmux-256color", "COLORTERM": "truecolor", "LC_ALL": "C.UTF-8"}
        self.tmux(
            "-f", "/dev/null", "new-session", "-d", "-s", "main", "-x", str(width), "-y", str(height), "-c", str(ROOT)
        )

    def tmux(self, *arguments: str) -> str:
        assert TMUX is not None
        command = [TMUX, "-L", self.name, *arguments]
        done = subprocess.run(command, env=self.surroundings, capture_output=True, text=True, check=False)
        return done.stdout

    def press(self, *keys: str) -> None:
        self.tmux("send-keys", "-t", "main", *keys)

    def screen(self) -> str:
        return self.tmux("capture-pane", "-p", "-t", "main")

    def wait_for(self, *texts: str) -> str:
        """Return the screen once it holds all of the texts."""
        for _ in range(600):
            screen = self.screen()
            if all(text in screen for text in texts):
                return screen
            time.sleep(0.1)
        pytest.fail(f"{texts} did not appear; the screen was:\n{self.screen()}")


@pytest.fixture
def terminal(request: pytest.FixtureRequest) -> Iterator[Terminal]:
    started = Terminal(*getattr(request, "param", (120, 40)))
    yield started
    started.tmux("kill-server")


def test_the_demo_opens_the_timeline_answers_keys_and_ends(terminal) -> None:
    terminal.press(f"{sys.executable} -m pathway demo; echo ended", "Enter")
    words = ("Hip", "Length", "Age, years", "today", "goal", "no operations", "may slip")
    screen = terminal.wait_for("with the plan", "^q Quit", *words)
    assert CAUTION in screen
    assert "rowan-02: girl, 2 y 8 m" in screen
    terminal.press("b")
    terminal.wait_for("prerequisites of Hip preparation", "Conditions to be met before hip preparation")
    terminal.press("Enter")
    terminal.wait_for("Why hip preparation")
    terminal.press("Escape")
    terminal.wait_for("prerequisites of Hip preparation")
    terminal.press("Escape")
    terminal.wait_for("Age, years")
    terminal.press("Escape")
    terminal.wait_for("Next stage", "willow-03")
    terminal.press("C-q")
    assert "Traceback" not in terminal.wait_for("\nended")


@pytest.mark.parametrize("terminal", [(80, 24)], indirect=True)
def test_from_the_children_through_timeline_courses_and_family_and_out_in_the_smallest_terminal(terminal) -> None:
    terminal.press(f"{sys.executable} -m pathway open --on 2026-11-25; echo ended", "Enter")
    terminal.wait_for(f"Children: {len(NAMES)}, most urgent first, planned as of 2026-11-25", CAUTION, "birch-04")
    terminal.press("r", "o", "w", "a", "n")
    terminal.wait_for(f"Children: 1 of {len(NAMES)}", "Hip preparation")
    terminal.press("Enter")
    timeline = terminal.wait_for("rowan-02: girl, 2 y 8 m", "Age, years", "may slip")
    assert CAUTION in timeline
    terminal.press("c")
    courses = terminal.wait_for("courses side by side", "Three femoral lengthenings, with growth arrest", "i What if")
    assert CAUTION in courses
    terminal.press("Escape")
    terminal.wait_for("Age, years", "f Family")
    terminal.press("f")
    assert CAUTION in terminal.wait_for("the plan in plain words", "The difference: The left leg is 8.0 cm shorter")
    terminal.press("C-q")
    assert "Traceback" not in terminal.wait_for("\nended")


def test_a_child_of_a_registry_is_followed_up_and_saved_in_a_real_terminal(terminal, tmp_path) -> None:
    program = f"{sys.executable} -m pathway"
    place = f"--registry {tmp_path / 'clinic.db'}"
    terminal.press(f"{program} registry import rowan-02 {place} --on 2026-11-25; echo taken", "Enter")
    terminal.wait_for("\ntaken")
    terminal.press(f"clear; {program} {place} --by ward-3 --on 2026-11-25; echo ended", "Enter")
    terminal.wait_for("Measure: ")
    terminal.press("Enter")
    terminal.wait_for("with the plan")
    terminal.press("v")
    terminal.wait_for("rowan-02: follow-up")
    terminal.press("Down", "Down", "121")
    terminal.wait_for("Because of length")
    terminal.press("F5")
    terminal.wait_for("Follow-up entered: length of the femur left 121 mm")
    terminal.wait_for("^s Save")
    terminal.press("C-s")
    terminal.wait_for("Saved in clinic.db by ward-3: visit, revision (entries 2 to 3 of rowan-02).")
    terminal.press("C-q")
    assert "Traceback" not in terminal.wait_for("ended")
    verify = [*program.split(), "registry", "verify", *place.split()]
    done = subprocess.run(verify, cwd=ROOT, capture_output=True, text=True, check=True)
    assert "1 children, 3 entries, every hash matches" in done.stdout
