"""The app on the example children, planned once a run; helpers to wait, to read and to press."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
from textual.app import App
from textual.pilot import Pilot
from textual.worker import WorkerCancelled

from tests.made_once import plan_once
from tests.plans import DAY, files
from tui.app import PathwayApp

LONGEST_SECONDS = 120
"""How long a test waits for what must come: only a fault of ours takes so long."""


@pytest.fixture(autouse=True)
def plain_surroundings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Take away what would change a picture, plan each child once, and let papers fall where nobody keeps any."""
    monkeypatch.chdir(tmp_path)
    for name in ("NO_COLOR", "TEXTUAL_THEME", "TEXTUAL_ANIMATIONS"):
        monkeypatch.delenv(name, raising=False)
    plan_once(monkeypatch)


def the_app(child: str | None = None, case_files: Mapping[str, str] | None = None) -> PathwayApp:
    return PathwayApp(case_files if case_files is not None else files(), DAY, child)


async def idle(app: App[None]) -> None:
    """Wait until nothing is worked out any more; what a later key has overtaken ends without an answer."""
    while unfinished := [worker for worker in app.workers if not worker.is_finished]:
        for worker in unfinished:
            with suppress(WorkerCancelled):
                await (worker.wait() if worker.is_running else asyncio.sleep(0))


async def until(pilot: Pilot[None], holds: Callable[[], object], what: str) -> None:
    """Wait until something holds, however slow the machine is; `what` says what did not come."""
    clock = asyncio.get_running_loop()
    end = clock.time() + LONGEST_SECONDS
    while not holds():
        if clock.time() > end:
            pytest.fail(f"{what} did not come; the screen was:\n{text_of(pilot.app)}")
        await pilot.pause()
        await idle(pilot.app)


async def settled(pilot: Pilot[None]) -> None:
    """Wait until every child is planned and shown, and compared where its courses are open."""
    app = pilot.app
    assert isinstance(app, PathwayApp)
    await idle(app)
    await until(pilot, lambda: app.next_to_plan is None, "a plan of every child")
    await pilot.pause()
    await pilot.pause()


def text_of(app: App[None]) -> str:
    """Return the screen as text, row by row."""
    rows = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in row).rstrip() for row in rows) + "\n"


@dataclass(frozen=True)
class Opened:
    """A screen in one state: the keys that open it from the timeline of the child, with a stage selected."""

    kind: str
    keys: tuple[str, ...]
    stage: str = "femoral_lengthening_1"


TO_LENGTHS = ("v", "down", "down")
"""From the timeline to the first length of a visit: the form opens at the date, then comes how it was measured."""
ANEW = ("backspace", "backspace")
SIZES = (
    *(*["down"] * 11, *"36", "down", *ANEW, *"28", "down", *"16"),
    *(*["down"] * 10, *ANEW, "3", *["down"] * 10, *"17"),
)
"""What is typed into the sheet of the upper femur: neck on the wire, neck, shaft, margin of the blade, neck's width."""
SIGNS = {" ": "space", ":": "colon", ".": "full_stop", "-": "minus"}
CARD = ("maple-03", "girl", "2019-05-31", "congenital fem", "left", "", "", "300", "340", "", "", "Invented child.")
NEWCOMER = tuple(key for text in CARD for key in (*(SIGNS.get(sign, sign) for sign in text), "down"))[:-1]
"""What is typed of a new child, line by line; the last line is its note."""
OPENED = {
    "children": Opened("ChildrenScreen", ("escape",)),
    "new_child": Opened("NewChildScreen", ("escape", "f7", *NEWCOMER)),
    "timeline": Opened("TimelineScreen", ("shift+right",) * 4),
    "prerequisites": Opened("PrerequisitesScreen", ("b",)),
    "unlock": Opened("PrerequisitesScreen", ("b", "u")),
    "details": Opened("DetailsScreen", ("enter",)),
    "courses": Opened("CoursesScreen", ("c",)),
    "reason": Opened("ReasonScreen", ("c", "right", "enter")),
    "what_if": Opened("WhatIfScreen", ("c", "i", "2")),
    "worksheet": Opened("WorksheetScreen", ("s",)),
    "drawing": Opened(
        "WorksheetScreen", ("s", *["down"] * 12, "4", "0", "down", "1", "6", "f4"), "proximal_femoral_osteotomy_1"
    ),
    "theatre": Opened("TheatreScreen", ("s", *SIZES, "f3"), "proximal_femoral_osteotomy_1"),
    "family": Opened("FamilyScreen", ("f",)),
    "export": Opened("ExportScreen", ("s", "f8", "down")),
    "follow_up": Opened("FollowUpScreen", (*TO_LENGTHS, *"183")),
    "sources": Opened("SourcesScreen", ("f2",)),
    "help": Opened("HelpScreen", ("f1",)),
    "manual": Opened("ManualScreen", ("f1", "m", "down")),
    "field_help": Opened("HelpScreen", ("v", "f1")),
    "jump": Opened("JumpScreen", ("v", "f7", *"tib")),
    "accept": Opened("AcceptScreen", ("a",)),
    "history": Opened("HistoryScreen", ("h", "down", "enter")),
    "due": Opened("DueScreen", ("n",)),
    "results": Opened("ResultsScreen", ("escape", "f6")),
    # A new screen joins here: every test of pictures, keys, themes and ways back then opens it too.
}


async def opened(pilot: Pilot[None], name: str) -> None:
    """Open a screen from wherever one is: back to the timeline, stage selected, keys pressed, answers awaited."""
    from tui.screens.courses import CoursesScreen
    from tui.screens.followup import FollowUpScreen
    from tui.screens.new_child import NewChildScreen
    from tui.screens.timeline import TimelineScreen

    app = pilot.app
    assert isinstance(app, PathwayApp)
    wanted = OPENED[name]
    while not isinstance(app.screen, TimelineScreen):
        if len(app.screen_stack) > 2:
            await pilot.press("escape")
        else:
            app.open_timeline("rowan-02")
        await pilot.pause()
    app.drafts.clear()  # what was typed in a follow-up before would stand there again
    app.newcomer.clear()
    while (session := app.child_list[app.screen.child].session) is not None and session.done:
        app.undo(app.screen.child)
        await settled(pilot)
    app.screen.select(wanted.stage)
    assert app.screen.plan is not None
    app.screen.move_to(app.screen.plan.child.age_years)
    for key in wanted.keys:
        await pilot.press(key)
        if isinstance(app.screen, CoursesScreen):
            await settled(pilot)
    # The form waits for who types before it plans.
    screen = app.screen
    if isinstance(screen, FollowUpScreen):
        await until(pilot, lambda: screen.entered.record is None or screen.seen, "what the follow-up changes")
    if isinstance(screen, NewChildScreen):
        await until(pilot, lambda: screen.found.record is None or screen.made, "the plan of the new child")
    await idle(app)
    await pilot.pause()
    await pilot.pause()
    assert type(app.screen).__name__ == wanted.kind
