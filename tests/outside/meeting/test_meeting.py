"""The whole meeting on the screens, from an empty registry to the paper in the hand, with no shell command in between.

The team begins a child by the form and accepts its plan; a year later the surgeon enters a lengthening that gained less
than was planned, with a complication, and what the visit found; compares; takes the page for the operating table and
the family's handout as files. Told the same in a real terminal of three sizes and in a real browser.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from pathway.registry.store import open_registry
from pathway.views.words.caution import CAUTION
from tests.outside.browser.conftest import chromium
from tests.outside.meeting.desks import Desk, at_browser, at_terminal
from tests.tui.test_terminal import ROOT, TMUX

__all__ = ["chromium"]

Sitting = Callable[[str], AbstractContextManager[Desk]]
BEGUN, LATER = "2026-03-02", "2027-03-02"
CARD = (
    "maple-03",
    "girl",
    "2021-01-15",
    "congenital short",
    "left",
    "",
    "",
    "200",
    "262",
    "215",
    "228",
    "Invented child.",
)
"""Id, sex, born, diagnosis, short leg, day and way of measuring as offered, lengths in mm, note."""
OPERATION = (
    ("date of the op", "2026-06-10"),
    ("side", "left"),
    ("length achieved", "30"),
    ("device off", "2026-11-20"),
    ("complications", "recurrent varus"),
)
FOUND = (
    ("length femur left", "244"),
    ("length femur right", "276"),
    ("length tibia left", "221"),
    ("length tibia right", "239"),
    ("neck-shaft left", "84"),
    ("epiphyseal left", "70"),
    ("version left", "20"),
)
SIZES = (
    ("guide wire", "36"),
    ("axis to centre", "28"),
    ("width of the femur", "16"),
    ("width of the neck", "17"),
)
MOST_KEYS = 6
SETTLES_SECONDS = 0.3
"""Nobody types on before a list has followed the letters."""


def go_to(desk: Desk, letters: str, back: str) -> None:
    """Go to a field by letters of its name, which may come only with the plan of what is typed."""
    for _ in range(60):
        desk.press("F7")
        desk.wait_for("go to a field")
        desk.type(letters)
        desk.wait_for(letters)
        desk.rest(SETTLES_SECONDS)
        if "No field is called so" not in desk.screen():
            break
        desk.press("Esc")
        desk.wait_for(back)
    desk.press("Enter")
    desk.wait_for(back)
    desk.rest(SETTLES_SECONDS)


def enter(desk: Desk, letters: str, value: str, back: str) -> None:
    """Go to a field and type into it."""
    go_to(desk, letters, back)
    desk.type(value)
    desk.wait_for(value)
    desk.rest(SETTLES_SECONDS)


def reads(desk: Desk, words: str) -> None:
    """Wait until the screen says words, wherever its lines end."""
    for _ in range(300):
        if words in " ".join(desk.screen().split()):
            return
        desk.wait_for("maple-03")
        desk.rest(0.1)
    pytest.fail(f"{words!r} did not appear; the screen was:\n{desk.screen()}")


def keep(desk: Desk) -> None:
    """Keep what was typed; what is unlikely is asked back once."""
    desk.press("F5")
    for _ in range(300):
        shown = " ".join(desk.screen().split())
        if "Follow-up entered" in shown:
            return
        if "press F5 again" in shown:
            desk.press("F5")
        desk.wait_for("maple-03")
        desk.rest(0.1)
    pytest.fail(f"it was not kept; the screen was:\n{desk.screen()}")


def the_team_begins_a_child_and_accepts_its_plan(desk: Desk) -> None:
    desk.wait_for("No children are stored", CAUTION[:30])
    desk.press("F7")
    desk.wait_for("New child", "Id:")
    for place, text in enumerate(CARD):
        if place:
            desk.press("Down")
        desk.type(text)
    desk.wait_for("Invented child.")
    desk.press("F5")
    desk.wait_for("may slip", "a new child")
    desk.press("v")
    desk.wait_for("maple-03: follow-up")
    enter(desk, "hip joint", "reduced", "maple-03: follow-up")
    keep(desk)
    desk.press("Ctrl+S")
    desk.wait_for("Saved in clinic.db by ward-3")
    desk.press("Esc")
    desk.wait_for("most urgent first")
    desk.pressed = 0
    desk.press("Enter")
    desk.wait_for("Femoral lengthening 1", "may slip")
    desk.press("a")
    desk.wait_for("accept the plan", CAUTION[:30])
    desk.press("Enter")
    desk.wait_for("Accepted by the team")
    assert desk.pressed <= MOST_KEYS, "from the list to the accepted plan of one child"


def the_surgeon_follows_up_and_compares(desk: Desk) -> None:
    desk.wait_for("maple-03", "planned as of")
    desk.press("Enter")
    desk.wait_for("Femoral lengthening 1", "may slip")
    desk.press("v")
    desk.wait_for("maple-03: follow-up")
    desk.press("Tab")
    desk.wait_for("Operation done")
    desk.type("femoral leng")
    desk.wait_for("femoral leng")
    for letters, value in OPERATION:
        enter(desk, letters, value, "maple-03: follow-up")
    keep(desk)
    desk.press("m")
    reads(desk, "3.0 of 4.5 cm planned")
    reads(desk, "with recurrent varus")
    desk.press("Esc")
    desk.wait_for("may slip")
    desk.press("v")
    desk.wait_for("maple-03: follow-up")
    for letters, value in FOUND:
        enter(desk, letters, value, "maple-03: follow-up")
    keep(desk)
    desk.wait_for("Osteotomy of the proximal")
    desk.press("Ctrl+S")
    desk.wait_for("Saved in clinic.db by ward-3")
    desk.press("h")
    desk.wait_for("maple-03: history", "plan kept with what was saved")
    for _ in range(8):
        if any(row.lstrip(" │").startswith("▸ ✓ plan accepted") for row in desk.screen().splitlines()):
            break
        desk.press("Down")
        desk.rest(0.5)
    desk.press("Enter")
    reads(desk, "From plan accepted by the team")
    desk.press("Esc")
    desk.wait_for("may slip")


def the_papers_are_taken(desk: Desk) -> tuple[bytes, bytes]:
    desk.press("s")
    desk.wait_for("maple-03: worksheet, ")
    for _ in range(8):
        before = desk.screen().splitlines()[0]
        if "Osteotomy of the proximal femur" in before:
            break
        desk.press("Tab")
        for _ in range(100):
            if desk.screen().splitlines()[0] != before:
                break
            desk.rest(0.1)
    sheet = "worksheet, Osteotomy of the proximal femur"
    desk.wait_for(sheet)
    for letters, value in SIZES:
        enter(desk, letters, value, sheet)
    desk.press("F3")
    desk.wait_for("for the table, LEFT FEMUR", "Wire to shaft", CAUTION[:30])
    desk.press("x")
    desk.wait_for("maple-03: export", "For the table")
    theatre = desk.take("maple-03-theatre-proximal_femoral_osteotomy_1.pdf")
    go_to(desk, "handout", "maple-03: export")
    return theatre, desk.take("maple-03-handout-en.pdf")


@pytest.fixture
def registry(tmp_path: Path) -> Path:
    made = tmp_path / "clinic.db"
    with open_registry(str(made), create=True):
        pass
    return made


def in_pdf(data: bytes, folder: Path) -> str:
    """Return the text of a document by a reader that is not ours."""
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler is not installed: nothing else reads the documents")
    (folder / "read.pdf").write_bytes(data)
    done = subprocess.run(["pdftotext", str(folder / "read.pdf"), "-"], capture_output=True, text=True, check=True)
    return done.stdout


def told(sitting: Sitting, registry: Path) -> None:
    """Tell the story at a desk; what it left is read by the verbs and by another program's reader of documents."""
    with sitting(BEGUN) as desk:
        the_team_begins_a_child_and_accepts_its_plan(desk)
    with sitting(LATER) as desk:
        the_surgeon_follows_up_and_compares(desk)
        theatre, handout = the_papers_are_taken(desk)
    verb = [sys.executable, "-m", "pathway", "registry"]
    where = ["--registry", str(registry)]
    done = subprocess.run([*verb, "verify", *where], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "every hash matches" in done.stdout
    case = subprocess.run([*verb, "export", "maple-03", *where], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "achieved_mm = 30" in case.stdout
    assert "recurrent_varus" in case.stdout
    page, paper = in_pdf(theatre, registry.parent), in_pdf(handout, registry.parent)
    assert "LEFT FEMUR" in page.upper()
    assert "the treating surgeon decides" in " ".join(paper.split())


@pytest.mark.skipif(TMUX is None, reason="tmux is not installed: no real terminal to start the program in")
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 50)], ids=lambda size: f"{size[0]}x{size[1]}")
def test_the_meeting_in_a_real_terminal(registry: Path, size: tuple[int, int]) -> None:
    told(lambda on: at_terminal(registry, on, size), registry)


@pytest.fixture
def in_browser(registry: Path, chromium: str) -> Iterator[Sitting]:
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield lambda on: at_browser(registry, on, browser)
        browser.close()


def test_the_meeting_in_a_browser(in_browser: Sitting, registry: Path) -> None:
    told(in_browser, registry)
